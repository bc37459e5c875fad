"""How many setups are listed with what, kept up by the database with every change, whoever makes it.

A row of ``Tally`` says that so many listed setups have a value of a facet within a scope. Two kinds:

- *coarse*: every combination there is of the facets with few values, once. By it any choice among those is
  counted without reading a setup (``setups.services.search_setups``).
- of the facets that have any number of values (bodies, circuits, members) each value within each of
  ``SCOPES``: all setups, those of one platform, of one standing and so on.

Triggers keep them within the transaction that changes the setups, so that a count is exact as soon as the
change can be seen, and never before. On PostgreSQL one statement adds what it changes as rows of
``TallyChange``, which nobody else writes, so that nobody waits for anybody. Once there are ``MOST_CHANGES``,
whoever comes next adds them to their tallies, one at a time: all others pass by. On SQLite, where one writes
at a time, the tallies themselves are changed.

They are installed after every ``migrate`` and stand aside before one on SQLite, as ``setups.guards``.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import connections, router, transaction

from setups.models import Setup, Tally, TallyChange
from setups.models.setup import LISTED

COARSE = {
    "platform": "{row}.platform_id",
    "state": "{row}.state",
    "surface": "{row}.surface",
    "class": "{row}.race_class_id",
    "front": "ROUND({row}.front_width)",
    "wheelbase": "ROUND({row}.wheelbase)",
    "front_offset": "{row}.front_offset",
    "rear_offset": "{row}.rear_offset",
}
"""The facets of a combination, in its order, as SQL; lengths in whole mm."""
NAMED = {"body": "{row}.body_id", "circuit": "{row}.circuit", "author": "{row}.author_id"}
SCOPES: tuple[tuple[str, ...], ...] = (
    (),
    ("platform",),
    ("state",),
    ("class",),
    ("surface",),
    ("platform", "state"),
)
"""What may be chosen for the values of ``NAMED`` to be counted already."""
ALL = "coarse"
MOST_CHANGES = 500
Statement = tuple[str, list[Any]]
"""SQL with what it is given."""


def scope_of(chosen: dict[str, str]) -> str:
    """The name of a scope: what is chosen there, in the order of ``SCOPES``."""
    return "&".join(f"{key}:{value}" for key, value in chosen.items())


def install(using: str) -> None:
    """Put the triggers on the database ``using``, and count anew unless these ones stood there all along."""
    connection = connections[using]
    if not router.allow_migrate_model(using, Tally):
        return
    if not {_TALLY, _CHANGE, _SETUP} <= set(connection.introspection.table_names()):
        return
    with transaction.atomic(using=using), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT COUNT(*) FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid "
                "WHERE t.tgrelid = %s::regclass AND p.proname = %s AND p.prosrc = %s",
                [_SETUP, _KEEP, _FUNCTION],
            )
            if cursor.fetchone() == (len(_EVENTS),):
                return
        _remove(using)
        for statement in _statements(connection.vendor):
            cursor.execute(statement)
        count_anew(using)


def remove(using: str) -> None:
    """Take the triggers off the database ``using``."""
    if _SETUP in connections[using].introspection.table_names():
        with transaction.atomic(using=using):
            _remove(using)


def _remove(using: str) -> None:
    connection = connections[using]
    with connection.cursor() as cursor:
        for event in _EVENTS:
            if connection.vendor == "postgresql":
                cursor.execute(f"DROP TRIGGER IF EXISTS {_KEEP}_{event} ON {_SETUP}")
            else:
                cursor.execute(f"DROP TRIGGER IF EXISTS {_KEEP}_{event}")
        if connection.vendor == "postgresql":
            cursor.execute(f"DROP FUNCTION IF EXISTS {_KEEP}()")


def count_anew(using: str | None = None) -> None:
    """Count all setups, for whoever changes them past the triggers. Others' changes wait meanwhile."""
    using = using or router.db_for_write(Tally)
    connection = connections[using]
    with transaction.atomic(using=using), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(f"LOCK TABLE {_SETUP} IN SHARE ROW EXCLUSIVE MODE")
            cursor.execute(f"SELECT pg_advisory_xact_lock({_LOCK})")
        cursor.execute(f"DELETE FROM {_CHANGE}")
        cursor.execute(f"DELETE FROM {_TALLY}")
        listed = ", ".join(f"'{state}'" for state in LISTED)
        for scope, facet, value in _ROWS:
            scope, value = scope.format(row="s"), value.format(row="s")
            cursor.execute(
                f"INSERT INTO {_TALLY} (scope, facet, value, number) SELECT {scope}, '{facet}', {value}, "
                f"COUNT(*) FROM {_SETUP} s WHERE s.state IN ({listed}) AND {scope} IS NOT NULL "
                f"AND {value} IS NOT NULL GROUP BY 1, 3"
            )


def combinations() -> Statement:
    """All combinations with their numbers, as rows of ``ALL``, value and number."""
    return (
        f"SELECT '{ALL}' AS facet, value, SUM(number) AS number FROM ({_EITHER}) AS tallies "
        "GROUP BY value HAVING SUM(number) > 0",
        ["", ALL, "", ALL],
    )


def most(facet: str, scopes: Sequence[str], number: int) -> Statement:
    """The ``number`` most frequent values of ``facet`` in ``scopes``, as rows of facet, value and number.

    Within one scope they are the first of an index. What is changed and not added yet counts along.
    """
    if len(scopes) > 1:
        either = _EITHER.replace("scope = %s", f"scope IN ({', '.join(['%s'] * len(scopes))})")
        found = f"SELECT value, SUM(number) AS number FROM ({either}) AS tallies GROUP BY value"
        given = [*scopes, facet, *scopes, facet]
    else:
        found = (
            f"SELECT * FROM (SELECT value, number FROM {_TALLY} WHERE {_ASKED} AND value NOT IN "
            f"(SELECT value FROM {_CHANGE} WHERE {_ASKED}) ORDER BY number DESC, value LIMIT {number}) AS n "
            "UNION ALL SELECT changed.value, changed.number + COALESCE(t.number, 0) FROM "
            f"(SELECT value, SUM(number) AS number FROM {_CHANGE} WHERE {_ASKED} GROUP BY value) AS changed "
            f"LEFT JOIN {_TALLY} t ON t.scope = %s AND t.facet = %s AND t.value = changed.value"
        )
        given = [scopes[0], facet] * 4
    return (
        f"SELECT * FROM (SELECT '{facet}' AS facet, value, number FROM ({found}) AS found WHERE number > 0 "
        f"ORDER BY number DESC, value LIMIT {number}) AS counted",
        given,
    )


_SETUP, _TALLY, _CHANGE = (model._meta.db_table for model in (Setup, Tally, TallyChange))
_KEEP = "setup_tallies"
_LOCK = 7_461_253
"""The advisory lock of who adds changes to their tallies; any number that nobody else takes."""
_ASKED = "scope = %s AND facet = %s"
_EITHER = " UNION ALL ".join(
    f"SELECT value, number FROM {table} WHERE {_ASKED}" for table in (_TALLY, _CHANGE)
)
_EVENTS = ("insert", "update", "delete", "truncate")


def _text(expression: str) -> str:
    return f"CAST({expression} AS text)"


def _named_scope(keys: tuple[str, ...]) -> str:
    return " || '&' || ".join(f"'{key}:' || {_text(COARSE[key])}" for key in keys) or "''"


_COMBINATION = " || ',' || ".join(f"COALESCE({_text(one)}, '')" for one in COARSE.values())
_ROWS = [("''", ALL, _COMBINATION)] + [
    (_named_scope(keys), facet, _text(column)) for keys in SCOPES for facet, column in NAMED.items()
]
"""What is counted of a setup, as SQL: the scope, the facet and the value, where neither is null."""


def _counted(row: str) -> str:
    """The tallies of one setup as a query; what has no value is left out."""
    rows = (
        f"SELECT {scope.format(row=row)} AS scope, '{facet}' AS facet, {value.format(row=row)} AS value"
        for scope, facet, value in _ROWS
    )
    return (
        f"(SELECT * FROM ({' UNION ALL '.join(rows)}) AS every WHERE scope IS NOT NULL AND value IS NOT NULL)"
    )


def _of_all(rows: str, sign: str) -> str:
    listed = ", ".join(f"'{state}'" for state in LISTED)
    return (
        f"SELECT counted.*, {sign}1 AS number FROM {rows} s CROSS JOIN LATERAL {_counted('s')} AS counted "
        f"WHERE s.state IN ({listed})"
    )


def _add(changes: str) -> str:
    return (
        f"INSERT INTO {_CHANGE} (scope, facet, value, number) SELECT scope, facet, value, SUM(number) "
        f"FROM ({changes}) AS changes GROUP BY scope, facet, value HAVING SUM(number) <> 0"
    )


_FUNCTION = f"""
BEGIN
    IF TG_OP = 'TRUNCATE' THEN
        DELETE FROM {_CHANGE};
        DELETE FROM {_TALLY};
        RETURN NULL;
    ELSIF TG_OP = 'INSERT' THEN
        {_add(_of_all("added", ""))};
    ELSIF TG_OP = 'DELETE' THEN
        {_add(_of_all("gone", "-"))};
    ELSE
        {_add(f"{_of_all('added', '')} UNION ALL {_of_all('gone', '-')}")};
    END IF;
    IF (SELECT COUNT(*) FROM (SELECT 1 FROM {_CHANGE} LIMIT {MOST_CHANGES + 1}) AS few) > {MOST_CHANGES}
            AND pg_try_advisory_xact_lock({_LOCK}) THEN
        WITH taken AS (DELETE FROM {_CHANGE} RETURNING scope, facet, value, number)
        INSERT INTO {_TALLY} (scope, facet, value, number) SELECT scope, facet, value, SUM(number)
            FROM taken GROUP BY scope, facet, value HAVING SUM(number) <> 0
        ON CONFLICT (scope, facet, value) DO UPDATE SET number = {_TALLY}.number + EXCLUDED.number;
    END IF;
    RETURN NULL;
END """


def _statements(vendor: str) -> list[str]:
    if vendor == "postgresql":
        seen = {
            "insert": "REFERENCING NEW TABLE AS added",
            "update": "REFERENCING NEW TABLE AS added OLD TABLE AS gone",
            "delete": "REFERENCING OLD TABLE AS gone",
            "truncate": "",
        }
        return [
            f"CREATE FUNCTION {_KEEP}() RETURNS trigger LANGUAGE plpgsql AS $${_FUNCTION}$$",
            *(
                f"CREATE TRIGGER {_KEEP}_{event} AFTER {event} ON {_SETUP} {seen[event]} "
                f"FOR EACH STATEMENT EXECUTE FUNCTION {_KEEP}()"
                for event in _EVENTS
            ),
        ]
    new, old = _changed_at_once("NEW", 1), _changed_at_once("OLD", -1)
    return [
        f"CREATE TRIGGER {_KEEP}_insert AFTER INSERT ON {_SETUP} FOR EACH ROW BEGIN {new}; END",
        f"CREATE TRIGGER {_KEEP}_update AFTER UPDATE ON {_SETUP} FOR EACH ROW BEGIN {old}; {new}; END",
        f"CREATE TRIGGER {_KEEP}_delete AFTER DELETE ON {_SETUP} FOR EACH ROW BEGIN {old}; END",
    ]


def _changed_at_once(row: str, number: int) -> str:
    listed = ", ".join(f"'{state}'" for state in LISTED)
    return (
        f"INSERT INTO {_TALLY} (scope, facet, value, number) SELECT scope, facet, value, {number} "
        f"FROM {_counted(row)} WHERE {row}.state IN ({listed}) "
        "ON CONFLICT (scope, facet, value) DO UPDATE SET number = number + excluded.number"
    )
