"""The solver against exhaustive enumeration: every combination walked, judged one by one and sorted.

The oracle shares the formulas (they have their own outside checks) but none of the search: no groups, no
arrays over candidates, no classes, no merging.
"""

from __future__ import annotations

import itertools
import random

import pytest

from fitcalc.candidates import UNKNOWN_PRICE, pack_cost
from fitcalc.findings import Verdict
from fitcalc.fit import FitReport, across_of, evaluate
from fitcalc.parts import Axle, Body, Catalogue, Configuration, Part, Slot
from fitcalc.solver import Order, solve

from .random_catalogues import body_meant_for, random_catalogue


def every_configuration(catalogue: Catalogue, body: Body):
    def at(parts, axle):
        return [part for part in parts if axle in part.axles]

    mounts = [m for m in catalogue.body_mounts if not m.bodies or body.id in m.bodies] or [None]
    for chosen in itertools.product(
        catalogue.front_suspensions,
        at(catalogue.wheels, Axle.FRONT),
        at(catalogue.tyres, Axle.FRONT),
        [None, *at(catalogue.spacers, Axle.FRONT)],
        catalogue.rear_axles,
        at(catalogue.wheels, Axle.REAR),
        at(catalogue.tyres, Axle.REAR),
        [None, *at(catalogue.spacers, Axle.REAR)],
        catalogue.motor_mounts,
        catalogue.plates,
        catalogue.positions,
        mounts,
    ):
        slots = dict(zip([slot.value for slot in Slot], chosen, strict=True))
        yield Configuration(platform=catalogue.platform, **slots)


def rank_of(report: FitReport, owned: frozenset, order: Order) -> tuple[float, ...]:
    configuration, body = report.configuration, report.body
    doubts = sum(finding.verdict in (Verdict.CLOSE, Verdict.UNKNOWN) for finding in report.findings)
    undesignated = 0.0
    stated = body.designated_front_width
    if (
        stated is not None
        and abs(across_of(configuration.platform, configuration.front_suspension) - stated) > 0.25
    ):
        undesignated += 2.0
    for name in ("front", "rear"):
        stated = getattr(body, f"designated_{name}_offset")
        offset = getattr(configuration, f"{name}_wheel").offset.value
        if stated is not None and abs(offset - stated) > 0.1:
            undesignated += 1.0
    changes, cost = 0.0, 0.0
    for slot, part in configuration.parts():
        if part.id not in owned:
            price = pack_cost(part, slot.pieces)
            changes += 1.0
            cost += UNKNOWN_PRICE if price is None else price
    geometry = report.geometry
    off = sum(abs(g.value) for g in (geometry.front_flush, geometry.rear_flush, geometry.rear_centring) if g)
    middle = (changes, cost, undesignated) if order is Order.FEWEST_CHANGES else (undesignated, changes, cost)
    if order is Order.FEWEST_PARTS:
        return tuple(round(x, 4) for x in (changes, doubts, cost, undesignated, off))
    return tuple(round(x, 4) for x in (doubts, *middle, off))


def ids(configuration: Configuration) -> tuple:
    return tuple(
        (slot.value, part.id) for slot in Slot if isinstance(part := configuration.part(slot), Part) or part
    )


SEEDS = (0, 1, 3, 4, 8, 9, 10, 12, 13)
"""Of small random cases: some fit nothing, most fit several ways."""


def small_case(rng: random.Random) -> tuple[Catalogue, Body]:
    catalogue = random_catalogue(rng, fronts=2, wheels=3, tyres=1, spacers=1, mounts=2, plates=2, positions=2)
    return catalogue, body_meant_for(rng, catalogue)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_solver_finds_what_walking_every_combination_finds(seed: int) -> None:
    """All of them, in every order of what counts first, and so the best few too."""
    rng = random.Random(seed)
    catalogue, body = small_case(rng)
    parts = [part.id for part in (*catalogue.front_suspensions, *catalogue.wheels, *catalogue.motor_mounts)]
    owned = frozenset(rng.sample(parts, 2))
    reports = [evaluate(c, body, catalogue.pairs) for c in every_configuration(catalogue, body)]
    for order in Order:
        oracle = {
            ids(report.configuration): rank_of(report, owned, order) for report in reports if report.fits
        }

        solution = solve(catalogue, body, owned=owned, limit=10**6, distinct=False, order=order)

        assert solution.fitting == len(oracle)
        assert {ids(match.report.configuration) for match in solution.matches} == set(oracle)
        ranks = [oracle[ids(match.report.configuration)] for match in solution.matches]
        assert ranks == sorted(oracle.values())
        best = solve(catalogue, body, owned=owned, limit=7, distinct=False, order=order)
        assert [oracle[ids(m.report.configuration)] for m in best.matches] == sorted(oracle.values())[:7]


def test_the_cases_are_worth_solving() -> None:
    """Guards the checks themselves: most of the random cases have several fits, and some have none."""
    counts = [solve(*small_case(random.Random(seed))).fitting for seed in SEEDS]
    assert sum(count > 1 for count in counts) >= 7
    assert sum(count == 0 for count in counts) >= 2


@pytest.mark.parametrize("seed", range(14))
def test_each_listed_match_is_what_judging_it_alone_gives(seed: int) -> None:
    rng = random.Random(1000 + seed)
    catalogue = random_catalogue(rng)
    body = body_meant_for(rng, catalogue)
    solution = solve(catalogue, body, limit=20)
    for match in (*solution.matches, *solution.near_misses):
        alone = evaluate(match.report.configuration, body, catalogue.pairs)
        assert alone.verdict is match.report.verdict
        assert alone.geometry == match.report.geometry
        for one, other in zip(alone.findings, match.report.findings, strict=True):
            assert (one.rule, one.axle, one.verdict, one.margin) == (
                other.rule,
                other.axle,
                other.verdict,
                other.margin,
            )


@pytest.mark.parametrize("seed", range(14))
def test_one_match_stands_for_each_geometry_and_names_its_twins(seed: int) -> None:
    rng = random.Random(2000 + seed)
    catalogue = random_catalogue(rng, wheels=7)
    body = body_meant_for(rng, catalogue)
    every = solve(catalogue, body, limit=10**6, distinct=False)
    distinct = solve(catalogue, body, limit=10**6)

    def shape(match) -> tuple:
        c = match.report.configuration
        front, rim, rear = c.front_suspension, c.front_wheel, c.rear_wheel
        return (
            *(
                None if q is None else q.value
                for q in (
                    front.hub_width,
                    front.kingpin_spacing,
                    front.arm_length,
                    front.bump_travel,
                    front.steer_limit,
                    rim.offset,
                    rim.rim_width,
                    rim.rim_diameter,
                    rear.offset,
                    rear.rim_width,
                    rear.rim_diameter,
                    c.front_tyre.diameter,
                    c.front_tyre.width,
                    c.front_tyre.rim_diameter,
                    c.rear_tyre.diameter,
                    c.rear_tyre.width,
                    c.rear_tyre.rim_diameter,
                    c.motor_mount.chain_length,
                    c.plate.chain_length,
                )
            ),
            c.motor_mount.layout,
            c.position.id,
            c.body_mount and c.body_mount.id,
            c.front_spacer and c.front_spacer.thickness.value,
            c.rear_spacer and c.rear_spacer.thickness.value,
        )

    assert distinct.fitting == every.fitting
    assert {shape(match) for match in distinct.matches} == {shape(match) for match in every.matches}
    if not catalogue.pairs.never:
        assert len(distinct.matches) == len({shape(match) for match in every.matches})


@pytest.mark.parametrize("seed", range(10))
def test_the_nearest_miss_fails_as_few_rules_as_any_combination_must(seed: int) -> None:
    rng = random.Random(3000 + seed)
    catalogue = random_catalogue(rng, fronts=2, wheels=3, tyres=1, spacers=0, mounts=3, plates=2, positions=2)
    body = body_meant_for(rng, catalogue, complete=True)
    reports = [
        report
        for c in every_configuration(catalogue, body)
        if not (report := evaluate(c, body, catalogue.pairs)).fits
        and not any(finding.rule == "pairs" for finding in report.findings)
    ]
    solution = solve(catalogue, body, distinct=False)
    if not reports:
        assert solution.near_misses == ()
        return
    fewest = min(len(report.failing) for report in reports)
    nearest = solution.near_misses[0]
    assert len(nearest.report.failing) == fewest


@pytest.mark.parametrize("seed", range(30))
def test_doing_what_the_remedy_says_mends_what_it_promises(seed: int) -> None:
    """Swaps are carried out and judged again: the finding that they belong to holds afterwards."""
    rng = random.Random(4000 + seed)
    catalogue = random_catalogue(rng, wheels=8)
    body = body_meant_for(rng, catalogue, complete=True)
    for miss in solve(catalogue, body).near_misses:
        for finding in miss.report.failing:
            swaps = [remedy for remedy in finding.remedies if remedy.action == "swap"]
            if not swaps:
                continue
            slots = {slot.value: miss.report.configuration.part(slot) for slot in Slot}
            slots |= {swap.slot.value: swap.part for swap in swaps}
            mended = evaluate(Configuration(platform=catalogue.platform, **slots), body, catalogue.pairs)
            after = mended.finding(finding.rule, finding.axle)
            assert after is not None
            assert after.holds
            assert len(mended.failing) < len(miss.report.failing)
