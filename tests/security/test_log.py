"""What happens to accounts and rights is logged: who, where from, in which request; and no secret with it."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
import time_machine
from allauth.mfa.totp.internal.auth import TOTP as Activated
from django.conf import settings as site
from django.core.management import call_command
from django.test import Client
from django.utils import timezone
from pythonjsonlogger.json import JsonFormatter

from club.logs import RequestId
from club.models import Token
from tests.club.test_second_factor import CODES, OFF, codes_on, turn_on, type_code, wrong_code
from tests.club.visiting import HERE, NEW, OUT, ask_for_a_link, follow, sign_in, sign_up
from tests.factories import PASSWORD, MemberFactory

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


class Lines(list[str]):
    """What ``club.security`` logs, as the site's JSON lines."""

    def events(self) -> list[str]:
        return [self[number]["event"] for number in range(len(self))]

    def __getitem__(self, number: int) -> dict[str, Any]:  # type: ignore[override]
        return json.loads(super().__getitem__(number))


@pytest.fixture
def lines() -> Iterator[Lines]:
    kept = Lines()
    handler = logging.Handler()
    handler.setFormatter(JsonFormatter(site.LOGGING["formatters"]["json"]["format"]))
    handler.addFilter(RequestId())
    handler.emit = lambda record: kept.append(handler.format(record))  # type: ignore[method-assign]
    for name in ("club.security", "club.requests"):
        logging.getLogger(name).addHandler(handler)
    yield kept
    for name in ("club.security", "club.requests"):
        logging.getLogger(name).removeHandler(handler)


def test_wrong_passwords_and_the_lock_are_logged_with_the_member_the_address_and_the_request(
    client, lines, settings
):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "2/900s/key"}
    ada = MemberFactory(username="ada")
    answers = [sign_in(client, "ada", "a wrong guess") for _ in range(3)]
    assert lines.events() == ["sign-in-failed", "sign-in-failed", "locked-out", "too-often"]
    failed = lines[0]
    assert (failed["member"], failed["address"], failed["levelname"]) == (ada.pk, HERE, "WARNING")
    assert failed["request_id"] == answers[0]["X-Request-ID"]
    assert lines[3]["path"] == "/account/sign-in/"


def test_what_was_typed_into_the_form_is_nowhere_in_the_log(client, lines):
    MemberFactory(username="ada")
    sign_in(client, "my secret words, typed into the field for the name", "and again")
    sign_in(client, "ada", "a wrong guess")
    sign_in(client, "ada")
    client.post(OUT)
    assert lines.events() == ["sign-in-failed", "sign-in-failed", "signed-in", "signed-out"]
    assert lines[0].get("member") is None
    for typed in ("secret words", "and again", "wrong guess", PASSWORD, "ada"):
        assert typed not in "".join(map(str, list.__iter__(lines)))


def test_a_forgotten_password_leaves_lines_without_the_link_that_was_mailed(client, lines):
    logging.getLogger("club.requests").setLevel(logging.INFO)
    try:
        MemberFactory(username="ada", email="ada@example.org")
        address = ask_for_a_link(client, "ada@example.org")
        page = follow(client, address)
        client.post(page.request["PATH_INFO"], {"password1": NEW, "password2": NEW})
    finally:
        logging.getLogger("club.requests").setLevel(site.LOGGING["loggers"]["club.requests"]["level"])
    text = "".join(map(str, list.__iter__(lines)))
    assert '"password-reset"' in text
    assert '"/account/password/new/"' in text
    secret = address.rstrip("/").rpartition("-")[2]
    assert len(secret) > 10
    for kept_back in (secret, "ada@example.org", NEW):
        assert kept_back not in text


def test_signing_up_and_a_new_password_are_logged(client, lines):
    sign_up(client)
    client.post("/account/password/", {"oldpassword": NEW, "password1": PASSWORD, "password2": PASSWORD})
    assert lines.events() == ["signed-up", "signed-in", "password-changed"]


def test_what_is_refused_is_logged_of_pages_and_of_programs(client, lines):
    ada = MemberFactory()
    client.force_login(ada)
    client.get("/stewards/")
    client.post("/api/v1/race-classes/", {}, content_type="application/json")
    Client().get("/api/v1/garage/parts/", headers={"Authorization": "Bearer setups_guessed"})
    Client(enforce_csrf_checks=True).post(OUT)
    refused = [(line["event"], line["path"], line.get("member")) for line in (lines[n] for n in range(1, 5))]
    assert refused == [
        ("refused", "/stewards/", ada.pk),
        ("refused", "/api/v1/race-classes/", ada.pk),
        ("unknown", "/api/v1/garage/parts/", None),
        ("refused", "/account/sign-out/", None),
    ]
    assert "guessed" not in "".join(map(str, list.__iter__(lines)))


def test_a_change_of_rights_is_logged_however_it_is_made(lines):
    ada = MemberFactory(username="ada")
    call_command("role", "ada", "librarian", stdout=StringIO())
    ada.refresh_from_db()
    ada.is_active, ada.display_name = False, "Ada"
    ada.save()
    ada.save(update_fields=["display_name"])
    changed = [lines[number] for number in range(len(lines))]
    assert [(one["event"], one["member"], one["right"]) for one in changed] == [
        ("rights-changed", ada.pk, "role"),
        ("rights-changed", ada.pk, "is_active"),
    ]
    assert (changed[0]["before"], changed[0]["now"]) == ("member", "librarian")


def test_tokens_are_logged_by_number_when_they_are_made_and_revoked(lines):
    ada = MemberFactory()
    token, secret = Token.make(ada, "timer", "read write", timezone.now() + timedelta(days=1))
    token.revoke()
    token.revoke()
    assert lines.events() == ["token-made", "token-revoked"]
    assert (lines[0]["member"], lines[0]["token"], lines[0]["scopes"]) == (ada.pk, token.pk, "read write")
    text = "".join(map(str, list.__iter__(lines)))
    assert secret not in text
    assert token.digest not in text


def test_nothing_in_an_address_makes_a_second_line(client, lines):
    client.force_login(MemberFactory())
    client.get("/stewards/%0aINFO - club.security: signed-in member=1.csv")
    logged = list(list.__iter__(lines))
    assert all("\n" not in line for line in logged)


@pytest.mark.django_db(transaction=True)
def test_a_second_factor_is_logged_through_its_life_without_its_key_and_its_codes(client, lines, settings):
    """Transactional, since what comes of turning it on is told once it is stored."""
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "2/900s/key"}
    logging.getLogger("club.requests").setLevel(logging.INFO)
    try:
        ada = MemberFactory(username="ada")
        sign_in(client, "ada")
        key = turn_on(client)
        spare = codes_on(client.get(CODES))
        client.post(CODES + "new/")
        fresh = codes_on(client.get(CODES))
        other, guess = Client(), wrong_code(key)
        sign_in(other, "ada")
        type_code(other, fresh[0])
        third = Client()
        sign_in(third, "ada")
        answers = [type_code(third, guess) for _ in range(3)]
        client.post(OFF)
        call_command("second_factor", "ada", take_off=True, stdout=StringIO())
        Activated.activate(ada, key)
        call_command("second_factor", "ada", take_off=True, stdout=StringIO())
    finally:
        logging.getLogger("club.requests").setLevel(site.LOGGING["loggers"]["club.requests"]["level"])
    events = [one for one in (lines[n] for n in range(len(lines))) if "event" in one]
    assert [(one["event"], one.get("factor")) for one in events] == [
        ("signed-in", None),
        ("second-factor-on", "totp"),
        ("second-factor-on", "recovery_codes"),
        ("recovery-codes-made", "recovery_codes"),
        ("second-factor-used", "recovery_codes"),
        ("signed-in", None),
        ("second-factor-failed", "totp"),
        ("second-factor-failed", "totp"),
        ("locked-out", None),
        ("too-often", None),
        ("second-factor-off", "totp"),
        ("second-factor-off", "recovery_codes"),
        ("second-factor-taken-off", None),
    ]
    assert {one.get("member") for one in events} == {ada.pk, None}
    assert events[6]["address"] == HERE
    assert events[6]["request_id"] == answers[0]["X-Request-ID"]
    text = "".join(map(str, list.__iter__(lines)))
    for kept_back in (key, guess, *spare, *fresh, "otpauth"):
        assert kept_back not in text


def test_the_end_of_a_sign_in_is_logged_as_its_member_ends_it_and_as_it_ends_idle(client, lines):
    ada = MemberFactory(username="ada")
    other = Client()
    with time_machine.travel("2031-05-03 12:00:00+00:00", tick=False) as clock:
        for one in (client, other):
            sign_in(one, "ada")
        client.post("/account/confirm/", {"password": PASSWORD})
        client.post("/account/sign-ins/others/end/")
        clock.shift(timedelta(days=9))
        client.get("/account/")
    assert lines.events() == ["signed-in", "signed-in", "sign-in-ended", "signed-out-idle"]
    assert [lines[number]["member"] for number in (2, 3)] == [ada.pk, ada.pk]
    assert lines[2]["ended"] == 1
