"""What the library holds, a row at a time, as values in the columns of a kind.

Rows come in the order in which they came into the library, so that loading them keeps it, and are read in
batches with a constant number of queries each.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

from django.db.models import Q, QuerySet

from setups.imports.columns import Kind
from setups.imports.record_kinds import SLOTS
from setups.models import Body, Configuration, Decision, Dispute, Measurement, Part, Revision, Setup

BATCH = 500
Values = dict[str, Any]


OWN = {"setups": "author", "measurements": "member"}
"""What is somebody's, and the field that says whose."""


def rows_of(kind: Kind, member: Any = None) -> Iterator[Values]:
    """Every row of ``kind``: column key -> text, number, bool, date, list of names, or ``None``.

    ``member``: only what is theirs, of a kind in ``OWN``.
    """
    said = _SAID.get(kind.key)
    query = _query(kind)
    if member is not None:
        query = query.filter(**{OWN[kind.key]: member})
    for row in query.iterator(chunk_size=BATCH):
        yield said(kind, row) if said is not None else _record(kind, row)


def _query(kind: Kind) -> QuerySet[Any]:
    made: Callable[[], QuerySet[Any]] | None = _QUERIES.get(kind.key)
    if made is not None:
        return made()
    return kind.model._default_manager.select_related(*kind.refers).order_by("pk")


def _members(kind: Kind) -> QuerySet[Any]:
    """Those whose names stand on setups, measurements and the record anyway."""
    named = Q(pk__in=Revision.objects.values("author")) | Q(pk__in=Measurement.objects.values("member"))
    named |= Q(pk__in=Dispute.objects.values("settled_by")) | Q(pk__in=Decision.objects.values("member"))
    return kind.model._default_manager.filter(named).order_by("pk")


_QUERIES: dict[str, Callable[[], QuerySet[Any]]] = {
    "bodies": lambda: Body.objects.with_dimensions().order_by("pk"),
    "parts": lambda: (
        Part.objects.select_related("maker")
        .prefetch_related("dimensions", "fitments__platform")
        .order_by("pk")
    ),
    "configurations": lambda: (
        Configuration.objects.select_related("platform", "position", "body")
        .prefetch_related("slots__part")
        .order_by("pk")
    ),
    "setups": lambda: (
        Revision.objects.filter(setup__current__isnull=False)
        .select_related("setup__started_from", "author", "body", "platform", "position", "race_class")
        .prefetch_related("slots__part")
        .order_by("setup_id", "number")
    ),
    "measurements": lambda: Measurement.objects.select_related("body", "part", "revision", "member").order_by(
        "pk"
    ),
    "disputes": lambda: Dispute.objects.select_related(
        "measurement__revision", "measurement__member", "settled_by"
    ).order_by("pk"),
    "record": lambda: (
        Decision.objects.filter(revision__isnull=False).select_related("revision", "member").order_by("pk")
    ),
    "members": lambda: _members(_kind("members")),
}


def _kind(key: str) -> Kind:
    from setups.imports.kinds import KINDS

    return KINDS[key]


def _reference(row: Any) -> str | None:
    """How a row names another one: by its address, else by its name."""
    if row is None:
        return None
    found: str = getattr(row, "slug", None) or row.name
    return found


def _record(kind: Kind, row: Any) -> Values:
    values: Values = {}
    for column in kind.columns:
        if kind.model is Configuration and column.key in SLOTS:
            continue
        value = getattr(row, column.key)
        if column.key in kind.refers:
            value = (
                value.name if value is not None and kind.refers[column.key] == "maker" else _reference(value)
            )
        values[column.key] = value
    return values


def _configuration(kind: Kind, row: Configuration) -> Values:
    return _record(kind, row) | {slot.slot: slot.part.slug for slot in row.slots.all()}


def _thing(kind: Kind, row: Any) -> Values:
    """A body or a part with its dimensions."""
    values: Values = {}
    for column in kind.fields:
        if column.key in ("basis", "source", "made_for"):
            continue  # each dimension says its own; what is made for what has a file of its own
        if column.key == "maker":
            values["maker"] = row.maker.name
        elif column.key == "platforms":
            values["platforms"] = [
                one.platform.slug for one in sorted(row.fitments.all(), key=lambda one: one.pk)
            ]
        else:
            values[column.key] = getattr(row, column.key)
    for one in row.dimensions.all():
        values[one.quantity] = one.value
        for role in ("tolerance", "uncertainty", "basis", "source"):
            values[f"{one.quantity}_{role}"] = getattr(one, role)
        if one.uncertainty is not None:
            values[f"{one.quantity}_tolerance"] = None  # the library goes by the uncertainty alone
    return values


def _revision(kind: Kind, row: Revision) -> Values:
    began = row.setup.started_from
    first = row.number == 1
    return {
        "setup": str(row.setup_id),
        "revision": row.number,
        "author": row.author.username,
        "posted_at": row.posted_at,
        "withdrawn": True if first and row.setup.state == Setup.State.WITHDRAWN else None,
        "started_from": f"{began.setup_id}/{began.number}" if first and began is not None else None,
        "name": row.name,
        "what_changed": row.what_changed,
        "body": row.body.slug,
        "platform": row.platform.slug,
        "position": row.position.name,
        **{slot.slot: slot.part.slug for slot in row.slots.all()},
        "race_class": _reference(row.race_class),
        "surface": row.surface,
        "circuit": row.circuit,
        "best_lap": row.best_lap,
        "result": row.result,
        "notes": row.notes,
        **{
            key: value if isinstance(value, str) else Decimal(str(value)) for key, value in row.tuning.items()
        },
    }


def _measurement(kind: Kind, row: Measurement) -> Values:
    return {
        "body": _reference(row.body),
        "part": _reference(row.part),
        "setup": None if row.revision is None else row.revision.setup_id,
        "revision": None if row.revision is None else row.revision.number,
        "quantity": row.quantity,
        "value": row.value,
        "uncertainty": row.uncertainty,
        "instrument": row.instrument,
        "member": row.member.username,
        "measured_on": row.measured_on,
        "note": row.note,
        "withdrawn": row.withdrawn or None,
        "set_aside": row.set_aside or None,
        "added": row.added,
    }


def _dispute(kind: Kind, row: Dispute) -> Values:
    against = row.measurement
    assert against.revision is not None
    return {
        "setup": row.setup_id,
        "revision": against.revision.number,
        "opened_at": row.opened_at,
        "quantity": against.quantity,
        "measured_by": against.member.username,
        "value": against.value,
        "measured_on": against.measured_on,
        "outcome": row.outcome,
        "reason": row.reason,
        "settled_by": _username(row.settled_by),
        "settled_at": row.settled_at,
    }


def _decision(kind: Kind, row: Decision) -> Values:
    assert row.revision is not None
    return {
        "setup": row.setup_id,
        "revision": row.revision.number,
        "at": row.at,
        "action": row.action,
        "member": _username(row.member),
        "reason": row.reason,
    }


def _username(member: Any) -> str | None:
    return None if member is None else member.get_username()


_SAID: dict[str, Callable[[Kind, Any], Values]] = {
    "bodies": _thing,
    "parts": _thing,
    "configurations": _configuration,
    "setups": _revision,
    "measurements": _measurement,
    "disputes": _dispute,
    "record": _decision,
}
