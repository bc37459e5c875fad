"""The interface keeps to its own description: OpenAPI 3.1, served, and true of every answer."""

from __future__ import annotations

import copy
import json
import re
from decimal import Decimal
from functools import cache
from typing import Any

import pytest
import yaml
from django.core.management import call_command
from jsonschema import Draft202012Validator

from setups.api import examples
from setups.api.problems import PROBLEMS
from setups.models import Dispute, Measurement, PartPair
from setups.services import verifying
from tests.factories import (
    BodyFactory,
    ConfigurationFactory,
    KnownWheelbaseFactory,
    MemberFactory,
    SetupFactory,
    full_catalogue,
    reading_for,
)
from tests.setups.asking import Caller, post, program

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

CHANGED = {"Setups", "Measuring", "Garage"}
"""What members change here; the club's races have tests of their own."""
METHODS = ("get", "post", "put", "delete")


@pytest.fixture(autouse=True)
def unthrottled(settings):
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"DEFAULT_THROTTLE_RATES": {"computing": ""}}


@cache
def schema() -> dict[str, Any]:
    return program().get("/api/schema/openapi.json").json()


@cache
def closed(sparse: bool = False) -> dict[str, Any]:
    """The schema with every object closed to names that it does not have; ``sparse``: rows may lack some."""
    made = copy.deepcopy(schema())

    def close(node: Any) -> None:
        if isinstance(node, dict):
            if not sparse and _may_be_sparse(node):
                node |= node.pop("anyOf")[0]
            if isinstance(node.get("properties"), dict):
                node.setdefault("additionalProperties", False)
            for below in node.values():
                close(below)
        elif isinstance(node, list):
            for below in node:
                close(below)

    close(made)
    return made


def _may_be_sparse(node: dict[str, Any]) -> bool:
    refs = [one.get("$ref", "") for one in node.get("anyOf", ()) if isinstance(one, dict)]
    either = [ref.rpartition("/")[2] for ref in refs]
    return len(either) == 2 and either[1] == f"Some{either[0]}"


def operation(path: str, method: str) -> dict[str, Any]:
    """The description of what answers ``path``."""
    return methods_of(path)[method]


def methods_of(path: str) -> dict[str, Any]:
    """Method -> the description of what answers it at ``path``."""
    bare = path.partition("?")[0]
    for pattern, methods in closed("fields=" in path)["paths"].items():
        if re.fullmatch(re.sub(r"\{\w+\}", "[^/]+", pattern.rstrip("/")) + "/?", bare):
            return methods
    raise AssertionError(f"{path} is not in the schema")


def hold(answer: Any, method: str, whole: bool = False) -> None:
    """Fail unless ``answer`` is one that the schema has; ``whole``: with all its fields."""
    path = answer.wsgi_request.get_full_path()
    path = path.partition("?")[0] if whole else path
    answers = operation(path, method)["responses"]
    found = answers.get(str(answer.status_code), answers["default"])
    if "$ref" in found:
        found = closed()["components"]["responses"][found["$ref"].rsplit("/", 1)[1]]
    media = answer["Content-Type"].partition(";")[0]
    assert media in found["content"], f"{path} answers in {media}"
    wanted = found["content"][media]["schema"] | {"components": closed("fields=" in path)["components"]}
    errors = [
        f"{error.json_path}: {error.message[:300]}"
        for error in Draft202012Validator(wanted).iter_errors(answer.json())
    ]
    assert errors == [], path


@pytest.fixture
def library(db):
    made = full_catalogue()
    KnownWheelbaseFactory(platform=made.platform, motor_mount=made.mounts[0], plate=made.plates[0])
    PartPair.objects.create(part=made.mounts[0], other=made.plates[1], rule=PartPair.Rule.ONLY_WITH)
    BodyFactory(unmeasured=True, takes_rear_motor=None, price=None)
    ConfigurationFactory(platform=made.platform, body=made.body)
    return made


# The schema itself


def test_the_schema_is_generated_without_a_warning(tmp_path, capsys):
    call_command("spectacular", "--validate", "--fail-on-warn", "--file", str(tmp_path / "schema.yaml"))
    assert yaml.safe_load((tmp_path / "schema.yaml").read_text()) == schema()


def test_the_schema_is_served_as_json_and_as_yaml():
    assert schema()["openapi"].startswith("3.1")
    for address, accept in (("/api/schema/openapi.yaml", "*/*"), ("/api/schema/", "application/yaml")):
        answer = program().get(address, headers={"Accept": accept})
        assert answer["Content-Type"].startswith("application/yaml")
        assert yaml.safe_load(answer.content) == schema()
    assert program().get("/api/schema/").json() == schema()


def test_the_schema_is_not_sent_again_while_it_stays_the_same():
    first = program().get("/api/schema/openapi.json")
    again = program().get("/api/schema/openapi.json", headers={"If-None-Match": first["ETag"]})
    assert again.status_code == 304


def test_every_schema_is_one():
    for one in schema()["components"]["schemas"].values():
        Draft202012Validator.check_schema(one)


def test_every_reference_leads_somewhere():
    text = json.dumps(schema())
    for kind, name in set(re.findall(r'"#/components/(\w+)/([^"]+)"', text)):
        assert name in schema()["components"][kind], name


def test_every_address_of_the_interface_is_described():
    contents = program().get("/api/v1/").json()
    for name in set(contents) - {"schema", "docs"}:
        assert any(methods_of(contents[name]).values()), name


def test_every_operation_says_what_can_go_wrong():
    for path, methods in schema()["paths"].items():
        for method, described in methods.items():
            assert method in METHODS, path
            answers = set(described["responses"])
            assert {"400", "406", "429", "default"} <= answers
            assert {"200", "201", "204"} & answers
            assert described["summary"]
            assert described["tags"]
            wanted = {"200", "304", "404"} if method == "get" else {"413", "415"}
            if method != "get" and described["tags"] != ["Computing"]:
                wanted |= {"401", "403", "404", "409"}
            headers = {one["name"] for one in described.get("parameters", ()) if one["in"] == "header"}
            wanted |= {"412", "428"} if "If-Match" in headers else set()
            wanted |= {"422"} if "Idempotency-Key" in headers else set()
            assert wanted <= answers, (method, path)


def test_what_changes_something_there_is_takes_if_match_and_what_makes_something_a_key():
    for path, methods in schema()["paths"].items():
        for method, described in methods.items():
            if method == "get" or not CHANGED & set(described["tags"]):
                continue
            headers = {one["name"] for one in described["parameters"] if one["in"] == "header"}
            makes = method == "post" and "201" in described["responses"]
            assert "If-Match" in headers or makes, (method, path)
            assert ("Idempotency-Key" in headers) == (method == "post"), (method, path)


def test_what_needs_a_member_says_so():
    for path, methods in schema()["paths"].items():
        for method, described in methods.items():
            if not {"Library", *CHANGED} & set(described["tags"]):
                continue
            reads = method == "get" and "/garage/" not in path and "draft" not in path
            assert ({} in described["security"]) == reads, (method, path)
    for name in ("fit", "solve", "compare", "kit-plan"):
        anybody = {} in operation(f"/api/v1/{name}", "post")["security"]
        assert anybody == (name != "kit-plan")


def test_every_list_says_what_each_of_its_parameters_means():
    for path, methods in schema()["paths"].items():
        for parameter in methods.get("get", {}).get("parameters", ()):
            if parameter["in"] != "path":
                assert parameter.get("description"), f"{path} {parameter['name']}"


# Every answer against it


@pytest.mark.parametrize("name", ["bodies", "parts", "platforms", "makers", "configurations"])
def test_every_list_and_single_thing_is_as_described(library, name):
    page = program().get(f"/api/v1/{name}/?page_size=200")
    hold(page, "get")
    assert page.json()["results"]
    for row in page.json()["results"]:
        hold(program().get(row["url"]), "get")


@pytest.mark.parametrize("name", ["bodies", "parts", "platforms", "makers", "configurations"])
def test_answers_with_some_fields_are_as_described_and_whole_ones_have_all(library, name):
    for path in (f"/api/v1/{name}/", program().get(f"/api/v1/{name}/").json()["results"][0]["url"]):
        some = program().get(f"{path}?fields=name")
        assert some.status_code == 200
        hold(some, "get")
        with pytest.raises(AssertionError, match="required"):
            hold(some, "get", whole=True)


def test_the_contents_and_the_kinds_of_problem_are_as_described():
    hold(program().get("/api/v1/"), "get")
    hold(program().get("/api/problems/"), "get")
    for code in PROBLEMS:
        hold(program().get(f"/api/problems/{code}"), "get")


def test_fits_are_as_described(library):
    stored = ConfigurationFactory(platform=library.platform)
    bodies = [
        examples.BODY,
        {"scale": 24},
        library.body.slug,
        *(b.slug for b in [BodyFactory(unmeasured=True)]),
    ]
    for body in bodies:
        for configuration in (examples.CONFIGURATION, stored.pk):
            answer = post("fit", {"configuration": configuration, "body": body})
            assert answer.status_code == 200
            hold(answer, "post")


def test_solutions_are_as_described(library):
    for content in (
        examples.SOLVE[0].value,
        {"body": library.body.slug, "limit": 200, "misses": 20},
        {"body": {"scale": 28}, "order": "fewest_changes", "most_changes": 3, "owned": [library.wide.slug]},
        {"body": examples.BODY, "platforms": [library.platform.slug], "distinct": False},
        {"body": {"scale": 43}},
    ):
        answer = post("solve", content)
        assert answer.status_code == 200, answer.content
        hold(answer, "post")


def test_setups_and_all_that_belongs_to_them_are_as_described():
    setup = SetupFactory(
        tuning={"caster": 4.0, "motor": "stock"}, surface="carpet", circuit="Hall", best_lap=Decimal("9.8")
    )
    verifying.add(reading_for(setup, "front_width", 58))
    setup.photos.create(image="setups/aa/a.webp", width=4, height=3)
    of = f"/api/v1/setups/{setup.pk}/"
    revision = f"{of}revisions/1/"
    for path in (
        "/api/v1/setups/?ordering=best_lap&circuit=Hall",
        *(of, f"{of}standing/", f"{of}record/", f"{of}photos/", f"{of}revisions/"),
        *(revision, f"{revision}changes/", "/api/v1/measurements/", "/api/v1/disputes/"),
    ):
        answer = program().get(path)
        assert answer.status_code == 200, path
        hold(answer, "get")
    cars = [{"setup": setup.pk}, ConfigurationFactory().pk]
    answer = post("compare", {"cars": cars, "body": examples.BODY})
    assert answer.status_code == 200, answer.content
    hold(answer, "post")


def _last(model: Any) -> int:
    return model.objects.order_by("-pk").values_list("pk", flat=True)[0]


def test_what_members_send_is_answered_as_described():
    setup = SetupFactory()
    author, other = Caller(setup.author), Caller(MemberFactory())
    of = f"/api/v1/setups/{setup.pk}/"
    said = program().get(f"{of}revisions/1/").json()
    sent = {name: said[name] for name in ("name", "body", "platform", "position", "parts", "tuning")}
    width = {"of": {"setup": setup.pk}, "quantity": "front_width", "value": 58, "instrument": "calliper"}
    answers = [
        author.post("setups/", sent),
        author.post(f"{of}revisions/", sent | {"notes": "b"}, If_Match="*"),
        author.put(f"{of}draft/", {"typed": {"notes": "c"}}, If_None_Match="*"),
        author.put(f"{of}draft/", {"typed": {"notes": "d"}}, If_Match="*"),
        author.post("drafts/", {"typed": {"name": "e"}}),
        other.post("measurements/", width),
        other.post(
            "measurements/",
            width | {"of": {"body": said["body"]}, "quantity": "mass", "value": 39} | {"instrument": "scale"},
        ),
        other.post(f"measurements/{_last(Measurement)}/withdraw/", If_Match="*"),
        author.post(f"{of}withdraw/", {"reason": "f"}, If_Match="*"),
        author.post(f"{of}restore/", {"reason": "g"}, If_Match="*"),
        Caller(MemberFactory(steward=True), "read steward").post(
            f"disputes/{Dispute.objects.get().pk}/settle/", {"outcome": "upheld", "reason": "h"}, If_Match="*"
        ),
        author.post(f"{of}withdraw/", {"reason": ""}, If_Match="*"),
        author.post(f"{of}withdraw/", {"reason": "i"}),
        other.post(f"{of}withdraw/", {"reason": "j"}, If_Match="*"),
        Caller().post("drafts/", {}),
    ]
    statuses = [answer.status_code for answer in answers]
    assert statuses == [201, 201, 201, 200, 201, 201, 201, 200, 200, 200, 200, 400, 428, 403, 401]
    for answer in answers:
        hold(answer, answer.wsgi_request.method.lower())
    for path in ("/api/v1/drafts/", f"{of}draft/"):
        hold(author.get(path), "get")


@pytest.mark.parametrize(
    ("path", "accept"),
    [
        ("bodies/?scael=3", "*/*"),
        ("bodies/?scale=x", "*/*"),
        ("bodies/heron/", "*/*"),
        ("bodies/", "text/csv"),
    ],
)
def test_problems_of_reading_are_as_described(path, accept):
    answer = program().get(f"/api/v1/{path}", headers={"Accept": accept})
    assert answer.status_code >= 400
    hold(answer, "get")


@pytest.mark.parametrize("text", ["{", "{}", "[]", '{"body": NaN}', '{"body": "' + "a" * 3_000_000 + '"}'])
@pytest.mark.parametrize("path", ["fit", "solve"])
def test_problems_of_computing_are_as_described(path, text):
    answer = post(path, text)
    assert answer.status_code >= 400
    hold(answer, "post")


# Every request against it


def _request(path: str) -> Draft202012Validator:
    content = operation(path, "post")["requestBody"]["content"]["application/json"]
    return Draft202012Validator(content["schema"] | {"components": closed()["components"]})


@pytest.mark.parametrize("path", ["/api/v1/fit", "/api/v1/solve", "/api/v1/compare"])
def test_the_examples_of_the_schema_are_answered(path):
    content = operation(path, "post")["requestBody"]["content"]["application/json"]
    assert content["examples"]
    for example in content["examples"].values():
        _request(path).validate(example["value"])
        assert program().post(path, example["value"], content_type="application/json").status_code == 200


def test_every_example_of_what_is_posted_is_as_described():
    seen = 0
    for path, methods in schema()["paths"].items():
        for example in methods.get("post", {}).get("requestBody", {}).get("content", {}).values():
            for one in example.get("examples", {}).values():
                _request(path).validate(one["value"])
                seen += 1
    assert seen > 6


@pytest.mark.parametrize(
    "content",
    [
        {"configuration": 1, "body": "siskin"},
        {"configuration": examples.CONFIGURATION, "body": {"scale": 28, "dimensions": {"wheelbase": None}}},
        {
            "configuration": {**examples.CONFIGURATION, "platform": "dunlin", "position": "middle"},
            "body": "siskin",
        },
    ],
)
def test_what_is_taken_is_described(content):
    _request("/api/v1/fit").validate(content)


@pytest.mark.parametrize(
    "content",
    [
        {"body": "siskin"},
        {"configuration": True, "body": "siskin"},
        {"configuration": 1, "body": {"scale": 3}},
        {"configuration": 1, "body": {"scale": 28, "wing": 1}},
        {"configuration": 1, "body": {"scale": 28, "dimensions": {"wheelbase": -92}}},
        {"configuration": 1, "body": {"scale": 28, "dimensions": {"wheelbase": {"value": 92, "unit": "in"}}}},
    ],
)
def test_what_is_refused_is_described_as_such(content):
    assert post("fit", content).status_code == 400
    assert not _request("/api/v1/fit").is_valid(content)


# The page


def test_the_page_of_the_interface_brings_its_own_scripts_and_styles():
    page = program().get("/api/docs/")
    text = page.content.decode()
    assert page.status_code == 200
    assert not re.search(r'(?:src|href)="(?:https?:)?//', text)
    assert "<style" not in text
    assert all("src=" in tag for tag in re.findall(r"<script[^>]*>", text))
    for address in re.findall(r'(?:src|href)="(/?static/[^"]+)"', text):
        assert program().get(address if address.startswith("/") else f"/{address}").status_code == 200, (
            address
        )
    assert "default-src 'none'" in page["Content-Security-Policy"]
