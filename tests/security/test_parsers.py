"""Whatever is typed, pasted or put into an address is read, or refused in the words that its reader has for
it, in a time that grows with its length and no faster."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from time import process_time
from typing import Any

import pytest
from django.http import QueryDict
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fitcalc import typed
from fitcalc.dimensions import Unit
from setups import filters
from setups.imports import cells
from setups.services import laps
from setups.services.search import Search
from tests.club.race_days import race_day
from tests.factories import SetupFactory
from tests.security.parsers import NOT_FROM_OUTSIDE, PARSERS, READ_IN

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

ROOT = Path(__file__).parents[2]
EASY = settings(derandomize=True, database=None, deadline=None, suppress_health_check=list(HealthCheck))
LETTERS = "0123456789.,'’ ±+-–:/=()[]{}\"|;&%\n\té\u202e"
LONG = 60_000
SECONDS = 1.5
"""Of the processor. What took a second for one letter more each time took hours for so many."""
BOMBS = [
    *("1." * LONG + "a1", "1 ." * LONG + "x1", "1'" * LONG, "1 000" * LONG, "9" * LONG, "1e" + "9" * LONG),
    *("(" * LONG, "[(" * LONG, " " * LONG + "x", "± " * LONG, "+ / " * LONG, "-" * LONG, "=" * LONG),
    *("a" * LONG, '"' * LONG, '","' * LONG, "|" * LONG, ";" * LONG, "\n" * LONG, "a\n" * LONG, "a," * LONG),
    *("{" * LONG, "[" * LONG, '{"a":' * LONG, "[0," * LONG, "\ufdfa" * LONG, "e\u0301" * LONG, "\0" * LONG),
    "{" + "".join(f'"{number}":0,' for number in range(LONG // 4)) + '"z":0,"z":0}',
    "a=1&" * LONG,
    "name,maker," + ",".join(f"c{number}" for number in range(LONG)) + "\na,b\n",
]


@pytest.fixture
def world(settings: Any, request: Any) -> None:
    """What slow readers look into; the quick ones need nothing."""
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"DEFAULT_THROTTLE_RATES": {}}
    if PARSERS[request.node.callspec.params["name"]].slow:
        race_day()
        SetupFactory()


@pytest.mark.parametrize("name", PARSERS)
def test_whatever_is_written_is_read_or_refused(name, world):
    parser = PARSERS[name]
    piece = st.one_of(
        st.text(max_size=8), st.text(LETTERS, max_size=8), st.sampled_from([*parser.seeds, *LETTERS])
    )

    @settings(EASY, max_examples=4 if parser.slow else 40)
    @given(st.lists(piece, max_size=6).map("".join))
    def tried(text: str) -> None:
        took(text)

    def took(text: str) -> float:
        began = process_time()
        try:
            parser.read(text)
        except parser.refuses as refused:
            said.append(len(str(refused)))
        return process_time() - began

    said = [0]

    for text in ("", *parser.seeds[:: 3 if parser.slow else 1]):
        took(text)
    tried()
    slow = {
        text[:20]: round(seconds, 1)
        for text in BOMBS[:: 11 if parser.slow else 1]
        if (seconds := took(text)) > SECONDS
    }
    assert not slow
    assert max(said) < 2000, "A refusal quotes all of it"


def _takes_text_apart(path: Path) -> bool:
    """True for code that matches patterns, or reads JSON, days, CSV, UUIDs or ETags."""
    readers = {"loads", "fromisoformat", "strptime", "urlsafe_b64decode", "b64decode", "parse_etags", "UUID"}
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import) and any(one.name == "re" for one in node.names):
            return True
        if isinstance(node, ast.Call):
            called = getattr(node.func, "attr", getattr(node.func, "id", ""))
            of = getattr(getattr(node.func, "value", None), "id", "")
            if called in readers or (of, called) == ("csv", "reader"):
                return True
    return False


def _code() -> Iterator[str]:
    for room in ("club", "setups", "fitcalc"):
        for path in (ROOT / room).rglob("*.py"):
            named = path.relative_to(ROOT).as_posix()
            if not {"migrations", "demo", "management"} & set(path.parts) and "/demo" not in named:
                yield named


def test_no_reader_is_left_out():
    found = {path for path in _code() if _takes_text_apart(ROOT / path)}
    assert found == set(READ_IN) | set(NOT_FROM_OUTSIDE)
    assert set(READ_IN.values()) <= set(PARSERS)


# What is written comes back


@EASY
@given(st.text(), st.booleans())
def test_a_cell_with_its_mark_is_read_letter_by_letter(text, several_lines):
    marked = cells.marked(text, several_lines)
    read, was_marked = cells.unmarked(marked, several_lines)
    assert read == text
    assert was_marked == (marked != text)
    assert not marked.startswith(("=", "+", "-", "@", "\t", "\r"))


@EASY
@given(st.decimals(Decimal("0.001"), laps.LONGEST, places=3))
def test_a_lap_is_read_as_it_is_shown(lap):
    assert laps.read(laps.show(lap)) == lap


@EASY
@given(st.integers(0, 9999), st.integers(0, 9999))
def test_a_span_is_read_as_it_is_written(one, other):
    span = filters.Span(min(one, other), max(one, other), Decimal("0.1"))
    again = filters.Span.read(str(span), Decimal("0.1"))
    assert again is not None
    assert (again.low, again.high) == (span.low, span.high)


@EASY
@given(st.decimals(-999, 999, places=3), st.sampled_from(["", " mm", " in", '"', "inch"]), st.booleans())
def test_a_length_told_apart_means_the_same_in_either_unit(number, unit, inches):
    text = typed.unambiguous(f"{number}{unit}", Unit.MM, inches)
    meant = typed.plain(f"{number}{unit}", Unit.MM, inches)
    assert Decimal(typed.plain(text, Unit.MM, False)) == Decimal(meant)


@EASY
@given(
    st.text(),
    st.lists(st.sampled_from(["98", "95-99", "unknown", "x"]), max_size=3),
    st.sampled_from(["name", "newest", "x"]),
)
def test_the_address_of_a_search_asks_for_the_same(text, lengths, sort):
    query = QueryDict(mutable=True)
    query.update({"q": text.encode("utf-8", "replace").decode(), "sort": sort})
    query.setlist("wheelbase", lengths)
    search = Search(query)
    again = Search(QueryDict(search.address().removeprefix("?")))
    assert (again.text, again.chosen, again.sort) == (search.text, search.chosen, search.sort)
    assert again.refused == []
