"""How fast the solver is; run with ``pytest tests/benchmarks --benchmark-only -o addopts=``."""

from __future__ import annotations

import random
import time
from dataclasses import replace

from fitcalc.parts import Axle, Body, Catalogue, Criteria
from fitcalc.solver import Solution, solve
from tests.reference.random_catalogues import q, random_body, random_catalogue
from tests.reference.test_against_cp_sat import every_fit, plain_case


def big_case() -> tuple[Catalogue, Body]:
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


def shown(solution: Solution) -> Solution:
    """The solution with all that a page could print of it: every finding and the whole geometry."""
    for match in (*solution.matches, *solution.near_misses):
        assert match.report.findings
        assert match.report.geometry
    return solution


def noted(benchmark, solution: Solution) -> None:
    benchmark.extra_info["combinations"] = solution.combinations
    benchmark.extra_info["fitting"] = solution.fitting
    assert solution.combinations > 10**8
    assert len(solution.matches) == 50


def test_fifty_best_of_a_hundred_million_combinations(benchmark) -> None:
    noted(benchmark, benchmark(solve, *big_case(), limit=50))


def test_fifty_best_with_the_verdict_on_each(benchmark) -> None:
    catalogue, body = big_case()

    def verdicts() -> Solution:
        solution = solve(catalogue, body, limit=50)
        assert all(match.report.verdict != "fails" for match in solution.matches)
        return solution

    noted(benchmark, benchmark(verdicts))


def test_fifty_best_with_every_finding_and_figure_of_each(benchmark) -> None:
    catalogue, body = big_case()
    noted(benchmark, benchmark(lambda: shown(solve(catalogue, body, limit=50))))


def beside_the_constraint_solver(benchmark, catalogue: Catalogue, body: Body) -> int:
    """Times ours by the benchmark and theirs once, both to the same number of fits; gives that number.

    Theirs lists every fit, which it takes to know the best; ours counts them all and lists the best 50.
    """
    started = time.perf_counter()
    oracle = every_fit(catalogue, body)
    theirs = time.perf_counter() - started
    solution = benchmark(solve, catalogue, body, limit=50)
    assert solution.fitting == len(oracle)
    ours = benchmark.stats.stats
    benchmark.extra_info |= {
        "combinations": solution.combinations,
        "fitting": solution.fitting,
        "constraint solver, s": round(theirs, 2),
        "times faster, by the median": round(theirs / ours.median),
        "times faster, by the least": round(theirs / ours.min),
    }
    return solution.fitting


def test_beside_the_constraint_solver_on_a_case_with_some_fits(benchmark) -> None:
    case = plain_case(random.Random(8), fronts=5, wheels=10, mounts=8, plates=5, positions=3)
    assert beside_the_constraint_solver(benchmark, *case) > 100


def test_beside_the_constraint_solver_on_a_case_with_many_fits(benchmark) -> None:
    """Takes the constraint solver a minute or so."""
    case = plain_case(random.Random(25), fronts=10, wheels=20, mounts=12, plates=6, positions=3)
    assert beside_the_constraint_solver(benchmark, *case) > 40_000
