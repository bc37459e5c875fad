"""Inspecting a car: what is asked, storing what was found once and for all, and judging it again later.

A reading is of a quantity, and one quantity may stand in several clauses: each of them gets its record, so
that each has its verdict of the day. A reading taken again with the same instrument at the same stage is
averaged with those before; one that corrects a mistake stands in place of them and says why.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid5

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from club.models import Clause, Entry, Inspection
from club.models.events import MOST_RUNS
from club.racing.cars import clause_of
from club.racing.editions import ITEMS
from club.racing.events.entries import EntryError, demand_director
from club.racing.events.events import clause_holds
from club.racing.events.standing import cars_of, entries_with_cars, quantity_of
from fitcalc import legality
from fitcalc.dimensions import DimensionKind, Unit
from fitcalc.instruments import Instrument
from fitcalc.legality import CLASS_QUANTITIES, Car, Ruling, judge
from fitcalc.quantities import Quantity
from fitcalc.readings import average, doubt_of_one
from setups.models.measurement import refusals

MOST_DOUBT = Decimal(50)
"""A doubt above this, in any unit, is a slip of the keyboard."""
MOST_READINGS = 20
"""So many readings of one thing are averaged."""
_STEP = Decimal("0.0001")
_FINE = Decimal("0.00001")


class Refused(EntryError):
    """Why a reading is not taken; the text says what to do, and nothing that was typed is lost."""


@dataclass(frozen=True, slots=True)
class Given:
    """What an inspector typed under one clause: ``reading`` of a limit, ``seen`` of anything else.

    ``doubt`` is that of one reading, empty for what the instrument leaves. ``wrong`` says that the record
    before was a mistake, and ``reason`` why. ``taken_at`` is when it was typed.
    """

    key: UUID
    clause: int
    stage: str
    run: int
    reading: Decimal | None = None
    seen: bool | None = None
    instrument: str = ""
    doubt: Decimal | None = None
    note: str = ""
    wrong: bool = False
    reason: str = ""
    taken_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Kept:
    """What stands on record; ``known`` if it stood there before."""

    inspections: Sequence[Inspection]
    known: bool


def record(entry: Entry, given: Given, by: Any) -> Kept:
    """Store what was found, once: the same key again stores nothing. Raises Refused, PermissionError."""
    demand_director(by)
    try:
        with transaction.atomic():
            # Whoever else inspects this car waits here, so that readings are averaged in the order they come.
            Entry.objects.select_for_update(of=("self",)).get(pk=entry.pk)
            before = _stored(entry, given)
            if before:
                return Kept(before, known=True)
            found = _records(entry, given, by)
            for one in found:
                one.save(force_insert=True)
            return Kept(found, known=False)
    except IntegrityError:
        before = _stored(entry, given)
        if before:
            return Kept(before, known=True)
        raise


def _stored(entry: Entry, given: Given) -> list[Inspection]:
    first = Inspection.objects.filter(key=given.key).first()
    if first is None:
        return []
    if first.entry_id != entry.pk:
        raise Refused(_("That reading is on record for another car already: type it again for this one."))
    keys = [given.key, *(uuid5(given.key, str(pk)) for pk in _same_quantity(first.clause))]
    return list(Inspection.objects.filter(key__in=keys).select_related("clause").order_by("pk"))


def _same_quantity(clause: Clause) -> list[int]:
    """The keys of the other clauses of the edition that limit the same quantity."""
    if clause.kind != Clause.Kind.LIMIT:
        return []
    rows = Clause.objects.filter(edition=clause.edition_id, quantity=clause.quantity, kind=clause.kind)
    return list(rows.exclude(pk=clause.pk).order_by("place").values_list("pk", flat=True))


def _records(entry: Entry, given: Given, by: Any) -> list[Inspection]:
    clause = (
        Clause.objects.filter(
            pk=given.clause,
            edition__race_class=entry.race_class_id,
            edition__published_at__isnull=False,
        )
        .select_related("edition")
        .first()
    )
    if clause is None:
        raise Refused(_("That clause is not of this car's class: open the car again and type it there."))
    if not given.wrong and not clause_holds(entry, clause.pk):  # a mistake is corrected where it was made
        raise Refused(
            _(
                "That clause is not of the edition that holds for this car: open the car again and type it "
                "there."
            )
        )
    if given.stage not in Inspection.Stage.values or not 1 <= given.run <= MOST_RUNS:
        raise Refused(_("Say before or after which run it was."))
    fields = _measured(clause, given) if clause.kind == Clause.Kind.LIMIT else _looked_at(given)
    car = cars_of([entries_with_cars(Entry.objects.filter(pk=entry.pk)).get()])[0]
    keys = [clause.pk, *_same_quantity(clause)]
    rows = {row.pk: row for row in Clause.objects.filter(pk__in=keys).prefetch_related(ITEMS)}
    found = []
    for pk in keys:
        last = entry.inspections.filter(clause=pk, stage=given.stage, run=given.run).order_by("-pk").first()
        if given.wrong and last is None:
            raise Refused(_("There is no record before this one that could be wrong: leave that box empty."))
        if given.wrong and not given.reason.strip():
            raise Refused(_("Say what was wrong with the record before: the reason is kept with it."))
        one = Inspection(
            entry=entry,
            clause=rows[pk],
            stage=given.stage,
            run=given.run,
            note=given.note.strip()[:300],
            by=by,
            taken_at=_when(given.taken_at),
            corrects=last if given.wrong else None,
            reason=given.reason.strip()[:300] if given.wrong else "",
            key=given.key if pk == clause.pk else uuid5(given.key, str(pk)),
            **fields,
        )
        finish(one, car, None if given.wrong else last)
        found.append(one)
    return found


def _when(taken_at: datetime | None) -> datetime:
    """When it was typed, by the phone's clock, but not in the future."""
    now = timezone.now()
    return now if taken_at is None or taken_at > now else taken_at


def _looked_at(given: Given) -> dict[str, Any]:
    if given.seen is None:
        raise Refused(_("Say whether the car meets the clause: yes or no."))
    return {"seen": given.seen}


def _measured(clause: Clause, given: Given) -> dict[str, Any]:
    """The fields of a reading, judged as a member's is. Raises Refused."""
    if given.reading is None:
        raise Refused(_("Type the reading as a number."))
    kind = CLASS_QUANTITIES[clause.quantity]
    reading = given.reading.quantize(_STEP)
    if kind.unit is Unit.NONE:
        wrong = refusals(kind, reading, "", None)
        instrument, doubt = "", Decimal(0)
    else:
        if given.instrument not in {one.value for one in Instrument}:
            raise Refused(_("Choose what it was measured with."))
        instrument = given.instrument
        wrong = refusals(kind, reading, instrument, given.doubt)
        if given.doubt is not None and given.doubt > MOST_DOUBT:
            wrong["uncertainty"] = _(
                "A doubt of more than {most} is a slip: check the decimal point."
            ).format(most=MOST_DOUBT)
        if not wrong:
            typed = None if given.doubt is None else float(given.doubt)
            one = doubt_of_one(Instrument(instrument), kind.unit, typed)
            doubt = Decimal(repr(one)).quantize(_STEP)
    if wrong:
        raise Refused(next(iter(wrong.values())))
    return {
        "readings": [f"{reading.normalize():f}"],
        "instrument": instrument,
        "doubt": doubt,
    }


def finish(one: Inspection, car: Car, last: Inspection | None = None) -> None:
    """Work out the mean, what is computed and the verdict of a record whose readings are filled in.

    ``last`` is the record before, whose readings are averaged with it.
    """
    if one.seen is None:
        _average_with(one, last)
        _keep_computed(one, car)
    tell(one)


def _average_with(one: Inspection, last: Inspection | None) -> None:
    """Fill in mean and doubt, over the readings of ``last`` too if it was taken with the same instrument."""
    kind = CLASS_QUANTITIES[one.clause.quantity]
    if last is not None and last.instrument == one.instrument and last.doubt == one.doubt:
        one.readings = [*last.readings, *one.readings][-MOST_READINGS:]
    mean = average_of(one, kind)
    one.value = Decimal(repr(float(mean.value))).quantize(_STEP)
    one.u = Decimal(repr(float(mean.u))).quantize(_FINE)


def average_of(one: Inspection, kind: DimensionKind) -> Quantity:
    """The mean of the readings on record, with its doubt."""
    assert one.doubt is not None
    instrument = Instrument(one.instrument) if one.instrument else Instrument.OTHER
    usual = None
    if instrument is not Instrument.OTHER:
        known = Decimal(repr(doubt_of_one(instrument, kind.unit))).quantize(_STEP)
        usual = None if known == one.doubt else float(one.doubt)
    else:
        usual = float(one.doubt)
    return average([float(reading) for reading in one.readings], instrument, kind.unit, usual)


def _keep_computed(one: Inspection, car: Car) -> None:
    """Keep what the library computes for the car today, so that the two can be compared later."""
    found = judge(clause_of(one.clause), Car(computed=car.computed)).value
    if found is not None:
        one.computed = Decimal(repr(round(float(found.value), 4))).quantize(_STEP)
        one.computed_u = Decimal(repr(round(float(found.u), 5))).quantize(_FINE)


def tell(one: Inspection) -> None:
    """Fill in the verdict, from nothing but what is on record."""
    ruling = ruling_of(one)
    one.verdict = ruling.verdict.value
    one.passes = bool(ruling.passes)
    one.probability = ruling.probability


def ruling_of(one: Inspection, clause: legality.Clause | None = None) -> Ruling:
    """The verdict found again from the record: the clause, whose edition never changes, and the numbers.

    ``clause`` is the inspection's own as it is judged, where it is at hand; else its items are read.
    """
    asked = clause or clause_of(one.clause)
    if one.seen is not None:
        return judge(asked, Car(seen={asked.id: one.seen}))
    quantity = one.clause.quantity
    computed = {}
    if one.computed is not None and one.computed_u is not None:
        unit = CLASS_QUANTITIES[quantity].unit
        computed[quantity] = Quantity(float(one.computed), float(one.computed_u), unit)
    return judge(asked, Car(computed=computed, measured={quantity: quantity_of(one)}))


def agrees_with_the_day(one: Inspection, ruling: Ruling) -> bool:
    """True if the verdict found again is the one of the day."""
    return (
        ruling.verdict.value == one.verdict
        and ruling.passes == one.passes
        and (ruling.probability is None) == (one.probability is None)
        and abs((ruling.probability or 0.0) - (one.probability or 0.0)) < 1e-9
    )
