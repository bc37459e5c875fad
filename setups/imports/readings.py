"""Measurements from a file: of bodies, of parts, and of the cars of posted setups.

A member loads their own; who keeps the library loads anybody's, as of the day and with what was withdrawn or
set aside. A measurement has no number: a row is on record if the same member has a reading of the same thing,
day, instrument and value there, as often as the file has it. What is loaded settles its dimension anew and
brings the setups up to date, as it does on the pages.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from fitcalc.dimensions import BODY_DIMENSIONS, CAR_DIMENSIONS, PART_DIMENSIONS, PartKind, dimensions_of
from fitcalc.instruments import Instrument
from fitcalc.said import Said, said
from setups.imports import cells
from setups.imports.backdate import backdate
from setups.imports.given import Change, Given
from setups.imports.names import Names, chunks, members_called
from setups.imports.planned import By, Loaded, Plan, Problem, closed, row_of
from setups.imports.words import LARGEST, NOISE, kept, of_numbers, shown, too_long
from setups.models import Body, Measurement, Part, Revision, Setup, StatedFigure
from setups.models.measurement import refusals
from setups.services import measuring, ruling, verifying
from setups.units import Lengths, lengths_in

THOUSANDTH = Decimal("0.001")
SUBJECTS = ("body", "part", "revision")
_STANDING = {"withdrawn": said("Withdrawn"), "set_aside": said("Set aside")}
_CATALOGUES = {"body": BODY_DIMENSIONS, "part": PART_DIMENSIONS, "revision": CAR_DIMENSIONS}


@dataclass(slots=True)
class Reading:
    """The measurement that a row would write, or the one on record."""

    instance: Measurement
    is_new: bool
    changes: list[Change] = field(default_factory=list)


def plan_rows(plan: Plan, given: list[Given], by: By, lock: bool) -> None:
    """Adds to ``plan`` what each row would do."""
    if by.member is None and not by.whole:
        plan.problems.append(Problem(0, "", Said("A measurement is somebody's: sign in first.")))
        return
    names = Names(plan.kind.refers, [one.values for one in given])
    members = members_called(one.values["member"] for one in given if "member" in one.values)
    cars = _cars({one.values["setup"] for one in given if "setup" in one.values})
    read = [_measurement(one, names, members, cars, by) for one in given]
    standing = _standing([one for one in read if one is not None], lock)
    counts = Counter(_limited(one) for rows in standing.values() for one in rows if one.counts)
    for one, measurement in zip(given, read, strict=True):
        row = row_of(one, _name(measurement, one))
        plan.rows.append(row)
        if one.problems or measurement is None:
            closed(row, one, None)
            continue
        same = standing[_key(measurement)]
        if same:
            closed(row, one, _on_record(one, same.pop(0), measurement, by))
            continue
        counts[_limited(measurement)] += measurement.counts
        if not by.keeps_library and counts[_limited(measurement)] > measuring.MOST_READINGS:
            one.wrong(
                "",
                Said(
                    "You would have more than {most} readings of this, and more of them change nothing: take "
                    "the row out.",
                    most=measuring.MOST_READINGS,
                ),
            )
        closed(row, one, Reading(measurement, True, _said(measurement)))


def _cars(numbers: set[int]) -> dict[tuple[int, int | None], Revision]:
    """The posted revisions of these setups, by setup and number; the current one by ``None`` as well."""
    found: dict[tuple[int, int | None], Revision] = {}
    for some in chunks(sorted(numbers)):
        for revision in Revision.objects.filter(setup__in=some).select_related("setup"):
            found[revision.setup_id, revision.number] = revision
            if revision.setup.current_id == revision.pk:
                found[revision.setup_id, None] = revision
    return found


def _measurement(
    given: Given, names: Names, members: dict[str, Any], cars: Any, by: By
) -> Measurement | None:
    """The row as a measurement; what is wrong is added to ``given``."""
    values = given.values
    member = _member(given, members, by)
    subject, of = _subject(given, names, cars, by)
    if given.problems or subject is None:
        return None
    value, behind = values["value"]
    uncertainty = values.get("uncertainty", behind)
    if behind is not None and behind != uncertainty:
        why = Said("It is not the doubt that stands behind the ±: give one of them.")
        given.wrong("uncertainty", why)
    measurement = Measurement(
        **{of: subject},
        quantity=values["quantity"],
        member=member,
        value=_rounded(value),
        uncertainty=None if uncertainty is None else _rounded(uncertainty),
        instrument=values["instrument"],
        note=values.get("note", ""),
        **{key: values[key] for key in ("measured_on",) if key in values},
    )
    if by.keeps_library:
        for key in (*_STANDING, "added"):
            if key in values:
                setattr(measurement, key, values[key])
    if not _known_quantity(given, subject, of):
        return None
    _judge(given, measurement)
    return measurement


def _rounded(value: Any) -> Any:
    if abs(value) >= LARGEST:
        return value
    rounded = value.quantize(THOUSANDTH)
    return rounded if 0 < abs(rounded - value) < NOISE else value


def _member(given: Given, members: dict[str, Any], by: By) -> Any:
    name = given.values.get("member", "")
    member = members.get(name.casefold()) if name else by.member
    if member is None:
        if name:
            why = Said(
                "There is no member “{name}”: write the username of who measured; they have to be a member "
                "first.",
                name=cells.short(name),
            )
        else:
            why = Said("It is empty: write the username of who measured; they have to be a member first.")
        given.wrong("member", why)
    elif not by.keeps_library and member.pk != by.member.pk:
        given.wrong(
            "member",
            Said("You may load your own measurements only: leave it empty, or write your username."),
        )
    return member


def _subject(given: Given, names: Names, cars: Any, by: By) -> tuple[Any, str]:
    """What was measured and which field holds it; ``None`` if something is wrong."""
    values = given.values
    if sum(key in values for key in ("body", "part", "setup")) != 1:
        given.wrong(
            "body", Said("Name what was measured: a body, a part or the number of a setup, one of them.")
        )
        return None, ""
    for column in ("body", "part"):
        if column in values:
            return names.find(given, column), column
    number, revision = values["setup"], values.get("revision")
    car: Revision | None = cars.get((number, revision))
    if car is None:
        given.wrong("setup", _no_car(number, revision))
    elif not by.keeps_library and car.setup.state == Setup.State.WITHDRAWN:
        given.wrong(
            "setup", Said("The setup is withdrawn: measuring it changes nothing until it is put back.")
        )
    elif not by.keeps_library and car.setup.current_id != car.pk:
        given.wrong(
            "revision",
            Said("Setup {number} has been revised since: measure the car as it is now.", number=number),
        )
    elif (
        not by.whole
        and by.member.pk == car.setup.author_id
        and _member_of(given, by) != by.member.username.casefold()
    ):
        given.wrong(
            "setup",
            Said(
                "Setup {number} is your own: nobody loads other members' measurements of it for you.",
                number=number,
            ),
        )
    return (None if given.problems else car), "revision"


def _no_car(number: int, revision: int | None) -> Said:
    if revision:
        return Said(
            "There is no revision {revision} of setup {number}: load the setups first, or correct the "
            "number.",
            revision=revision,
            number=number,
        )
    return Said("There is no setup {number}: load the setups first, or correct the number.", number=number)


def _member_of(given: Given, by: By) -> str:
    name: str = given.values.get("member", by.member.username)
    return name.casefold()


def _known_quantity(given: Given, subject: Any, of: str) -> bool:
    quantity = given.values["quantity"]
    known = quantity in _CATALOGUES[of]
    if known and of == "part":
        known = quantity in dimensions_of(PartKind(subject.kind))
    if not known:
        given.wrong("quantity", _no_quantity(subject, of))
    return known


def _no_quantity(subject: Any, of: str) -> Said:
    if of == "part":
        return Said(
            "A {kind} has no such dimension: correct what was measured, or of what.",
            kind=Said(PartKind(subject.kind).label),
        )
    if of == "body":
        return Said("A body has no such dimension: correct what was measured, or of what.")
    return Said("A car has no such dimension: correct what was measured, or of what.")


def _judge(given: Given, measurement: Measurement) -> None:
    with lengths_in(Lengths.MM):  # as the file has them
        wrong = refusals(measurement.kind, measurement.value, measurement.instrument, measurement.uncertainty)
    for key, message in wrong.items():
        given.wrong(key, message)
    for key in ("value", "uncertainty"):
        number = getattr(measurement, key)
        if number is not None and abs(number) < LARGEST and number != number.quantize(THOUSANDTH):
            given.wrong(key, Said("The library keeps three decimals: round it."))
    most = Measurement._meta.get_field("note").max_length
    if most is not None and len(measurement.note) > most:
        given.wrong("note", too_long(measurement.note, most))
    if measurement.measured_on > timezone.localdate():
        given.wrong("measured_on", Said("That day lies ahead: write the day on which it was measured."))


def _standing(read: list[Measurement], lock: bool) -> dict[tuple[Any, ...], list[Measurement]]:
    """What these members have on record of these things, by what makes two readings the same."""
    found: dict[tuple[Any, ...], list[Measurement]] = defaultdict(list)
    for of in SUBJECTS:
        keys = {getattr(one, f"{of}_id") for one in read} - {None}
        if lock and of != "revision":
            # Whoever measures one of these at the same time waits, as ``measuring`` does.
            model = Body if of == "body" else Part
            list(model._default_manager.filter(pk__in=keys).order_by("pk").select_for_update(no_key=True))
        for some in chunks(sorted(keys)):
            for one in (
                Measurement.objects.filter(**{f"{of}__in": some}).select_related("revision").order_by("pk")
            ):
                found[_key(one)].append(one)
    return found


def _key(one: Measurement) -> tuple[Any, ...]:
    return (
        one.body_id,
        one.part_id,
        one.revision_id,
        one.quantity,
        one.member_id,
        one.value,
        one.uncertainty,
        one.instrument,
        one.measured_on,
        one.note,
    )


def _limited(one: Measurement) -> tuple[Any, ...]:
    """What a member may have so many readings of; of a car, all revisions that are built alike."""
    car = None if one.revision_id is None else (one.revision.setup_id, one.revision.build)
    return (one.body_id, one.part_id, car, one.quantity, one.member_id)


def _on_record(given: Given, before: Measurement, now: Measurement, by: By) -> Reading:
    reading = Reading(before, False)
    for key in _STANDING:
        if key in given.values and getattr(before, key) != getattr(now, key) and by.keeps_library:
            reading.changes.append(
                Change(_STANDING[key], shown(getattr(before, key)), shown(getattr(now, key)))
            )
            setattr(before, key, getattr(now, key))
    return reading


def _name(measurement: Measurement | None, given: Given) -> str:
    if measurement is None:
        return str(given.values.get("quantity", "")).replace("_", " ")
    label = Said(measurement.kind.label)
    return Said("{quantity} of {subject}", quantity=label, subject=str(measurement.subject))


def _said(one: Measurement) -> list[Change]:
    number = kept(one.value, one.kind.unit, one.quantity)
    value = of_numbers("{value}", value=number)
    if one.uncertainty is not None:
        doubt = kept(one.uncertainty, one.kind.unit, one.quantity)
        value = of_numbers("{value:n} ± {doubt}", value=number, doubt=doubt)
    told = [
        (said("Value"), value),
        (said("With"), Said(Instrument(one.instrument).label)),
        (said("Measured by"), str(one.member)),
        (said("On"), str(one.measured_on)),
        (said("Note"), one.note),
        (said("Withdrawn"), shown(one.withdrawn) if one.withdrawn else ""),
        (said("Set aside"), shown(one.set_aside) if one.set_aside else ""),
    ]
    return [Change(what, "", after) for what, after in told if after]


def carry_out(plan: Plan, by: By) -> Loaded:
    """Writes the measurements of a faultless plan and settles what they are of; within a transaction."""
    new = [row.checked.instance for row in plan.new]
    changed = [row.checked.instance for row in plan.changed]
    added = [(one, one.added) for one in new if one.added is not None]
    Measurement.objects.bulk_create(new, batch_size=500)
    backdate(Measurement, "added", added)
    Measurement.objects.bulk_update(changed, [*_STANDING], batch_size=500)
    _settle([*new, *changed])
    return Loaded([one.pk for one in new], [one.pk for one in changed])


def _settle(rows: list[Measurement]) -> None:
    """Settles every dimension that was measured, and works out where the setups stand that hang on them."""
    keys = {one.revision.setup_id for one in rows if one.revision is not None}
    for of, model in (("body", Body), ("part", Part)):
        measured = {getattr(one, f"{of}_id") for one in rows} - {None}
        wanted = {(getattr(one, f"{of}_id"), one.quantity) for one in rows}
        for some in chunks(sorted(measured)):
            for subject in _resettled(of, model._default_manager.filter(pk__in=some), wanted):
                keys.update(verifying.touched_by(subject).values_list("pk", flat=True))
    for some in chunks(sorted(keys)):
        locked = Setup.objects.select_for_update(of=("self",)).select_related("author")
        ruling.bring_all_up_to_date(list(locked.filter(pk__in=some).order_by("pk")))


def _resettled(of: str, subjects: QuerySet[Any], wanted: set[tuple[int, str]]) -> list[Body | Part]:
    """Settles the ``wanted`` dimensions of ``subjects``; those whose figures are others now."""
    readings: dict[tuple[int, str], list[Measurement]] = defaultdict(list)
    for one in Measurement.objects.filter(**{f"{of}__in": subjects}).order_by("pk"):
        readings[getattr(one, f"{of}_id"), one.quantity].append(one)
    stated = {
        (getattr(one, f"{of}_id"), one.quantity): one
        for one in StatedFigure.objects.filter(**{f"{of}__in": subjects})
    }
    changed = []
    for subject in subjects.prefetch_related("dimensions").order_by("pk"):
        figures = {row.quantity: row for row in subject.dimensions.all()}
        differs = False
        for quantity in sorted(quantity for pk, quantity in wanted if pk == subject.pk):
            rows = readings[subject.pk, quantity]
            now = measuring.settled(rows, rows[0].kind)
            before = figures.get(quantity)
            if measuring.stands(before, stated.get((subject.pk, quantity)), now):
                continue
            was = None if before is None else before.quantity_value()
            after = measuring.resettle(subject, quantity, now)
            differs = differs or was != (None if after is None else after.quantity_value())
        if differs:
            changed.append(subject)
    return changed
