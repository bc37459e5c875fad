"""Whatever is posted to the computing addresses gets an answer or a problem: the site makes no mistake."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from setups.api import examples
from tests.setups.asking import post, program

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

numbers = st.one_of(
    st.integers(-(10**30), 10**30),
    st.floats(),
    st.sampled_from([0, -0.0, 1e-308, 4, 27.999999, 28, 40, 92, 420, 1e400, float("nan")]),
)
leaves = st.one_of(
    st.none(),
    st.booleans(),
    numbers,
    st.text(max_size=20),
    st.sampled_from(["rear", "tyre", "wheel +0", "mm", "\0"]),
)
anything = st.recursive(
    leaves,
    lambda below: st.one_of(
        st.lists(below, max_size=4),
        st.dictionaries(
            st.one_of(st.text(max_size=8), st.sampled_from(["value", "unit", "id"])), below, max_size=4
        ),
    ),
    max_leaves=8,
)


def places(content: Any, at: tuple = ()) -> list[tuple]:
    """Every path into ``content``."""
    found = [at]
    steps = (
        content.items()
        if isinstance(content, dict)
        else enumerate(content)
        if isinstance(content, list)
        else ()
    )
    for step, below in steps:
        found += places(below, (*at, step))
    return found


@st.composite
def spoilt(draw: Any, content: dict[str, Any]) -> Any:
    """``content`` with anything at one to three of its places, or with some left out."""
    made = copy.deepcopy(content)
    for _ in range(draw(st.integers(1, 3))):
        path = draw(st.sampled_from(places(made)))
        if not path:
            return draw(anything)
        place = made
        for step in path[:-1]:
            place = place[step]
        if isinstance(place, dict) and draw(st.booleans()):
            del place[path[-1]]
        else:
            place[path[-1]] = draw(anything)
    return made


def check(path: str, content: Any) -> None:
    answer = post(path, json.dumps(content))
    assert answer.status_code in (200, 400), answer.content[:300]
    if answer.status_code == 400:
        assert answer["Content-Type"] == "application/problem+json"
        problem = answer.json()
        assert problem["detail"]
        if problem["type"].endswith("invalid-content"):
            assert all(error["pointer"].startswith("#") and error["detail"] for error in problem["errors"])


PARAMETERS = (
    *("q", "scale", "maker", "wheelbase_min", "front_width", "layout", "kind", "platform", "axle"),
    *("cursor", "page_size", "fields", "offset_min", "body", "drive"),
)
TRIES = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


@pytest.fixture(autouse=True)
def unthrottled(settings):
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"DEFAULT_THROTTLE_RATES": {"computing": ""}}


@TRIES
@given(spoilt(examples.FIT[0].value))
def test_a_spoilt_fit_is_answered(content):
    check("fit", content)


@TRIES
@given(spoilt(examples.SOLVE[0].value))
def test_a_spoilt_catalogue_is_answered(content):
    check("solve", content)


@TRIES
@given(st.binary(max_size=60), st.sampled_from(["fit", "solve"]))
def test_bytes_are_answered(content, path):
    answer = program().post(f"/api/v1/{path}", content, content_type="application/json")
    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize(
    "charset", ["bogus", "utf-16", "idna", "bz2", "utf-7", "utf-8; charset=x", "punycode"]
)
def test_any_charset_is_answered(charset):
    answer = program().generic("POST", "/api/v1/fit", b"{}\xff", f"application/json; charset={charset}")
    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"


@TRIES
@given(
    st.sampled_from(["bodies", "parts", "platforms", "makers", "configurations"]),
    st.dictionaries(
        st.sampled_from(PARAMETERS),
        st.one_of(
            st.text(max_size=30), numbers.map(str), st.sampled_from(["", "cD0x", "bz0xMDAw", "name,slug"])
        ),
        max_size=4,
    ),
)
def test_any_parameters_are_answered(name, parameters):
    answer = program().get(f"/api/v1/{name}/", parameters)
    assert answer.status_code in (200, 400), answer.content[:300]
