"""Whatever members send is answered or refused: the site makes no mistake, and half of nothing is stored."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from setups.api import examples
from tests.factories import SetupFactory
from tests.setups.asking import Caller, content, program
from tests.setups.test_api_anything import numbers, spoilt

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

TRIES = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
REFUSED = (400, 404, 409, 412, 415, 428)


@pytest.fixture
def world(settings):
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"DEFAULT_THROTTLE_RATES": {}}
    setup = SetupFactory()
    setup.said = content(tuning={"caster": 4, "motor": "stock"}, best_lap=9.8, photos=[], surface="carpet")
    setup.caller = Caller(setup.author)
    return setup


def sends(setup: Any) -> dict[str, Any]:
    """Address -> what is good to send there."""
    car = {"setup": setup.pk, "revision": 1}
    built = {name: setup.said[name] for name in ("name", "platform", "position")}
    wheel = setup.said["parts"]["front_wheel"]
    reading = {"quantity": "front_width", "value": 55.0, "instrument": "calliper", "uncertainty": 0.1}
    return {
        "setups/": setup.said,
        f"setups/{setup.pk}/revisions/": setup.said,
        f"setups/{setup.pk}/withdraw/": {"reason": "Bent."},
        "drafts/": {"typed": {"name": "a", "best_lap": "9"}, "started_from": car},
        "measurements/": reading | {"of": car, "measured_on": "2026-01-31", "note": "twice"},
        "compare": {"cars": [car, examples.CONFIGURATION], "body": setup.said["body"]},
        "garage/parts/": {"part": wheel, "count": 2},
        "garage/chassis/": built | {"parts": {"front_wheel": wheel}},
        "kit-plan": {"bodies": [setup.said["body"]], "use": "at_once", "borrow": True},
    }


@TRIES
@given(st.data())
@pytest.mark.parametrize("place", range(9))
def test_a_spoilt_request_is_answered(world, place, data):
    path, sent = list(sends(world).items())[place]
    made = json.dumps(data.draw(spoilt(sent)))
    headers = world.caller.headers | {"If-Match": "*"}
    answer = program().post(f"/api/v1/{path}", made, content_type="application/json", headers=headers)
    assert answer.status_code in (200, 201, *REFUSED), (path, made, answer.content[:300])
    if answer.status_code >= 400:
        assert answer["Content-Type"] == "application/problem+json"
        assert answer.json()["detail"]


PARAMETERS = (
    *("q", "state", "body", "author", "surface", "circuit", "verdict", "confirmations_min", "ordering"),
    *(
        "front_width_min",
        "wheelbase_max",
        "cursor",
        "page_size",
        "fields",
        "setup",
        "open",
        "counts",
        "quantity",
    ),
)


@TRIES
@given(
    st.sampled_from(["setups", "measurements", "disputes", "setups/1/revisions"]),
    st.dictionaries(
        st.sampled_from(PARAMETERS),
        st.one_of(
            st.text(max_size=30),
            numbers.map(str),
            st.sampled_from(
                ["", "evidence", "posted", "name", "true", "W10=", "cD0x", "W1sicGsiXSwwLFsiMSJdLDFd"]
            ),
        ),
        max_size=3,
    ),
)
def test_any_parameters_are_answered(world, name, parameters):
    answer = program().get(f"/api/v1/{name}/", parameters)
    assert answer.status_code in (200, 400, 404), answer.content[:300]


@pytest.mark.parametrize("path", ["", "setups/", "drafts/", "measurements/", "garage/chassis/", "kit-plan"])
def test_what_an_address_takes_can_be_asked(world, path):
    for caller in (world.caller, Caller()):
        assert caller("OPTIONS", path).status_code in (200, 401)
