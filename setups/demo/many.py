"""A library as large as a federation's: the demo's setups, copied within the database until there are enough.

The setups that the demo posts through the services are the pattern; each round copies them once, row by row
as they stand, under new members' names, at other times and with other laps, and the shelf of bodies with what
was measured on them. No row passes through Python, so that a million take as little memory as a thousand.

What is copied often is copied bare: on PostgreSQL foreign keys and indexes are taken down first and made anew
at the end, all in one transaction, since a million rows are checked and sorted together in a fraction of the
time that they take one by one. The tables belong to the copying meanwhile. A small number is copied a
transaction a round, and the library stays open.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from random import Random
from typing import Any

from django.contrib.auth import get_user_model
from django.contrib.auth.hashers import make_password
from django.core.management.color import no_style
from django.db import connection, transaction
from django.db.models import Max, Model

from setups.demo.members import EMAIL_DOMAIN
from setups.demo.names import CAR_WHEELBASES
from setups.marks import changed
from setups.models import (
    Body,
    BodyDimension,
    BodyPart,
    Decision,
    Dispute,
    Draft,
    Fitment,
    Measurement,
    Part,
    PartDimension,
    Revision,
    RevisionPart,
    Setup,
    StatedFigure,
)
from setups.tallies import count_anew

PATTERN = 1200
"""So many setups are posted one by one; beyond, they are copied."""
DRIVER = "driver-"
"""How the user names of the members begin who post the copies."""
SERIES = "series-"
"""How the addresses of the copies of bodies and of their front mounts begin."""
_LINES = 20
"""So often progress is told in words."""
_BARE = 20_000
"""From so many copies on, keys and indexes are taken down first."""
_SETUPS_A_MEMBER = 10
_SHELVES = 2
"""So many times is the shelf of bodies copied in a round."""
_PLACES = tuple(sorted({name.split()[-1] for name in CAR_WHEELBASES}))


@dataclass(frozen=True, slots=True)
class _Table:
    """What is copied of one table: the rows of ``pattern``, a query whose first columns are the table's.

    ``changed`` gives the columns that a copy has otherwise, as SQL. In it {x} is how far the keys of the
    pattern called x are moved, {new} the first key of the new members and {members} how many they are,
    {minutes} and {faster} what is drawn for the round, {word} a word.
    """

    name: str
    model: type[Model]
    pattern: str
    changed: dict[str, str]

    @property
    def kept(self) -> str:
        """The name of the temporary table with the pattern's rows."""
        return f"pattern_{self.name}"


_DEMO = f"(SELECT id FROM club_member WHERE email LIKE '%@{EMAIL_DOMAIN}')"
_BODIES = f"(SELECT id FROM setups_body WHERE slug NOT LIKE '{SERIES}%')"
_MOUNTS = f"(SELECT part_id FROM setups_bodypart WHERE rule = 'made_for' AND body_id IN {_BODIES})"


def _series(of: str) -> dict[str, str]:
    """A copy of a body or a part has an address, a name and a number of its own."""
    number = f"(id + {{{of}}})"
    return {
        "slug": f"'{SERIES}' || {number} || '-' || SUBSTR(slug, 1, 110)",
        "name": f"SUBSTR(name, 1, 90) || ' {{word}} ' || {number}",
        "part_number": f"CASE WHEN part_number = '' THEN '' ELSE part_number || '-' || {number} END",
    }


_SHELF = (
    _Table("part", Part, f"SELECT t.* FROM setups_part t WHERE t.id IN {_MOUNTS}", _series("part")),
    _Table(
        "partdimension",
        PartDimension,
        f"SELECT t.* FROM setups_partdimension t WHERE t.part_id IN {_MOUNTS}",
        {"part_id": "part_id + {part}"},
    ),
    _Table(
        "fitment",
        Fitment,
        f"SELECT t.* FROM setups_fitment t WHERE t.part_id IN {_MOUNTS}",
        {"part_id": "part_id + {part}"},
    ),
    _Table(
        "body",
        Body,
        f"SELECT t.* FROM setups_body t WHERE t.id IN {_BODIES}",
        _series("body")
        | {"full_size_car": "CASE full_size_car WHEN '' THEN '' ELSE full_size_car || ' {word}' END"},
    ),
    _Table(
        "bodydimension",
        BodyDimension,
        f"SELECT t.* FROM setups_bodydimension t WHERE t.body_id IN {_BODIES}",
        {"body_id": "body_id + {body}"},
    ),
    _Table(
        "bodypart",
        BodyPart,
        f"SELECT t.* FROM setups_bodypart t WHERE t.rule = 'made_for' AND t.body_id IN {_BODIES}",
        {"body_id": "body_id + {body}", "part_id": "part_id + {part}"},
    ),
    _Table(
        "bodyreading",
        Measurement,
        f"SELECT t.* FROM setups_measurement t WHERE t.body_id IN {_BODIES}",
        {"body_id": "body_id + {body}"},
    ),
    _Table(
        "stated",
        StatedFigure,
        f"SELECT t.* FROM setups_statedfigure t WHERE t.body_id IN {_BODIES}",
        {"body_id": "body_id + {body}"},
    ),
)
"""Bodies, with the front mounts that are made for them and what was measured on them."""

_AUTHOR = "{new} + of_setup % {members}"
_BY_SAME = {"member_id": f"CASE WHEN by_author THEN {_AUTHOR} ELSE member_id END"}
"""What the pattern's author did is done by the copy's; what others did, by the same."""
_OF_DEMO = f"s.author_id IN {_DEMO}"
_CARS = (
    _Table(
        "setup",
        Setup,
        f"SELECT s.*, s.id AS of_setup FROM setups_setup s WHERE {_OF_DEMO}",
        {
            "author_id": _AUTHOR,
            "current_id": "current_id + {revision}",
            "posted_at": "{earlier}",
            "best_lap": "ROUND(best_lap * {faster}, 3)",
        },
    ),
    _Table(
        "revision",
        Revision,
        f"SELECT t.*, s.id AS of_setup FROM setups_revision t JOIN setups_setup s ON s.id = t.setup_id "
        f"WHERE {_OF_DEMO}",
        {"author_id": _AUTHOR, "setup_id": "setup_id + {setup}", "posted_at": "{earlier}"},
    ),
    _Table(
        "revisionpart",
        RevisionPart,
        "SELECT t.*, s.id AS of_setup FROM setups_revisionpart t "
        "JOIN setups_revision r ON r.id = t.revision_id JOIN setups_setup s ON s.id = r.setup_id "
        f"WHERE {_OF_DEMO}",
        {"revision_id": "revision_id + {revision}"},
    ),
    _Table(
        "draft",
        Draft,
        "SELECT t.*, s.id AS of_setup FROM setups_draft t JOIN setups_setup s ON s.id = t.setup_id "
        f"WHERE {_OF_DEMO}",
        {"setup_id": "setup_id + {setup}"},
    ),
    _Table(
        "reading",
        Measurement,
        "SELECT t.*, s.id AS of_setup, t.member_id = r.author_id AS by_author FROM setups_measurement t "
        "JOIN setups_revision r ON r.id = t.revision_id JOIN setups_setup s ON s.id = r.setup_id "
        f"WHERE {_OF_DEMO}",
        {"revision_id": "revision_id + {revision}", **_BY_SAME},
    ),
    _Table(
        "dispute",
        Dispute,
        "SELECT t.*, s.id AS of_setup FROM setups_dispute t JOIN setups_setup s ON s.id = t.setup_id "
        f"WHERE {_OF_DEMO}",
        {"setup_id": "setup_id + {setup}", "measurement_id": "measurement_id + {reading}"},
    ),
    _Table(
        "decision",
        Decision,
        "SELECT t.*, s.id AS of_setup, t.member_id = s.author_id AS by_author FROM setups_decision t "
        f"JOIN setups_setup s ON s.id = t.setup_id WHERE {_OF_DEMO}",
        {"setup_id": "setup_id + {setup}", "revision_id": "revision_id + {revision}", **_BY_SAME},
    ),
)
"""Setups with all that hangs on them."""
_TABLES = _SHELF + _CARS
_MODELS = tuple(dict.fromkeys(table.model for table in _TABLES))


class _Copier:
    """Copies the pattern, a round at a time; keeps where the next copy's keys begin."""

    def __init__(self, random_seed: int) -> None:
        self.random = Random(f"{random_seed}:many")
        self.low: dict[str, int] = {}
        self.span: dict[str, int] = {}
        with connection.cursor() as cursor:
            for table in _TABLES:
                cursor.execute(f"DROP TABLE IF EXISTS {table.kept}")
                cursor.execute(f"CREATE TEMPORARY TABLE {table.kept} AS {table.pattern}")
                cursor.execute(f"SELECT COALESCE(MIN(id), 1), COALESCE(MAX(id), 0) FROM {table.kept}")
                low, high = cursor.fetchone()
                self.low[table.name], self.span[table.name] = low, high - low + 1
            cursor.execute("SELECT of_setup FROM pattern_setup ORDER BY of_setup")
            self.setups = [key for (key,) in cursor.fetchall()]
        self.top = {model: model._default_manager.aggregate(top=Max("pk"))["top"] or 0 for model in _MODELS}

    def round(self, number: int) -> None:
        """Copy the shelf, and the first ``number`` setups of the pattern."""
        for _ in range(_SHELVES):
            self._copy(_SHELF, {"word": self.random.choice(_PLACES)}, "")
        new, members = _newcomers(number // _SETUPS_A_MEMBER + 1, self.random)
        drawn = {
            "new": new,
            "members": members,
            "earlier": _earlier("posted_at", self.random.randrange(1, 300_000)),
            "faster": f"{self.random.uniform(0.97, 1.04):.4f}",
        }
        whole = number == len(self.setups)
        self._copy(_CARS, drawn, "" if whole else f"WHERE of_setup <= {self.setups[number - 1]}")

    def _copy(self, tables: tuple[_Table, ...], drawn: dict[str, Any], where: str) -> None:
        moved = {}
        for table in tables:
            moved[table.name] = self.top[table.model] + 1 - self.low[table.name]
            self.top[table.model] += self.span[table.name]
        with connection.cursor() as cursor:
            for table in tables:
                changed = {"id": f"id + {moved[table.name]}"}
                changed |= {key: value.format(**moved, **drawn) for key, value in table.changed.items()}
                columns = [field.column for field in table.model._meta.concrete_fields]
                values = ", ".join(changed.get(column, column) for column in columns)
                cursor.execute(
                    f"INSERT INTO {table.model._meta.db_table} ({', '.join(columns)}) "
                    f"SELECT {values} FROM {table.kept} {where} ORDER BY id"
                )

    def close(self) -> None:
        """The database gives out the keys after the copies' own; call it before the transaction ends."""
        with connection.cursor() as cursor:
            for statement in connection.ops.sequence_reset_sql(no_style(), list(_MODELS)):
                cursor.execute(statement)

    def forget(self) -> None:
        with connection.cursor() as cursor:
            for table in _TABLES:
                cursor.execute(f"DROP TABLE IF EXISTS {table.kept}")


def grow(
    number: int,
    random_seed: int,
    say: Callable[[str], object],
    draw: Callable[[int, int], object] | None = None,
) -> None:
    """Copy the demo's setups until there are ``number``.

    ``draw`` is told after each round how many there are, and of how many; without it ``say`` is, some times.
    """
    told = 0
    there = Setup.objects.filter(author__email__endswith=f"@{EMAIL_DOMAIN}").count()
    copier = _Copier(random_seed)
    with bare(number - there) as taken_down:
        while there < number:
            count = min(len(copier.setups), number - there)
            with nullcontext() if taken_down else transaction.atomic():
                copier.round(count)
                if not taken_down:
                    copier.close()
            there += count
            if draw is not None:
                draw(there, number)
            elif there * _LINES // number > told:
                told = there * _LINES // number
                say(f"Setups: {there} of {number}")
        if taken_down:
            copier.close()
            say("Checking the keys and sorting the indexes")
    copier.forget()
    _tidy()


@contextmanager
def bare(setups: int) -> Iterator[bool]:
    """For so many setups that it pays, on PostgreSQL: the tables in one transaction without foreign keys to
    and from them, without guards (what is copied met them before), and without indexes but the unique ones.

    Gives whether it does so; else nothing is changed.
    """
    if setups < _BARE or connection.vendor != "postgresql":
        yield False
        return
    tables = [model._meta.db_table for model in _MODELS]
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            "SELECT conrelid::regclass::text, quote_ident(conname), pg_get_constraintdef(oid) "
            "FROM pg_constraint WHERE contype = 'f' AND (conrelid::regclass::text = ANY(%s) "
            "OR confrelid::regclass::text = ANY(%s)) ORDER BY 1, 2",
            [tables, tables],
        )
        keys = cursor.fetchall()
        cursor.execute(
            "SELECT indexrelid::regclass::text, pg_get_indexdef(indexrelid) FROM pg_index "
            "WHERE NOT indisunique AND indrelid::regclass::text = ANY(%s) ORDER BY 1",
            [tables],
        )
        indexes = cursor.fetchall()
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for table, name, _ in keys:
            cursor.execute(f"ALTER TABLE {table} DROP CONSTRAINT {name}")
        for name, _ in indexes:
            cursor.execute(f"DROP INDEX {name}")
        for table in tables:
            cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
        yield True
        for table in tables:
            cursor.execute(f"ALTER TABLE {table} ENABLE TRIGGER USER")
        changed()
        count_anew()
        cursor.execute("SET LOCAL maintenance_work_mem = '256MB'")
        for _, definition in indexes:
            cursor.execute(definition)
        for table, name, definition in keys:
            cursor.execute(f"ALTER TABLE {table} ADD CONSTRAINT {name} {definition}")


def _newcomers(number: int, rng: Random) -> tuple[int, int]:
    """So many new members, their keys in a row: the first key, and how many."""
    people: Any = get_user_model()
    top = people.objects.aggregate(top=Max("pk"))["top"] or 0
    people.objects.bulk_create(
        (
            people(
                pk=key,
                username=f"{DRIVER}{key}",
                display_name=f"Driver {rng.choice(_PLACES)} {key}",
                email=f"{DRIVER}{key}@{EMAIL_DOMAIN}",
                password=make_password(None),
            )
            for key in range(top + 1, top + 1 + number)
        ),
        batch_size=500,
    )
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), [people]):
            cursor.execute(statement)
    return top + 1, number


def _earlier(column: str, minutes: int) -> str:
    if connection.vendor == "postgresql":
        return f"{column} - interval '{minutes} minutes'"
    return f"datetime({column}, '-{minutes} minutes')"


def _tidy() -> None:
    """Let the database look at what it holds now: it plans by that, and counts from indexes alone."""
    if connection.in_atomic_block:
        return
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            for model in (*_MODELS, get_user_model()):
                cursor.execute(f"VACUUM (ANALYZE) {model._meta.db_table}")
        else:
            cursor.execute("ANALYZE")
