"""Whatever is sent about rulebooks and race days is answered or refused: the site makes no mistake."""

from __future__ import annotations

import json
from datetime import date
from typing import Any
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.club.race_days import race_day
from tests.factories import ClauseFactory, EditionFactory, PartFactory, SetupFactory
from tests.setups.asking import Caller, program
from tests.setups.test_api_anything import numbers, spoilt

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

TRIES = settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
REFUSED = (400, 404, 409, 412, 415, 428)


@pytest.fixture
def world(settings):
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"DEFAULT_THROTTLE_RATES": {}}
    day = race_day()
    day.setup = SetupFactory()
    day.entry = day.enter_setup(7, day.setup)
    day.draft = EditionFactory(race_class=day.race_class, valid_from=date(2041, 1, 1))
    day.row = ClauseFactory(edition=day.draft)
    day.wheel = PartFactory(wheel=True)
    day.caller = Caller(day.director)
    return day


def sends(day: Any) -> list[tuple[str, str, Any]]:
    """Method, address and what is good to send there."""
    classes = f"race-classes/{day.race_class.slug}/editions/"
    draft, event = f"{classes}{day.draft.pk}/", f"events/{day.event.slug}/"
    limit = {
        "number": "9",
        "wording": "Low.",
        "kind": "limit",
        "quantity": "front_width",
        "low": 40,
        "high": 56.5,
        "rule": "guarded_acceptance",
        "factor": 1.5,
    }
    listed = {
        "number": "8",
        "wording": "These.",
        "kind": "list",
        "thing": "wheel",
        "allows": False,
        "items": [day.wheel.slug],
    }
    car = {"setup": day.setup.pk, "revision": 1}
    asked = {
        "car": car,
        "measured": {"mass": {"value": 160, "uncertainty": 0.2}},
        "fitted": {"motor": []},
        "seen": {"9": True},
    }
    found = {
        "key": str(uuid4()),
        "entry": day.entry.pk,
        "clause": day.clause("2.1").pk,
        "stage": "before",
        "run": 1,
        "reading": 54.2,
        "instrument": "calliper",
        "doubt": 0.1,
        "taken_at": "2031-05-10T09:30:00Z",
        "note": "Twice.",
    }
    entry = {"race_number": 9, "driver": "Bo", "setup": day.setup.pk, "race_class": day.race_class.slug}
    raced = [{"race_class": day.race_class.slug, "pinned": day.edition.pk}]
    return [
        ("POST", "race-classes/", {"name": "Another", "description": "For all."}),
        ("POST", classes, {"name": "Next", "valid_from": "2042-03-01", "copy": day.edition.pk}),
        ("POST", draft + "clauses/", limit),
        ("PUT", f"{draft}clauses/{day.row.pk}/", listed),
        ("PUT", draft, {"name": "After", "valid_from": "2043-03-01", "note": "Wider."}),
        ("POST", "legality/", asked | {"clauses": [limit]}),
        ("POST", "legality/", asked | {"edition": day.edition.pk, "mend": True, "seen": {"5.1": True}}),
        ("POST", "events/", {"name": "Late", "date": "2031-06-01", "is_public": True, "classes": raced}),
        ("POST", event + "entries/", entry),
        ("PUT", f"{event}entries/{day.entry.pk}/", entry | {"race_number": 10, "why": "Late."}),
        ("POST", f"{event}entries/{day.entry.pk}/withdraw/", {"out": True, "why": "Bent."}),
        ("POST", event + "inspections/", found),
        ("POST", event + "entry-list/", {"text": "number,driver\n3,Ada\n", "load": True}),
    ]


def test_what_is_good_is_taken_before_it_is_spoilt(world):
    for method, path, sent in sends(world):
        answer = world.caller(method, path, sent, If_Match="*")
        assert answer.status_code in (200, 201), (path, answer.content)


@TRIES
@given(st.data())
@pytest.mark.parametrize("place", range(13))
def test_a_spoilt_request_is_answered(world, place, data):
    method, path, sent = sends(world)[place]
    made = json.dumps(data.draw(spoilt(sent)))
    headers = world.caller.headers | {"If-Match": "*"}
    answer = program().generic(method, f"/api/v1/{path}", made, "application/json", headers=headers)
    assert answer.status_code in (200, 201, *REFUSED), (path, made, answer.content[:300])
    if answer.status_code >= 400:
        assert answer["Content-Type"] == "application/problem+json"
        assert answer.json()["detail"]


PARAMETERS = (
    *("q", "on", "from", "race_class", "revision", "since", "until", "race_number", "checked_in"),
    *("withdrawn", "entry", "clause", "stage", "run", "verdict", "passes", "cursor", "page_size", "fields"),
)


@TRIES
@given(
    st.integers(0, 7),
    st.dictionaries(
        st.sampled_from(PARAMETERS),
        st.one_of(st.text(max_size=30), numbers.map(str), st.sampled_from(["", "2031-05-10", "true", "url"])),
        max_size=2,
    ),
)
def test_any_parameters_are_answered(world, place, parameters):
    classes, event = f"race-classes/{world.race_class.slug}/editions", f"events/{world.event.slug}"
    path = (
        "race-classes",
        classes,
        f"{classes}/{world.edition.pk}/changes",
        f"setups/{world.setup.pk}/legality",
        "events",
        f"{event}/entries",
        f"{event}/inspections",
        f"{event}/check",
    )[place]
    answer = program().get(f"/api/v1/{path}/", parameters, headers=world.caller.headers)
    assert answer.status_code in (200, 400, 404, 409), (path, parameters, answer.content[:300])


def test_what_an_address_takes_can_be_asked_and_a_number_that_is_too_long_is_nobodys(world):
    classes, event = f"race-classes/{world.race_class.slug}/editions", f"events/{world.event.slug}"
    for path in (
        "race-classes/",
        f"{classes}/",
        "events/",
        f"{event}/entries/",
        f"{event}/check/",
        "legality/",
    ):
        for caller in (world.caller, Caller()):
            assert caller("OPTIONS", path).status_code in (200, 401), path
    long = 10**30
    for path in (
        f"{classes}/{long}/",
        f"{classes}/{long}/changes/",
        f"{classes}/{world.edition.pk}/clauses/{long}/",
        f"setups/{long}/legality/",
        f"{event}/entries/{long}/",
        f"{event}/entries/{long}/record/",
        f"{event}/inspections/{long}/",
    ):
        assert world.caller.get(path).status_code == 404, path
