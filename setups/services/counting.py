"""Counting a table's rows by many of its columns at once, in SQL: what facets are made of.

What took long to count is kept under the mark of the tables that it hangs on (``setups.marks``), so that it
is found again until one of them changes, and never after.
"""

from __future__ import annotations

import logging
import time
from collections import defaultdict
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from hashlib import blake2b
from typing import Any

from django.core.cache import cache
from django.core.exceptions import EmptyResultSet, FullResultSet
from django.db import OperationalError, connections
from django.db.models import QuerySet

from setups.marks import mark_of

log = logging.getLogger(__name__)

WORTH_KEEPING = 0.03
"""Seconds. What was counted quicker than this is not kept: few would fill the cache for little."""
KEPT_FOR = 3600

Counts = dict[str, list[tuple[str | None, int]]]
"""For each part of a count its values as text, each with a number."""


@dataclass(frozen=True, slots=True)
class Part:
    """One count: of the rows that ``where`` leaves, how many there are of each ``group`` (none: in all).

    ``most`` values are wanted, the most frequent.
    """

    key: str
    group: str
    given: str
    where: str
    params: list[Any]
    most: int = 0
    source: str = ""
    """Where to count from where no other part is counted along, if that is not where all are."""

    @property
    def value(self) -> str:
        """The group as text."""
        return self.given or (f"CAST({self.group} AS text)" if self.group else "''")


def in_its_own_scan(part: Part, source: str) -> str:
    group = f" GROUP BY {part.group}" if part.group else ""
    limit = f" ORDER BY number DESC, value LIMIT {part.most}" if part.most else ""
    return (
        f"SELECT * FROM (SELECT '{part.key}' AS facet, {part.value} AS value, COUNT(*) AS number "
        f"FROM {part.source or source} WHERE {part.where}{group}{limit}) AS counted"
    )


def in_one_scan(parts: list[Part], source: str) -> str:
    """Counts over the same rows, by PostgreSQL's grouping sets: the rows are read once for all of them."""
    parts = sorted(parts, key=lambda part: not part.group)  # the grand total is what no other set is
    sets = ", ".join(f"({part.group})" for part in parts)
    which = [(f"GROUPING({part.group.split(', ')[0]}) = 0" if part.group else "TRUE", part) for part in parts]
    facet = " ".join(f"WHEN {here} THEN '{part.key}'" for here, part in which)
    value = " ".join(f"WHEN {here} THEN {part.value}" for here, part in which)
    counted = (
        f"SELECT CASE {facet} END AS facet, CASE {value} END AS value, COUNT(*) AS number "
        f"FROM {source} WHERE {parts[0].where} GROUP BY GROUPING SETS ({sets})"
    )
    most = max(part.most for part in parts)
    if not most:
        return f"SELECT * FROM ({counted}) AS counted"
    named = ", ".join(f"'{part.key}'" for part in parts if part.most)
    return (
        "SELECT facet, value, number FROM (SELECT *, ROW_NUMBER() OVER "
        f"(PARTITION BY facet ORDER BY number DESC, value) AS place FROM ({counted}) AS counted) AS ranked "
        f"WHERE place <= {most} OR facet NOT IN ({named})"
    )


def where_of(found: QuerySet[Any]) -> tuple[str, list[Any]]:
    """The conditions of a query on one table alone, in the database's own words, and what they are given."""
    compiler = found.query.get_compiler(using=found.db)
    compiler.pre_sql_setup()
    try:
        sql, params = compiler.compile(found.query.where)
    except EmptyResultSet:
        return "1 = 0", []
    except FullResultSet:
        return "1 = 1", []
    return sql, list(params)


def count_all(
    of: str,
    using: str,
    parts: Sequence[Part],
    source: str,
    common: tuple[str, list[Any]] = ("", []),
    further: Sequence[tuple[str, list[Any]]] = (),
) -> Counts:
    """Every part counted, in one statement; ``of`` names the mark of the tables that are read, if the counts
    may be worth keeping.

    ``source`` is what the rows come from, ``common`` what stands before the statement and ``further`` more
    parts of it, each with what it is given.
    """
    statements, params = [], [*common[1]]
    if connections[using].vendor == "postgresql":
        alike: dict[tuple[str, tuple[Any, ...]], list[Part]] = {}
        for part in parts:
            alike.setdefault((part.where, tuple(part.params)), []).append(part)
        for (_, given), group in alike.items():
            own = {part.source for part in group}
            statements.append(in_one_scan(group, (own.pop() or source) if len(own) == 1 else source))
            params += given
    else:
        for part in parts:
            statements.append(in_its_own_scan(part, source))
            params += part.params
    for statement, given in further:
        statements.append(statement)
        params += given
    return _kept(of, using, common[0] + " UNION ALL ".join(statements), params)


def _kept(of: str, using: str, statement: str, params: list[Any]) -> Counts:
    mark = mark_of(of, using) if of else ""
    digest = blake2b(f"{statement} {params!r}".encode(), digest_size=16).hexdigest()
    key = f"counts:{mark}:{digest}"
    if mark:
        try:
            kept: Counts | None = cache.get(key)
        except OperationalError:
            log.warning("The cache does not answer, so everything is counted anew")
            mark = ""
        else:
            if kept is not None:
                return defaultdict(list, kept)
    start = time.monotonic()
    found: Counts = defaultdict(list)
    with connections[using].cursor() as cursor:
        cursor.execute(statement, params)
        for part, value, number in cursor.fetchall():
            found[part].append((value, number))
    if mark and time.monotonic() - start >= WORTH_KEEPING:
        with suppress(OperationalError):  # away since a moment ago
            cache.set(key, dict(found), KEPT_FOR)
    return found
