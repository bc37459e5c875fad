"""Platforms, rules of what goes with what, and whatever else has a row a record: checked and carried out."""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, field
from typing import Any

from django.contrib.auth.hashers import make_password
from django.core.exceptions import ValidationError
from django.db import models

from fitcalc.dimensions import BODY_DIMENSIONS, PART_DIMENSIONS
from fitcalc.said import Said, said
from setups.imports.columns import Kind
from setups.imports.given import Change, Given
from setups.imports.library import fold
from setups.imports.names import Names, chunks
from setups.imports.planned import By, Loaded, Outcome, Plan, closed, row_of
from setups.imports.record_kinds import SLOTS
from setups.imports.words import says_otherwise, says_the_same, settled, shown, together
from setups.models import Configuration, ConfigurationPart

BATCH = 500
_WORDS = {
    "platform_datum_sane": said(
        "The datum must lie between −200 and 400 mm, its tolerance must not be negative."
    ),
    "platform_sizes_positive": said("The widths of rim and chassis must be more than 0."),
    "platform_offset_grid_sane": said(
        "The offset step must be more than 0, and the smallest offset no larger than the largest."
    ),
    "platform_criteria_sane": said(
        "The bands must be more than 0, the inset limit at least the flush band, and the steering lock "
        "between 0 and 60°."
    ),
    "position_shift_sane": said(
        "The shift must lie between −100 and 100 mm, its tolerance must not be negative."
    ),
    "known_wheelbase_positive": said(
        "The wheelbase must be more than 0, its tolerance must not be negative."
    ),
    "part_pair_of_two": said("A part cannot be paired with itself."),
    "stated_figure_doubt": said("A doubt cannot be negative."),
}
"""What to say of the constraints that a record can break."""


@dataclass(slots=True)
class Record:
    """What a row would write; ``slots`` are a configuration's parts where those change."""

    instance: Any
    is_new: bool
    changes: list[Change] = field(default_factory=list)
    fields: list[str] = field(default_factory=list)
    slots: dict[str, Any] = field(default_factory=dict)


def plan_rows(plan: Plan, given: list[Given], by: By, lock: bool) -> None:
    """Adds to ``plan`` what each row would do."""
    kind = plan.kind
    names = Names(kind.refers, [one.values for one in given])
    rows = [_resolved(kind, one, names) for one in given]
    standing = _standing(kind, rows, lock)
    first_lines: dict[Any, Given] = {}
    taken = _taken(kind, standing)
    for one, values in zip(given, rows, strict=True):
        row = row_of(one, _name(kind, one))
        plan.rows.append(row)
        if one.problems:
            closed(row, one, None)
            continue
        key = _key(kind, values)
        first = first_lines.setdefault(key, one)
        if first is not one:
            if first.same_as(one):
                row.outcome = Outcome.UNCHANGED
                row.notes = [says_the_same(first)]
                continue
            one.wrong("", says_otherwise(first, kind))
        for column, holders in taken.items():
            if holders.setdefault(values.get(column), key) != key:
                why = Said("Another {thing} has it: no two may have the same.", thing=Said(kind.one))
                one.wrong(column, why)
        closed(row, one, _checked(kind, one, values, standing.get(key)))


def _taken(kind: Kind, standing: dict[tuple[Any, ...], Any]) -> dict[str, dict[Any, Any]]:
    """What no two rows may share besides what they are found by: column -> value -> whose it is."""
    only = (
        [
            column.key
            for column in kind.columns
            if kind.model._meta.get_field(column.key).unique and column.key not in kind.found_by
        ]
        if kind.model is not Configuration
        else []
    )
    return {key: {getattr(row, key): whose for whose, row in standing.items()} for key in only}


def _resolved(kind: Kind, given: Given, names: Names) -> dict[str, Any]:
    """The row's values, names replaced by the rows that they name."""
    values = {key: value for key, value in given.values.items() if key not in kind.refers}
    for column, what in kind.refers.items():
        if what != "position":
            values[column] = names.find(given, column)
    for column, what in kind.refers.items():
        if what == "position":
            values[column] = names.find(given, column, values.get("platform"))
    if (
        kind.key == "stated-figures"
        and (values["body"] is None) == (values["part"] is None)
        and not given.problems
    ):
        given.wrong("body", Said("Name a body or a part, one of the two."))
    return values


def _name(kind: Kind, given: Given) -> str:
    return ", ".join(str(given.values[key]) for key in kind.found_by if key in given.values)


def _key(kind: Kind, values: dict[str, Any]) -> tuple[Any, ...]:
    return tuple(_comparable(values.get(key)) for key in kind.found_by)


def _comparable(value: Any) -> Any:
    if isinstance(value, models.Model):
        return value.pk
    return fold(value) if isinstance(value, str) else value


def _standing(kind: Kind, rows: list[dict[str, Any]], lock: bool) -> dict[tuple[Any, ...], Any]:
    """What is on record of the things that the file speaks of, by key."""
    query = kind.model._default_manager.order_by("pk")
    if kind.key == "configurations":
        query = query.prefetch_related("slots")
    if lock:
        query = query.select_for_update(of=("self",))
    narrow = next((key for key in kind.found_by if kind.refers.get(key) in ("part", "body")), None)
    if narrow is None or kind.key == "stated-figures":
        found = list(query)
    else:
        keys = {values[narrow].pk for values in rows if values.get(narrow) is not None}
        found = [one for some in chunks(sorted(keys)) for one in query.filter(**{f"{narrow}__in": some})]
    return {
        tuple(
            _comparable(getattr(one, f"{key}_id" if key in kind.refers else key)) for key in kind.found_by
        ): one
        for one in found
    }


def _checked(kind: Kind, given: Given, values: dict[str, Any], existing: Any | None) -> Record:
    instance = copy(existing) if existing is not None else kind.model()
    record = Record(instance, existing is None)
    for column in kind.columns:
        if (kind.model is Configuration and column.key in SLOTS) or values.get(column.key) is None:
            continue
        attribute = f"{column.key}_id" if column.key in kind.refers else column.key
        model_field = kind.model._meta.get_field(column.key)
        value = values[column.key]
        after = value.pk if column.key in kind.refers else settled(model_field, value)
        before = None if existing is None else getattr(existing, attribute)
        if before == after or (existing is not None and column.key in kind.found_by):
            continue
        old = "" if existing is None else shown(getattr(existing, column.key), model_field, column.unit)
        setattr(instance, column.key, value if column.key in kind.refers else after)
        record.fields.append(column.key)
        now = shown(values[column.key], model_field, column.unit)
        record.changes.append(Change(column.label, old, now))
    if kind.key == "configurations":
        _slots(kind, values, record, existing)
    if kind.key == "stated-figures":
        _figure_of(values, given)
    _faults(kind, given, record)
    return record


def _slots(kind: Kind, values: dict[str, Any], record: Record, existing: Any | None) -> None:
    standing = {} if existing is None else {row.slot: row for row in existing.slots.all()}
    for slot in SLOTS:
        part, before = values.get(slot), standing.get(slot)
        if part is not None and (before is None or before.part_id != part.pk):
            record.slots[slot] = part
            record.changes.append(
                Change(kind.column(slot).label, "" if before is None else str(before.part), str(part))
            )


def _faults(kind: Kind, given: Given, record: Record) -> None:
    """What the model's fields and constraints refuse."""
    keep = {one.name for one in kind.model._meta.fields} - set(record.fields)
    try:
        record.instance.clean_fields(exclude=keep | set(kind.refers))
    except ValidationError as error:
        for key, messages in error.message_dict.items():
            given.wrong(key, together(messages))
        return
    for constraint in kind.model._meta.constraints:
        if constraint.name in _WORDS:
            try:
                constraint.validate(kind.model, record.instance)
            except ValidationError:
                given.wrong("", _WORDS[constraint.name])


def _figure_of(values: dict[str, Any], given: Given) -> None:
    """A stated figure is a sane one of a dimension that the body or part has."""
    catalogue = BODY_DIMENSIONS if values.get("body") is not None else PART_DIMENSIONS
    found = catalogue.get(values["quantity"])
    if found is None:
        why = Said("It has no such dimension: correct the dimension, or of what it is.")
        given.wrong("quantity", why)
    elif not found.low <= values["value"] <= found.high:
        limits = {"low": float(found.low), "high": float(found.high)}
        if found.unit.value:
            why = Said("It must lie between {low:g} and {high:g} {unit}.", **limits, unit=found.unit.value)
        else:
            why = Said("It must lie between {low:g} and {high:g}.", **limits)
        given.wrong("value", why)


def carry_out(plan: Plan, by: By) -> Loaded:
    """Writes the rows of a faultless plan; within a transaction."""
    manager = plan.kind.model._default_manager
    new, changed = plan.new, plan.changed
    if plan.kind.key == "members":
        for row in new:
            row.checked.instance.password = make_password(None)
    manager.bulk_create([row.checked.instance for row in new], batch_size=BATCH)
    names = sorted({name for row in changed for name in row.checked.fields})
    if names:
        manager.bulk_update([row.checked.instance for row in changed], names, batch_size=BATCH)
    ConfigurationPart.objects.bulk_create(
        [
            ConfigurationPart(configuration=row.checked.instance, slot=slot, part=part)
            for row in (*new, *changed)
            for slot, part in row.checked.slots.items()
        ],
        batch_size=BATCH,
        update_conflicts=True,
        unique_fields=["configuration", "slot"],
        update_fields=["part"],
    )
    return Loaded([row.checked.instance.pk for row in new], [row.checked.instance.pk for row in changed])
