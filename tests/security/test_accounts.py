"""What keeps an account its member's: sign-ins that end, keys that change, passwords that are no guess."""

from __future__ import annotations

import re
from datetime import timedelta
from io import StringIO
from pathlib import Path

import pytest
from django.conf import settings
from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone

from club.accounts.passwords import NotOurWords
from club.models import Token
from tests.club.visiting import ACCOUNT, NEW, sign_in, sign_up, signed_in
from tests.factories import PASSWORD, MemberFactory

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


def ends(client: Client):
    return Session.objects.get(session_key=client.session.session_key).expire_date


@pytest.mark.parametrize("comes_in", ["signing in", "signing up"])
def test_a_sign_in_ends_on_its_day_whatever_is_done_meanwhile(client, comes_in):
    if comes_in == "signing in":
        MemberFactory(username="ada")
        sign_in(client, "ada")
    else:
        sign_up(client)
    first = ends(client)
    assert abs(first - timezone.now() - timedelta(days=14)) < timedelta(minutes=1)
    Session.objects.update(expire_date=timezone.now() + timedelta(days=1))
    client.post(ACCOUNT, {"display_name": "Ada of the hall"})
    session = client.session
    session["seen"] = True
    session.save()
    assert ends(client) == first


def test_the_session_has_another_key_after_the_password_was_asked_for_again(client):
    MemberFactory(username="ada")
    sign_in(client, "ada")
    before = client.session.session_key
    assert client.post("/account/confirm/", {"password": PASSWORD}).status_code == 302
    assert signed_in(client)
    assert client.session.session_key != before
    assert not Session.objects.filter(session_key=before).exists()


def test_who_signed_out_or_was_put_out_cannot_use_the_session_again(client):
    ada = MemberFactory(username="ada")
    other = Client()
    for one in (client, other):
        sign_in(one, "ada")
    kept = client.cookies["sessionid"].value
    client.post("/account/sign-out/")
    client.cookies["sessionid"] = kept
    assert client.get(ACCOUNT).status_code == 302
    assert other.get(ACCOUNT).status_code == 200
    ada.is_active = False
    ada.save()
    assert other.get(ACCOUNT).status_code == 302


def test_an_operator_signs_a_member_out_everywhere_and_nobody_else():
    ada, bob = Client(), Client()
    for one, name in ((ada, "ada"), (bob, "bob")):
        MemberFactory(username=name)
        sign_in(one, name)
    said = StringIO()
    call_command("sign_out", "Ada", stdout=said)
    assert said.getvalue() == "1 sign-in ended.\n"
    assert [one.get(ACCOUNT).status_code for one in (ada, bob)] == [302, 200]
    with pytest.raises(CommandError, match="No member is called eve"):
        call_command("sign_out", "eve")


def test_an_operator_signs_everybody_out_and_revokes_what_programs_have(client):
    ada = MemberFactory(username="ada")
    sign_in(client, "ada")
    token, _ = Token.make(ada, "timer", "read", timezone.now() + timedelta(days=1))
    said = StringIO()
    call_command("sign_out", everybody=True, tokens=True, stdout=said)
    assert said.getvalue() == "1 sign-in ended. 1 token revoked.\n"
    token.refresh_from_db()
    assert not token.is_live
    assert client.get(ACCOUNT).status_code == 302


@pytest.mark.parametrize("guess", ["setuplibrary", "Setup-Library-2031", "ClubRacing!!", "wheelswheels1"])
def test_a_password_of_this_sites_own_words_is_refused(guess):
    with pytest.raises(ValidationError, match="words that anybody would try"):
        NotOurWords().validate(guess)


def test_a_password_of_the_clubs_name_is_refused_with_that_of_this_club(client, settings):
    settings.CLUB_NAME = "Lapwing Circle"
    with pytest.raises(ValidationError):
        NotOurWords().validate("LapwingCircle1")
    answer = sign_up(client, password1="LapwingCircle1")
    assert answer.status_code == 200
    assert "anybody would try" in answer.content.decode()


@pytest.mark.parametrize("fine", [NEW, PASSWORD, "four setups later", "水たまりの上の速い車", "x" * 200])
def test_other_passwords_are_taken_whatever_their_letters(fine):
    NotOurWords().validate(fine)


def test_a_password_of_two_hundred_characters_with_spaces_round_it_is_taken_as_it_is(client):
    long = f"  {'four quiet laps indoors ' * 8}  "
    sign_up(client, password1=long)
    assert signed_in(client)
    elsewhere = Client()
    assert sign_in(elsewhere, "wren", long.strip()).status_code == 200
    assert sign_in(elsewhere, "wren", long).status_code == 302


def test_a_password_manager_is_shown_where_passwords_change(client):
    client.force_login(MemberFactory())
    answer = client.get("/.well-known/change-password", follow=True)
    page = answer.content.decode()
    assert answer.redirect_chain[-1][0] == "/account/password/"
    assert 'autocomplete="current-password"' in page
    assert 'autocomplete="new-password"' in page


def test_a_weakness_is_reported_where_the_club_says_and_for_a_time_that_is_told(client, settings):
    assert client.get("/.well-known/security.txt").status_code == 404
    settings.SECURITY_CONTACT = ["mailto:steward@example.org", "https://club.example.org/contact"]
    answer = client.get("/.well-known/security.txt")
    lines = dict(line.split(": ", 1) for line in answer.content.decode().splitlines()[::-1])
    assert answer["Content-Type"] == "text/plain; charset=utf-8"
    assert lines["Contact"] == "mailto:steward@example.org"
    until = timezone.datetime.fromisoformat(lines["Expires"].replace("Z", "+00:00"))
    assert timedelta(days=100) < until - timezone.now() < timedelta(days=365)


def test_nothing_of_a_request_is_sent_back_to_who_traces_it(client):
    answer = client.generic("TRACE", "/", headers={"X-Secret": "do not repeat"})
    assert "do not repeat" not in answer.content.decode() + str(answer.headers)


@pytest.mark.parametrize("address", ["/static/", "/static/club/", "/.git/config", "/.env", "/db.sqlite3"])
def test_no_folder_and_no_file_of_the_server_is_shown(client, address):
    assert client.get(address).status_code == 404


def test_calls_tried_on_the_interfaces_page_take_the_token_from_the_page():
    member = Client(enforce_csrf_checks=True)
    member.force_login(MemberFactory())
    page = member.get("/api/docs/").content.decode()
    token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page)[1]
    script = (Path(settings.BASE_DIR) / "setups/static/api/docs.js").read_text()
    assert "input[name=csrfmiddlewaretoken]" in script
    assert "document.cookie" not in script
    for headers, status in (({}, 403), ({"X-CSRFToken": token}, 201)):
        sent = member.post("/api/v1/drafts/", {}, content_type="application/json", headers=headers)
        assert sent.status_code == status, sent.content
