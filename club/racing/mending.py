"""What would make a car legal: the solver under a class's limits, starting from what the member owns.

The catalogue is cut down to the parts that the clauses let on the car (lists, and limits that a single part
decides), every geometry that fits the body is solved for, and all of them are judged at once. Fewest parts to
buy come first, then fewest clauses that are too close to call, fewest changes, and the cost.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import inf
from typing import Any

from club.garage.fits import short_of
from club.garage.stock import at_hand, enough_for_a_slot
from club.models import Chassis, Member
from club.racing.cars import Subject, fitted_of, from_parts
from club.racing.checking import Rulebook
from fitcalc import legality
from fitcalc import parts as calc
from fitcalc.legality import BODY, Car, ClassVerdict, Limit, Ruling, judge, judge_all
from fitcalc.matches import Match
from fitcalc.parts import Axle, Slot
from fitcalc.quantities import Quantity
from fitcalc.solver import Order, solve
from setups.models import Part
from setups.services.changes import Change, changes
from setups.translate import LISTS, body_of, shelf_for

LOOKED_AT = 1000
"""So many geometries that fit are judged; no body of the demo has as many."""

FROM_PARTS = frozenset(
    {
        "width",
        "front_width",
        "rear_width",
        "front_track",
        "rear_track",
        "wheelbase",
        "front_tyre_diameter",
        "rear_tyre_diameter",
        "front_tyre_width",
        "rear_tyre_width",
        "front_offset",
        "rear_offset",
    }
)
"""The quantities that other parts change."""


@dataclass(frozen=True, slots=True)
class Step:
    """One change; ``part`` is what has to be bought for it, ``None`` if it is at hand."""

    change: Change
    part: calc.Part | None


@dataclass(frozen=True, slots=True)
class Mending:
    """The least that makes a car legal.

    ``match`` is the configuration, ``None`` if none was found; ``left`` are the rulings of ``match`` that are
    still too close to call. ``barred`` is true where the body itself is not allowed. ``nearest`` are what
    still fails in the nearest configuration, where none is legal. ``by_hand`` are failing limits that no part
    decides (mass, ground clearance): each says by how much it has to change. ``endless`` is true where the
    platform has so many parts that none were tried.
    """

    match: Match | None
    steps: list[Step]
    short: tuple[calc.Part, ...]
    left: list[Ruling]
    nearest: list[Ruling]
    by_hand: list[Ruling]
    barred: bool
    looked_at: int
    parts: dict[int, Part]
    endless: bool = False

    @property
    def buys(self) -> int:
        """How many parts have to be bought."""
        return sum(step.part is not None for step in self.steps) + len(self.short)


def mend(
    subject: Subject, rulebook: Rulebook, member: Member | None = None, chassis: Chassis | None = None
) -> Mending:
    """What would make ``subject`` legal with what is on the car and what ``member`` owns."""
    by_hand = [
        ruling
        for clause in rulebook.clauses
        if isinstance(clause, Limit) and clause.quantity not in FROM_PARTS
        if (ruling := judge(clause, subject.car)).passes is False
    ]
    # What was measured on this car says nothing of another one: candidates are judged as they are computed.
    asked = [clause for clause in rulebook.clauses if _hangs_on_parts(clause, subject)]
    barred = any(
        judge(clause, subject.car).passes is False
        for clause in asked
        if not isinstance(clause, Limit) and getattr(clause, "kind", "") == BODY
    )
    amiss = any(judge(clause, subject.car).passes is False for clause in asked)
    if barred or not amiss or subject.body is None:
        return Mending(None, [], (), [], [], by_hand, barred, 0, {})
    shelf = shelf_for([subject.platform], subject.body)
    on_the_car = {part.id for part in subject.filled.values() if isinstance(part, calc.Part)}
    counts: Mapping[int, int] = {} if member is None else at_hand(member, chassis)
    owned = enough_for_a_slot(counts, shelf.parts) | on_the_car
    catalogue = _cut_down(shelf.catalogues[subject.platform.pk], asked)
    solution = solve(
        catalogue,
        body_of(subject.body),
        owned,
        limit=LOOKED_AT,
        misses=0,
        order=Order.FEWEST_PARTS,
    )
    if not solution.matches:
        return Mending(None, [], (), [], [], by_hand, False, 0, shelf.parts, solution.endless)
    return _best(subject, asked, list(solution.matches), counts, by_hand, shelf.parts)


def _best(
    subject: Subject,
    asked: list[legality.Clause],
    matches: list[Match],
    counts: Mapping[Any, int],
    by_hand: list[Ruling],
    parts: dict[int, Part],
) -> Mending:
    cars = [
        Car(
            computed=from_parts(match.report),
            fitted=fitted_of(match.report.configuration, match.report.body),
            seen=subject.car.seen,
        )
        for match in matches
    ]
    rulings = judge_all(asked, cars)
    close = ClassVerdict.TOO_CLOSE.gravity
    failing = (rulings.passes == 0).sum(axis=1).tolist()
    doubtful = (rulings.verdicts == close).sum(axis=1).tolist()
    have = _pieces(subject, counts)
    short = [short_of(match, have) for match in matches]
    steps = [_steps(subject, match) for match in matches]

    def rank(i: int) -> tuple[float, ...]:
        cost = matches[i].cost
        buys = matches[i].parts_to_change + len(short[i])
        price = inf if cost is None else cost
        return failing[i], buys, doubtful[i], len(steps[i]), len(short[i]), price, i

    best = min(range(len(matches)), key=rank)
    found = rulings.of(best)
    if failing[best]:
        wrong = [ruling for ruling in found if ruling.passes is False]
        return Mending(None, [], (), [], wrong, by_hand, False, len(matches), parts)
    match = matches[best]
    left = [ruling for ruling in found if ruling.verdict is ClassVerdict.TOO_CLOSE]
    return Mending(match, steps[best], short[best], left, [], by_hand, False, len(matches), parts)


def _steps(subject: Subject, match: Match) -> list[Step]:
    """From the car to ``match``; a body's own mount is a step only where it has to be bought."""
    to_buy = dict(match.to_buy)
    return [
        Step(one, to_buy.get(one.slot))
        for one in changes(subject.filled, match.report.configuration)
        if one.slot is not Slot.BODY_MOUNT or one.slot in to_buy
    ]


def _pieces(subject: Subject, counts: Mapping[Any, int]) -> Counter[Any]:
    """How many pieces of each part are at hand: those in the garage, and those on the car unless the garage
    counts them already, as it does if it has enough of every one."""
    on_the_car: Counter[Any] = Counter()
    for slot, part in subject.filled.items():
        if isinstance(part, calc.Part):
            on_the_car[part.id] += slot.pieces
    garage = Counter(counts)
    return garage if on_the_car <= garage else garage + on_the_car


def _hangs_on_parts(clause: legality.Clause, subject: Subject) -> bool:
    """True for a clause that other parts can meet or break."""
    if isinstance(clause, Limit):
        return clause.quantity in FROM_PARTS
    kind: str = getattr(clause, "kind", "")
    return kind in subject.car.fitted and clause.id not in subject.car.seen


_OF_A_WHEEL = {"offset": "offset"}
_OF_A_TYRE = {"tyre_diameter": "diameter", "tyre_width": "width"}


def _cut_down(catalogue: calc.Catalogue, asked: list[legality.Clause]) -> calc.Catalogue:
    """The catalogue without the parts that a clause by itself keeps off the car, or off one axle."""
    lists: dict[str, tuple[Any, ...]] = {}
    for kind, name in LISTS.items():
        bars = [one for one in asked if isinstance(one, legality.Listing) and one.kind == kind.value]
        lists[name] = tuple(
            part
            for part in getattr(catalogue, name)
            if all(judge(bar, Car(fitted={kind.value: frozenset({part.id})})).passes for bar in bars)
        )
    lists["wheels"] = tuple(_sided(lists["wheels"], asked, _OF_A_WHEEL))
    lists["tyres"] = tuple(_sided(lists["tyres"], asked, _OF_A_TYRE))
    return replace(catalogue, **lists)


def _sided(parts: tuple[Any, ...], asked: list[legality.Clause], figures: dict[str, str]) -> list[Any]:
    """Parts with the axles that they may stand on under the limits; none: it is left out."""
    limits = [one for one in asked if isinstance(one, Limit)]
    kept = []
    for part in parts:
        axles = frozenset(
            axle for axle in part.axles if all(_may(part, axle, limit, figures) for limit in limits)
        )
        if axles:
            kept.append(part if axles == part.axles else replace(part, axles=axles))
    return kept


def _may(part: Any, axle: Axle, limit: Limit, figures: dict[str, str]) -> bool:
    named = limit.quantity.removeprefix(f"{axle.value}_")
    if named == limit.quantity or named not in figures:
        return True
    figure: Quantity = getattr(part, figures[named])
    return judge(limit, Car(computed={limit.quantity: figure})).passes is not False
