"""The cheapest set of packs with which all of a chosen list of bodies can be run.

A body can be run with any one of its ways, each a set of pieces. Pieces come from what is owned, from packs
that are bought whole, and from what other members lend or part with. One body at a time, the pieces are
shared: there must be enough for each way by itself. At once, they add up.

A small integer programme, solved by SciPy's HiGHS, several times over, each time holding what was won before:

1. as many of the bodies as possible (a body that nothing on offer can make run is left out, and named with
   what is missing; the plan is then for the others);
2. as few packs and offers of unknown price as possible: an unknown price is not zero, so such a pack is
   bought only where priced ones do not serve, and the total is then the least that the plan costs;
3. the lowest cost;
4. the fewest packs and offers: nothing is borrowed without need;
5. the ways that stand first in their body's list, which is the solver's order of merit.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from itertools import chain
from math import ceil, fsum, isfinite
from time import monotonic
from typing import Any

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from fitcalc.parts import Configuration, Part, PartId

TIME_LIMIT = 10.0
"""Seconds that a plan may take."""

_ROUNDING = 1e-6
"""By how much of itself the cost may be missed in steps 4 and 5: the solver's own tolerance."""


class KitPlanError(ValueError):
    """A question that no plan can answer."""


class Use(StrEnum):
    """How the bodies are to be run."""

    ONE_AT_A_TIME = "one_at_a_time"
    AT_ONCE = "at_once"


class OfferKind(StrEnum):
    LEND = "lend"
    PART_WITH = "part_with"


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One configuration with which a body can be run: pieces needed of each part."""

    id: Hashable
    pieces: Mapping[PartId, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A body to be run, with its ways, best first."""

    body: Hashable
    ways: tuple[Way, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pack:
    """What a shop sells as one: pieces of each part in it, and its price (``None`` if not known).

    ``available`` is how many can be had at all, ``None`` for as many as wanted.
    """

    id: Hashable
    pieces: Mapping[PartId, int]
    price: float | None
    available: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """What another member lends, at no cost, or parts with at ``price`` a piece (``None`` if yet to be
    agreed): up to ``count`` pieces."""

    id: Hashable
    part: PartId
    count: int
    kind: OfferKind = OfferKind.LEND
    price: float | None = 0.0


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the shopping list: ``count`` packs, or pieces of an offer, at ``price`` each.

    ``pieces`` is what all of them together bring. ``cost`` is ``None`` where the price is not known.
    """

    item: Pack | Offer
    count: int
    price: float | None
    pieces: Mapping[PartId, int]

    @property
    def cost(self) -> float | None:
        return None if self.price is None else self.count * self.price


@dataclass(frozen=True, slots=True)
class Shortfall:
    """A body that cannot be run: the way that comes nearest, and the pieces it lacks, with all that is on
    offer taken and the bodies of the plan served first. ``way`` is ``None`` for a body without any."""

    body: Hashable
    way: Way | None
    missing: Mapping[PartId, int]


@dataclass(frozen=True, slots=True)
class KitPlan:
    """What to buy and to take over or borrow, and how each body is then run.

    ``cost`` is the sum of all known prices; ``cost_complete`` is false where a pack of unknown price is on
    the list, so that the plan costs more. ``spare`` counts the pieces, owned or got, that no body uses.
    """

    use: Use
    chosen: Mapping[Hashable, Way]
    to_buy: tuple[Line, ...]
    to_take: tuple[Line, ...]
    spare: Mapping[PartId, int] = field(default_factory=dict)
    left_out: tuple[Shortfall, ...] = ()

    @property
    def shopping_list(self) -> tuple[Line, ...]:
        """Packs first, then offers, each in the order in which they were given."""
        return self.to_buy + self.to_take

    @property
    def cost(self) -> float:
        return fsum(line.cost for line in self.shopping_list if line.cost is not None)

    @property
    def cost_complete(self) -> bool:
        return all(line.cost is not None for line in self.shopping_list)

    @property
    def complete(self) -> bool:
        """Whether all the wanted bodies can be run."""
        return not self.left_out


def way_of(configuration: Configuration, id: Hashable) -> Way:
    """The pieces of a configuration: two of a wheel, tyre or spacer at each end, one of the others."""
    pieces: Counter[PartId] = Counter()
    for slot, part in configuration.parts():
        pieces[part.id] += slot.pieces
    return Way(id=id, pieces=pieces)


def pack_of(part: Part) -> Pack:
    """The pack that a part is sold in."""
    return Pack(id=part.id, pieces={part.id: part.pack_size}, price=part.price)


def plan(
    wanted: Sequence[Wanted],
    owned: Mapping[PartId, int],
    packs: Sequence[Pack],
    offers: Sequence[Offer] = (),
    use: Use = Use.ONE_AT_A_TIME,
) -> KitPlan:
    """The cheapest kit for the ``wanted`` bodies, by the order of aims above.

    ``owned`` counts pieces. Raises KitPlanError for a body, pack or offer given twice, a count or price that
    is negative or not finite, and for a question too large to answer in ``TIME_LIMIT``.
    """
    _check(wanted, owned, packs, offers)
    programme = _Programme(wanted, owned, packs, offers, use)
    return programme.read(programme.solve())


def _check(
    wanted: Sequence[Wanted], owned: Mapping[PartId, int], packs: Sequence[Pack], offers: Sequence[Offer]
) -> None:
    for name, ids in (
        ("body", [body.body for body in wanted]),
        ("pack", [pack.id for pack in packs]),
        ("offer", [offer.id for offer in offers]),
    ):
        twice = [id for id, count in Counter(ids).items() if count > 1]
        if twice:
            raise KitPlanError(f"the {name} {twice[0]} is given twice; give it once")
    counts: Iterable[tuple[Any, Any]] = chain(
        owned.items(),
        *(way.pieces.items() for body in wanted for way in body.ways),
        *(pack.pieces.items() for pack in packs),
        ((pack.id, pack.available or 0) for pack in packs),
        ((offer.id, offer.count) for offer in offers),
    )
    for id, count in counts:
        if not (isfinite(count) and count >= 0 and count == int(count)):
            raise KitPlanError(f"{id} is counted {count}; pieces and packs are whole numbers from zero")
    items: list[Pack | Offer] = [*packs, *offers]
    for item in items:
        if item.price is not None and not (isfinite(item.price) and item.price >= 0.0):
            raise KitPlanError(
                f"{item.id} has the price {item.price}; give one from zero, or none if unknown"
            )
    for offer in offers:
        if offer.kind is OfferKind.LEND and offer.price != 0.0:
            raise KitPlanError(f"{offer.id} is lent at a price; lend it at none, or part with it")


class _Programme:
    """The integer programme: one column for each way (0 or 1), each pack and each offer (how many)."""

    def __init__(
        self,
        wanted: Sequence[Wanted],
        owned: Mapping[PartId, int],
        packs: Sequence[Pack],
        offers: Sequence[Offer],
        use: Use,
    ) -> None:
        self.wanted, self.owned, self.use = wanted, owned, use
        self.ways = [(body, way) for body in wanted for way in body.ways]
        needed = {part for _, way in self.ways for part, count in way.pieces.items() if count}
        self.packs = [p for p in packs if any(count and part in needed for part, count in p.pieces.items())]
        self.offers = [offer for offer in offers if offer.count and offer.part in needed]
        self.columns = len(self.ways) + len(self.packs) + len(self.offers)
        self.most = [self._most(pack) for pack in self.packs]

    def _most(self, pack: Pack) -> int:
        """How many of a pack any plan can use."""
        demand: Counter[PartId] = Counter()
        for body in self.wanted:
            most: Counter[PartId] = Counter()
            for way in body.ways:
                most |= Counter(dict(way.pieces))
            demand = demand + most if self.use is Use.AT_ONCE else demand | most
        useful = max(
            ceil(max(demand[part] - self.owned.get(part, 0), 0) / count)
            for part, count in pack.pieces.items()
            if count
        )
        return useful if pack.available is None else min(useful, pack.available)

    def solve(self) -> Any:
        """Whole numbers, one a column, that meet the aims in their order."""
        best = np.zeros(self.columns, dtype=int)
        if not self.ways:
            return best
        deadline = monotonic() + TIME_LIMIT
        most = [1] * len(self.ways) + self.most + [offer.count for offer in self.offers]
        rows = self._rows()
        for aim, needed in self._aims():
            if not np.any(aim):
                continue
            result = milp(
                aim,
                constraints=rows,
                bounds=Bounds(0, np.array(most, dtype=float)),
                integrality=np.ones(self.columns),
                options={"mip_rel_gap": 0.0, "time_limit": max(deadline - monotonic(), 0.1)},
            )
            if result.status == 0:
                best = np.round(result.x).astype(int)
            elif needed:
                raise KitPlanError(
                    "there are too many ways to run these bodies to find the cheapest kit in time; choose "
                    "fewer bodies, or fewer configurations for each"
                )
            won = float(aim @ best)
            whole = bool(np.all(aim == np.round(aim)))
            slack = 0.5 if whole else _ROUNDING * max(1.0, won)
            rows = [*rows, LinearConstraint(aim[None, :], -np.inf, won + slack)]
        return best

    def _aims(self) -> list[tuple[Any, bool]]:
        """What to make least, in order, and whether the plan is wrong without it."""
        things: list[Pack | Offer] = [*self.packs, *self.offers]
        none = [0.0] * len(self.ways)
        idle = [0.0] * len(things)
        merit = [float(rank) for body in self.wanted for rank in range(len(body.ways))]
        return [
            (np.array([-1.0] * len(self.ways) + idle), True),
            (np.array(none + [float(thing.price is None) for thing in things]), True),
            (np.array(none + [thing.price or 0.0 for thing in things]), True),
            (np.array(none + [1.0] * len(things)), False),
            (np.array(merit + idle), False),
        ]

    def _rows(self) -> list[LinearConstraint]:
        """One way a body at most, and pieces needed not above pieces there."""
        entries: list[tuple[int, int, float]] = []
        upper: list[float] = [1.0] * len(self.wanted)
        demands: dict[tuple[Hashable, PartId], int] = {}
        row_of = {id(body): row for row, body in enumerate(self.wanted)}
        for column, (body, way) in enumerate(self.ways):
            entries.append((row_of[id(body)], column, 1.0))
            whose = body.body if self.use is Use.ONE_AT_A_TIME else None
            for part, count in way.pieces.items():
                if count:
                    row = demands.setdefault((whose, part), len(upper))
                    if row == len(upper):
                        upper.append(float(self.owned.get(part, 0)))
                    entries.append((row, column, float(count)))
        supply = self._supply()
        for (_, part), row in demands.items():
            entries += [(row, column, -float(count)) for column, count in supply.get(part, ())]
        at_row, at_column, figures = zip(*entries, strict=True)
        matrix = coo_array((figures, (at_row, at_column)), shape=(len(upper), self.columns)).tocsr()
        return [LinearConstraint(matrix, -np.inf, np.array(upper))]

    def _supply(self) -> dict[PartId, list[tuple[int, int]]]:
        """For each part the columns that bring it, and how many pieces each."""
        supply: dict[PartId, list[tuple[int, int]]] = {}
        things = [pack.pieces for pack in self.packs] + [{offer.part: 1} for offer in self.offers]
        for column, pieces in enumerate(things, start=len(self.ways)):
            for part, count in pieces.items():
                supply.setdefault(part, []).append((column, count))
        return supply

    def read(self, best: Any) -> KitPlan:
        """The plan that the columns spell."""
        ways = len(self.ways)
        taken = best[ways:].tolist()
        chosen = {body.body: way for (body, way), on in zip(self.ways, best, strict=False) if on}
        packs = [
            Line(pack, count, pack.price, {part: n * count for part, n in pack.pieces.items()})
            for pack, count in zip(self.packs, taken, strict=False)
            if count
        ]
        offers = [
            Line(offer, count, offer.price, {offer.part: count})
            for offer, count in zip(self.offers, taken[len(self.packs) :], strict=True)
            if count
        ]
        stock: Counter[PartId] = Counter(dict(self.owned))
        for line in packs + offers:
            stock.update(line.pieces)
        return KitPlan(
            self.use,
            chosen,
            tuple(packs),
            tuple(offers),
            dict(stock - self._used(chosen)),
            tuple(self._shortfall(body, chosen) for body in self.wanted if body.body not in chosen),
        )

    def _used(self, chosen: Mapping[Hashable, Way]) -> Counter[PartId]:
        """Pieces in use: the most that any way takes, or of all ways together."""
        used: Counter[PartId] = Counter()
        for way in chosen.values():
            pieces = Counter(dict(way.pieces))
            used = used + pieces if self.use is Use.AT_ONCE else used | pieces
        return used

    def _shortfall(self, body: Wanted, chosen: Mapping[Hashable, Way]) -> Shortfall:
        """What the way lacks that lacks the fewest pieces."""
        if not body.ways:
            return Shortfall(body.body, None, {})
        stock: Counter[PartId] = Counter(dict(self.owned))
        for pack, most in zip(self.packs, self.most, strict=True):
            stock.update({part: count * most for part, count in pack.pieces.items()})
        for offer in self.offers:
            stock[offer.part] += offer.count
        if self.use is Use.AT_ONCE:
            stock.subtract(self._used(chosen))
        lacking = [(Counter(dict(way.pieces)) - stock, way) for way in body.ways]
        missing, way = min(lacking, key=lambda pair: pair[0].total())
        return Shortfall(body.body, way, dict(missing))
