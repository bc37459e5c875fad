"""The kit plan against walking every choice of ways, every number of packs and every number of pieces taken.

The walk shares no code with the plan: it knows only what a body needs, what there is and what it costs. It
ranks by the plan's published aims: fewest bodies left out, fewest things of unknown price, least cost, fewest
packs and pieces taken.
"""

from __future__ import annotations

import random
from functools import cache
from itertools import product
from math import ceil

import pytest

from fitcalc.kitplan import Offer, OfferKind, Pack, Use, Wanted, Way, plan

PARTS = "abcd"
SEEDS = range(14)


def random_case(rng: random.Random):
    def pieces(most_parts: int, most: int) -> dict[str, int]:
        chosen = rng.sample(PARTS, rng.randint(1, most_parts))
        return {part: rng.randint(1, most) for part in chosen}

    wanted = [
        Wanted(
            body=b,
            ways=tuple(Way(id=(b, w), pieces=pieces(3, 2)) for w in range(rng.randint(1, 2))),
        )
        for b in range(rng.randint(1, 3))
    ]
    owned = {part: rng.randint(0, 1) for part in PARTS}
    packs = [
        Pack(
            id=f"pack {i}",
            pieces=pieces(2, 2),
            price=None if rng.random() < 0.15 else rng.randint(1, 12) / 2.0,
            available=rng.choice([None, None, 1]),
        )
        for i in range(rng.randint(1, 4))
    ]
    offers = [
        Offer(
            id=f"offer {i}",
            part=rng.choice(PARTS),
            count=rng.randint(1, 2),
            kind=OfferKind.PART_WITH if (price := rng.choice([0.0, 1.0, 2.5])) else OfferKind.LEND,
            price=price,
        )
        for i in range(rng.randint(0, 2))
    ]
    return wanted, owned, packs, offers


def needed(ways, use: Use) -> dict[str, int]:
    counts = [[way.pieces.get(part, 0) for way in ways] or [0] for part in PARTS]
    join = sum if use is Use.AT_ONCE else max
    return {part: join(count) for part, count in zip(PARTS, counts, strict=True)}


def walked(wanted, owned, packs, offers, use: Use) -> tuple[int, int, float, int]:
    most = needed([way for body in wanted for way in body.ways], Use.AT_ONCE)
    ranges = [
        range(min(max(ceil(most[part] / n) for part, n in pack.pieces.items()), pack.available or 99) + 1)
        for pack in packs
    ] + [range(offer.count + 1) for offer in offers]
    prices = [pack.price for pack in packs] + [offer.price for offer in offers]
    brings = [pack.pieces for pack in packs] + [{offer.part: 1} for offer in offers]
    demands = {}
    for ways in product(*([None, *body.ways] for body in wanted)):
        left_out = ways.count(None)
        demand = tuple(needed([way for way in ways if way is not None], use).values())
        demands[demand] = min(left_out, demands.get(demand, 99))
    best = (99, 99, 99.0, 99)
    for counts in product(*ranges):
        stock = [
            owned[part] + sum(n * pieces.get(part, 0) for n, pieces in zip(counts, brings, strict=True))
            for part in PARTS
        ]
        met = [
            left_out
            for demand, left_out in demands.items()
            if all(need <= there for need, there in zip(demand, stock, strict=True))
        ]
        unpriced = sum(n for n, price in zip(counts, prices, strict=True) if price is None)
        cost = sum(n * (price or 0.0) for n, price in zip(counts, prices, strict=True))
        best = min(best, (min(met), unpriced, cost, sum(counts)))
    return best


@cache
def planned(seed: int, use: Use):
    case = random_case(random.Random(seed))
    return *case, plan(*case, use)


@pytest.mark.parametrize("use", list(Use))
def test_no_choice_of_packs_is_cheaper_than_the_plan(use):
    for seed in SEEDS:
        *case, found = planned(seed, use)
        unpriced = sum(line.count for line in found.shopping_list if line.price is None)
        items = sum(line.count for line in found.shopping_list)
        assert (len(found.left_out), unpriced, found.cost, items) == walked(*case, use), seed


@pytest.mark.parametrize("use", list(Use))
def test_the_plan_can_be_carried_out(use):
    for seed in SEEDS:
        _, owned, _, _, found = planned(seed, use)
        stock = dict(owned)
        for line in found.shopping_list:
            most = line.item.available if isinstance(line.item, Pack) else line.item.count
            assert most is None or line.count <= most
            for part, count in line.pieces.items():
                stock[part] += count
        for part, need in needed(list(found.chosen.values()), use).items():
            assert need <= stock[part], seed
            assert found.spare.get(part, 0) == stock[part] - need


@pytest.mark.parametrize("use", list(Use))
def test_what_a_body_left_out_lacks_would_make_it_run(use):
    for seed in SEEDS:
        wanted, owned, packs, offers, found = planned(seed, use)
        for shortfall in found.left_out:
            assert shortfall.missing
            topped = {part: owned[part] + shortfall.missing.get(part, 0) for part in PARTS}
            assert len(plan(wanted, topped, packs, offers, use).left_out) < len(found.left_out), seed


def test_the_cases_are_of_every_kind():
    plans = [planned(seed, use)[-1] for seed in SEEDS for use in Use]
    assert sum(found.complete for found in plans) > 3
    assert sum(bool(found.left_out) for found in plans) > 3
    assert any(not found.cost_complete for found in plans)
    assert any(found.to_take for found in plans)
