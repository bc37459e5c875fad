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
4. the fewest packs and pieces taken over; then the ways that stand first in their body's list, which is
   the solver's order of merit.

The last is given up after a second, at no loss but of order: nothing is bought or borrowed without need.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable, Mapping, Sequence
from itertools import chain
from math import ceil, inf, isfinite
from time import monotonic
from typing import Any

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from fitcalc.kits import (
    KitPlan,
    KitPlanError,
    Line,
    Offer,
    OfferKind,
    Pack,
    Shortfall,
    Use,
    Wanted,
    Way,
    pack_of,
    way_of,
)
from fitcalc.parts import PartId
from fitcalc.said import said

__all__ = [
    "KitPlan",
    "KitPlanError",
    "Line",
    "Offer",
    "OfferKind",
    "Pack",
    "Shortfall",
    "Use",
    "Wanted",
    "Way",
    "pack_of",
    "plan",
    "way_of",
]

TIME_LIMIT = 5.0
"""Seconds that a plan may take; then the best one found is given, and said not to be proven the cheapest."""

_MERIT_LIMIT = 1.0
"""Seconds for the last aim, without which the plan is no dearer."""

_ROUNDING = 1e-7
"""By how much of itself the cost may be missed in step 4: the solver's own tolerance."""


def plan(
    wanted: Sequence[Wanted],
    owned: Mapping[PartId, int],
    packs: Sequence[Pack],
    offers: Sequence[Offer] = (),
    use: Use = Use.ONE_AT_A_TIME,
) -> KitPlan:
    """The cheapest kit for the ``wanted`` bodies, by the order of aims above.

    ``owned`` counts pieces. Raises KitPlanError for a body, pack or offer given twice, a count or price that
    is negative or not finite, and if not even one plan is found in ``TIME_LIMIT``.
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
        self.proven = True

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
        best, found = np.zeros(self.columns, dtype=int), False
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
                options={
                    "mip_rel_gap": 0.0,
                    "time_limit": max(deadline - monotonic(), 0.1) if needed else _MERIT_LIMIT,
                },
            )
            if result.x is not None:
                best, found = np.round(result.x).astype(int), True
            elif not found:
                raise KitPlanError(
                    said(
                        "there are too many ways to run these bodies to find a kit in time; choose fewer "
                        "bodies, or fewer configurations for each"
                    )
                )
            self.proven = self.proven and (result.status == 0 or not needed)
            won = float(aim @ best)
            whole = bool(np.all(aim == np.round(aim)))
            slack = 0.5 if whole else _ROUNDING * max(1.0, won)
            rows = [*rows, LinearConstraint(aim[None, :], -np.inf, won + slack)]
        return self._without_needless(best)

    def _without_needless(self, best: Any) -> Any:
        """The plan without the packs and pieces that its ways do not need, the dearest dropped first."""
        things: list[Pack | Offer] = [*self.packs, *self.offers]
        brings = [pack.pieces for pack in self.packs] + [{offer.part: 1} for offer in self.offers]
        first = len(self.ways)
        spare = self._stock(best) - self._used(self._chosen(best))
        prices = [inf if thing.price is None else thing.price for thing in things]
        for i in sorted(range(len(things)), key=lambda i: -prices[i]):
            while best[first + i] and all(spare[part] >= count for part, count in brings[i].items()):
                best[first + i] -= 1
                spare.subtract(brings[i])
        return best

    def _chosen(self, best: Any) -> dict[Hashable, Way]:
        return {body.body: way for (body, way), on in zip(self.ways, best, strict=False) if on}

    def _stock(self, best: Any) -> Counter[PartId]:
        """Pieces owned and got."""
        stock: Counter[PartId] = Counter(dict(self.owned))
        for part, columns in self._supply().items():
            stock[part] += sum(int(best[column]) * count for column, count in columns)
        return stock

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
            (np.array(merit + [1.0 + sum(merit)] * len(things)), False),
        ]

    def _rows(self) -> list[LinearConstraint]:
        """One way a body at most, and no more pieces needed than there are: Σ need * way <= owned + supply.

        One at a time, the rows are for each body, part and number n of pieces that a way of it needs beyond
        what is owned: Σ n * way <= Σ min(pieces, n) * pack, over the ways that need as many or more. In
        whole numbers that says the same; between them it leaves far less room, which is what the solver's
        time goes by.
        """
        entries: list[tuple[int, int, float]] = []
        upper: list[float] = []
        supply = self._supply()
        total: dict[PartId, list[tuple[int, int]]] = {}
        column = 0
        for body in self.wanted:
            lacking: dict[PartId, list[tuple[int, int]]] = {}
            for way in body.ways:
                entries.append((len(upper), column, 1.0))
                for part, count in way.pieces.items():
                    total.setdefault(part, []).append((column, count))
                    if count > self.owned.get(part, 0):
                        lacking.setdefault(part, []).append((column, count - self.owned.get(part, 0)))
                column += 1
            upper.append(1.0)
            if self.use is Use.AT_ONCE:
                continue
            for part, columns in lacking.items():
                for n in {count for _, count in columns}:
                    entries += [(len(upper), at, float(n)) for at, count in columns if count >= n]
                    entries += [(len(upper), at, -float(min(count, n))) for at, count in supply.get(part, ())]
                    upper.append(0.0)
        if self.use is Use.AT_ONCE:
            for part, columns in total.items():
                entries += [(len(upper), at, float(count)) for at, count in columns]
                entries += [(len(upper), at, -float(count)) for at, count in supply.get(part, ())]
                upper.append(float(self.owned.get(part, 0)))
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
        chosen = self._chosen(best)
        taken = best[len(self.ways) :].tolist()
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
        return KitPlan(
            self.use,
            chosen,
            tuple(packs),
            tuple(offers),
            dict(self._stock(best) - self._used(chosen)),
            tuple(self._shortfall(body, chosen) for body in self.wanted if body.body not in chosen),
            self.proven,
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
