"""What goes wrong at the API is a problem detail that says what to do, and never a mistake of the site."""

from __future__ import annotations

import copy
import json

import pytest
from django.core.cache import cache
from django.core.exceptions import ImproperlyConfigured, PermissionDenied
from rest_framework.settings import api_settings

from setups.api import computing, examples, views
from setups.api.problems import MOST_ERRORS, PROBLEMS, mistakes, pointer
from tests.factories import BodyFactory
from tests.setups.asking import get, pointed, post, program, refused

pytestmark = pytest.mark.django_db

FIT = examples.FIT[0].value
SOLVE = examples.SOLVE[0].value
LARGE = 10 * 1024 * 1024


def changed(content: dict, *path: str | int, to: object) -> dict:
    """``content`` with another value at ``path``."""
    made = copy.deepcopy(content)
    place = made
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = to
    return made


# The addresses


@pytest.mark.parametrize("path", ["/api/", "/api/v1/nothing/", "/api/v2/", "/api/v1/bodies/a b/c/"])
def test_an_address_that_there_is_not_is_a_problem_too(path):
    assert "/api/v1/" in refused(program().get(path), 404, "not-found")["detail"]


@pytest.mark.parametrize(
    ("path", "place"),
    [
        ("bodies/heron/", "/api/v1/bodies/"),
        ("parts/heron/", "/api/v1/parts/"),
        ("platforms/heron/", "/api/v1/platforms/"),
        ("makers/heron/", "/api/v1/makers/"),
        ("configurations/7/", "/api/v1/configurations/"),
        ("configurations/99999999999999999999999/", "/api/v1/configurations/"),
    ],
)
def test_a_thing_that_there_is_not_says_where_the_others_are(path, place):
    assert place in refused(get(path), 404, "not-found")["detail"]


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("post", "bodies/", "GET"),
        ("delete", "makers/", "GET"),
        ("get", "fit", "POST"),
        ("put", "solve", "POST"),
    ],
)
def test_a_method_that_is_not_taken_names_those_that_are(method, path, allowed):
    answer = program().generic(method.upper(), f"/api/v1/{path}")
    problem = refused(answer, 405, "method-not-allowed")
    assert allowed in problem["detail"]
    assert allowed in answer["Allow"]


@pytest.mark.parametrize(
    ("path", "offered"),
    [("/api/v1/bodies/", "application/json"), ("/api/schema/openapi.yaml", "application/yaml")],
)
def test_a_format_that_there_is_not_names_those_that_there_are(path, offered):
    answer = program().get(path, headers={"Accept": "text/csv"})
    assert offered in refused(answer, 406, "not-acceptable")["detail"]


def test_content_that_is_no_json_by_its_type_is_refused():
    answer = program().post("/api/v1/fit", {"body": "siskin"})
    assert "application/json" in refused(answer, 415, "unsupported-media-type")["detail"]


@pytest.mark.parametrize("path", ["fit", "fit/", "solve", "solve/"])
def test_a_computing_address_is_taken_with_and_without_its_slash(path):
    refused(post(path, "{}"), 400, "invalid-content")


def test_a_computing_address_takes_no_parameters():
    refused(post("fit?limit=3", FIT), 400, "unknown-parameter")


def test_a_mistake_of_the_site_says_so_and_nothing_of_the_code(monkeypatch):
    monkeypatch.setattr(computing, "evaluate", lambda *_: 1 / 0)
    assert "division" not in json.dumps(refused(post("fit", FIT), 500, "server-error"))


def test_a_refusal_of_a_view_is_passed_on(monkeypatch):
    def refuse(*_):
        raise PermissionDenied("Only a librarian may.")

    monkeypatch.setattr(views.Makers, "get_queryset", refuse)
    assert refused(get("makers/"), 403, "forbidden")["detail"] == "Only a librarian may."


# What is posted


@pytest.mark.parametrize(
    "text",
    [
        b"",
        "{",
        '{"body": "siskin",}',
        '{"body": 1' + "0" * 5000 + "}",
        b'{"body": "\xff\xfe"}',
        '{"body": "siskin", "body": "heron"}',
        "siskin",
    ],
    ids=["empty", "broken off", "trailing comma", "5000 digits", "not UTF-8", "named twice", "bare word"],
)
def test_what_is_no_json_is_refused(text):
    answer = post("fit", text)
    problem = refused(answer, 400, answer.json()["type"].rsplit("/", 1)[1])
    assert problem["type"].endswith(("malformed-json", "invalid-content"))


def test_malformed_json_says_where_it_breaks_off():
    assert "Line 2, column 3" in refused(post("fit", '{"body": "x",\n  }'), 400, "malformed-json")["detail"]


@pytest.mark.parametrize("path", ["fit", "solve"])
@pytest.mark.parametrize(
    "text",
    [
        "[" * 100_000,
        "[" * 100_000 + "]" * 100_000,
        '{"body":' * 5000 + "1" + "}" * 5000,
        '{"body":' + "[" * 500 + "]" * 500 + "}",
        '{"body":' + "[" * 20 + "]" * 20 + "}",
    ],
    ids=["open", "closed", "objects", "500 levels", "20 levels"],
)
def test_json_nested_without_end_is_refused(path, text):
    assert "levels deep" in refused(post(path, text), 400, "invalid-content")["detail"]


@pytest.mark.parametrize("path", ["fit", "solve"])
def test_ten_megabytes_are_refused_with_the_limit(path):
    answer = post(path, '{"body": "' + "a" * LARGE + '"}')
    assert "2.0" in refused(answer, 413, "content-too-large")["detail"]


@pytest.mark.parametrize("content", [[], 3, "siskin", None, True])
@pytest.mark.parametrize("path", ["fit", "solve"])
def test_content_that_is_no_object_is_refused(path, content):
    assert set(pointed(post(path, json.dumps(content)))) <= {"#", "#/body", "#/configuration"}


WRONG_FIGURES = {
    "text": ('"92"', "number in mm, not text"),
    "true": ("true", "number in mm, not true or false"),
    "list": ("[92]", "not a list"),
    "negative": ("-92", "between 40 and 420 mm; you gave -92"),
    "zero": ("0", "between 40 and 420 mm"),
    "metres": ("0.092", "Check the unit and the decimal point"),
    "absurd": ("1e300", "between 40 and 420 mm"),
    "huge whole": ("1" + "0" * 400, "between 40 and 420 mm"),
    "NaN": ("NaN", "finite number"),
    "Infinity": ("-Infinity", "finite number"),
    "beyond a double": ("1e400", "finite number"),
}


@pytest.mark.parametrize(("text", "said"), WRONG_FIGURES.values(), ids=WRONG_FIGURES)
@pytest.mark.parametrize("path", ["fit", "solve"])
def test_a_figure_that_cannot_be_is_pointed_at(path, text, said):
    content = json.dumps(changed(FIT if path == "fit" else SOLVE, "body", "dimensions", "wheelbase", to="@"))
    found = pointed(post(path, content.replace('"@"', text)))
    assert list(found) == ["#/body/dimensions/wheelbase"]
    assert said in found["#/body/dimensions/wheelbase"]


WRONG_PLACES = [
    (FIT, ("body", "dimensions", "wheelbas"), 92, "wheelbase, front_arch_width"),
    (FIT, ("body", "dimensions", "wheelbase", "value"), None, "number in mm, not null"),
    (FIT, ("body", "dimensions", "wheelbase", "tolerance"), 0.1, None),
    (FIT, ("body", "dimensions", "wheelbase", "uncertainty"), -0.1, "doubt of wheelbase"),
    (FIT, ("body", "dimensions", "wheelbase", "unit"), "in", "mm only"),
    (FIT, ("body", "dimensions", "wheelbase", "colour"), "red", "value, unit, tolerance, uncertainty"),
    (FIT, ("body", "scale"), "28", "whole number, not text"),
    (FIT, ("body", "scale"), 28.5, "whole number"),
    (FIT, ("body", "scale"), 0, "4"),
    (FIT, ("body", "layouts", "rear"), "yes", "true or false"),
    (FIT, ("body", "layouts"), [], "object"),
    (FIT, ("body", "name"), 7, "text"),
    (FIT, ("body", "name"), "x" * 121, "120"),
    (FIT, ("body", "name"), "a\0b", "NUL"),
    (FIT, ("body", "name"), "\ud800", "character pair"),
    (FIT, ("configuration", "parts", "front_wheel", "dimensions", "offset"), None, "null"),
    (FIT, ("configuration", "parts", "front_wheel", "dimensions", "rim_width"), -8, "between 3 and 90 mm"),
    (FIT, ("configuration", "parts", "front_wheel", "pack_size"), 0, "1"),
    (FIT, ("configuration", "parts", "front_wheel", "price"), -1, "between 0"),
    (FIT, ("configuration", "parts", "front_wheel", "axle"), "middle", "middle"),
    (FIT, ("configuration", "parts", "motor_mount", "layout"), "front", "front"),
    (FIT, ("configuration", "parts", "plate"), None, "null"),
    (FIT, ("configuration", "parts", "wing"), {}, "front_suspension"),
    (FIT, ("configuration", "position"), "middle", "give its name and shift"),
    (FIT, ("configuration", "platform", "datum"), 5000, "between -200 and 400 mm"),
    (FIT, ("configuration", "platform", "offsets", "step"), 1e-9, "between 0.01 and 10 mm"),
    (FIT, ("configuration", "platform", "offsets", "max"), -2, "below the smallest"),
    (FIT, ("configuration", "platform", "criteria"), {"inset_limit": 0.1}, None),
    (FIT, ("configuration",), -1, "No configuration has the number"),
    (FIT, ("configuration",), 10**30, "No configuration has the number"),
    (FIT, ("configuration",), "fast one", "number of a configuration"),
    (FIT, ("body",), "heron", "No body has the slug 'heron'"),
    (FIT, ("body",), "", "slug of a body"),
    (FIT, ("body",), "x" * 10_000, "slug of a body"),
    (SOLVE, ("limit",), 0, "1"),
    (SOLVE, ("limit",), 201, "200"),
    (SOLVE, ("limit",), "5", "whole number, not text"),
    (SOLVE, ("limit",), True, "whole number, not true or false"),
    (SOLVE, ("misses",), -1, "0"),
    (SOLVE, ("order",), "worst", "worst"),
    (SOLVE, ("distinct",), 1, "true or false"),
    (SOLVE, ("platforms",), ["heron"], None),
    (SOLVE, ("owned",), "wheel +0", "list"),
    (SOLVE, ("owned",), ["wheel +9"], None),
    (SOLVE, ("owned",), ["x"] * 1001, "1000"),
    (SOLVE, ("catalogue", "wheels"), {}, "list"),
    (SOLVE, ("catalogue", "wheels"), [SOLVE["catalogue"]["wheels"][0]] * 501, "500"),
    (SOLVE, ("catalogue", "wheels", 1), 3, "object"),
    (SOLVE, ("catalogue", "wheels", 1, "id"), "wheel +1", None),
    (SOLVE, ("catalogue", "positions", 1, "name"), "short", "own"),
    (SOLVE, ("catalogue", "pairs"), {"never": [["tyre"]]}, None),
    (SOLVE, ("catalogue", "pairs"), {"never": [["tyre", "feather"]]}, None),
    (SOLVE, ("catalogue", "pairs"), {"never": [["tyre", "tyre"]]}, None),
    (SOLVE, ("catalogue", "pairs"), {"only_with": [{"part": "mount", "partners": []}]}, None),
    (SOLVE, ("catalogue", "pairs"), {"only_with": [{"part": "mount", "partners": ["feather"]}]}, None),
]


@pytest.mark.parametrize(
    ("content", "path", "value", "said"),
    WRONG_PLACES,
    ids=[f"{'.'.join(map(str, row[1]))}" for row in WRONG_PLACES],
)
def test_what_cannot_be_is_pointed_at(content, path, value, said):
    found = pointed(post("fit" if content is FIT else "solve", changed(content, *path, to=value)))
    place = pointer(path)
    at = [where for where in found if where == place or where.startswith(f"{place}/") or said is None]
    assert at, found
    assert said is None or said in found[at[0]]


@pytest.mark.parametrize("missing", ["body", "configuration"])
def test_what_is_left_out_is_pointed_at(missing):
    content = {name: value for name, value in FIT.items() if name != missing}
    assert list(pointed(post("fit", content))) == [f"#/{missing}"]


def test_an_empty_slot_that_a_car_cannot_do_without_is_pointed_at():
    content = copy.deepcopy(FIT)
    del content["configuration"]["parts"]["rear_tyre"]
    assert list(pointed(post("fit", content))) == ["#/configuration/parts/rear_tyre"]


def test_a_dimension_that_a_part_cannot_do_without_is_pointed_at():
    content = copy.deepcopy(FIT)
    del content["configuration"]["parts"]["plate"]["dimensions"]["chain_length"]
    assert list(pointed(post("fit", content))) == ["#/configuration/parts/plate/dimensions/chain_length"]


def test_tolerance_and_uncertainty_are_not_both_taken():
    content = changed(FIT, "body", "dimensions", "mass", to={"value": 30, "tolerance": 1, "uncertainty": 1})
    assert "not both" in pointed(post("fit", content))["#/body/dimensions/mass/uncertainty"]


def test_all_mistakes_are_told_at_once():
    content = changed(changed(FIT, "body", "scale", to=0), "body", "dimensions", "mass", to=-1)
    content["configuration"]["parts"]["plate"]["dimensions"]["chain_length"] = "long"
    assert set(pointed(post("fit", content))) == {
        "#/body/scale",
        "#/body/dimensions/mass",
        "#/configuration/parts/plate/dimensions/chain_length",
    }


def test_of_very_many_mistakes_the_first_hundred_are_listed():
    content = changed(SOLVE, "owned", to=[f"part {number}" for number in range(300)])
    problem = refused(post("solve", content), 400, "invalid-content")
    assert len(problem["errors"]) == MOST_ERRORS
    assert "of 300" in problem["detail"]


# Pointers and kinds


def test_a_pointer_is_written_as_rfc_6901_has_it():
    """RFC 6901, 3 and 6: ~ is ~0 and / is ~1 in a step; as a fragment it is percent-encoded."""
    assert pointer([]) == "#"
    assert pointer(["foo", 0]) == "#/foo/0"
    assert pointer(["a/b"]) == "#/a~1b"
    assert pointer(["m~n"]) == "#/m~0n"
    assert pointer(["c%d"]) == "#/c%25d"
    assert pointer([" "]) == "#/%20"
    assert pointer([""]) == "#/"


def test_nested_mistakes_are_found_wherever_they_lie():
    detail = {"a": ["one"], "b": [{}, {"c": ["two"]}], "d": {1: ["three"]}, "non_field_errors": ["four"]}
    assert list(mistakes(detail)) == [
        (("a",), "one"),
        (("b", 1, "c"), "two"),
        (("d", 1), "three"),
        ((), "four"),
    ]


@pytest.mark.parametrize("code", PROBLEMS)
def test_the_type_of_a_problem_leads_to_what_it_means(code):
    explained = program().get(PROBLEMS[code].type)
    assert explained.status_code == 200
    assert explained.json() == {
        "type": PROBLEMS[code].type,
        "title": PROBLEMS[code].title,
        "status": PROBLEMS[code].status,
        "meaning": PROBLEMS[code].meaning,
    }
    assert explained.json() in program().get("/api/problems/").json()


def test_a_kind_of_problem_that_there_is_not_is_a_problem():
    refused(program().get("/api/problems/tired"), 404, "not-found")


# Throttles


@pytest.fixture
def two_an_hour(settings):
    cache.clear()
    rates = {"DEFAULT_THROTTLE_RATES": {"computing": "2/hour"}}
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | rates
    yield
    cache.clear()


@pytest.mark.usefixtures("two_an_hour")
def test_who_computes_too_often_is_told_when_to_come_back():
    assert [post("fit", FIT).status_code for _ in range(2)] == [200, 200]
    answer = post("solve", SOLVE)
    problem = refused(answer, 429, "too-many-requests")
    assert 3500 < int(answer["Retry-After"]) <= 3600
    assert answer["Retry-After"] in problem["detail"]


@pytest.mark.usefixtures("two_an_hour")
def test_reading_is_not_throttled():
    assert {get("makers/").status_code for _ in range(5)} == {200}


@pytest.mark.usefixtures("two_an_hour")
def test_a_made_up_forwarding_header_gives_no_further_goes():
    statuses = [post("fit", FIT, **{"X-Forwarded-For": f"192.0.2.{n}"}).status_code for n in range(3)]
    assert statuses == [200, 200, 429]


@pytest.mark.usefixtures("two_an_hour")
def test_behind_a_proxy_each_caller_has_goes_of_their_own(settings):
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"NUM_PROXIES": 1}
    statuses = [post("fit", FIT, **{"X-Forwarded-For": f"192.0.2.{n}"}).status_code for n in range(3)]
    assert statuses == [200, 200, 200]


def test_a_rate_that_cannot_be_read_is_told_to_the_operator(settings):
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"DEFAULT_THROTTLE_RATES": {"computing": "often"}}
    with pytest.raises(ImproperlyConfigured, match="API_RATE is 'often'"):
        computing.Computing()


def test_without_a_rate_nobody_is_throttled(settings):
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"DEFAULT_THROTTLE_RATES": {"computing": ""}}
    assert api_settings.DEFAULT_THROTTLE_RATES["computing"] == ""
    assert {post("fit", FIT).status_code for _ in range(3)} == {200}


@pytest.fixture(autouse=True)
def unthrottled(request, settings):
    if "two_an_hour" not in request.fixturenames:
        rates = {"DEFAULT_THROTTLE_RATES": {"computing": ""}}
        settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | rates


def test_text_that_no_database_keeps_is_refused_in_the_address():
    BodyFactory()
    refused(get("bodies/?q=a%00b"), 400, "bad-request")
