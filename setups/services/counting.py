"""Counting a table's rows by many of its columns at once, in SQL: what facets are made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.core.exceptions import EmptyResultSet, FullResultSet
from django.db.models import QuerySet


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

    @property
    def value(self) -> str:
        """The group as text."""
        return self.given or (f"CAST({self.group} AS text)" if self.group else "''")


def in_its_own_scan(part: Part, source: str) -> str:
    group = f" GROUP BY {part.group}" if part.group else ""
    limit = f" ORDER BY number DESC, value LIMIT {part.most}" if part.most else ""
    return (
        f"SELECT * FROM (SELECT '{part.key}' AS facet, {part.value} AS value, COUNT(*) AS number "
        f"FROM {source} WHERE {part.where}{group}{limit}) AS counted"
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
