"""Disputes and the record of setups: put back with a whole library, for setups that it has put back itself.

A setup that is loaded begins a record and, where its measurements contradict it, a dispute of its own. Here
those make way for what the file says. The record of a setup that was here before is never changed: the file
may only say the same.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from fitcalc.said import Said
from setups.imports import cells
from setups.imports.given import Change, Given
from setups.imports.names import chunks, members_called
from setups.imports.planned import By, Loaded, Plan, closed, row_of
from setups.models import Decision, Dispute, Measurement, Revision, Setup
from setups.services.ruling import bring_all_up_to_date

_MEMBERS = ("member", "measured_by", "settled_by")


@dataclass(slots=True)
class Past:
    """A line of the record or a dispute; ``instance`` is the one on record, or a new one."""

    instance: Any
    is_new: bool
    changes: list[Change] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Known:
    """What the rows name."""

    revisions: dict[tuple[int, int], Revision]
    members: dict[str, Any]
    readings: dict[tuple[Any, ...], list[Measurement]]


def plan_rows(plan: Plan, given: list[Given], by: By, lock: bool) -> None:
    """Adds to ``plan`` what each row would do."""
    of, said = _WAYS[plan.kind.key]
    known = _known(given, plan.kind.model is Dispute)
    setups = sorted({one.values["setup"] for one in given if "setup" in one.values})
    standing: dict[tuple[Any, ...], list[Any]] = defaultdict(list)
    for some in chunks([key for key in setups if key not in by.restored]):
        for row in plan.kind.model._default_manager.filter(setup__in=some).order_by("pk"):
            standing[said(row)].append(row)
    for one in given:
        row = row_of(one, Said("Setup {setup}", setup=one.values.get("setup", "")))
        plan.rows.append(row)
        made = None if one.problems else of(one, known)
        if made is None or one.problems:
            closed(row, one, None)
            continue
        number = one.values["setup"]
        if number in by.restored:
            closed(row, one, Past(made, True, [Change(plan.kind.one, "", str(made))]))
            continue
        same = standing[said(made)]
        if not same:
            one.wrong(
                "setup",
                Said(
                    "Setup {number} was here before, and what happened to it is never changed by a file.",
                    number=number,
                ),
            )
        closed(row, one, Past(same.pop(0), False) if same else None)


def _known(given: list[Given], disputes: bool) -> _Known:
    revisions: dict[tuple[int, int], Revision] = {}
    readings: dict[tuple[Any, ...], list[Measurement]] = defaultdict(list)
    for some in chunks(sorted({one.values["setup"] for one in given if "setup" in one.values})):
        for revision in Revision.objects.filter(setup__in=some).select_related("setup"):
            revisions[revision.setup_id, revision.number] = revision
        if disputes:
            rows = Measurement.objects.filter(revision__setup__in=some).select_related("revision")
            for one in rows.order_by("pk"):
                readings[_reading_key(one)].append(one)
    names = {one.values[column] for one in given for column in _MEMBERS if column in one.values}
    return _Known(revisions, members_called(names), readings)


def _reading_key(one: Measurement) -> tuple[Any, ...]:
    assert one.revision is not None
    return (
        one.revision.setup_id,
        one.revision.number,
        one.quantity,
        one.member_id,
        one.value,
        one.measured_on,
    )


def _revision(given: Given, known: _Known) -> Revision | None:
    key = (given.values["setup"], given.values["revision"])
    found = known.revisions.get(key)
    if found is None:
        given.wrong("setup", f"There is no revision {key[1]} of setup {key[0]}: load the setups first.")
    return found


def _member(given: Given, known: _Known, column: str) -> Any:
    name = given.values.get(column)
    found = None if name is None else known.members.get(name.casefold())
    if name is not None and found is None:
        given.wrong(column, f"There is no member “{cells.short(name)}”: load the members first.")
    return found


def _decision(given: Given, known: _Known) -> Decision | None:
    revision, member = _revision(given, known), _member(given, known, "member")
    if revision is None or given.problems:
        return None
    values = given.values
    return Decision(
        setup=revision.setup,
        revision=revision,
        action=values["action"],
        member=member,
        reason=values["reason"][:1000],
        at=values["at"],
    )


def _decision_key(one: Decision) -> tuple[Any, ...]:
    return (one.setup_id, one.revision_id, one.action, one.member_id, one.reason, one.at)


def _dispute(given: Given, known: _Known) -> Dispute | None:
    revision, measured_by = _revision(given, known), _member(given, known, "measured_by")
    settled_by = _member(given, known, "settled_by")
    if revision is None or given.problems:
        return None
    values = given.values
    key = (
        values["setup"],
        values["revision"],
        values["quantity"],
        measured_by.pk,
        values["value"][0],
        values["measured_on"],
    )
    found = known.readings.get(key)
    if not found:
        given.wrong("quantity", "There is no such measurement of the car: load the measurements first.")
        return None
    outcome, settled_at = values.get("outcome", ""), values.get("settled_at")
    if bool(outcome) != (settled_at is not None):
        given.wrong("settled_at", "A dispute that is settled has an outcome and a time, an open one neither.")
    elif outcome in (Dispute.Outcome.SET_ASIDE, Dispute.Outcome.UPHELD) and not (
        settled_by is not None and values.get("reason")
    ):
        given.wrong("reason", "Who settled a dispute gave a reason: write both.")
    return Dispute(
        setup=revision.setup,
        build=revision.build,
        measurement=found[0],
        opened_at=values["opened_at"],
        outcome=outcome,
        reason=values.get("reason", ""),
        settled_by=settled_by,
        settled_at=settled_at,
    )


def _dispute_key(one: Dispute) -> tuple[Any, ...]:
    return (
        one.setup_id,
        one.measurement_id,
        one.opened_at,
        one.outcome,
        one.reason,
        one.settled_by_id,
        one.settled_at,
    )


Made = Callable[[Given, _Known], Any]
Key = Callable[[Any], tuple[Any, ...]]
_WAYS: dict[str, tuple[Made, Key]] = {
    "disputes": (_dispute, _dispute_key),
    "record": (_decision, _decision_key),
}


def carry_out(plan: Plan, by: By) -> Loaded:
    """Writes what happened to the setups that were put back, in place of what loading them has written."""
    model = plan.kind.model
    new = [row.checked.instance for row in plan.new]
    touched = sorted({one.setup_id for one in new})
    for some in chunks(touched):
        model._default_manager.filter(setup__in=some).delete()
    model._default_manager.bulk_create(new, batch_size=500)
    if model is Dispute:
        for some in chunks(touched):
            locked = Setup.objects.select_for_update(of=("self",)).select_related("author")
            bring_all_up_to_date(list(locked.filter(pk__in=some).order_by("pk")))
    return Loaded([one.pk for one in new])
