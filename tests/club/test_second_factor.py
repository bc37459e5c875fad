"""A code from the phone besides the password. pyotp makes the codes, as an app does (RFC 6238)."""

from __future__ import annotations

import re
import time
from html import unescape
from io import StringIO

import pyotp
import pytest
import time_machine
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import TOTP as Activated
from django.core import mail
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone

from club import refusals
from club.accounts import second_factor
from club.accounts.sealed import Unreadable, seal, unseal
from club.models import Token
from tests.club.visiting import ACCOUNT, ELSEWHERE, HERE, NEW, OUT, ask_for_a_link, follow, sign_in, signed_in
from tests.factories import PASSWORD, MemberFactory

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

CODE, FACTOR = "/account/sign-in/code/", "/account/second-factor/"
ON, OFF, CODES = FACTOR + "on/", FACTOR + "off/", FACTOR + "codes/"
KEY = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"
"""The key of RFC 6238, appendix B, for SHA-1: the ASCII letters 12345678901234567890, in base32."""


def with_factor(username: str = "ada", key: str = KEY, **given: str):
    """A member whose app has ``key``."""
    member = MemberFactory(username=username, **given)
    Activated.activate(member, key)
    return member


def code_of(key: str = KEY, steps: int = 0) -> str:
    """What an app shows that has ``key``, so many half minutes from now."""
    return pyotp.TOTP(key).at(int(time.time()) + 30 * steps)


def wrong_code(key: str = KEY) -> str:
    """Six digits that are no code of ``key`` now."""
    right = {code_of(key, steps) for steps in (-1, 0, 1)}
    return next(guess for guess in ("000000", "111111", "222222", "333333") if guess not in right)


def type_code(client: Client, code: str, at: str = HERE):
    return client.post(CODE, {"code": code}, REMOTE_ADDR=at)


def confirm(client: Client) -> None:
    client.post("/account/confirm/", {"password": PASSWORD})


def key_on(page) -> str:
    """The key as text, as a person would type it."""
    return re.search(r'class="token-secret">([A-Z2-7 ]+)<', page.content.decode())[1].replace(" ", "")


def turn_on(client: Client) -> str:
    """Turn it on for who is signed in; returns the key of their app."""
    confirm(client)
    key = key_on(client.get(ON))
    answer = client.post(ON, {"code": code_of(key)})
    assert answer.url == CODES
    return key


def codes_on(page) -> list[str]:
    shown = re.findall(r"<code>(\d{4} \d{4})</code>", page.content.decode())
    return [code.replace(" ", "") for code in shown]


@pytest.mark.parametrize(
    ("seconds", "eight_digits"),
    [(59, "94287082"), (1111111109, "07081804"), (1234567890, "89005924"), (20000000000, "65353130")],
)
def test_a_code_is_that_of_rfc_6238(seconds, eight_digits):
    """RFC 6238, appendix B: the codes for SHA-1, of which six digits are the last six of eight."""
    with time_machine.travel(seconds, tick=False):
        assert second_factor.step_of(KEY, eight_digits[-6:]) == seconds // 30
        assert code_of() == eight_digits[-6:]


def test_a_member_turns_it_on_with_the_key_as_text_and_a_first_code(client):
    ada = MemberFactory(username="ada")
    sign_in(client, "ada")
    page = client.get(ON)
    assert page.url.startswith("/account/confirm/")
    confirm(client)
    page = client.get(ON)
    key = key_on(page)
    assert len(key) == 32
    address = re.search(r'href="(otpauth:[^"]+)"', page.content.decode())[1]
    told = pyotp.parse_uri(unescape(address))
    assert (told.secret, told.name, told.issuer, told.digits, told.interval) == (
        key, "ada", "Club setup library", 6, 30,
    )  # fmt: skip
    assert 'src="data:image/svg+xml;base64,' in page.content.decode()

    answer = client.post(ON, {"code": wrong_code(key)})
    assert answer.status_code == 200
    assert "That code is not right" in answer.content.decode()
    assert key_on(answer) == key
    assert not Authenticator.objects.exists()

    assert client.post(ON, {"code": code_of(key)}).url == CODES
    page = client.get(CODES)
    assert len(codes_on(page)) == len(set(codes_on(page))) == 10
    assert "The second factor is on" in client.get(FACTOR).content.decode()
    assert key not in str(Authenticator.objects.get(user=ada, type="totp").data)
    assert "mfa.totp.secret" not in client.session


def test_who_sends_it_twice_comes_to_the_recovery_codes_and_not_to_where_it_is_turned_off(client):
    MemberFactory(username="ada")
    sign_in(client, "ada")
    key = turn_on(client)
    assert client.post(ON, {"code": code_of(key)}).url == CODES
    assert client.get(ON).url == FACTOR
    assert Client().get(ON).url.startswith("/account/sign-in/")


def test_the_picture_holds_the_address_with_the_key():
    import segno

    drawn = second_factor.Adapter().build_totp_svg("otpauth://totp/ada?secret=" + KEY)
    assert "http://www.w3.org/2000/svg" in drawn
    assert "<script" not in drawn
    dark = sum(map(sum, segno.make("otpauth://totp/ada?secret=" + KEY, error="m", micro=False).matrix))
    runs = [int(length) for length in re.findall(r"h(\d+)", drawn.split('class="qrline"')[1])]
    assert sum(runs) == dark


def test_signing_in_asks_for_the_code_on_a_page_of_its_own(client):
    with_factor()
    answer = sign_in(client, "ada", next="/garage/")
    assert answer.url == CODE
    assert not signed_in(client)
    assert client.get(ACCOUNT).status_code == 302
    page = client.get(CODE)
    assert 'class="masthead"' in page.content.decode()
    assert 'autocomplete="one-time-code"' in page.content.decode()
    answer = type_code(client, code_of())
    assert signed_in(client)
    assert answer.url == "/garage/"
    ends = timezone.datetime.fromisoformat(client.session["_session_expiry"])
    assert 13 < (ends - timezone.now()).days + 1 <= 14


def test_a_code_with_a_gap_in_it_is_taken_as_the_app_shows_it(client):
    with_factor()
    sign_in(client, "ada")
    type_code(client, f" {code_of()[:3]} {code_of()[3:]} ")
    assert signed_in(client)


def test_there_is_no_page_for_a_code_before_the_password(client):
    with_factor()
    assert client.get(CODE).url == "/account/sign-in/"
    assert type_code(client, code_of()).url == "/account/sign-in/"
    assert not signed_in(client)


def test_who_has_no_second_factor_is_asked_for_no_code(client):
    MemberFactory(username="bob")
    sign_in(client, "bob")
    assert signed_in(client)


def test_a_code_works_once_and_an_earlier_one_not_after_it():
    """RFC 6238, 5.2: the verifier must not accept the second attempt of a code that was accepted."""
    with_factor()
    with time_machine.travel("2031-05-03 10:00:05+00:00", tick=False) as clock:
        first = code_of()
        for one, works in ((Client(), True), (Client(), False)):
            sign_in(one, "ada")
            type_code(one, first)
            assert signed_in(one) is works
        clock.shift(30)
        second, late = code_of(), code_of(steps=-1)
        assert late == first
        for code, works in ((late, False), (second, True), (second, False)):
            one = Client()
            sign_in(one, "ada")
            type_code(one, code)
            assert signed_in(one) is works


def test_the_code_that_turned_it_on_does_not_sign_in(client):
    MemberFactory(username="ada")
    with time_machine.travel("2031-05-03 10:00:05+00:00", tick=False) as clock:
        sign_in(client, "ada")
        key = turn_on(client)
        other = Client()
        sign_in(other, "ada")
        type_code(other, code_of(key))
        assert not signed_in(other)
        clock.shift(30)
        type_code(other, code_of(key))
        assert signed_in(other)


def test_a_used_code_is_refused_in_another_process_too(client, settings):
    """What is used up stands in the row, not in the memory of a process."""
    from django.core.cache import cache

    with_factor()
    sign_in(client, "ada")
    used = code_of()
    type_code(client, used)
    cache.clear()
    other = Client()
    sign_in(other, "ada")
    type_code(other, used)
    assert not signed_in(other)


@pytest.mark.parametrize(("steps", "works"), [(-2, False), (-1, True), (0, True), (1, True), (2, False)])
def test_a_code_is_taken_half_a_minute_early_or_late(client, steps, works):
    with_factor()
    with time_machine.travel("2031-05-03 10:00:05+00:00", tick=False):
        sign_in(client, "ada")
        type_code(client, code_of(steps=steps))
    assert signed_in(client) is works


def test_a_clock_that_was_put_back_locks_nobody_out(client):
    with_factor()
    with time_machine.travel("2031-06-03 10:00:05+00:00", tick=False):
        sign_in(client, "ada")
        type_code(client, code_of())
        assert signed_in(client)
    other = Client()
    with time_machine.travel("2031-05-03 10:00:05+00:00", tick=False):
        sign_in(other, "ada")
        type_code(other, code_of())
    assert signed_in(other)


def test_wrong_codes_lock_as_wrong_passwords_do_wherever_they_come_from(client, settings):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "3/900s/key"}
    with_factor()
    for at in (HERE, ELSEWHERE, HERE):
        sign_in(client, "ada", at=at)
        answer = type_code(client, wrong_code(), at=at)
        assert answer.status_code == 200
        assert "That code is not right" in answer.content.decode()
    answer = type_code(client, code_of())
    page = answer.content.decode()
    assert answer.status_code == 429
    assert 890 <= int(answer["Retry-After"]) <= 900
    assert "Wait 15 minutes, then try again" in page
    assert 'href="/account/password/forgotten/"' in page
    assert not signed_in(client)


def test_the_right_code_takes_the_wrong_ones_back(client, settings):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "3/900s/key"}
    with_factor()
    with time_machine.travel("2031-05-03 10:00:05+00:00", tick=False) as clock:
        for _ in range(3):
            one = Client()
            sign_in(one, "ada")
            for _ in range(2):
                type_code(one, wrong_code())
            type_code(one, code_of())
            assert signed_in(one)
            clock.shift(30)


def test_a_used_code_does_not_take_the_wrong_ones_back(client, settings):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "3/900s/key"}
    with_factor()
    used = code_of()
    sign_in(client, "ada")
    type_code(client, used)
    other = Client()
    sign_in(other, "ada")
    answers = [type_code(other, code) for code in (used, wrong_code(), used, used)]
    assert [answer.status_code for answer in answers] == [200, 200, 200, 429]


def test_wrong_codes_are_counted_where_it_is_turned_on_too(client, settings):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "2/900s/key"}
    MemberFactory(username="ada")
    sign_in(client, "ada")
    confirm(client)
    key = key_on(client.get(ON))
    answers = [client.post(ON, {"code": wrong_code(key)}) for _ in range(3)]
    assert [answer.status_code for answer in answers] == [200, 200, 429]


def test_a_text_that_is_longer_than_any_code_is_told_so(client):
    with_factor()
    sign_in(client, "ada")
    page = type_code(client, "1" * 41).content.decode()
    assert "That is longer than any code" in page


def test_the_second_step_is_open_for_a_quarter_of_an_hour(client):
    with_factor()
    with time_machine.travel("2031-05-03 10:00:05+00:00", tick=False) as clock:
        sign_in(client, "ada")
        clock.shift(16 * 60)
        assert type_code(client, code_of()).url == "/account/sign-in/"
    assert not signed_in(client)


def test_a_new_password_ends_what_was_begun_with_the_one_before(client):
    ada = with_factor()
    sign_in(client, "ada")
    ada.set_password(NEW)
    ada.save()
    assert type_code(client, code_of()).url == "/account/sign-in/"
    assert client.get(CODE).url == "/account/sign-in/"
    assert not signed_in(client)


def test_a_password_may_be_typed_for_somebody_else_after_all(client):
    with_factor()
    MemberFactory(username="bob")
    sign_in(client, "ada")
    client.post(OUT + "?next=/account/sign-in/")
    assert client.get(CODE).url == "/account/sign-in/"
    sign_in(client, "bob")
    assert signed_in(client)


def test_a_recovery_code_signs_in_once(client):
    MemberFactory(username="ada")
    sign_in(client, "ada")
    turn_on(client)
    spare = codes_on(client.get(CODES))
    for code, works in ((spare[3], True), (spare[3], False), (spare[7], True)):
        other = Client()
        sign_in(other, "ada")
        type_code(other, f"{code[:4]} {code[4:]}")
        assert signed_in(other) is works
    page = client.get(CODES)
    assert codes_on(page) == [code for code in spare if code not in (spare[3], spare[7])]


def test_recovery_codes_are_seen_and_downloaded_for_ten_minutes_and_made_anew(client):
    MemberFactory(username="ada")
    with time_machine.travel("2031-05-03 10:00:05+00:00", tick=False) as clock:
        sign_in(client, "ada")
        turn_on(client)
        spare = codes_on(client.get(CODES))
        file = client.get(CODES + "file/")
        assert file["Content-Type"] == "text/plain; charset=utf-8"
        assert "attachment" in file["Content-Disposition"]
        assert re.findall(r"^(\d{4}) (\d{4})$", file.content.decode(), re.MULTILINE) == [
            (code[:4], code[4:]) for code in spare
        ]
        clock.shift(11 * 60)
        confirm(client)
        page = client.get(CODES)
        assert codes_on(page) == []
        assert "10 codes are left" in page.content.decode()
        assert client.get(CODES + "file/").status_code == 404
        assert client.post(CODES + "new/").url == CODES
        fresh = codes_on(client.get(CODES))
        assert len(fresh) == 10
        assert not set(fresh) & set(spare)
        other = Client()
        sign_in(other, "ada")
        type_code(other, spare[0])
        assert not signed_in(other)


def test_codes_and_turning_off_ask_for_the_password_again(client):
    ada = MemberFactory(username="ada")
    sign_in(client, "ada")
    turn_on(client)
    other = Client()
    other.force_login(ada)
    for address in (CODES, CODES + "file/", OFF):
        assert other.get(address).url.startswith("/account/confirm/")
    assert other.post(CODES + "new/").url.startswith("/account/confirm/")
    assert other.post(OFF).url.startswith("/account/confirm/")
    assert Authenticator.objects.count() == 2


def test_a_code_does_not_stand_in_for_the_password(client):
    """What was read over a shoulder changes no account."""
    with_factor()
    sign_in(client, "ada")
    type_code(client, code_of())
    assert client.get(OFF).url.startswith("/account/confirm/")


def test_a_member_turns_it_off_after_the_password(client):
    MemberFactory(username="ada")
    sign_in(client, "ada")
    turn_on(client)
    assert "Turn the second factor off?" in client.get(OFF).content.decode()
    assert client.post(OFF).url == FACTOR
    assert not Authenticator.objects.exists()
    other = Client()
    sign_in(other, "ada")
    assert signed_in(other)


@pytest.mark.django_db(transaction=True)
def test_a_member_hears_of_each_change_by_mail(client):
    MemberFactory(username="ada", email="ada@example.org")
    sign_in(client, "ada")
    turn_on(client)
    client.post(CODES + "new/")
    client.post(OFF)
    assert [(one.to, one.subject) for one in mail.outbox] == [
        (["ada@example.org"], "[Club setup library] Your second factor was turned on"),
        (["ada@example.org"], "[Club setup library] New recovery codes were made"),
        (["ada@example.org"], "[Club setup library] Your second factor was turned off"),
    ]
    assert all("Was it not you?" in one.body for one in mail.outbox)
    assert "The second factor is off." in client.get(FACTOR).content.decode()


def test_nobody_sees_or_turns_off_what_another_has(client):
    with_factor("ada")
    bob = MemberFactory(username="bob")
    client.force_login(bob)
    confirm(client)
    assert client.get(CODES).status_code == 404
    assert client.get(OFF).status_code == 404
    assert client.post(CODES + "new/").status_code == 404
    assert Authenticator.objects.count() == 1


def test_a_forgotten_password_does_not_go_around_it(client):
    with_factor(email="ada@example.org")
    page = follow(client, ask_for_a_link(client, "ada@example.org"))
    client.post(page.request["PATH_INFO"], {"password1": NEW, "password2": NEW})
    assert not signed_in(client)
    assert sign_in(client, "ada", NEW).url == CODE
    assert not signed_in(client)


def test_a_closed_account_gets_no_further_with_a_code(client):
    ada = with_factor()
    sign_in(client, "ada")
    ada.is_active = False
    ada.save()
    type_code(client, code_of())
    assert client.get(ACCOUNT).status_code == 302


def test_a_token_goes_on_and_is_asked_for_no_code(client):
    ada = with_factor()
    _, secret = Token.make(ada, "timer", "read", timezone.now() + timezone.timedelta(days=1))
    answer = client.get("/api/v1/garage/parts/", headers={"Authorization": f"Bearer {secret}"})
    assert answer.status_code == 200
    client.force_login(ada)
    assert "No code of a second factor is asked of it" in client.get("/account/tokens/").content.decode()


def test_a_sealed_text_is_read_with_the_key_of_before_only_while_it_is_a_fallback(settings):
    settings.SECRET_KEY = "the first key " * 4
    first = seal(KEY)
    assert KEY not in first
    settings.SECRET_KEY, settings.SECRET_KEY_FALLBACKS = "the second key " * 4, ["the first key " * 4]
    assert unseal(first) == KEY
    settings.SECRET_KEY_FALLBACKS = []
    with pytest.raises(Unreadable):
        unseal(first)
    with pytest.raises(Unreadable):
        unseal(first[:-8] + "AAAAAAA=")


def test_with_another_secret_key_the_page_says_whom_to_ask_and_nobody_comes_in(client, settings):
    with_factor()
    settings.SECRET_KEY = "another key " * 5
    sign_in(client, "ada")
    answer = type_code(client, code_of())
    assert answer.status_code == 200
    assert "Ask the club to take the second factor off" in answer.content.decode()
    assert not signed_in(client)


def test_after_a_change_of_the_key_all_is_sealed_anew(settings):
    with_factor()
    before, settings.SECRET_KEY = settings.SECRET_KEY, "another key " * 5
    with pytest.raises(CommandError, match="1 cannot be read: put the SECRET_KEY"):
        call_command("second_factor", seal_anew=True, stdout=StringIO())
    settings.SECRET_KEY_FALLBACKS = [before]
    said = StringIO()
    call_command("second_factor", seal_anew=True, stdout=said)
    assert said.getvalue() == "1 rows are sealed with today's SECRET_KEY.\n"
    settings.SECRET_KEY_FALLBACKS = []
    assert unseal(Authenticator.objects.get().data["secret"]) == KEY


def test_an_operator_takes_a_lost_one_off(client):
    with_factor()
    said = StringIO()
    call_command("second_factor", "Ada", stdout=said)
    assert said.getvalue().startswith("ada has a second factor since ")
    call_command("second_factor", "Ada", take_off=True, stdout=said)
    call_command("second_factor", "ada", stdout=said)
    call_command("second_factor", "ada", take_off=True, stdout=said)
    assert "The second factor of ada is off" in said.getvalue()
    assert said.getvalue().count("ada has no second factor.") == 2
    sign_in(client, "ada")
    assert signed_in(client)
    with pytest.raises(CommandError, match="No member is called eve"):
        call_command("second_factor", "eve")


def test_every_page_of_it_is_in_the_sites_look(client):
    MemberFactory(username="ada")
    sign_in(client, "ada")
    confirm(client)
    pages = [client.get(FACTOR), client.get(ON)]
    turn_on(client)
    pages += [client.get(address) for address in (FACTOR, CODES, OFF)]
    other = Client()
    sign_in(other, "ada")
    pages.append(other.get(CODE))
    for page in pages:
        text = page.content.decode()
        assert page.status_code == 200
        assert 'class="masthead"' in text
        assert text.count("<h1>") == 1
        assert not re.search(r"<(style|script(?! src))| style=", text)
        assert "no-store" in page["Cache-Control"]


def test_a_code_is_not_given_back_where_the_database_is_away(rf):
    request = rf.post(CODE, {"code": "123456", "next": "/garage/"})
    assert "123456" not in refusals.away(request).content.decode()
    other = rf.post("/setups/new/", {"name": "Evening car"})
    assert "Evening car" in refusals.away(other).content.decode()
