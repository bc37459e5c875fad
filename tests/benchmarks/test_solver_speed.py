"""How fast the solver is; run with ``pytest tests/benchmarks --benchmark-only``."""

from __future__ import annotations

import random
import time
from dataclasses import replace

from fitcalc.parts import Axle, Criteria
from fitcalc.solver import solve
from tests.reference.random_catalogues import q, random_body, random_catalogue
from tests.reference.test_against_cp_sat import every_fit, plain_case


def big_case():
    """20 front ends, 60 wheels, 20 mounts, 20 plates, 5 positions: over 10^8 combinations; many fit."""
    rng = random.Random(5)
    catalogue = random_catalogue(
        rng,
        fronts=20,
        wheels=60,
        tyres=1,
        spacers=0,
        mounts=20,
        plates=20,
        positions=5,
        pair_rules=False,
        criteria=Criteria(steer_min=15.0),
    )
    wheels = tuple(replace(rim, axles=frozenset(Axle), rim_diameter=None) for rim in catalogue.wheels)
    body = replace(
        random_body(rng, complete=True),
        layouts=None,
        wheelbase=q(86.0, 0.3),
        front_arch_width=q(52.0, 0.3),
        rear_arch_width=q(52.0, 0.3),
        front_arch_radius=q(16.5),
        rear_arch_radius=q(16.0),
        front_arch_height=q(18.0),
        rear_arch_height=q(18.0),
        fouled_by=frozenset(),
    )
    return replace(catalogue, wheels=wheels), body


def test_fifty_best_of_a_hundred_million_combinations(benchmark) -> None:
    catalogue, body = big_case()
    solution = benchmark(solve, catalogue, body, limit=50)
    benchmark.extra_info["combinations"] = solution.combinations
    benchmark.extra_info["fitting"] = solution.fitting
    assert solution.combinations > 10**8
    assert len(solution.matches) == 50


def test_beside_the_constraint_solver_on_a_case_that_both_finish(benchmark) -> None:
    catalogue, body = plain_case(random.Random(8), fronts=5, wheels=10, mounts=8, plates=5, positions=3)
    started = time.perf_counter()
    oracle = every_fit(catalogue, body)
    theirs = time.perf_counter() - started
    solution = benchmark(solve, catalogue, body, limit=50)
    assert solution.fitting == len(oracle)
    benchmark.extra_info["constraint solver, s"] = round(theirs, 3)
    benchmark.extra_info["times faster"] = round(theirs / benchmark.stats.stats.median)
