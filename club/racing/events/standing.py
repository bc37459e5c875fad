"""How the cars of an event stand against their rulebooks: one, or the whole entry list at once.

A car is computed from its setup by the library's figures of today, and measured by the event's inspectors;
the latest inspection under a clause counts, whichever run it belongs to. All entries of a class are judged
together, as arrays, in a constant number of queries.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from django.db.models import Prefetch, QuerySet

from club.models import Entry, Event, Inspection, RaceClass
from club.racing.cars import fitted_of, from_parts, stated
from club.racing.checking import Row, Rulebook
from club.racing.events.events import rulebooks_of
from fitcalc import parts as calc
from fitcalc.dimensions import PartKind, Unit
from fitcalc.fit import FitReport, evaluate_all
from fitcalc.legality import (
    BODY,
    CLASS_QUANTITIES,
    Car,
    ClassVerdict,
    Ruling,
    Rulings,
    judge_all,
)
from fitcalc.parts import Slot
from fitcalc.quantities import Quantity
from setups.models import Body, Revision
from setups.translate import build_configuration, part_of, platform_of, position_of


@dataclass(frozen=True)
class Standing:
    """One entry under its rulebook; without a rulebook nothing can be said."""

    entry: Entry
    car: Car
    rulebook: Rulebook | None
    rulings: Rulings | None = None
    place: int = 0

    @cached_property
    def verdict(self) -> ClassVerdict:
        """The gravest."""
        if self.rulings is None:
            return ClassVerdict.NOT_CHECKED
        return self.rulings.worst[self.place]

    @property
    def passes(self) -> bool | None:
        """What the decision rules make of the car; ``None`` while something is open."""
        return None if self.rulings is None else self.rulings.legal[self.place]

    @cached_property
    def rows(self) -> list[Row]:
        """Each clause with its ruling in full, in the order of the rulebook."""
        if self.rulings is None or self.rulebook is None:
            return []
        return [
            Row(row, ruling)
            for row, ruling in zip(self.rulebook.rows, self.rulings.of(self.place), strict=True)
        ]

    @cached_property
    def problems(self) -> list[Row]:
        """The clauses that the car does not plainly comply with, gravest first."""
        open_ = [row for row in self.rows if row.ruling.verdict is not ClassVerdict.COMPLIES]
        return sorted(open_, key=lambda row: -row.ruling.verdict.gravity)

    @property
    def counts(self) -> dict[str, int]:
        """How many clauses have each verdict, by its value."""
        found = dict.fromkeys((verdict.value for verdict in ClassVerdict), 0)
        if self.rulings is not None:
            verdicts = list(ClassVerdict)
            for code in self.rulings.verdicts[self.place].tolist():
                found[verdicts[code].value] += 1
        return found

    @property
    def urgency(self) -> int:
        """Lower is looked at first: does not comply, too close, not checked, complies."""
        return _ORDER[self.verdict]


_ORDER = {
    ClassVerdict.DOES_NOT_COMPLY: 0,
    ClassVerdict.TOO_CLOSE: 1,
    ClassVerdict.NOT_CHECKED: 2,
    ClassVerdict.COMPLIES: 3,
}


@dataclass
class ClassList:
    """The entries of one class under its rulebook, problems first."""

    race_class: RaceClass
    rulebook: Rulebook | None
    standings: list[Standing] = field(default_factory=list)

    @property
    def counts(self) -> dict[str, int]:
        """How many entries stand how, by the verdict's value; withdrawn ones are left out."""
        found = dict.fromkeys((verdict.value for verdict in _ORDER), 0)
        for one in self.standings:
            found[one.verdict.value] += 1
        return found


def entries_with_cars(entries: QuerySet[Entry]) -> QuerySet[Entry]:
    """With all rows that ``standings`` reads, in a constant number of queries."""
    return entries.select_related(
        "event", "race_class", "member", "body__maker", "platform", "checked_in_by"
    ).prefetch_related(
        Prefetch("revision", with_parts(Revision.objects.all())),
        Prefetch("inspections", Inspection.objects.select_related("clause").order_by("pk")),
    )


def with_parts(revisions: QuerySet[Revision]) -> QuerySet[Revision]:
    """With all rows that computing the cars reads, in a constant number of queries."""
    return revisions.select_related("position", "platform", "body__maker").prefetch_related(
        "body__dimensions", "slots__part__dimensions"
    )


def check_event(event: Event, entries: QuerySet[Entry] | None = None) -> list[ClassList]:
    """Every class of the event with its entries, problems first, then by number; withdrawn ones left out."""
    rows = event.entries.all() if entries is None else entries
    found = list(entries_with_cars(rows.filter(withdrawn=False)).order_by("number"))
    books = rulebooks_of(event)
    classes = {one.race_class_id: one.race_class for one in event.raced.select_related("race_class")}
    lists = {key: ClassList(classes[key], book) for key, book in books.items()}
    for standing in standings(found, books):
        lists[standing.entry.race_class_id].standings.append(standing)
    for one in lists.values():
        one.standings.sort(key=lambda standing: (standing.urgency, standing.entry.number))
    return list(lists.values())


def standing_of(entry: Entry) -> Standing:
    """One entry against its rulebook."""
    loaded = entries_with_cars(Entry.objects.filter(pk=entry.pk)).get()
    return standings([loaded], rulebooks_of(loaded.event))[0]


def standings(entries: Sequence[Entry], books: Mapping[int, Rulebook | None]) -> list[Standing]:
    """Each of ``entries_with_cars`` against the rulebook of its class."""
    return judged(entries, cars_of(entries), books)


def judged(
    entries: Sequence[Entry], cars: Sequence[Car], books: Mapping[int, Rulebook | None]
) -> list[Standing]:
    """Each entry's car against the rulebook of its class, one sweep a class; in the entries' order."""
    by_class: dict[int, list[int]] = defaultdict(list)
    for i, entry in enumerate(entries):
        by_class[entry.race_class_id].append(i)
    found: dict[int, Standing] = {}
    for key, places in by_class.items():
        book = books.get(key)
        rulings = None if book is None else judge_all(book.clauses, [cars[i] for i in places])
        for place, i in enumerate(places):
            found[i] = Standing(entries[i], cars[i], book, rulings, place)
    return [found[i] for i in range(len(entries))]


def cars_of(entries: Sequence[Entry]) -> list[Car]:
    """The entries' cars, computed and as inspected; one query for all."""
    return [
        with_inspections(car, entry.inspections.all())
        for entry, car in zip(entries, computed_cars(entries), strict=True)
    ]


def computed_cars(entries: Sequence[Entry]) -> list[Car]:
    """The entries' cars as they follow from their setups, before anybody measured; one query for all."""
    computed = _computed([entry.revision for entry in entries if entry.revision is not None])
    cars = []
    for entry in entries:
        base = computed.get(entry.revision_id)
        if base is None:
            body = entry.car_body
            base = Car(fitted={} if body is None else {BODY: frozenset([body.pk])})
        cars.append(base)
    return cars


def with_inspections(car: Car, inspections: Iterable[Inspection]) -> Car:
    """``car`` with what inspectors found; of several under one clause or quantity the latest counts."""
    measured: dict[str, Quantity] = dict(car.measured)
    seen: dict[Any, bool] = dict(car.seen)
    for one in sorted(inspections, key=_in_time):
        if one.seen is not None:
            seen[one.clause_id] = one.seen
        else:
            measured[one.clause.quantity] = quantity_of(one)
    return Car(computed=car.computed, measured=measured, fitted=car.fitted, seen=seen)


def _in_time(inspection: Inspection) -> tuple[int, bool, int]:
    """By run, before it and after it: a reading that was sent late still belongs where it was taken."""
    return inspection.run, inspection.stage == Inspection.Stage.AFTER, inspection.pk


def quantity_of(inspection: Inspection) -> Quantity:
    """What was measured, with its doubt."""
    assert inspection.value is not None
    assert inspection.u is not None
    return Quantity(float(inspection.value), float(inspection.u), unit_of(inspection))


def unit_of(inspection: Inspection) -> Unit:
    return CLASS_QUANTITIES[inspection.clause.quantity].unit


def _computed(revisions: Iterable[Revision]) -> dict[int, Car]:
    """Key of each revision -> its computed car; one that the calculation cannot take is left out.

    No clause asks what hangs on the body's arches, so that all cars of a platform are computed at once, under
    no body; its mass and what is on the car are added. No query.
    """
    every = {revision.pk: revision for revision in revisions}
    built: dict[int, dict[str, calc.Configuration]] = defaultdict(dict)
    platforms: dict[int, calc.Platform] = {}
    records: dict[int, calc.Part | None] = {}
    for one in every.values():
        if one.build in built[one.platform_id]:
            continue
        rows = [row for row in one.slots.all() if row.slot != Slot.BODY_MOUNT.value]
        for row in rows:
            if row.part_id not in records:
                records[row.part_id] = part_of(row.part)
        if one.platform_id not in platforms:
            platforms[one.platform_id] = platform_of(one.platform)
        filled = {row.slot: records[row.part_id] for row in rows}
        # A part that has lost a dimension since then: this car cannot be computed, the others can.
        with suppress(ValueError, TypeError):
            built[one.platform_id][one.build] = build_configuration(
                platforms[one.platform_id], position_of(one.position), filled, chosen=filled
            )
    reports: dict[str, FitReport] = {}
    for key, group in built.items():
        if group:
            nobody = calc.Body(id=None, name="", scale=platforms[key].scale)
            reports |= zip(group, evaluate_all(list(group.values()), nobody), strict=True)
    masses = {one.body_id: _mass(one.body) for one in every.values()}
    return {
        key: _car(one, reports[one.build], masses[one.body_id])
        for key, one in every.items()
        if one.build in reports
    }


def _car(revision: Revision, report: FitReport, mass: Quantity | None) -> Car:
    computed = from_parts(report, has_body=False) | stated(report, revision.tuning)
    if mass is not None:
        computed["body_mass"] = mass
    fitted = fitted_of(report.configuration, report.body, has_body=False)
    mounts = [row.part_id for row in revision.slots.all() if row.slot == Slot.BODY_MOUNT.value]
    fitted |= {
        BODY: frozenset([revision.body_id]),
        PartKind.FRONT_BODY_MOUNT.value: frozenset(mounts),
    }
    return Car(computed=computed, fitted=fitted)


def _mass(body: Body) -> Quantity | None:
    return next((row.quantity_value() for row in body.dimensions.all() if row.quantity == "mass"), None)


def disagreeing(rows: Iterable[Row]) -> list[Ruling]:
    """The rulings in which what was measured contradicts what is computed."""
    return [row.ruling for row in rows if row.ruling.disagrees]
