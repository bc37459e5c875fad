"""Everything that the served schema lets a program send is answered as the schema says: the site makes no
mistake, and describes what it does.

Schemathesis reads the schema and makes the requests: at and beyond each bound of the description, and
anything that it allows or does not. Beside them stands what is known to be good at each address, whole and
spoilt in one to three places, since what only looks right seldom gets past the names of things. Each request
comes from a visitor or from a member with a token, in turn, and nothing of it stays.

Of the suite it is a small part, the same each time. For hours of it, with other requests each time:

    FUZZ_EXAMPLES=200 .venv/bin/pytest tests/security/test_api_fuzz.py -n 2
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from itertools import cycle, islice
from typing import Any

import pytest
import schemathesis
from django.db import connection, transaction
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis.config import SchemathesisConfig
from schemathesis.core.failures import FailureGroup
from schemathesis.generation import GenerationMode
from schemathesis.generation.drivers import CoverageGenerator
from schemathesis.generation.feedback import NO_FEEDBACK
from schemathesis.generation.overrides import Override

from club.models import Member
from club.wsgi import application
from tests.club.test_api_permissions import TABLE, World
from tests.security.good import more_of
from tests.security.spoiling import spoilt
from tests.setups.asking import program, secret_of

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

EXAMPLES = int(os.environ.get("FUZZ_EXAMPLES", "0"))
"""So many of anything at each address; the suite's own few without it."""
EDGES, ANYTHING, SPOILT = (2000, EXAMPLES, EXAMPLES) if EXAMPLES else (4, 2, 3)
LONG = 12_000
"""A description of more characters is fuzzed whole in a long run only: it takes seconds to understand."""
REFUSED = [400, 401, 403, 404, 405, 406, 409, 411, 412, 413, 415, 422, 428]
TAGS = {
    "author": ("Library", "Setups", "Measuring", "Garage", "Contents and problems"),
    "director": ("Racing", "Race days"),
    "member": ("Computing",),
}
"""Who mostly calls the operations with these tags."""
CHECKS = {
    # What is well formed may still name what there is not: 400 is right then.
    "positive_data_acceptance": {"enabled": False},
    "negative_data_rejection": {"expected-statuses": REFUSED},
    "missing_required_header": {"expected-statuses": REFUSED},
    # Who may do what has a table of its own: tests/club/test_api_permissions.py.
    "ignored_auth": {"enabled": False},
}
QUERY = {
    **{"body": "bodies", "platform": "platforms", "part": "parts", "maker": "makers"},
    **{"race_class": "classes", "author": "members", "member": "members", "setup": "setups"},
    **{"entry": "entries", "clause": "clauses", "revision": "firsts", "since": "firsts", "from": "editions"},
}
"""Parameters of lists, and what they name."""


def bare(path: str) -> str:
    """An address without the names of its parameters."""
    return "/".join("{}" if step.startswith("{") else step for step in path.split("/"))


def named(path: str, address: str) -> dict[str, Any]:
    """The parameters of ``path`` in one of its addresses."""
    steps = zip(path.split("/"), address.split("/"), strict=True)
    found = {step.strip("{}"): there for step, there in steps if step.startswith("{")}
    return {name: int(there) if there.isdigit() else there for name, there in found.items()}


class Good:
    """What there is at each address, and what is good to send there."""

    def __init__(self, world: World) -> None:
        self.world = world
        more = more_of(world)
        self.at: dict[tuple[str, str], list[tuple[str, Any]]] = {}
        for method, pattern in TABLE:
            key, address = (method, bare(pattern)), world.address(pattern)
            sent = [world.sent(method, pattern), *more.get(key, [])]
            self.at.setdefault(key, []).extend((address, one) for one in sent)

    def of(self, method: str, path: str) -> list[tuple[dict[str, str], Any]]:
        """The parameters of its addresses, with what is sent there."""
        return [(named(path, address), sent) for address, sent in self.at.get((method, bare(path)), [])]

    def config(self, paths: dict[str, Any]) -> SchemathesisConfig:
        """Where requests aim, so that not each asks for what there is not."""
        world, day = self.world, self.world.day
        lists = {
            "versions": ["*"],
            "firsts": [1],
            "members": ["author", "member"],
            "bodies": [world.setup.body.slug],
            "platforms": [world.setup.platform.slug],
            "parts": [world.part.part.slug],
            "makers": [world.setup.body.maker.slug],
            "setups": [world.setup.pk],
            "classes": [day.race_class.slug],
            "entries": [world.entry.pk],
            "editions": [day.edition.pk],
            "clauses": [clause.pk for clause in day.edition.clauses.all()],
        }
        operations = []
        for path, methods in paths.items():
            known: dict[str, set[Any]] = {}
            for method in methods:
                for parameters, _ in self.of(method, path):
                    for name, value in parameters.items():
                        known.setdefault(name, set()).add(value)
            lists |= {f"{path} {name}": sorted(values) for name, values in known.items()}
            aims = {f"path.{name}": {"dictionary": f"{path} {name}", "probability": 0.9} for name in known}
            operations.append({"include-path": path, "parameters": aims})
        aims = {f"query.{name}": {"dictionary": of, "probability": 0.5} for name, of in QUERY.items()}
        return SchemathesisConfig.from_dict(
            {
                "generation": {"with-security-parameters": False},
                "checks": CHECKS,
                "dictionaries": {name: {"values": values} for name, values in lists.items()},
                "parameters": aims | {"header.If-Match": {"dictionary": "versions", "probability": 0.8}},
                "operations": operations,
            }
        )


class Told:
    """What was found wrong, each kind of mistake at each address once."""

    def __init__(self, world: World, mostly: str) -> None:
        headers = {role: self.headers_of(world, role) for role in (mostly, "steward")} | {"visitor": {}}
        self.turns = cycle(headers[role] for role in (mostly, mostly, "visitor", mostly, "steward"))
        self.tried = self.answered = 0
        self.wrong: dict[tuple[str, str], str] = {}

    @staticmethod
    def headers_of(world: World, role: str) -> dict[str, str]:
        member = Member.objects.get(pk=world.callers[role].client.session["_auth_user_id"])
        return {"Authorization": f"Bearer {secret_of(member, 'read write steward')}"}

    def hold(self, case: Any) -> None:
        """Send the request and hold its answer against the schema."""
        sent = next(self.turns)
        label = case.operation.label
        try:
            with transaction.atomic():
                answer = case.call(headers=sent)
                transaction.set_rollback(True)
            self.tried += 1
            self.answered += answer.status_code < 400
            case.validate_response(answer, headers=sent)
        except FailureGroup as group:
            asked = case.as_curl_command(headers=sent)
            for failure in group.exceptions:
                self.wrong.setdefault((label, failure.title), f"{failure}\n{asked}\n{answer.text[:500]}")
        except (
            Exception
        ) as error:  # what a view did not catch is a mistake of the site, and told with the rest
            self.wrong.setdefault((label, repr(error)[:80]), case.as_curl_command(headers=sent))


def edges(operation: Any) -> list[Any]:
    """Requests at and beyond each bound of the description, some of all."""
    config = operation.schema.config.generation_for(operation=operation, phase="coverage")
    made = CoverageGenerator(
        operation=operation,
        generation_modes=list(GenerationMode),
        generation_config=config,
        auth_storage=None,
        override=Override(),
        feedback=NO_FEEDBACK,
    )
    found = list(islice(made, 20 * EDGES))
    return found[:: len(found) // EDGES + 1]


def anything(operation: Any) -> Iterator[Any]:
    """Requests as the description has them, and others."""
    return drawn(
        st.one_of([operation.as_strategy(generation_mode=mode) for mode in GenerationMode]), ANYTHING
    )


def spoilt_ones(operation: Any, good: list[tuple[dict[str, str], Any]]) -> Iterator[Any]:
    """What is good, then the same with one to three mistakes in what is sent."""
    headers = {"If-Match": "*"} if "If-Match" in {one.name for one in operation.headers} else {}
    for parameters, sent in good:
        rest = {"path_parameters": parameters, "headers": headers}
        if sent is None:
            yield operation.Case(**rest)
            continue
        for body in (sent, *drawn(spoilt(sent), SPOILT // len(good) + 1)):
            # As text: what is no number in JSON is sent as Python writes it.
            text = json.dumps(body).encode()
            yield operation.Case(body=text, media_type="application/json", **rest)


def drawn(strategy: Any, number: int) -> list[Any]:
    """So many of what ``strategy`` draws; in the suite the same each time."""
    found: list[Any] = []

    @settings(
        max_examples=number,
        derandomize=not EXAMPLES,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(strategy)
    def draw(one: Any) -> None:
        found.append(one)

    draw()
    return found


@pytest.fixture
def world(db: None, monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Any) -> World:
    # A request closes its connection, which would end the test's transaction: Django's own client takes care
    # of that, and Schemathesis calls the site without it.
    monkeypatch.setattr(connection, "close", lambda: None)
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"DEFAULT_THROTTLE_RATES": {}}
    settings.MEDIA_ROOT = tmp_path
    return World()


@pytest.fixture
def good(world: World) -> Good:
    return Good(world)


@pytest.fixture
def schema(good: Good) -> Any:
    """The schema as it is served, with its requests aimed at what there is."""
    address = "/api/schema/openapi.json"
    config = good.config(program().get(address).json()["paths"])
    return schemathesis.openapi.from_wsgi(address, application, config=config)


@pytest.mark.parametrize("mostly", TAGS)
def test_every_answer_is_as_the_schema_says(schema: Any, good: Good, mostly: str) -> None:
    told = Told(good.world, mostly)
    operations = [found.ok() for found in schema.get_all_operations()]
    assert {tag for one in operations for tag in one.tags} == {tag for tags in TAGS.values() for tag in tags}
    tried = [one for one in operations if set(one.tags) & set(TAGS[mostly])]
    for operation in tried:
        known = good.of(operation.method, operation.path)
        for case in spoilt_ones(operation, known):
            told.hold(case)
        for case in edges(operation):
            told.hold(case)
        if EXAMPLES or len(json.dumps(operation.definition.raw)) < LONG:
            for case in anything(operation):
                told.hold(case)
    wrong = [f"{label}: {title}\n{said}" for (label, title), said in told.wrong.items()]
    assert not wrong, "\n\n".join(wrong)
    assert told.answered > len(tried), "Hardly any request got past what it names"
    if EXAMPLES:
        print(f"{told.tried} requests to {len(tried)} operations, {told.answered} of them good")


def test_what_an_address_takes_can_be_asked_and_a_number_that_is_too_long_is_nobodys(schema, good):
    sent = Told.headers_of(good.world, "director")
    numbers = 0
    for path, methods in schema.raw_schema["paths"].items():
        parameters, _ = (good.of(next(iter(methods)), path) or [({}, None)])[0]
        for headers in ({}, sent):
            answer = program().options(path.format_map(Unknown(parameters)), headers=headers)
            assert answer.status_code in (200, 401, 404), path
        for name in (name for name, value in parameters.items() if isinstance(value, int)):
            long = path.format_map(parameters | {name: 10**30})
            assert program().get(long, headers=sent).status_code in (400, 404, 405), long
            numbers += 1
    assert numbers > 20


class Unknown(dict[str, str]):
    """Parameters of a path, and ``x`` for what is not among them."""

    def __missing__(self, name: str) -> str:
        return "x"


@pytest.mark.parametrize(
    "charset", ["bogus", "utf-16", "idna", "bz2", "utf-7", "utf-8; charset=x", "punycode"]
)
def test_any_charset_is_answered(charset):
    answer = program().generic("POST", "/api/v1/fit", b"{}\xff", f"application/json; charset={charset}")
    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"
