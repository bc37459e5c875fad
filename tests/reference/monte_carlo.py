"""Propagation of distributions by an adaptive Monte Carlo procedure, after JCGM 101:2008, 7.9.

Also the validation of the linear result against it, clause 8: the ends of both 95 % coverage intervals
must agree within half a unit of the last significant digit of u. Both clauses are followed from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import floor, log10

import numpy as np

from fitcalc.quantities import Quantity

BLOCK = 20_000
MOST_BLOCKS = 400
NORMAL_95 = 1.959964
"""Coverage factor of a normal distribution for 95 %."""


@dataclass(frozen=True)
class Sampled:
    value: float
    u: float
    low: float
    high: float


def numerical_tolerance(u: float, digits: int = 1) -> float:
    """JCGM 101, 7.9.2: write u as c × 10^l with c of ``digits`` digits; half of 10^l."""
    exponent = floor(log10(u)) - (digits - 1)
    if round(u / 10**exponent) >= 10**digits:
        exponent += 1
    return 0.5 * 10**exponent


def sampled(formula: Callable, draws: list[Callable], seed: int, digits: int = 1) -> Sampled:
    """Blocks of draws until twice the standard deviation of each mean is within a fifth of the tolerance.

    JCGM 101, 8.2 asks for a tolerance no larger than a fifth of the one that validates.
    """
    rng = np.random.default_rng(seed)
    blocks = []
    while len(blocks) < MOST_BLOCKS:
        y = formula(*(draw(rng) for draw in draws))
        blocks.append((y.mean(), y.std(ddof=1), *np.quantile(y, [0.025, 0.975])))
        if len(blocks) < 5:
            continue
        figures = np.array(blocks)
        mean, spread = figures.mean(axis=0), figures.std(axis=0, ddof=1)
        if np.all(2.0 * spread / np.sqrt(len(blocks)) <= numerical_tolerance(mean[1], digits) / 5.0):
            return Sampled(*mean)
    raise AssertionError(f"not stable after {MOST_BLOCKS * BLOCK} draws")


def normal(q: Quantity) -> Callable:
    return lambda rng: rng.normal(q.value, q.u, BLOCK)


def rectangular(q: Quantity) -> Callable:
    return lambda rng: rng.uniform(q.value - q.limit, q.value + q.limit, BLOCK)


def validate(ours: Quantity, theirs: Sampled, digits: int = 1, tolerance: float | None = None) -> None:
    """JCGM 101, 8.1: the ends of the coverage intervals within the tolerance, and u as well."""
    if tolerance is None:
        tolerance = numerical_tolerance(ours.u, digits)
    assert abs(ours.value - NORMAL_95 * ours.u - theirs.low) <= tolerance
    assert abs(ours.value + NORMAL_95 * ours.u - theirs.high) <= tolerance
    assert abs(ours.u - theirs.u) <= tolerance
