"""Members sign up, are safe from other sites and from each other, and show no more than they mean to."""

from __future__ import annotations

import re
from io import StringIO

import pytest
from allauth.account.models import EmailAddress
from django.core import mail
from django.core.management import CommandError, call_command
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from club.models import Member
from tests.club.visiting import (
    ACCOUNT,
    CHANGE,
    E_MAIL,
    FORGOTTEN,
    IN,
    NEW,
    OUT,
    UP,
    link,
    shape,
    sign_in,
    sign_up,
    signed_in,
)
from tests.factories import PASSWORD, MemberFactory

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


# Signing up


def test_who_signs_up_is_signed_in_and_lands_on_their_page(client):
    answer = sign_up(client)
    assert (answer.status_code, answer["Location"]) == (302, "/members/wren/")
    assert signed_in(client)
    assert "wren" in client.get(answer["Location"]).content.decode()
    member = Member.objects.get(username="wren")
    assert (member.role, member.is_staff, member.is_superuser) == ("member", False, False)


def test_nobody_gives_themselves_a_role_when_signing_up(client):
    sign_up(client, role="librarian", is_superuser="1", is_staff="1")
    member = Member.objects.get(username="wren")
    assert (member.role, member.is_staff, member.is_superuser) == ("member", False, False)


@pytest.mark.parametrize(
    ("password", "reason"),
    [
        ("short", "too short"),
        ("password123", "too common"),
        ("8302759146", "entirely numeric"),
        ("wrenwrenwren", "too similar"),
        ("", "Choose a password"),
    ],
)
def test_a_weak_password_is_refused_with_its_reason_and_the_rest_is_kept(client, password, reason):
    page = sign_up(client, email="wrenwrenwren@example.org", password1=password).content.decode()
    assert reason in page
    assert 'value="wren"' in page
    assert 'value="wrenwrenwren@example.org"' in page
    assert not password or f'value="{password}"' not in page
    assert not Member.objects.filter(username="wren").exists()


@pytest.mark.parametrize("name", ["ada", "Ada", "ADA"])
def test_a_name_that_another_member_has_is_refused_in_any_case(client, name):
    MemberFactory(username="Ada")
    page = sign_up(client, username=name).content.decode()
    assert "Another member has that name" in page
    assert not signed_in(client)


def test_the_database_itself_refuses_a_name_that_differs_in_case_only():
    MemberFactory(username="Ada")
    with pytest.raises(IntegrityError), transaction.atomic():
        MemberFactory(username="ada")


def test_two_who_choose_a_name_at_the_same_moment_do_not_break_the_site(client, monkeypatch):
    MemberFactory(username="wren")
    monkeypatch.setattr(
        "club.accounts.adapter.Adapter.clean_username", lambda self, name, shallow=False: name
    )
    answer = sign_up(client)
    assert answer.status_code == 200
    assert "has just taken that name" in answer.content.decode()
    assert not signed_in(client)


@pytest.mark.parametrize("name", ["..", "a", "-wren", "wr en", "wr/en", "wrén", "w" * 31, "wren\n", "<b>"])
def test_a_name_that_makes_no_good_address_is_refused_with_the_rule(client, name):
    page = sign_up(client, username=f"{name}!" if name == "wren\n" else name).content.decode()
    assert "Use 2 to 30 letters from a to z" in page
    assert not signed_in(client)


@pytest.mark.parametrize("page", [UP, FORGOTTEN])
def test_an_address_longer_than_any_is_refused(client, page):
    address = f"a@{'b' * 60}.{'c' * 60}.{'d' * 60}.{'e' * 60}.{'f' * 20}.org"
    answer = client.post(page, {"username": "wren", "email": address, "password1": NEW})
    assert answer.status_code == 200
    assert "254" in answer.content.decode()
    assert mail.outbox == []


def test_an_address_that_is_none_is_refused(client):
    page = sign_up(client, email="wren at example").content.decode()
    assert 'aria-describedby="id_email_helptext id_email_error"' in page
    assert not signed_in(client)


def test_who_signs_up_from_a_page_comes_back_to_it(client):
    assert sign_up(client, next="/parts/")["Location"] == "/parts/"


# What does not tell who is a member


def test_signing_up_does_not_tell_whether_an_address_is_known(client):
    MemberFactory(email="known@example.org")
    known = sign_up(client, username="one", email="known@example.org")
    other = sign_up(Client(), username="two", email="new@example.org")
    assert (known.status_code, other.status_code) == (302, 302)
    assert (known["Location"], other["Location"]) == ("/members/one/", "/members/two/")
    assert [m.subject for m in mail.outbox] == [mail.outbox[0].subject] * 2


def test_signing_up_does_not_tell_it_either_where_addresses_have_to_be_confirmed(client, settings):
    settings.ACCOUNT_EMAIL_VERIFICATION = "mandatory"
    MemberFactory(email="known@example.org")
    known = sign_up(client, username="one", email="known@example.org")
    other = sign_up(Client(), username="two", email="new@example.org")
    assert known["Location"] == other["Location"] == "/account/e-mail/sent/"
    assert "Look into your mail" in client.get(known["Location"]).content.decode()
    assert not signed_in(client)
    assert {m.to[0]: m.subject.split("] ")[1] for m in mail.outbox} == {
        "known@example.org": "You have an account already",
        "new@example.org": "Confirm your e-mail address",
    }


def test_asking_for_a_new_password_does_not_tell_whether_an_address_is_known(client):
    MemberFactory(email="known@example.org")
    known = client.post(FORGOTTEN, {"email": "known@example.org"}, follow=True)
    other = Client().post(FORGOTTEN, {"email": "new@example.org"}, follow=True)
    assert known.redirect_chain == other.redirect_chain
    assert shape(known) == shape(other)
    assert [m.to for m in mail.outbox] == [["known@example.org"], ["new@example.org"]]
    assert "no account has it" in mail.outbox[1].body


def test_a_wrong_password_and_an_unknown_name_read_alike(client):
    MemberFactory(username="ada")
    wrong = shape(sign_in(client, "ada", "not it"))
    unknown = shape(sign_in(Client(), "bob", "not it"))
    assert wrong.replace('value="ada"', "") == unknown.replace('value="bob"', "")


def test_an_unknown_name_is_locked_like_a_known_one(client, settings):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "2/900s/key"}
    assert [sign_in(client, "nobody", "guess").status_code for _ in range(3)] == [200, 200, 429]


# Sessions, forms and where they lead


def test_the_session_has_another_key_after_signing_in(client):
    MemberFactory(username="ada")
    session = client.session
    session["seen"] = "before"
    session.save()
    before = client.cookies["sessionid"].value
    sign_in(client, "ada")
    assert client.cookies["sessionid"].value != before
    assert not Client().session.exists(before)


@pytest.mark.parametrize(
    "away",
    [
        "//evil.example/",
        "https://evil.example/",
        "/\\evil.example",
        "javascript:alert(1)",
        "http:///evil.example",
    ],
)
def test_nobody_is_sent_on_to_another_site(client, away):
    MemberFactory(username="ada")
    assert sign_in(client, "ada", next=away)["Location"] == reverse("find")
    assert client.get(IN, {"next": away})["Location"] == reverse("find")
    assert client.post(OUT, {"next": away})["Location"] == reverse("find")
    assert sign_up(client, next=away)["Location"] == "/members/wren/"


@pytest.mark.parametrize("address", [IN, UP, FORGOTTEN, OUT, ACCOUNT, CHANGE, E_MAIL, "/account/confirm/"])
def test_no_form_is_taken_from_another_site(address):
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(MemberFactory())
    answer = strict.post(address, {"display_name": "x"})
    assert answer.status_code == 403
    assert "That form is no longer valid" in answer.content.decode()


@pytest.mark.parametrize("method", ["get", "head", "put", "delete", "options"])
def test_only_a_post_signs_out(client, method):
    client.force_login(MemberFactory())
    assert getattr(client, method)(OUT).status_code in (200, 405)
    assert signed_in(client)


def test_a_password_is_never_in_an_answer_not_even_for_a_script(client):
    MemberFactory(username="ada")
    asked = {"headers": {"x-requested-with": "XMLHttpRequest", "accept": "application/json"}}
    for answer in (
        client.post(IN, {"login": "ada", "password": "my other secret"}, **asked),
        client.post(UP, {"username": "..", "email": "", "password1": "my other secret"}, **asked),
    ):
        assert answer["Content-Type"].startswith("text/html")
        assert "my other secret" not in answer.content.decode()


def test_pages_with_an_account_on_them_are_not_kept_by_caches(client):
    for address in (IN, UP, OUT):
        assert "no-store" in client.get(address)["Cache-Control"]
    client.force_login(MemberFactory())
    assert "no-store" in client.get(ACCOUNT)["Cache-Control"]


# What a member changes


def test_a_member_changes_the_name_that_others_see(client):
    member = MemberFactory(username="ada", display_name="Ada")
    client.force_login(member)
    answer = client.post(ACCOUNT, {"display_name": "  Ada   of the hall "}, follow=True)
    assert "Others now see you as Ada of the hall" in answer.content.decode()
    client.post(ACCOUNT, {"display_name": ""})
    assert "<h1>ada</h1>" in client.get("/members/ada/").content.decode()


@pytest.mark.parametrize(("name", "said"), [("x" * 81, "80"), ("a\u202eb", "cannot be seen")])
def test_a_name_that_cannot_be_shown_is_refused_and_the_old_one_stays(client, name, said):
    member = MemberFactory(display_name="Ada")
    client.force_login(member)
    page = client.post(ACCOUNT, {"display_name": name}).content.decode()
    assert said in page
    assert re.search(r'masthead-who"[^>]*>Ada<', page)
    member.refresh_from_db()
    assert member.display_name == "Ada"


def test_nobody_changes_their_role_on_their_account_page(client):
    member = MemberFactory()
    client.force_login(member)
    client.post(
        ACCOUNT, {"display_name": "Ada", "role": "librarian", "is_superuser": "on", "username": "root"}
    )
    member.refresh_from_db()
    assert (member.display_name, member.role, member.is_superuser) == ("Ada", "member", False)
    assert member.username != "root"


def test_a_member_changes_their_password_and_stays_signed_in_only_here(client):
    member = MemberFactory()
    elsewhere = Client()
    for one in (client, elsewhere):
        sign_in(one, member.username)
    wrong = client.post(CHANGE, {"oldpassword": "not it", "password1": NEW, "password2": NEW})
    assert "not your present password" in wrong.content.decode()
    answer = client.post(CHANGE, {"oldpassword": PASSWORD, "password1": NEW, "password2": NEW}, follow=True)
    assert "Your password is changed." in answer.content.decode()
    assert client.get(ACCOUNT).status_code == 200
    assert elsewhere.get(ACCOUNT).status_code == 302
    member.refresh_from_db()
    assert member.check_password(NEW)


def test_an_address_changes_after_the_password_and_the_link_in_the_new_mail(client):
    member = MemberFactory(email="old@example.org")
    EmailAddress.objects.create(user=member, email="old@example.org", verified=True, primary=True)
    sign_in(client, member.username)
    asked = client.post(E_MAIL, {"email": "new@example.org", "action_add": "yes"}, follow=True)
    assert "Confirm that it is you" in asked.content.decode()
    here = asked.request["PATH_INFO"] + "?" + asked.request["QUERY_STRING"]
    assert "That is not your password" in client.post(here, {"password": "not it"}).content.decode()
    answer = client.post(here, {"password": PASSWORD}, follow=True)
    assert "It changes to <strong>new@example.org</strong>" in answer.content.decode()
    member.refresh_from_db()
    assert member.email == "old@example.org"

    address = link(mail.outbox[-1])
    assert mail.outbox[-1].to == ["new@example.org"]
    asked = client.get(address)
    assert "Is this your address?" in asked.content.decode()
    member.refresh_from_db()
    assert member.email == "old@example.org"  # a mail program that opens links confirms nothing
    client.post(address)
    member.refresh_from_db()
    assert member.email == "new@example.org"
    assert mail.outbox[-1].to == ["old@example.org"]
    assert "from old@example.org to new@example.org" in mail.outbox[-1].body
    assert "That link does not work any more" in client.get(address).content.decode()


def test_changing_to_an_address_of_another_member_does_not_tell_that_it_is_one(client):
    MemberFactory(email="known@example.org")
    pages = []
    for address in ("known@example.org", "new@example.org"):
        member, one = MemberFactory(email="old@example.org"), Client()
        sign_in(one, member.username)
        asked = one.post(E_MAIL, {"email": address, "action_add": "yes"}, follow=True)
        here = asked.request["PATH_INFO"] + "?" + asked.request["QUERY_STRING"]
        page = shape(one.post(here, {"password": PASSWORD}, follow=True))
        pages.append(page.replace(address, "").replace(str(member), ""))
    assert pages[0] == pages[1]


# What others see


def test_a_members_page_shows_name_role_and_since_when_and_nothing_private(client):
    joined = timezone.datetime(2026, 3, 4, tzinfo=timezone.get_current_timezone())
    member = MemberFactory(
        username="ada", display_name="Ada", steward=True, first_name="Adelheid", last_name="Secretname",
        email="private@example.org", date_joined=joined, last_login=joined.replace(year=2031),
    )  # fmt: skip
    page = client.get(member.get_absolute_url()).content.decode()
    for shown in ("<h1>Ada</h1>", "steward", "4 March 2026"):
        assert shown in page
    for private in ("private@example.org", "Adelheid", "Secretname", "2031", member.password):
        assert private not in page


def test_there_is_no_page_of_somebody_who_is_no_member(client):
    MemberFactory(username="gone", is_active=False)
    assert client.get("/members/gone/").status_code == client.get("/members/nobody/").status_code == 404


def test_ones_own_account_asks_a_visitor_to_sign_in_first(client):
    for address in (ACCOUNT, CHANGE, E_MAIL):
        assert client.get(address)["Location"] == f"{IN}?next={address}"


def test_a_closed_account_is_told_so_only_after_the_right_password(client):
    MemberFactory(username="ada", is_active=False)
    assert "closed" not in sign_in(client, "ada", "not it").content.decode()
    answer = client.post(IN, {"login": "ada", "password": PASSWORD}, follow=True)
    assert "This account is closed" in answer.content.decode()
    assert not signed_in(client)


OPEN_PAGES = [
    IN, UP, OUT, FORGOTTEN, "/account/password/forgotten/sent/", "/account/password/new/1-a/",
    "/account/password/new/done/", "/account/e-mail/sent/", "/account/e-mail/confirm/a:b:c/",
    "/account/closed/",
]  # fmt: skip
MEMBERS_PAGES = [
    ACCOUNT, OUT, CHANGE, E_MAIL, "/account/confirm/", FORGOTTEN, "/account/second-factor/",
    "/account/sign-ins/",
]  # fmt: skip


@pytest.mark.parametrize(
    ("address", "member"), [(a, False) for a in OPEN_PAGES] + [(a, True) for a in MEMBERS_PAGES]
)
def test_every_page_of_an_account_is_in_the_sites_look(client, address, member):
    if member:
        client.force_login(MemberFactory())
    answer = client.get(address)
    page = answer.content.decode()
    assert answer.status_code == 200
    assert 'class="masthead"' in page
    assert "club/account.css" in page
    assert page.count("<h1>") == 1
    assert not re.search(r"<(style|script(?! src))| style=", page)
    assert not re.search(r"\w!", re.sub(r"<!doctype[^>]*>|<[^>]+>", "", page))


def test_a_member_without_a_password_is_asked_to_set_one(client):
    member = MemberFactory()
    member.set_unusable_password()
    member.save()
    client.force_login(member)
    page = client.get(CHANGE, follow=True)
    assert page.request["PATH_INFO"] == "/account/password/first/"
    assert 'class="masthead"' in page.content.decode()
    client.post("/account/password/first/", {"password1": NEW, "password2": NEW})
    member.refresh_from_db()
    assert member.check_password(NEW)


# Roles


def test_a_role_is_given_and_told_on_the_command_line():
    member = MemberFactory(username="ada")
    told = StringIO()
    call_command("role", "Ada", "librarian", stdout=told)
    member.refresh_from_db()
    assert member.keeps_library
    call_command("role", "ada", stdout=told)
    call_command("role", "ada", "librarian", stdout=told)
    assert told.getvalue().splitlines() == [
        "ada was a member and is now a librarian.",
        "ada is a librarian.",
        "ada is a librarian already.",
    ]


def test_a_role_or_name_that_there_is_not_is_refused_in_words():
    MemberFactory(username="ada")
    with pytest.raises(CommandError, match="No member is called bob"):
        call_command("role", "bob", "steward")
    with pytest.raises(CommandError, match="invalid choice: 'king'"):
        call_command("role", "ada", "king")
