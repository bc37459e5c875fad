"""Timing a page of the library beside SQL written by hand, on databases of several sizes in one process."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import environ
from django.core.cache import caches
from django.db import connection

ROUNDS = 20
"""So many requests are timed, in turn with the SQL;"""
SLOW, FEW = 1.0, 5
"""of what takes so many seconds a few must do."""


class Watch:
    """How long the database took, and how often it was asked."""

    def __init__(self) -> None:
        self.seconds, self.asked = 0.0, 0

    def __call__(self, execute: Callable[..., Any], *given: Any) -> Any:
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


@contextmanager
def on(url: str) -> Iterator[None]:
    """The default connection is to the database at ``url``."""
    before = dict(connection.settings_dict)
    connection.close()
    connection.settings_dict.update(environ.Env.db_url_config(url))
    forget()
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict.update(before)
        forget()


def forget() -> None:
    """Nothing that was counted or made for an earlier request is known."""
    for cache in caches.all():
        cache.clear()


def p95(seconds: list[float]) -> float:
    return statistics.quantiles(seconds, n=20, method="inclusive")[-1]


@dataclass(frozen=True, slots=True)
class Timed:
    """What one thing took on one size, in seconds: the database's part of it, all of it, and bare SQL.

    ``busy`` is what this process computed for it, whatever else the machine was doing.
    """

    size: int
    what: str
    queries: int
    database: float
    whole: float
    whole_p95: float
    bare: float
    bare_p95: float
    busy: float

    @property
    def ratio(self) -> float:
        """The database's time, by the time of the SQL."""
        return self.database / self.bare

    @property
    def whole_ratio(self) -> float:
        return self.whole_p95 / self.bare_p95

    def __str__(self) -> str:
        return (
            f"{self.size:>9,} {self.what:<44} {self.queries:>3} {self.database * 1e3:>9.1f} "
            f"{self.bare * 1e3:>9.1f} {self.ratio:>6.2f} {self.whole * 1e3:>9.1f} "
            f"{self.whole_p95 * 1e3:>9.1f} {self.bare_p95 * 1e3:>9.1f} {self.whole_ratio:>6.2f} "
            f"{self.busy * 1e3:>8.1f}"
        )


HEADER = (
    f"{'setups':>9} {'what':<44} {'qu.':>3} {'db ms':>9} {'SQL ms':>9} {'ratio':>6} {'page ms':>9} "
    f"{'p95':>9} {'SQL p95':>9} {'ratio':>6} {'CPU ms':>8}"
)


def fetched(statements: list[str]) -> Callable[[], int]:
    """Carries the statements out and fetches all rows."""

    def run() -> int:
        rows = 0
        with connection.cursor() as cursor:
            for statement in statements:
                cursor.execute(statement)
                rows += len(cursor.fetchall())
        return rows

    return run


def beside(
    size: int, what: str, ours: Callable[[], Any], bare: Callable[[], Any], *, afresh: bool = False
) -> Timed:
    """``ours`` and ``bare`` in turn; ``afresh``: nothing is known of an earlier request."""
    ours()
    start = time.perf_counter()
    bare()
    rounds = FEW if time.perf_counter() - start > SLOW else ROUNDS
    inside, whole, alone, busy, asked = [], [], [], [], set()
    for _ in range(rounds):
        if afresh:
            forget()
        with watched() as watch:
            start, worked = time.perf_counter(), time.process_time()
            ours()
            whole.append(time.perf_counter() - start)
            busy.append(time.process_time() - worked)
        inside.append(watch.seconds)
        asked.add(watch.asked)
        start = time.perf_counter()
        bare()
        alone.append(time.perf_counter() - start)
    return Timed(
        size,
        what,
        max(asked),
        statistics.median(inside),
        statistics.median(whole),
        p95(whole),
        statistics.median(alone),
        p95(alone),
        statistics.median(busy),
    )
