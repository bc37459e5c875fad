"""A library as large as a federation's: the demo's setups, copied within the database until there are enough.

The setups that the demo posts through the services are the pattern; each round copies them once, row by row
as they stand, under new members' names, at other times and with other laps. No row passes through Python, so
that a million take as little memory as a thousand, and a round is one transaction.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from random import Random
from typing import Any

from django.contrib.auth import get_user_model
from django.contrib.auth.hashers import make_password
from django.core.management.color import no_style
from django.db import connection, transaction
from django.db.models import Max, Min, Model

from setups.demo.members import EMAIL_DOMAIN
from setups.demo.names import CAR_WHEELBASES
from setups.models import Decision, Dispute, Draft, Measurement, Revision, RevisionPart, Setup

PATTERN = 1200
"""So many setups are posted one by one; beyond, they are copied."""
DRIVER = "driver-"
"""How the user names of the members begin who post the copies."""
_SETUPS_A_MEMBER = 10
_LINES = 20
"""So often progress is told."""
_COPIED: tuple[type[Model], ...] = (
    Setup,
    Revision,
    RevisionPart,
    Draft,
    Measurement,
    Dispute,
    Decision,
)
_PLACES = tuple(sorted({name.split()[-1] for name in CAR_WHEELBASES}))


class _Block:
    """The pattern's rows of one table: their keys from ``low`` on, and where the next copy's begin."""

    def __init__(self, model: type[Model], low: int) -> None:
        self.model, self.low = model, low
        self.next = 0

    def moved(self, column: str) -> str:
        """A key of this table, moved to the copy's."""
        return f"{column} - {self.low} + {self.next}"


def grow(number: int, random_seed: int, say: Callable[[str], object]) -> None:
    """Copy the demo's setups until there are ``number``; in a transaction a round."""
    posted = Setup.objects.filter(author__email__endswith=f"@{EMAIL_DOMAIN}")
    first, last = posted.aggregate(low=Min("pk"), high=Max("pk")).values()
    there = pattern = posted.count()
    rng = Random(f"{random_seed}:many")
    told = 0
    while there < number:
        count = min(pattern, number - there)
        with transaction.atomic():
            there += _copy(first, last if count == pattern else first + count - 1, rng)
        if there * _LINES // number > told or there >= number:
            told = there * _LINES // number
            say(f"Setups: {there} of {number}")
    _tidy()


def _copy(first: int, last: int, rng: Random) -> int:
    """One round: copy the setups with keys ``first`` to ``last`` and all that hangs on them. How many."""
    blocks = {model: _block(model, first, last) for model in _COPIED}
    setups, revisions, readings = blocks[Setup], blocks[Revision], blocks[Measurement]
    low, members = _newcomers(max(1, (last - first + 1) // _SETUPS_A_MEMBER), rng)
    earlier = _earlier("posted_at", rng.randrange(1, 300_000))
    own: dict[type[Model], Mapping[str, str]] = {
        Setup: {
            "author_id": f"{low} + id %% {members}",
            "current_id": revisions.moved("current_id"),
            "posted_at": earlier,
            "best_lap": f"ROUND(best_lap * {rng.uniform(0.97, 1.04):.4f}, 3)",
        },
        Revision: {
            "author_id": f"{low} + setup_id %% {members}",
            "setup_id": setups.moved("setup_id"),
            "posted_at": earlier,
        },
        RevisionPart: {"revision_id": revisions.moved("revision_id")},
        Draft: {"setup_id": setups.moved("setup_id")},
        Measurement: {
            "revision_id": revisions.moved("revision_id"),
            "member_id": _own(
                "(SELECT r.author_id FROM setups_revision r WHERE r.id = setups_measurement.revision_id)",
                f"(SELECT {low} + r.setup_id %% {members} FROM setups_revision r "
                "WHERE r.id = setups_measurement.revision_id)",
            ),
        },
        Dispute: {
            "setup_id": setups.moved("setup_id"),
            "measurement_id": readings.moved("measurement_id"),
        },
        Decision: {
            "setup_id": setups.moved("setup_id"),
            "revision_id": revisions.moved("revision_id"),
            "member_id": _own(
                "(SELECT s.author_id FROM setups_setup s WHERE s.id = setups_decision.setup_id)",
                f"{low} + setup_id %% {members}",
            ),
        },
    }
    copied = 0
    with connection.cursor() as cursor:
        for model, block in blocks.items():
            changed = {"id": block.moved("id"), **own[model]}
            columns = [field.column for field in model._meta.concrete_fields]
            values = ", ".join(changed.get(column, column) for column in columns)
            cursor.execute(
                f"INSERT INTO {model._meta.db_table} ({', '.join(columns)}) "
                f"SELECT {values} FROM {model._meta.db_table} WHERE {_WHERE[model]} ORDER BY id",
                [first, last],
            )
            if model is Setup:
                copied = cursor.rowcount
        for statement in connection.ops.sequence_reset_sql(no_style(), list(_COPIED)):
            cursor.execute(statement)
    return copied


def _own(author: str, copys: str) -> str:
    """What the pattern's author did is done by the copy's; what others did, by the same."""
    return f"CASE WHEN member_id = {author} THEN {copys} ELSE member_id END"


_OF_REVISION = "revision_id IN (SELECT id FROM setups_revision WHERE setup_id BETWEEN %s AND %s)"
_WHERE: dict[type[Model], str] = {
    Setup: "id BETWEEN %s AND %s",
    Revision: "setup_id BETWEEN %s AND %s",
    RevisionPart: _OF_REVISION,
    Draft: "setup_id BETWEEN %s AND %s",
    Measurement: _OF_REVISION,
    Dispute: "setup_id BETWEEN %s AND %s",
    Decision: "setup_id BETWEEN %s AND %s",
}


def _block(model: type[Model], first: int, last: int) -> _Block:
    with connection.cursor() as cursor:
        table = model._meta.db_table
        cursor.execute(f"SELECT MIN(id) FROM {table} WHERE {_WHERE[model]}", [first, last])
        block = _Block(model, cursor.fetchone()[0] or 0)
        cursor.execute(f"SELECT MAX(id) FROM {table}")
        block.next = (cursor.fetchone()[0] or 0) + 1
    return block


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
            for model in _COPIED:
                cursor.execute(f"VACUUM (ANALYZE) {model._meta.db_table}")
        else:
            cursor.execute("ANALYZE")
