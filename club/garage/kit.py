"""The kit for several bodies: which packs to buy, and what to take from other members."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from club.garage.stock import Offered, at_hand, enough_for_a_slot, offered_to
from club.models import Member
from fitcalc import parts as calc
from fitcalc.kitplan import (
    KitPlan,
    Line,
    Offer,
    OfferKind,
    Shortfall,
    Use,
    Wanted,
    Way,
    pack_of,
    plan,
    way_of,
)
from fitcalc.kits import KitPlanError
from fitcalc.matches import Match
from fitcalc.said import Said
from fitcalc.solver import Order, solve
from setups.models import Body, Part, Platform
from setups.translate import Shelf, body_of, shelf_for_all

MOST_BODIES = 8
"""A kit is planned for at most so many bodies."""
WAYS = 24
"""So many configurations of each body are looked up on each platform, each of two times."""


@dataclass(frozen=True, slots=True)
class Shopping:
    """One line of a shopping list: packs of a part, or pieces that another member has."""

    part: Part
    line: Line
    offer: Offered | None = None

    @property
    def pieces(self) -> int:
        return sum(self.line.pieces.values())


@dataclass(frozen=True, slots=True)
class Run:
    """How one body is run with the kit."""

    body: Body
    match: Match


@dataclass(frozen=True, slots=True)
class Lacking:
    """A body that the kit leaves out, and what it lacks (nothing where no platform fits it at all)."""

    body: Body
    parts: list[tuple[Part, int]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Kit:
    """A kit plan in the library's terms."""

    plan: KitPlan
    to_buy: list[Shopping]
    to_take: list[Shopping]
    runs: list[Run]
    left_out: list[Lacking]
    weighed: int


def kit_for(member: Member, bodies: Sequence[Body], use: Use, borrow: bool) -> Kit:
    """The cheapest kit for ``bodies`` (with dimensions and part rules), from what is owned and on offer.

    ``borrow`` counts what other members offer. Raises KitPlanError if it cannot be found in time.
    """
    scales = {body.scale for body in bodies}
    platforms = list(Platform.objects.filter(scale__in=scales).select_related("maker"))
    shelf = shelf_for_all(platforms, bodies)
    counts = at_hand(member)
    owned = enough_for_a_slot(counts, shelf.parts)
    offered = [one for one in offered_to(member) if one.part_id in shelf.parts] if borrow else []
    loaned = frozenset(one.part_id for one in offered)
    matches: dict[tuple[int, int], Match] = {}
    wanted = []
    sold: dict[Any, calc.Part] = {}
    weighed = _ways(bodies, platforms, shelf, owned, loaned)
    for body in bodies:
        ways: list[Way] = []
        for number, match in enumerate(weighed[body.pk]):
            matches[body.pk, number] = match
            ways.append(way_of(match.report.configuration, (body.pk, number)))
            sold |= {part.id: part for _, part in match.report.configuration.parts()}
        wanted.append(Wanted(body=body.pk, ways=tuple(ways)))
    offers = [_offer(number, one) for number, one in enumerate(offered)]
    found_plan = plan(wanted, counts, [pack_of(part) for part in sold.values()], offers, use)
    rows = {body.pk: body for body in bodies}
    return Kit(
        plan=found_plan,
        to_buy=[Shopping(shelf.parts[line.item.id], line) for line in found_plan.to_buy],  # type: ignore[index]
        to_take=[_taken(line, offered, shelf.parts) for line in found_plan.to_take],
        runs=[
            Run(rows[key], matches[way.id])  # type: ignore[index]
            for key, way in found_plan.chosen.items()
        ],
        left_out=[_lacking(short, rows, shelf.parts) for short in found_plan.left_out],
        weighed=sum(len(ways) for ways in weighed.values()),
    )


def _ways(
    bodies: Sequence[Body],
    platforms: list[Platform],
    shelf: Shelf,
    owned: frozenset[int],
    loaned: frozenset[int],
) -> dict[int, list[Match]]:
    """For each body (by key) the configurations to weigh.

    Those nearest to what is owned; and those nearest to what is owned, offered, or in another body's best
    one, since a part that two bodies share is bought once.
    """
    found: dict[int, dict[Any, Match]] = {body.pk: {} for body in bodies}

    def look(at_hand: frozenset[Any], order: Order) -> None:
        for body in bodies:
            needs = body_of(body)
            for platform in platforms:
                if platform.scale != body.scale:
                    continue
                catalogue = shelf.catalogues[platform.pk]
                answer = solve(catalogue, needs, at_hand, limit=WAYS, misses=0, distinct=False, order=order)
                if answer.endless:
                    raise KitPlanError(
                        Said(
                            "the library has so many parts for the {platform} that they cannot all be tried; "
                            "choose bodies of another scale, or ask a librarian",
                            platform=str(platform),
                        )
                    )
                for match in answer.matches:
                    of_parts = tuple(part.id for _, part in match.report.configuration.parts())
                    found[body.pk].setdefault((platform.pk, of_parts), match)

    look(owned, Order.FEWEST_CHANGES)
    firsts = [next(iter(ways.values())) for ways in found.values() if ways]
    shared = {part.id for first in firsts for _, part in first.report.configuration.parts()}
    look(owned | loaned | frozenset(shared), Order.FEWEST_PARTS)
    return {key: list(ways.values()) for key, ways in found.items()}


def _offer(number: int, offered: Offered) -> Offer:
    price = None if offered.price is None else float(offered.price)
    return Offer(
        id=("offer", number),
        part=offered.part_id,
        count=offered.count,
        kind=OfferKind.LEND if offered.lent else OfferKind.PART_WITH,
        price=0.0 if offered.lent else price,
    )


def _taken(line: Line, offered: list[Offered], parts: dict[int, Part]) -> Shopping:
    one = offered[line.item.id[1]]  # type: ignore[index]
    return Shopping(parts[one.part_id], line, one)


def _lacking(short: Shortfall, rows: Mapping[Any, Body], parts: Mapping[Any, Part]) -> Lacking:
    missing = [(parts[key], count) for key, count in short.missing.items()]
    return Lacking(rows[short.body], missing)
