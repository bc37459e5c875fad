"""From the garage: what fits a chassis, and what to change on it and buy for a body."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django.db.models import F, FilteredRelation, Q, QuerySet
from django.db.models.functions import Abs

from club.garage.stock import at_hand, enough_for_a_slot
from club.models import Chassis, ChassisPart, Member
from fitcalc import parts as calc
from fitcalc.chain import chain_of
from fitcalc.matches import Match
from fitcalc.parts import Slot
from fitcalc.reverse import reach, stands
from fitcalc.solver import Order, solve
from setups.models import Body, Part, Platform
from setups.services.changes import Change, Filled, changes
from setups.translate import (
    Shelf,
    body_of,
    build_configuration,
    part_of,
    platform_of,
    position_of,
    shelf_for,
)

MOST_MORE = 2
"""What fits is told up to so many parts more."""


_LINKS = (Slot.MOTOR_MOUNT.value, Slot.PLATE.value)


def bodies_near(platform: Platform, wheelbase: float | None) -> QuerySet[Body]:
    """Bodies of the platform's scale, nearest in wheelbase (mm) first, those of unknown wheelbase last."""
    length = FilteredRelation("dimensions", condition=Q(dimensions__quantity="wheelbase"))
    bodies = Body.objects.filter(scale=platform.scale).select_related("maker").annotate(row=length)
    if wheelbase is None:
        return bodies.order_by("name", "pk")
    away = Abs(F("row__value") - Decimal(str(round(wheelbase, 3))))
    return bodies.annotate(away=away).order_by(F("away").asc(nulls_last=True), "name", "pk")


def filled_of(chassis: Chassis, catalogue: calc.Catalogue) -> Filled:
    """What stands in each slot of a chassis, in the calculation's terms; reads its slots."""
    known: dict[Any, calc.Part] = {}
    for name in ("front_suspensions", "rear_axles", "wheels", "tyres", "spacers", "motor_mounts", "plates"):
        known |= {part.id: part for part in getattr(catalogue, name)}
    filled: dict[Slot, Any] = {Slot(slot): known.get(part) for slot, part in chassis.filled().items()}
    hole = ("position", chassis.position_id)
    filled[Slot.POSITION] = next((one for one in catalogue.positions if one.id == hole), None)
    return filled


def gone_from(chassis: Chassis, catalogue: calc.Catalogue) -> list[ChassisPart]:
    """The slots whose part the platform's catalogue has no more, which counts as open; reads its slots."""
    filled = filled_of(chassis, catalogue)
    rows = [row for row in chassis.slots.all() if row.slot != Slot.BODY_MOUNT]
    return [row for row in rows if filled[Slot(row.slot)] is None]


def configuration_from(filled: Filled, catalogue: calc.Catalogue) -> calc.Configuration | None:
    """The chassis as a configuration, ``None`` while a slot that it cannot do without is open."""
    position = filled.get(Slot.POSITION)
    if not isinstance(position, calc.Position):
        return None
    rest: dict[str, Any] = {slot.value: part for slot, part in filled.items() if slot is not Slot.POSITION}
    try:
        return build_configuration(catalogue.platform, position, rest)
    except ValueError:
        return None


def wheelbase_of(chassis: Chassis) -> float | None:
    """The chassis' wheelbase, mm; ``None`` while its mount or plate is open. Reads slots and dimensions."""
    links = {row.slot: part_of(row.part) for row in chassis.slots.all() if row.slot in _LINKS}
    if any(links.get(slot) is None for slot in _LINKS):
        return None
    mount, plate = (links[slot] for slot in _LINKS)
    length = chain_of(platform_of(chassis.platform), mount, plate, position_of(chassis.position)).length
    return float(length.value)


def short_of(match: Match, counts: Mapping[Any, int]) -> tuple[calc.Part, ...]:
    """Parts that are owned, but too few of them: one pair of wheels for both axles."""
    needed: Counter[Any] = Counter()
    parts = {}
    for slot, part in match.report.configuration.parts():
        needed[part.id] += slot.pieces
        parts[part.id] = part
    bought = {part.id for _, part in match.to_buy}
    return tuple(
        parts[key] for key, count in needed.items() if key not in bought and counts.get(key, 0) < count
    )


@dataclass(frozen=True, slots=True)
class Step:
    """One change to a chassis; ``part`` is what has to be bought for it, ``None`` if it is at hand."""

    change: Change
    part: calc.Part | None


@dataclass(frozen=True, slots=True)
class Fitting:
    """A body that goes on a chassis: what to change on it, ``buy`` of which has to be bought."""

    body: Body
    match: Match
    steps: list[Step]
    short: tuple[calc.Part, ...]
    as_built: bool

    @property
    def parts(self) -> int:
        """How many parts have to be bought."""
        return self.match.parts_to_change + len(self.short)

    @property
    def report(self) -> Any:
        return self.match.report


@dataclass(slots=True)
class Fits:
    """What fits a chassis, by how many parts it takes more; ``further`` counts bodies that take more."""

    by_parts: dict[int, list[Fitting]]
    further: int
    parts: dict[int, Part]
    gone: list[ChassisPart]
    endless: bool

    @property
    def groups(self) -> list[tuple[int, list[Fitting]]]:
        return list(self.by_parts.items())


def what_fits(chassis: Chassis, bodies: Sequence[Body], shelf: Shelf) -> Fits:
    """Each of ``bodies`` (with dimensions and part rules) judged against a chassis and what is at hand."""
    catalogue = shelf.catalogues[chassis.platform.pk]
    counts = at_hand(chassis.member, chassis)
    owned = enough_for_a_slot(counts, shelf.parts) | frozenset(chassis.filled().values())
    filled = filled_of(chassis, catalogue)
    built = configuration_from(filled, catalogue)
    found = reach(catalogue, [body_of(body) for body in bodies], owned, built, MOST_MORE)
    by_parts: dict[int, list[Fitting]] = {number: [] for number in range(MOST_MORE + 1)}
    further = 0
    for body, one in zip(bodies, found, strict=True):
        fitting = None
        if one.match is not None:
            short = () if one.as_built else short_of(one.match, counts)
            fitting = Fitting(body, one.match, _steps(filled, one.match), short, one.as_built is not None)
        if fitting is None or fitting.parts > MOST_MORE:
            further += 1
        else:
            by_parts[fitting.parts].append(fitting)
    by_parts[0].sort(key=lambda fitting: not fitting.as_built)
    endless = any(one.endless for one in found)
    return Fits(by_parts, further, shelf.parts, gone_from(chassis, catalogue), endless)


def _steps(filled: Filled, match: Match) -> list[Step]:
    """The changes to a chassis; that a body's own mount comes with it is not one unless it is bought."""
    to_buy = dict(match.to_buy)
    found = [Step(one, to_buy.get(one.slot)) for one in changes(filled, match.report.configuration)]
    return [step for step in found if step.change.slot is not Slot.BODY_MOUNT or step.part is not None]


@dataclass(frozen=True, slots=True)
class Answer:
    """One chassis under a body: whether it fits as it stands, else the least to change and buy.

    ``address`` is the query that opens it on the check page. ``nearest`` is the nearest miss where nothing
    that is sold makes the chassis fit.
    """

    chassis: Chassis
    as_built: Any
    best: Fitting | None
    nearest: Match | None
    address: str
    gone: list[ChassisPart]
    endless: bool


def what_it_needs(member: Member, body: Body) -> tuple[list[Answer], dict[int, Part]]:
    """What each of the member's chassis of the body's scale needs for it, the nearest first."""
    mine = list(
        member.chassis.filter(position__platform__scale=body.scale)
        .select_related("position__platform__maker", "member")
        .prefetch_related("slots")
    )
    platforms = list({one.platform.pk: one.platform for one in mine}.values())
    shelf = shelf_for(platforms, body)
    needs = body_of(body)
    found = [_answer(one, shelf, needs, body) for one in mine]
    found.sort(key=lambda one: (99 if one.best is None else one.best.parts, one.chassis.name))
    return found, shelf.parts


def _answer(chassis: Chassis, shelf: Shelf, needs: calc.Body, body: Body) -> Answer:
    catalogue = shelf.catalogues[chassis.platform.pk]
    counts = at_hand(chassis.member, chassis)
    owned = enough_for_a_slot(counts, shelf.parts) | frozenset(chassis.filled().values())
    filled = filled_of(chassis, catalogue)
    built = configuration_from(filled, catalogue)
    as_built = stands(catalogue, built, needs, owned) if built is not None else None
    solution = solve(catalogue, needs, owned, limit=1, misses=1, order=Order.FEWEST_PARTS)
    best = None
    if solution.matches:
        match = solution.matches[0]
        short = () if as_built else short_of(match, counts)
        best = Fitting(body, match, _steps(filled, match), short, as_built is not None)
    query = {"platform": chassis.platform.slug, Slot.POSITION.value: chassis.position_id, **chassis.filled()}
    nearest = solution.near_misses[0] if solution.near_misses else None
    gone = gone_from(chassis, catalogue)
    return Answer(chassis, as_built, best, nearest, urlencode(query), gone, solution.endless)
