"""Where a member is signed in: the list of it, the end of one and of all others, and the end of the idle."""

from __future__ import annotations

import re
from datetime import timedelta
from io import StringIO

import pytest
import time_machine
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import TOTP
from allauth.usersessions.models import UserSession
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from club.accounts.sign_ins import network_of
from club.models import Member
from setups.demo.members import PASSPHRASE
from tests.club.visiting import ACCOUNT, ELSEWHERE, NEW, OUT, sign_in, signed_in
from tests.factories import PASSWORD, MemberFactory

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

LIST = "/account/sign-ins/"
PHONE = (
    "Mozilla/5.0 (Linux; Android 14; K) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/120.0.0.0 "
    "Mobile Safari/537.36"
)
DESK = "Mozilla/5.0 (X11; Linux x86_64; rv:120.0) Gecko/20100101 Firefox/120.0"
NOON = "2031-05-03 12:00:00+00:00"


def of(name: str, agent: str = DESK, **more) -> Client:
    """A browser with which ``name`` has just signed in."""
    client = Client(headers={"User-Agent": agent})
    sign_in(client, name, **more)
    return client


def confirm(client: Client) -> None:
    client.post("/account/confirm/", {"password": PASSWORD})


def rows(client: Client) -> list[str]:
    """The words of each line of the list."""
    page = client.get(LIST).content.decode()
    return [
        " ".join(re.sub("<[^>]+>", " ", row).split())
        for row in re.findall(r'<li class="token">(.*?)</li>', page, re.DOTALL)
    ]


def test_each_sign_in_is_listed_with_network_browser_and_times():
    MemberFactory(username="ada")
    MemberFactory(username="bob")
    with time_machine.travel(NOON, tick=False) as clock:
        phone = of("ada", PHONE, at=ELSEWHERE)
        clock.shift(timedelta(hours=2))
        desk = of("ada")
        of("bob")
        first, second = rows(desk)
    assert first == "Firefox on Linux from 192.0.2.… · since 3 May 2031, 14:00 · in use now This one"
    assert second == (
        "Chrome Mobile on Android from 198.51.100.… · since 3 May 2031, 12:00 · "
        "last seen 3 May 2031, 12:00 End it Chrome Mobile on Android"
    )
    assert signed_in(phone)


@pytest.mark.parametrize(
    ("address", "network"),
    [
        ("192.0.2.77", "192.0.2.0"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::"),
        ("2001:db8::9", "2001:db8::"),
        ("255.255.255.255", "255.255.255.0"),
    ],
)
def test_of_an_address_only_the_network_is_kept(address, network):
    assert network_of(address) == network
    MemberFactory(username="ada")
    of("ada", at=address)
    assert UserSession.objects.get().ip == network


def test_an_address_of_ipv4_that_is_told_as_ipv6_is_still_one_of_ipv4(settings):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "1/900s/key"}
    MemberFactory(username="ada")
    of("ada", at="::ffff:192.0.2.77")
    assert UserSession.objects.get().ip == "192.0.2.0"
    stranger, ada = Client(), Client()
    sign_in(stranger, "ada", "wrong", at="::ffff:198.51.100.9")
    sign_in(ada, "ada", at="::ffff:192.0.2.77")
    assert signed_in(ada)


def test_the_page_says_what_is_kept_and_for_how_long(client, settings):
    client.force_login(MemberFactory())
    page = client.get(LIST).content.decode()
    assert "the network that it came from (never the whole address)" in page
    assert "A sign-in ends after 14 days at the latest. One that nobody uses ends after 8 days." in page
    settings.SESSION_IDLE_HOURS = 5
    assert "One that nobody uses ends after 5 hours." in client.get(LIST).content.decode()
    settings.SESSION_IDLE_HOURS = 0
    assert "One that nobody uses" not in client.get(LIST).content.decode()


def test_a_browser_that_does_not_say_what_it_is_has_a_line_too():
    MemberFactory(username="ada")
    assert rows(of("ada", ""))[0].startswith("A browser that does not say what it is from")


def test_one_is_ended_after_the_password_and_the_others_go_on():
    MemberFactory(username="ada")
    lost, desk, phone = of("ada", PHONE), of("ada"), of("ada", PHONE)
    key = UserSession.objects.get(session_key=lost.session.session_key).pk
    address = f"{LIST}{key}/end/"
    assert desk.get(address).status_code == 405
    assert desk.post(address).url.startswith("/account/confirm/")
    assert lost.get(ACCOUNT).status_code == 200
    confirm(desk)
    assert desk.post(address).url == LIST
    assert [one.get(ACCOUNT).status_code for one in (lost, desk, phone)] == [302, 200, 200]
    assert len(rows(desk)) == 2


def test_nobody_ends_what_is_another_members():
    MemberFactory(username="ada")
    MemberFactory(username="bob")
    ada, bob = of("ada"), of("bob")
    confirm(bob)
    key = UserSession.objects.get(session_key=ada.session.session_key).pk
    assert bob.post(f"{LIST}{key}/end/").status_code == 404
    assert ada.get(ACCOUNT).status_code == 200


def test_the_one_in_hand_is_ended_by_signing_out():
    MemberFactory(username="ada")
    ada = of("ada")
    confirm(ada)
    assert ada.post(f"{LIST}{UserSession.objects.get().pk}/end/").url == OUT
    assert signed_in(ada)
    ada.post(OUT)
    assert not UserSession.objects.exists()


def test_all_others_are_ended_also_those_of_before_there_was_a_list():
    ada = MemberFactory(username="ada")
    MemberFactory(username="bob")
    here, other, bob, older = of("ada"), of("ada"), of("bob"), Client()
    older.force_login(ada)
    assert not UserSession.objects.filter(session_key=older.session.session_key).exists()
    confirm(here)
    answer = here.post(LIST + "others/end/", follow=True)
    assert "2 other sign-ins have ended." in answer.content.decode()
    found = [one.get(ACCOUNT).status_code for one in (here, other, older, bob)]
    assert found == [200, 302, 302, 200]
    assert len(rows(here)) == 1
    assert "signed in nowhere else" in here.post(LIST + "others/end/", follow=True).content.decode()


def test_a_new_key_of_the_session_is_the_same_sign_in():
    MemberFactory(username="ada")
    with time_machine.travel(NOON, tick=False) as clock:
        ada = of("ada")
        clock.shift(60)
        before = ada.session.session_key
        confirm(ada)
        change = {"oldpassword": PASSWORD, "password1": NEW, "password2": NEW}
        ada.post("/account/password/", change)
        assert ada.session.session_key != before
        row = UserSession.objects.get()
        assert row.session_key == ada.session.session_key
        assert row.created_at == timezone.datetime.fromisoformat(NOON)


def test_last_seen_is_written_every_five_minutes_and_by_no_other_request():
    MemberFactory(username="ada")
    with time_machine.travel(NOON, tick=False) as clock:
        ada = of("ada")
        ada.get(ACCOUNT)

        def written() -> list[str]:
            with CaptureQueriesContext(connection) as asked:
                ada.get(ACCOUNT)
            return [one["sql"] for one in asked if not one["sql"].startswith("SELECT")]

        clock.shift(4 * 60)
        assert written() == []
        clock.shift(2 * 60)
        changes = written()
        assert len(changes) == 1
        assert changes[0].startswith('UPDATE "usersessions_usersession"')
        assert written() == []
        assert UserSession.objects.get().last_seen_at == timezone.now()


def test_who_is_idle_for_so_long_is_signed_out_and_nothing_of_it_is_kept(settings):
    settings.SESSION_IDLE_HOURS = 10
    MemberFactory(username="ada")
    with time_machine.travel(NOON, tick=False) as clock:
        idle, busy = of("ada"), of("ada")
        for _ in range(3):
            clock.shift(timedelta(hours=4))
            assert busy.get(ACCOUNT).status_code == 200
        kept = idle.cookies["sessionid"].value
        assert idle.get(ACCOUNT).status_code == 302
        idle.cookies["sessionid"] = kept
        clock.shift(-timedelta(hours=12))
        assert idle.get(ACCOUNT).status_code == 302
    assert Session.objects.count() == UserSession.objects.count() == 1


def test_without_the_setting_nobody_is_signed_out_for_being_idle(settings):
    settings.SESSION_IDLE_HOURS = 0
    MemberFactory(username="ada")
    with time_machine.travel(NOON, tick=False) as clock:
        ada = of("ada")
        clock.shift(timedelta(days=13))
        assert ada.get(ACCOUNT).status_code == 200


def test_being_used_does_not_put_off_the_last_day():
    MemberFactory(username="ada")
    with time_machine.travel(NOON, tick=False) as clock:
        ada = of("ada")
        for _ in range(4):
            clock.shift(timedelta(days=3))
            assert ada.get(ACCOUNT).status_code == 200
        clock.shift(timedelta(days=3))
        assert ada.get(ACCOUNT).status_code == 302


def test_clearing_sessions_takes_what_is_idle_and_what_is_known_of_what_has_ended(settings):
    settings.SESSION_IDLE_HOURS = 48
    MemberFactory(username="ada")
    with time_machine.travel(NOON, tick=False) as clock:
        of("ada")
        clock.shift(timedelta(days=1))
        busy = of("ada")
        Session.objects.filter(session_key=of("ada").session.session_key).delete()
        clock.shift(timedelta(hours=30))
        call_command("clearsessions")
        assert [one.session_key for one in UserSession.objects.all()] == [busy.session.session_key]
        assert Session.objects.count() == 1


def test_the_demo_is_taken_out_with_what_its_members_signed_in_with(client):
    call_command("demo", setups=0, with_accounts=True, stdout=StringIO())
    sign_in(client, "member", PASSPHRASE)
    TOTP.activate(Member.objects.get(username="member"), "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ")
    assert UserSession.objects.count() == Authenticator.objects.count() == 1
    call_command("demo", setups=0, reset=True, stdout=StringIO())
    assert UserSession.objects.count() == Authenticator.objects.count() == 0
    assert client.get(ACCOUNT).status_code == 302
