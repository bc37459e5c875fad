"""The machine's clock is put back: the order of things is that of their numbers, and nobody is locked out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.test import Client

from setups.models import Decision, Revision, Setup
from setups.services import posting, verifying
from setups.services.cars import content_of, with_car
from setups.services.verifying import standing_of
from tests.factories import PASSWORD, MemberFactory, SetupFactory, reading_for
from tests.setups.asking import Caller, content, get

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

BEFORE = datetime(2031, 5, 4, 12, tzinfo=UTC)
BACK = BEFORE - timedelta(days=3)


@pytest.fixture
def clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(BEFORE, tick=False) as clock:
        yield clock


def revise(setup: Setup, notes: str) -> Revision:
    (now,) = with_car(Revision.objects.filter(current_of=setup))
    return posting.post(replace(content_of(now), notes=notes, what_changed=notes), setup.author, setup)


def test_the_newest_revision_and_the_record_go_by_their_numbers(clock):
    setup = SetupFactory(notes="first")
    address = f"setups/{setup.pk}/"
    etags = [get(address)["ETag"]]
    for notes in ("second", "third"):
        clock.move_to(BACK)
        revise(setup, notes)
        etags.append(get(address)["ETag"])
    setup.refresh_from_db()
    verifying.add(reading_for(setup, "front_width", "53"))

    assert (setup.current.number, setup.current.notes) == (3, "third")
    assert len(set(etags)) == 3, "also of what was changed within one tick of the clock"
    assert [one["number"] for one in get(f"{address}revisions/").json()["results"]] in ([1, 2, 3], [3, 2, 1])
    record = [one["action"] for one in get(f"{address}record/").json()]
    assert record == ["posted", "revised", "revised", "disputed"]
    page = Client().get(f"/setups/{setup.pk}/").content.decode()
    assert "third" in page
    assert standing_of(setup).revision.number == 3


def test_a_reading_that_the_clock_puts_before_others_verifies_and_ends_it_all_the_same(clock):
    setup = SetupFactory()
    members = MemberFactory.create_batch(2)
    for member in members:
        for quantity, value in (("front_width", "55"), ("rear_width", "55"), ("wheelbase", "92")):
            added = reading_for(setup, quantity, value, member=member)
            verifying.add(added)
            clock.shift(timedelta(hours=-1))
    setup.refresh_from_db()
    assert setup.state == Setup.State.VERIFIED

    clock.shift(timedelta(days=-400))
    verifying.withdraw(added, members[1])

    setup.refresh_from_db()
    assert setup.state == Setup.State.POSTED
    actions = list(setup.decisions.values_list("action", flat=True))
    assert actions == [Decision.Action.POSTED, Decision.Action.VERIFIED, Decision.Action.UNVERIFIED]


def test_a_draft_has_another_version_and_etag_whatever_the_clock_says(clock):
    caller = Caller(MemberFactory())
    made = caller.post("drafts/", {"typed": {"name": "Sunday"}})
    address, first = made["Location"], made["ETag"]
    clock.move_to(BACK)

    changed = caller.put(address, {"typed": {"name": "Monday"}}, If_Match=first)

    assert changed.status_code == 200, changed.content
    assert changed["ETag"] != first
    assert caller.put(address, {"typed": {"name": "Friday"}}, If_Match=first).status_code == 412


def test_who_is_signed_in_or_has_a_token_stays_so_and_a_key_is_still_of_one_request(clock):
    member = MemberFactory()
    browser, caller, sent = Client(), Caller(member), content()
    browser.post("/account/sign-in/", {"login": member.username, "password": PASSWORD})
    first = caller.post("setups/", sent, Idempotency_Key="k")
    clock.move_to(BACK)

    assert browser.get("/account/").status_code == 200
    assert caller.post("setups/", sent, Idempotency_Key="k").content == first.content
    assert Setup.objects.count() == 1
    token = member.tokens.get()
    assert token.last_used_at == BACK, "when it was last used is not ahead of the clock for days"


def test_too_many_wrong_passwords_are_waited_for_no_longer_than_said(clock, settings):
    member = MemberFactory()

    def sign_in(password: str):
        return Client().post("/account/sign-in/", {"login": member.username, "password": password})

    for _ in range(5):
        sign_in("wrong")
    assert "Too many wrong passwords" in sign_in(PASSWORD).content.decode()
    clock.move_to(BACK)

    assert sign_in(PASSWORD).status_code == 302

    for _ in range(5):
        sign_in("wrong")
    assert "Wait 15 minutes" in sign_in(PASSWORD).content.decode(), "by the new clock it counts as ever"


@pytest.mark.parametrize("asked", [get, lambda path: Caller().post("fit/", {})], ids=["read", "compute"])
def test_who_has_asked_too_often_is_not_shut_out_until_the_clock_comes_round(clock, settings, asked):
    few = dict.fromkeys(["reading", "writing", "computing"], "2/minute")
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"DEFAULT_THROTTLE_RATES": few}
    codes = [asked("bodies/").status_code for _ in range(3)]
    assert codes[2] == 429
    assert 429 not in codes[:2]
    clock.move_to(BACK)

    codes = [asked("bodies/").status_code for _ in range(3)]

    assert 429 not in codes[:2]
    assert codes[2] == 429
    clock.shift(timedelta(seconds=61))
    assert asked("bodies/").status_code != 429
