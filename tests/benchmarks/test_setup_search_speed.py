"""The search for setups against SQL written by hand, on a library of a federation's size.

It takes the database at DATABASE_URL as it is, and loads the demo into it, some minutes, if it has too few
setups: give it a PostgreSQL of its own, with the tables migrated::

    LARGE=1 DATABASE_URL=postgres://user@localhost/large \\
        pytest tests/benchmarks/test_setup_search_speed.py -o addopts= -s

Both sides are timed in one run, in turn, as the time that the client waits for the database.
"""

from __future__ import annotations

import os
import statistics
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from django.core.management import call_command
from django.db import connection
from django.http import QueryDict

from setups.models import Setup
from setups.services.search_setups import SetupSearch

SETUPS = int(os.environ.get("SETUPS", "100000"))
ROUNDS = 15
GOAL = 1.5
QUERIES = 6
"""Platforms, what the address names (one or two), the counts, the page, and names of bodies and members."""

pytestmark = pytest.mark.skipif(
    connection.vendor != "postgresql" or "LARGE" not in os.environ,
    reason="wants LARGE=1 and a PostgreSQL of its own",
)

LISTED = "state IN ('verified', 'posted', 'disputed')"
CARDS = """SELECT s.*, m.display_name, b.name, p.name, p.scale, c.name FROM ({page}) AS k
JOIN setups_setup s ON s.id = k.id JOIN club_member m ON m.id = s.author_id
JOIN setups_body b ON b.id = s.body_id JOIN setups_platform p ON p.id = s.platform_id
LEFT JOIN club_raceclass c ON c.id = s.race_class_id
ORDER BY s.state DESC, s.confirmations DESC, s.posted_at DESC, s.id DESC"""
BEST = "ORDER BY state DESC, confirmations DESC, posted_at DESC, id DESC LIMIT 24"
COLUMNS = ("body_id", "platform_id", "state", "surface", "race_class_id", "circuit", "author_id")
FIGURES = ("ROUND(front_width)", "ROUND(wheelbase)", "front_offset", "rear_offset")


def counts(source: str, where: str, columns: tuple[str, ...] = COLUMNS + FIGURES) -> str:
    """Every facet's counts in one scan."""
    sets = ", ".join(f"({column})" for column in columns)
    wanted = ", ".join(columns)
    return f"SELECT {wanted}, COUNT(*) FROM {source} WHERE {where} GROUP BY GROUPING SETS ({sets})"


def words(text: str) -> str:
    return f"setup_lexemes(words) @@ $${text}$$::tsquery"


def _with_words(text: str) -> list[str]:
    """Everything about what the words match; two statements, since the rows have different columns."""
    found = f"SELECT id, {', '.join(COLUMNS)}, front_width, wheelbase, front_offset, rear_offset FROM "
    found += f"setups_setup WHERE {words(text)} AND {LISTED}"
    return [
        f"WITH found AS MATERIALIZED ({found}) {counts('found', 'TRUE')}",
        CARDS.format(
            page=f"WITH found AS MATERIALIZED (SELECT id, state, confirmations, posted_at FROM setups_setup "
            f"WHERE {words(text)} AND {LISTED}) SELECT id FROM found {BEST}"
        ),
    ]


def _chosen() -> list[str]:
    body = "body_id = (SELECT id FROM setups_body WHERE slug = 'stormcock-coupe-1-28')"
    others = tuple(column for column in COLUMNS + FIGURES if column not in ("body_id", "state"))
    both = f"{body} AND state = 'verified'"
    return [
        counts("setups_setup", both, others),
        counts("setups_setup", "state = 'verified'", ("body_id",)),
        counts("setups_setup", f"{body} AND {LISTED}", ("state",)),
        CARDS.format(page=f"SELECT id FROM setups_setup WHERE {both} {BEST}"),
    ]


BY_HAND: dict[str, list[str]] = {
    "": [
        counts("setups_setup", LISTED),
        CARDS.format(page=f"SELECT id FROM setups_setup WHERE {LISTED} {BEST}"),
    ],
    "q=stormcock": _with_words("'stormcock':*"),
    "q=carp+dunl": _with_words("'carp':* & 'dunl':*"),
    "body=stormcock-coupe-1-28&state=verified": _chosen(),
}


@pytest.fixture(scope="session")
def django_db_setup() -> None:
    """No test database: what is at DATABASE_URL is measured."""


@pytest.fixture(scope="module")
def large(django_db_setup, django_db_blocker) -> Iterator[None]:
    with django_db_blocker.unblock():
        if Setup.objects.count() < SETUPS:
            call_command("demo", "--reset", setups=SETUPS)
        yield


class Watch:
    """How long the database took, and how often it was asked."""

    def __init__(self) -> None:
        self.seconds, self.asked = 0.0, 0

    def __call__(self, execute: Callable, *given: object) -> object:
        start = time.perf_counter()
        try:
            return execute(*given)
        finally:
            self.seconds += time.perf_counter() - start
            self.asked += 1


@contextmanager
def watched() -> Iterator[Watch]:
    watch = Watch()
    with connection.execute_wrapper(watch):
        yield watch


def ours(query: str) -> tuple[float, int]:
    with watched() as watch:
        search = SetupSearch(QueryDict(query))
        assert search.ordered()[0:24]
        assert search.total
        assert search.facets
    return watch.seconds, watch.asked


def by_hand(statements: list[str]) -> float:
    with watched() as watch, connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
            assert cursor.fetchall()
    return watch.seconds


@pytest.mark.parametrize("query", BY_HAND)
def test_the_search_takes_little_longer_than_sql_by_hand(large, django_db_blocker, query):
    with django_db_blocker.unblock():
        ours(query)
        by_hand(BY_HAND[query])
        rounds = [(ours(query), by_hand(BY_HAND[query])) for _ in range(ROUNDS)]
    asked = {number for (_, number), _ in rounds}
    mine = statistics.median(seconds for (seconds, _), _ in rounds)
    bare = statistics.median(seconds for _, seconds in rounds)
    print(
        f"\n{query or 'everything'}: {mine * 1e3:.1f} ms in {max(asked)} queries, "
        f"by hand {bare * 1e3:.1f} ms, ratio {mine / bare:.2f}"
    )
    assert max(asked) <= QUERIES
    assert mine <= GOAL * bare
