"""What says whether an answer that was kept is still right: a mark that is another one after every change.

A trigger on each table of ``COUNTED`` adds a row with a random number to ``Mark`` within the transaction that
changes it. The mark of a snapshot is how many rows it sees and their sum, so that it is another one as
soon as a change can be seen, and the old one again where a change was taken back; nobody waits for anybody,
since rows are only added. Old ones are taken out with the next change, some at a time, those that somebody
else is taking out left alone.

The triggers are installed after every ``migrate`` and stand aside before one on SQLite, as ``setups.guards``.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterable

from django.db import connections, router, transaction
from django.db.models import Count, Sum

from setups.models import Mark

BODIES, SETUPS, CATALOGUE, NAMES = "bodies", "setups", "catalogue", "names"
COUNTED = {
    BODIES: ("setups_body", "setups_bodydimension", "setups_bodypart", "setups_maker"),
    SETUPS: ("setups_setup",),
    CATALOGUE: (
        "setups_platform",
        "setups_mountingposition",
        "setups_part",
        "setups_partdimension",
        "setups_fitment",
        "setups_partpair",
        "setups_maker",
    ),
    NAMES: ("club_member", "club_raceclass"),
}
"""The tables that the counts of each search hang on, that solving reads besides the body's own, and those
whose names a list of setups shows."""
COLUMNS = {"club_member": ("username", "display_name")}
"""Where only some columns are shown, a change to others marks nothing: signing in writes a member's row."""
KEPT = 64
"""So many of the newest marks stay."""


def mark_of(what: str, using: str | None = None) -> str:
    """The mark of ``what`` as the connection sees it now, one query; empty while nothing was ever changed."""
    return mark_of_all([what], using)


def mark_of_all(whats: Iterable[str], using: str | None = None) -> str:
    """One mark of all of ``whats``, as ``mark_of``; one query."""
    whats = sorted(whats)
    found = Mark.objects.using(using).filter(of__in=whats).aggregate(rows=Count("pk"), sum=Sum("token"))
    return f"{'+'.join(whats)}:{found['rows']}:{found['sum']}" if found["rows"] else ""


def changed(using: str | None = None) -> None:
    """For whoever changes the tables past their triggers."""
    Mark.objects.using(using).bulk_create(Mark(of=what, token=secrets.randbits(40)) for what in COUNTED)


def install(using: str) -> None:
    """Put the triggers on the database ``using``, in place of those that are there."""
    connection = connections[using]
    if not router.allow_migrate_model(using, Mark):
        return
    tables = {table for of in COUNTED.values() for table in of} | {Mark._meta.db_table}
    if not tables <= set(connection.introspection.table_names()):
        return
    remove(using)
    with transaction.atomic(using=using), connection.cursor() as cursor:
        for what, of in COUNTED.items():
            for statement in _create(what, of, connection.vendor):
                cursor.execute(statement)
    changed(using)


def remove(using: str) -> None:
    """Take the triggers off the database ``using``."""
    connection = connections[using]
    with transaction.atomic(using=using), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # Their triggers go with them.
            for what in COUNTED:
                cursor.execute(f"DROP FUNCTION IF EXISTS mark_{what}() CASCADE")
            return
        cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        for (name,) in cursor.fetchall():
            if _NAMED.fullmatch(name):
                cursor.execute(f"DROP TRIGGER {name}")


_EVENTS = ("insert", "update", "delete")
"""What changes a table row by row; PostgreSQL empties one as a whole too."""
_NAMED = re.compile(rf"(?:setups|club)_[a-z]+_mark_({'|'.join([*COUNTED, *_EVENTS])}).*")
_MARKS = Mark._meta.db_table


def _on(table: str, event: str) -> str:
    """The event on which a change to the table is marked, in SQL."""
    return f"update OF {', '.join(COLUMNS[table])}" if event == "update" and table in COLUMNS else event


def _create(what: str, tables: Iterable[str], vendor: str) -> list[str]:
    if vendor == "postgresql":
        return [
            f"""CREATE FUNCTION mark_{what}() RETURNS trigger LANGUAGE plpgsql AS $$
                BEGIN
                    INSERT INTO {_MARKS} (of, token) VALUES ('{what}', (random() * 1e12)::bigint);
                    DELETE FROM {_MARKS} WHERE id IN (
                        SELECT id FROM {_MARKS} WHERE of = '{what}' AND id < (SELECT id FROM {_MARKS}
                            WHERE of = '{what}' ORDER BY id DESC OFFSET {KEPT} LIMIT 1)
                        ORDER BY id LIMIT 8 FOR UPDATE SKIP LOCKED);
                    RETURN NULL;
                END $$""",
            *(
                f"""CREATE TRIGGER {table}_mark_{what} AFTER truncate OR
                {" OR ".join(_on(table, one) for one in _EVENTS)}
                ON {table} FOR EACH STATEMENT EXECUTE FUNCTION mark_{what}()"""
                for table in tables
            ),
        ]
    return [
        f"""CREATE TRIGGER {table}_mark_{what}_{event} AFTER {_on(table, event)} ON {table} FOR EACH ROW
            BEGIN
                INSERT INTO {_MARKS} (of, token) VALUES ('{what}', ABS(RANDOM() % 1000000000000));
                DELETE FROM {_MARKS} WHERE of = '{what}' AND id < (
                    SELECT id FROM {_MARKS} WHERE of = '{what}' ORDER BY id DESC LIMIT 1 OFFSET {KEPT});
            END"""
        for table in tables
        for event in _EVENTS
    ]
