"""Triggers for rules that span tables, which a check constraint cannot see.

A wheel's offset must be on the offset grid of every platform that the wheel is said to fit (the rule is
``fitcalc.parts.OffsetGrid.holds``); a configuration, a revision or a published wheelbase must name a mounting
position of its own platform; and what is posted (a revision, its parts, a decision) is never changed. The
triggers act on every write that could break the rule, from either side, and raise
``django.db.IntegrityError`` with the guard's message.

They are no part of a migration: SQLite remakes a table that a migration alters, and loses its triggers.
``setups.apps`` drops them before a migration on SQLite (a trigger that reads a table stops its remake) and
installs them after every ``migrate``.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from django.db import connections, transaction

# The remainder is compared with a small slack because SQLite keeps decimals as floating point. A step of
# zero is left to the table's own check constraint.
_OFF_GRID = """(
    {offset} < {platform}.offset_min OR {offset} > {platform}.offset_max
    OR ABS(({offset} - {platform}.offset_min) / NULLIF({platform}.offset_step, 0)
           - ROUND(({offset} - {platform}.offset_min) / NULLIF({platform}.offset_step, 0))) > 0.000001
)"""


@dataclass(frozen=True, slots=True)
class Guard:
    """One trigger: a write to ``table`` is refused with ``message`` if ``broken`` finds a row.

    ``broken`` is of NEW and, where ``events`` is "update" or "delete" alone, of OLD.
    """

    name: str
    table: str
    message: str
    broken: str
    events: tuple[str, ...] = ("insert", "update")


def _unchanging(table: str) -> Guard:
    """What is posted is never changed; it goes only with its setup."""
    return Guard(
        f"{table}_unchanging", f"setups_{table}", "what_is_posted_never_changes", "SELECT 1", ("update",)
    )


_GRID = "offset_outside_grid"
_POSITION = "position_of_another_platform"

GUARDS = (
    Guard(
        "fitment_offset_grid",
        "setups_fitment",
        _GRID,
        f"""SELECT 1 FROM setups_partdimension d
            JOIN setups_part w ON w.id = d.part_id AND w.kind = 'wheel'
            JOIN setups_platform p ON p.id = NEW.platform_id
            WHERE d.part_id = NEW.part_id AND d.quantity = 'offset'
              AND {_OFF_GRID.format(offset="d.value", platform="p")}""",
    ),
    Guard(
        "dimension_offset_grid",
        "setups_partdimension",
        _GRID,
        f"""SELECT 1 FROM setups_fitment f
            JOIN setups_part w ON w.id = f.part_id AND w.kind = 'wheel'
            JOIN setups_platform p ON p.id = f.platform_id
            WHERE NEW.quantity = 'offset' AND f.part_id = NEW.part_id
              AND {_OFF_GRID.format(offset="NEW.value", platform="p")}""",
    ),
    Guard(
        "part_offset_grid",
        "setups_part",
        _GRID,
        f"""SELECT 1 FROM setups_fitment f
            JOIN setups_partdimension d ON d.part_id = f.part_id AND d.quantity = 'offset'
            JOIN setups_platform p ON p.id = f.platform_id
            WHERE NEW.kind = 'wheel' AND f.part_id = NEW.id
              AND {_OFF_GRID.format(offset="d.value", platform="p")}""",
    ),
    Guard(
        "platform_offset_grid",
        "setups_platform",
        _GRID,
        f"""SELECT 1 FROM setups_fitment f
            JOIN setups_part w ON w.id = f.part_id AND w.kind = 'wheel'
            JOIN setups_partdimension d ON d.part_id = f.part_id AND d.quantity = 'offset'
            WHERE f.platform_id = NEW.id
              AND {_OFF_GRID.format(offset="d.value", platform="NEW")}""",
    ),
    Guard(
        "configuration_position",
        "setups_configuration",
        _POSITION,
        """SELECT 1 FROM setups_mountingposition m
           WHERE m.id = NEW.position_id AND m.platform_id <> NEW.platform_id""",
    ),
    Guard(
        "known_wheelbase_position",
        "setups_knownwheelbase",
        _POSITION,
        """SELECT 1 FROM setups_mountingposition m
           WHERE m.id = NEW.position_id AND m.platform_id <> NEW.platform_id""",
    ),
    Guard(
        "position_platform",
        "setups_mountingposition",
        _POSITION,
        """SELECT 1 FROM setups_configuration c
           WHERE c.position_id = NEW.id AND c.platform_id <> NEW.platform_id
           UNION ALL
           SELECT 1 FROM setups_knownwheelbase k
           WHERE k.position_id = NEW.id AND k.platform_id <> NEW.platform_id
           UNION ALL
           SELECT 1 FROM setups_revision r
           WHERE r.position_id = NEW.id AND r.platform_id <> NEW.platform_id""",
    ),
    Guard(
        "revision_position",
        "setups_revision",
        _POSITION,
        """SELECT 1 FROM setups_mountingposition m
           WHERE m.id = NEW.position_id AND m.platform_id <> NEW.platform_id""",
        ("insert",),
    ),
    _unchanging("revision"),
    _unchanging("revisionpart"),
    _unchanging("decision"),
)

_TABLES = {
    "setups_configuration",
    "setups_decision",
    "setups_fitment",
    "setups_knownwheelbase",
    "setups_mountingposition",
    "setups_part",
    "setups_partdimension",
    "setups_platform",
    "setups_revision",
    "setups_revisionpart",
}
"""Every table that a guard stands on or reads."""


def install(using: str, guards: Iterable[Guard] = GUARDS, tables: Collection[str] = _TABLES) -> None:
    """Put every guard on the database ``using``, in place of what is there by its name.

    Does nothing while one of the tables is missing (the library migrated back to nothing).
    """
    connection = connections[using]
    if not set(tables) <= set(connection.introspection.table_names()):
        return
    with transaction.atomic(using=using), connection.cursor() as cursor:
        for guard in guards:
            for statement in _drop(guard, connection.vendor) + _create(guard, connection.vendor):
                cursor.execute(statement)


def remove(using: str, guards: Iterable[Guard] = GUARDS) -> None:
    """Take every guard off the database ``using``."""
    connection = connections[using]
    standing = set(connection.introspection.table_names())
    with transaction.atomic(using=using), connection.cursor() as cursor:
        for guard in guards:
            if guard.table in standing:
                for statement in _drop(guard, connection.vendor):
                    cursor.execute(statement)


def _drop(guard: Guard, vendor: str) -> list[str]:
    if vendor == "postgresql":
        return [
            f"DROP TRIGGER IF EXISTS {guard.name} ON {guard.table}",
            f"DROP FUNCTION IF EXISTS {guard.name}()",
        ]
    return [f"DROP TRIGGER IF EXISTS {guard.name}_{event}" for event in ("insert", "update", "delete")]


def _create(guard: Guard, vendor: str) -> list[str]:
    if vendor == "postgresql":
        return [
            f"""CREATE FUNCTION {guard.name}() RETURNS trigger LANGUAGE plpgsql AS $$
                BEGIN
                    IF EXISTS ({guard.broken}) THEN
                        RAISE EXCEPTION '{guard.message}' USING ERRCODE = 'check_violation';
                    END IF;
                    RETURN {"OLD" if guard.events == ("delete",) else "NEW"};
                END $$""",
            f"""CREATE TRIGGER {guard.name} BEFORE {" OR ".join(guard.events)} ON {guard.table}
                FOR EACH ROW EXECUTE FUNCTION {guard.name}()""",
        ]
    return [
        f"""CREATE TRIGGER {guard.name}_{event} BEFORE {event} ON {guard.table} FOR EACH ROW
            WHEN EXISTS ({guard.broken})
            BEGIN SELECT RAISE(ABORT, '{guard.message}'); END"""
        for event in guard.events
    ]
