"""What fits a chassis: the answer equals walking every configuration of every body."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise

import pytest

from fitcalc.fit import evaluate
from fitcalc.parts import Configuration
from fitcalc.reverse import reach
from tests.reference.random_catalogues import body_meant_for, random_catalogue
from tests.reference.test_against_enumeration import every_configuration


def to_buy(configuration: Configuration, owned: frozenset) -> int:
    return sum(part.id not in owned for _, part in configuration.parts())


def a_chassis(rng: random.Random, catalogue, body) -> Configuration:
    return rng.choice(list(every_configuration(catalogue, body)))


@pytest.mark.parametrize("seed", range(6))
def test_the_fewest_parts_to_buy_are_those_of_the_best_of_every_configuration(seed):
    rng = random.Random(seed)
    catalogue = random_catalogue(rng, fronts=2, wheels=3, tyres=1, spacers=0, mounts=2, plates=2, positions=2)
    bodies = [replace(body_meant_for(rng, catalogue), id=f"body {n}") for n in range(3)]
    chassis = replace(a_chassis(rng, catalogue, bodies[0]), body_mount=None)
    owned = frozenset(part.id for _, part in chassis.parts())
    found = reach(catalogue, bodies, owned, chassis)
    assert [one.body for one in found] == bodies
    for body, one in zip(bodies, found, strict=True):
        fitting = [
            to_buy(configuration, owned)
            for configuration in every_configuration(catalogue, body)
            if evaluate(configuration, body, catalogue.pairs).fits
        ]
        fewest = min(fitting, default=None)
        assert one.parts == (fewest if fewest is not None and fewest <= 2 else None)
        if one.match is not None:
            assert one.match.report.fits
            assert to_buy(one.match.report.configuration, owned) == one.parts


@pytest.mark.parametrize("seed", range(8))
def test_a_chassis_stands_as_built_where_judging_it_by_itself_says_so(seed):
    rng = random.Random(seed)
    catalogue = random_catalogue(rng, fronts=2, wheels=3, tyres=1, spacers=0, mounts=2, plates=2, positions=2)
    catalogue = replace(catalogue, body_mounts=())
    bodies = [replace(body_meant_for(rng, catalogue), id=f"body {n}") for n in range(5)]
    every = list(every_configuration(catalogue, bodies[0]))
    rng.shuffle(every)
    fits = (one for one in every if evaluate(one, bodies[0], catalogue.pairs).fits)
    chassis = next(fits, every[0])
    owned = frozenset(part.id for _, part in chassis.parts())
    for body, one in zip(bodies, reach(catalogue, bodies, owned, chassis), strict=True):
        report = evaluate(chassis, body, catalogue.pairs)
        assert (one.as_built is not None) == report.fits
        if report.fits:
            assert one.parts == 0


def test_a_body_of_another_scale_is_out_of_reach():
    rng = random.Random(3)
    catalogue = random_catalogue(rng)
    body = replace(body_meant_for(rng, catalogue), scale=12)
    everything = frozenset(part.id for part in (*catalogue.wheels, *catalogue.tyres, *catalogue.plates))
    assert reach(catalogue, [body], everything)[0].match is None


def test_more_parts_reach_more_bodies():
    rng = random.Random(5)
    catalogue = random_catalogue(rng, pair_rules=False)
    bodies = [replace(body_meant_for(rng, catalogue), id=f"body {n}") for n in range(8)]
    chassis = a_chassis(rng, catalogue, bodies[0])
    owned = frozenset(part.id for _, part in chassis.parts())
    reached = [
        {one.body.id for one in reach(catalogue, bodies, owned, chassis, most=most) if one.match is not None}
        for most in range(4)
    ]
    assert all(fewer <= more for fewer, more in pairwise(reached))
    assert reached[0] < reached[3]
