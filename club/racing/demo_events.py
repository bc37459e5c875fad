"""Six invented events for the demo: entry lists, late changes, and inspections with close calls.

What an inspector reads is what the car should have, or else what its class asks with a little to spare; some
cars stand within a guard band of a limit, some are not what their setup says, and some readings are slips
that are corrected. The same seed gives the same events: the last ones of their kind before the day of
loading, and one to come.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from random import Random
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone

from club.models import Clause, Entry, EntryChange, Event, EventClass, Inspection, Member, RaceClass
from club.racing.checking import Rulebook
from club.racing.demo import OPENS, present_season, saturday_by
from club.racing.events.entries import enter_many
from club.racing.events.events import rulebooks_of
from club.racing.events.inspecting import finish
from club.racing.events.standing import computed_cars, entries_with_cars, with_parts
from fitcalc.dimensions import Unit
from fitcalc.instruments import Instrument
from fitcalc.legality import BODY, CLASS_QUANTITIES, Car, ClassVerdict, Limit, Listing, judge_all
from fitcalc.readings import doubt_of_one
from setups.demo.seasons import SATURDAY
from setups.models import Body, Platform, Revision, Setup

RANDOM_SEED = 20
_CLASSES = {"hall-saloons": 28, "open-small-scale": 28, "lantern-endurance": 24}
"""The demo's classes and the scale of their cars."""
DIRECTOR = "director"
TRIED = 120
"""So many setups of a scale are looked at for who could enter."""


@dataclass(frozen=True, slots=True)
class Plan:
    """One event: the last one that was held on the Saturday by this month and day; with
    ``season_before`` the one of the season before the present one. Without a day it is the Saturday that is
    two weeks away.
    """

    name: str
    day: tuple[int, int] | None
    venue: str
    note: str
    classes: dict[str, int]
    season_before: bool = False


PLANS = (
    Plan(
        "Autumn Opener",
        (10, 11),
        "Tannery Lane hall",
        "Doors at nine, scrutineering until half past ten.",
        {"hall-saloons": 10, "open-small-scale": 6},
        season_before=True,
    ),
    Plan(
        "Candlemas Trophy",
        (1, 31),
        "Old corn exchange",
        "Two heats and a final for each class.",
        {"hall-saloons": 12, "lantern-endurance": 7},
    ),
    Plan(
        "Two Hours by Lamplight",
        (4, 18),
        "Ferry Road depot",
        "Lamps are looked at before the dark stint.",
        {"lantern-endurance": 12},
    ),
    Plan(
        "Harvest Round",
        OPENS,
        "Sailmaker’s loft",
        "The first under the new season's rulebooks.",
        {"hall-saloons": 14, "open-small-scale": 8},
    ),
    Plan(
        "Fog Cup",
        (11, 14),
        "Millpond sports hall, short",
        "",
        {"hall-saloons": 12, "open-small-scale": 10, "lantern-endurance": 6},
    ),
    Plan(
        "Winter Round",
        None,
        "St Wulfram’s undercroft",
        "Bring a lamp: the pits are dim.",
        {"hall-saloons": 16, "open-small-scale": 9},
    ),
)

_GUESTS = ("Odette Farsley", "Rurik Plimsett", "Bea Conisholme", "Tobiah Wrenfold", "Ilse Quaverley")
"""Drivers who are no members."""
_AFTER = ("ground_clearance", "width", "front_width", "rear_width", "mass")
"""What is looked at again after a run."""
_PUT_RIGHT = ("ground_clearance", "mass", "wheelbase")
"""What a driver can put right on the morning of the event."""


def move_in(members: QuerySet[Member], say: Callable[[str], object], **_: Any) -> None:
    """Stores the events; does nothing where the demo's classes or its race director are missing."""
    director = members.filter(username=DIRECTOR).first()
    classes = {one.slug: one for one in RaceClass.objects.filter(slug__in=_CLASSES)}
    if director is None or len(classes) < len(_CLASSES):
        return
    inspectors = [director, *members.filter(role=Member.Role.RACE_DIRECTOR).exclude(pk=director.pk)]
    yards = {scale: _yard(scale) for scale in set(_CLASSES.values())}
    people = list(members.order_by("pk"))
    rng = Random(RANDOM_SEED)
    entered = inspected = 0
    for plan in PLANS:
        event = _event(plan, classes, director)
        entries = _enter(event, plan, classes, yards, people, director, rng)
        entered += len(entries)
        if plan.day is not None:
            _late_changes(event, inspectors, rng)
            inspected += _inspect(event, inspectors, rng)
    say(f"Events: {len(PLANS)}, with {entered} entries and {inspected} inspections")


def clear_out(members: QuerySet[Member], **_: Any) -> None:
    """Takes out the demo's events with all that hangs on them, whoever wrote it.

    Entries go first, by their own rows: while they stand, their inspections and their log cannot go
    (``club.racing.events.guards``).
    """
    events = list(Event.objects.filter(made_by__in=members).values_list("pk", flat=True))
    entries = list(Entry.objects.filter(event__in=events).values_list("pk", flat=True))
    Entry.objects.filter(pk__in=entries)._raw_delete("default")
    Inspection.objects.filter(entry__in=entries)._raw_delete("default")
    EntryChange.objects.filter(entry__in=entries)._raw_delete("default")
    EventClass.objects.filter(event__in=events).delete()
    Event.objects.filter(pk__in=events).delete()


def _day(plan: Plan) -> date:
    today = timezone.localdate()
    if plan.day is None:
        soon = today + timedelta(days=14)
        return soon + timedelta(days=(SATURDAY - soon.weekday()) % 7)
    if plan.season_before:
        return saturday_by(present_season() - 1, *plan.day)
    this_year = saturday_by(today.year, *plan.day)
    return this_year if this_year < today else saturday_by(today.year - 1, *plan.day)


def _slug(plan: Plan) -> str:
    return f"{plan.name.lower().replace(' ', '-')}-{_day(plan):%Y}"


def _event(plan: Plan, classes: dict[str, RaceClass], director: Member) -> Event:
    event = Event.objects.create(
        name=plan.name,
        slug=_slug(plan),
        date=_day(plan),
        venue=plan.venue,
        note=plan.note,
        made_by=director,
    )
    EventClass.objects.bulk_create(EventClass(event=event, race_class=classes[slug]) for slug in plan.classes)
    return event


def _enter(
    event: Event,
    plan: Plan,
    classes: dict[str, RaceClass],
    yards: dict[int, _Yard],
    members: Sequence[Member],
    director: Member,
    rng: Random,
) -> list[Entry]:
    """The entry list: members with a setup of theirs or of somebody else, and a few guests."""
    books = rulebooks_of(event)
    numbers = rng.sample(range(1, 100), sum(plan.classes.values()))
    rows = []
    for slug, wanted in plan.classes.items():
        race_class = classes[slug]
        drivers = rng.sample(list(members), min(wanted, len(members)))
        cars = _cars(books[race_class.pk], yards[_CLASSES[slug]], wanted, event.date, rng)
        for place in range(wanted):
            member = drivers[place] if place < len(drivers) else None
            name = str(member) if member else rng.choice(_GUESTS)
            if rng.random() < 0.12:
                member, name = None, rng.choice(_GUESTS)
            car = cars[place] if place < len(cars) else {}
            rows.append(
                Entry(
                    event=event,
                    race_class=race_class,
                    number=numbers[len(rows)],
                    driver=name,
                    member=member,
                    **car,
                )
            )
    evening = min(_at(event, 19, 30) - timedelta(days=3), timezone.now())
    enter_many(rows, director, "Entered from a list", evening)
    return rows


@dataclass(frozen=True)
class _Yard:
    """What could be entered, of one scale: posted setups with their cars, bodies and platforms."""

    setups: list[Setup]
    cars: list[Car]
    bodies: list[Body]
    platforms: list[Platform]


def _yard(scale: int) -> _Yard:
    posted = Setup.objects.filter(
        platform__scale=scale, current__isnull=False, state__in=["posted", "verified"]
    )
    setups = list(posted.select_related("current").order_by("pk")[:TRIED])
    keys = [one.current_id for one in setups]
    loaded = {one.pk: one for one in with_parts(Revision.objects.filter(pk__in=keys))}
    return _Yard(
        setups,
        computed_cars([Entry(revision=loaded[key]) for key in keys]),
        list(Body.objects.filter(scale=scale).order_by("name", "pk")),
        list(Platform.objects.filter(scale=scale).order_by("name")),
    )


def _cars(book: Rulebook | None, yard: _Yard, wanted: int, day: date, rng: Random) -> list[dict[str, Any]]:
    """What stands on the list: mostly setups that the rulebook does not rule out, a few that it does; all
    posted before that day.
    """
    there = [i for i, one in enumerate(yard.setups) if one.current and one.current.posted_at.date() < day]
    order = rng.sample(there, len(there))
    worst = judge_all(book.clauses, yard.cars).worst if book and yard.cars else []
    bad = {i for i, verdict in enumerate(worst) if verdict is ClassVerdict.DOES_NOT_COMPLY}
    few = max(1, wanted // 8)
    chosen = [i for i in order if i not in bad][: wanted - few - 1] + [i for i in order if i in bad][:few]
    found: list[dict[str, Any]] = [{"revision": yard.setups[i].current} for i in chosen]
    bodies = _bodies(book, yard.bodies)
    while len(found) < wanted and bodies and yard.platforms:
        found.append({"body": rng.choice(bodies), "platform": rng.choice(yard.platforms)})
    rng.shuffle(found)
    return found


def _bodies(book: Rulebook | None, every: list[Body]) -> list[Body]:
    """The bodies that the rulebook does not rule out."""
    clauses = [one for one in book.clauses if isinstance(one, Listing) and one.kind == BODY] if book else []
    return [
        one for one in every if all((one.pk in clause.ids) == clause.allows for clause in clauses)
    ] or every


def _late_changes(event: Event, inspectors: Sequence[Member], rng: Random) -> None:
    """Who came, who did not, and one who changed the number."""
    entries = list(event.entries.order_by("number"))
    taken = {entry.number for entry in entries}
    out, renumbered = rng.sample(entries, 2)
    at = _at(event, 8, 0)
    log = []
    for place, entry in enumerate(entries):
        by = rng.choice(inspectors)
        when = at + timedelta(minutes=2 * place + rng.randrange(3))
        if entry is out:
            entry.withdrawn = True
            log.append(EntryChange(entry=entry, by=by, why="Withdrawn: servo broke on Friday night", at=when))
            continue
        if entry is renumbered:
            was, entry.number = entry.number, next(n for n in range(1, 200) if n not in taken)
            changes = [["race number", str(was), str(entry.number)]]
            why = "The shell had that number painted on"
            log.append(EntryChange(entry=entry, by=by, why=why, changes=changes, at=when))
        if rng.random() < 0.95:
            entry.checked_in_at, entry.checked_in_by = when, by
            log.append(EntryChange(entry=entry, by=by, why="Checked in", at=when))
    Entry.objects.bulk_update(entries, ["withdrawn", "number", "checked_in_at", "checked_in_by"])
    EntryChange.objects.bulk_create(log)


def _at(event: Event, hour: int, minute: int) -> datetime:
    return datetime.combine(event.date, time(hour, minute), UTC)


@dataclass
class _Desk:
    """An inspector's table: what is read there, one record after another."""

    rng: Random
    rows: list[Inspection]

    def record(self, entry: Entry, clause: Clause, car: Car, by: Member, **given: Any) -> Inspection:
        last = given.pop("last", None)
        one = Inspection(
            entry=entry, clause=clause, by=by, key=UUID(int=self.rng.getrandbits(128), version=4), **given
        )
        one.at = one.taken_at + timedelta(seconds=self.rng.randrange(2, 40))
        finish(one, car, last)
        self.rows.append(one)
        return one


def _inspect(event: Event, inspectors: Sequence[Member], rng: Random) -> int:
    """Every car that came is looked at before the first run, and a part of it again after one."""
    books = rulebooks_of(event)
    here = entries_with_cars(event.entries.filter(checked_in_at__isnull=False))
    entries = list(here.order_by("number"))
    desk = _Desk(rng, [])
    corrected: list[tuple[Inspection, Inspection]] = []
    for place, (entry, car) in enumerate(zip(entries, computed_cars(entries), strict=True)):
        book = books.get(entry.race_class_id)
        if book is None:
            continue
        by = inspectors[place % len(inspectors)]
        when = _at(event, 9, 0) + timedelta(minutes=4 * place)
        for clause, judged in zip(book.rows, book.clauses, strict=True):
            if rng.random() < 0.06:  # overlooked
                continue
            when += timedelta(seconds=rng.randrange(10, 40))
            common = {"stage": "before", "run": 1, "taken_at": when}
            if not isinstance(judged, Limit):
                if clause.kind == Clause.Kind.REQUIRED:
                    desk.record(entry, clause, car, by, seen=rng.random() < 0.985, **common)
                continue
            value = _true(judged, car, rng)
            tool = _tool(judged)
            common |= tool
            first = desk.record(entry, clause, car, by, readings=[_read(value, judged, rng)], **common)
            if rng.random() < 0.03 and first.value is not None:
                slip, first.readings = first.readings, [f"{first.value + 10:f}"]
                finish(first, car)
                again = {**common, "taken_at": when + timedelta(minutes=1)}
                why = "The calliper was read ten millimetres too far"
                if judged.unit is not Unit.MM:
                    why = "A digit was typed wrongly"
                second = desk.record(entry, clause, car, by, readings=slip, reason=why, **again)
                corrected.append((second, first))
            elif first.verdict == ClassVerdict.TOO_CLOSE.value or rng.random() < 0.05:
                for more in range(1, 3):
                    again = {**common, "taken_at": when + timedelta(minutes=more)}
                    readings = [_read(value, judged, rng)]
                    first = desk.record(entry, clause, car, by, readings=readings, last=first, **again)
            if clause.quantity in _AFTER and rng.random() < 0.4:
                later = {**common, "stage": "after", "taken_at": when + timedelta(hours=2)}
                worn = value - (0.05 if clause.quantity == "ground_clearance" else 0.0)
                desk.record(entry, clause, car, by, readings=[_read(worn, judged, rng)], **later)
    _store(desk.rows, corrected)
    return len(desk.rows)


def _store(rows: list[Inspection], corrected: list[tuple[Inspection, Inspection]]) -> None:
    """In the order in which they were made, what corrects another after it."""
    seconds = {id(second): first for second, first in corrected}
    plain = [one for one in rows if id(one) not in seconds]
    Inspection.objects.bulk_create(plain, batch_size=200)
    for second, first in corrected:
        second.corrects = first
    Inspection.objects.bulk_create([second for second, _ in corrected], batch_size=200)


def _tool(limit: Limit) -> dict[str, Any]:
    """What it is measured with, and the doubt of one reading."""
    if limit.unit is Unit.NONE:
        return {"instrument": "", "doubt": Decimal(0)}
    chosen, typed = {
        Unit.MM: (Instrument.CALLIPER, None),
        Unit.GRAM: (Instrument.SCALE, None),
    }.get(limit.unit, (Instrument.OTHER, 0.02))
    doubt = Decimal(repr(doubt_of_one(chosen, limit.unit, typed))).quantize(Decimal("0.0001"))
    return {"instrument": chosen.value, "doubt": doubt}


NEAR = 0.02
"""A car whose computed value is within so much of a limit may turn out to stand close to it."""


def _true(limit: Limit, car: Car, rng: Random) -> float:
    """What the car has: what is computed of it, or what the clause asks with something to spare."""
    kind = CLASS_QUANTITIES[limit.quantity]
    if limit.unit is Unit.NONE:
        return limit.low if limit.low is not None else limit.high or 0.0
    end, side = (limit.high, -1.0) if limit.high is not None else (limit.low or 0.0, 1.0)
    u = float(_tool(limit)["doubt"])
    known = car.computed.get(limit.quantity)
    if known is None and limit.quantity == "width":
        ends = [car.computed.get(key) for key in ("front_width", "rear_width")]
        known = max((one for one in ends if one is not None), key=lambda one: one.value, default=None)
    near = known is None or abs(float(known.value) - end) < NEAR * abs(end)
    if near and rng.random() < 0.15:  # close to the limit, on either side of it
        return end + side * rng.uniform(-1.4, 2.4) * u
    if known is not None:
        spread = 6.0 if rng.random() < 0.04 else 0.7  # a few cars are not what their setup says
        found = float(known.value) + rng.gauss(0.0, spread * max(float(known.u), u))
        # Most drivers have looked before they came: what they state too low they put right.
        if rng.random() < 0.8 and (end - found) * side > 0.0 and limit.quantity in _PUT_RIGHT:
            found = end + side * abs(end) * rng.uniform(0.004, 0.03)
        return found
    spare = abs(end) * rng.uniform(0.005, 0.05)
    return min(max(end + side * spare, kind.low), kind.high)


def _read(value: float, limit: Limit, rng: Random) -> str:
    """One reading, as the instrument shows it."""
    kind = CLASS_QUANTITIES[limit.quantity]
    if limit.unit is Unit.NONE:
        return f"{value:.0f}"
    decimals = 1 if limit.unit is Unit.GRAM else 2
    read = value + rng.gauss(0.0, 0.8 * float(_tool(limit)["doubt"]))
    return f"{min(max(read, kind.low), kind.high):.{decimals}f}"
