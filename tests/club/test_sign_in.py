"""Members sign in and out; nothing else does it for them."""

from __future__ import annotations

import pytest
from django.urls import reverse

from tests.factories import PASSWORD, MemberFactory

pytestmark = pytest.mark.django_db

IN = "/account/sign-in/"
OUT = "/account/sign-out/"


def signed_in(client) -> bool:
    return "_auth_user_id" in client.session


def test_the_addresses_are_the_agreed_ones():
    assert (reverse("sign-in"), reverse("sign-out"), reverse("health")) == (IN, OUT, "/health/")


def test_a_member_signs_in_and_comes_back_to_where_they_were(client):
    member = MemberFactory()
    page = client.get(IN, {"next": "/parts/"})
    assert 'value="/parts/"' in page.content.decode()
    answer = client.post(IN, {"login": member.username, "password": PASSWORD, "next": "/parts/"})
    assert (answer.status_code, answer["Location"]) == (302, "/parts/")
    assert signed_in(client)


def test_a_member_who_was_nowhere_comes_to_the_search(client):
    member = MemberFactory()
    answer = client.post(IN, {"login": member.username, "password": PASSWORD})
    assert answer["Location"] == reverse("find")


def test_nobody_is_sent_on_to_another_site(client):
    member = MemberFactory()
    answer = client.post(
        IN, {"login": member.username, "password": PASSWORD, "next": "https://example.org/"}
    )
    assert answer["Location"] == reverse("find")


def test_a_wrong_password_is_told_and_the_name_is_kept(client):
    member = MemberFactory()
    answer = client.post(IN, {"login": member.username, "password": "wrong"})
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "You are not signed in" in page
    assert f'value="{member.username}"' in page
    assert "wrong" not in page
    assert not signed_in(client)


def test_empty_fields_are_told_at_the_fields(client):
    page = client.post(IN, {"login": "", "password": ""}).content.decode()
    assert page.count('class="field-error"') == 2
    assert page.count('aria-invalid="true"') == 2
    for field in ("id_login", "id_password"):
        assert f'aria-describedby="{field}_error"' in page
        assert f'id="{field}_error"' in page


def test_a_member_who_has_left_cannot_sign_in(client):
    member = MemberFactory(is_active=False)
    client.post(IN, {"login": member.username, "password": PASSWORD})
    assert not signed_in(client)


def test_who_is_signed_in_need_not_again(client):
    client.force_login(MemberFactory())
    assert client.get(IN)["Location"] == reverse("find")


def test_a_link_asks_before_it_signs_out_and_a_button_does(client):
    client.force_login(MemberFactory(display_name="Ada"))
    asked = client.get(OUT)
    assert "You are signed in as Ada" in asked.content.decode()
    assert signed_in(client)
    assert client.post(OUT)["Location"] == reverse("find")
    assert not signed_in(client)
    assert "You are signed out" in client.get(OUT).content.decode()


def test_a_form_from_another_site_is_refused_in_words(client):
    from django.test import Client

    strict = Client(enforce_csrf_checks=True)
    answer = strict.post(IN, {"login": "x", "password": "y"})
    assert answer.status_code == 403
    assert "That form is no longer valid" in answer.content.decode()


def test_only_librarians_and_the_superuser_keep_the_library():
    assert MemberFactory(librarian=True).keeps_library
    assert MemberFactory(is_superuser=True).keeps_library
    assert not MemberFactory(steward=True).keeps_library
    assert not MemberFactory(librarian=True, is_active=False).keeps_library
