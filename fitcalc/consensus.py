"""Many measurements of one dimension -> one value, and who disagrees with it.

The value is the mean weighted by inverse variance, the measurements tested for consistency by chi-square:
Cox, *The evaluation of key comparison data*, Metrologia 39 (2002), 589-595, procedure A. Where the test
fails, the value is that of the largest consistent subset (Cox, Metrologia 44 (2007), 187-200; searched for
in ``fitcalc.subsets``), and those outside it are the outliers. Each measurement is scored by E_n
(ISO/IEC 17043, B.3.1; both named from memory).

What a club needs beyond a key comparison, and what is done about it:

* **A member has one say.** Readings by one member share that member's hand, so they are not independent:
  they are averaged into one value before anything is tested, first for each instrument, then over the
  instruments, by inverse variance. Their stated doubts count as wholly shared and do not shrink by
  repeating; their scatter adds to them, u² = ū² + s²/n (JCGM 100, 4.2.3 and 4.3). So repeating a reading
  gains no weight, and contradicting oneself loses it. Members who share an instrument are taken as
  independent: what an instrument's own error can be must be in its stated doubt.
* **Nobody is named an outlier without a majority.** If the members in the largest consistent subset are not
  more than half of all, nobody can tell who is wrong: the dimension is disputed, its value is the mean of all
  with the doubt enlarged by the Birge ratio, sqrt(χ²/ν), and no outlier is named. Where several subsets are
  equally large and equally consistent, only the members of all of them agree.

Values are in any one unit, doubts are standard uncertainties in the same unit.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, NamedTuple

import numpy as np
from scipy.special import chdtrc

from fitcalc.dimensions import Unit
from fitcalc.quantities import Quantity, Real
from fitcalc.said import said
from fitcalc.subsets import largest_consistent_subsets, weighted_mean

COVERAGE = 2.0
"""Coverage factor k of the expanded uncertainties in E_n: U = k u, about 95 % (ISO/IEC 17043, B.3.1)."""

LEVEL = 0.05
"""Probability below which the measurements are not consistent (Cox 2002, section 5, step 3)."""


class ConsensusError(ValueError):
    """Measurements that no value can be settled from."""


@dataclass(frozen=True, slots=True)
class Measurement:
    """One reading: its value and standard uncertainty, who read it, with which instrument if known."""

    value: float
    u: float
    measurer: Hashable
    instrument: Hashable | None = None


class Agreement(StrEnum):
    """How the members agree."""

    SINGLE = "single"
    """One member only: there is nothing to test."""
    AGREED = "agreed"
    """All members are consistent."""
    OUTLIERS = "outliers"
    """Most are; the others are named."""
    DISPUTED = "disputed"
    """No majority is: the value is the mean of all, its doubt enlarged, and nobody is named."""


class Standing(NamedTuple):
    """One member against the settled value.

    ``value`` and ``u`` are of the member's readings together. ``weight`` is the share of the settled value,
    0 outside the consensus. ``difference`` is value minus settled value and ``u_difference`` its standard
    uncertainty. ``en`` is ``None`` for the only member that the value rests on.
    """

    measurer: Hashable
    value: float
    u: float
    readings: int
    weight: float
    in_consensus: bool
    difference: float
    u_difference: float
    en: float | None


class Score(NamedTuple):
    """One measurement, by its own stated doubt, against the settled value; as in ``Standing``."""

    measurement: Measurement
    in_consensus: bool
    difference: float
    u_difference: float
    en: float | None


@dataclass(frozen=True, slots=True)
class Consensus:
    """The settled value of one dimension.

    ``chi_square`` and ``probability`` are of the test of all members together, with ``degrees`` of freedom
    (one less than members); probability 1 for a single one. ``standings`` are in the order in which members
    first measured, ``scores`` in the order of the measurements.
    """

    value: Quantity
    agreement: Agreement
    chi_square: float
    degrees: int
    probability: float
    standings: tuple[Standing, ...]
    scores: tuple[Score, ...]

    @property
    def outliers(self) -> tuple[Hashable, ...]:
        """Members whom a majority contradicts."""
        if self.agreement is not Agreement.OUTLIERS:
            return ()
        return tuple(standing.measurer for standing in self.standings if not standing.in_consensus)


@dataclass(frozen=True, slots=True)
class Move:
    """From one settled value to the next: ``difference`` is after minus before, with its doubt."""

    difference: Quantity
    beyond_doubt: bool
    agreement_changed: bool


def chi_square(values: Real, u: Real) -> tuple[float, int, float]:
    """Observed χ² = Σ ((x_i - y) / u_i)², degrees of freedom, and P(χ²(ν) > observed); Cox 2002, step 3.

    ``values`` and ``u`` are arrays of one length; y is their weighted mean.
    """
    mean, _ = weighted_mean(values, u)
    observed = float(np.sum(np.square((values - mean) / u)))
    degrees = len(values) - 1
    return observed, degrees, float(chdtrc(degrees, observed)) if degrees else 1.0


def u_of_difference(u: Real, u_reference: Real, covariance: Real = 0.0) -> Real:
    """Standard uncertainty of a measurement less a reference: sqrt(u² + u_ref² - 2 cov) (JCGM 100, 5.2.2).

    A measurement that went into the reference is correlated with it: for a member of a weighted mean the
    covariance is the mean's variance, which leaves u² - u_ref² (Cox 2002, section 5, step 4).
    """
    return np.sqrt(np.maximum(np.square(u) + np.square(u_reference) - 2.0 * covariance, 0.0))


def en(value: Real, u: Real, reference: Real, u_reference: Real, covariance: Real = 0.0) -> Real:
    """E_n = (x - X) / sqrt(U² + U_ref²), signed, with U = 2 u (ISO/IEC 17043, B.3.1); |E_n| <= 1 agrees.

    For correlated ones the denominator is 2 ``u_of_difference``. Doubts must not both be zero.
    """
    return (value - reference) / (COVERAGE * u_of_difference(u, u_reference, covariance))


def settle(measurements: Sequence[Measurement], unit: Unit = Unit.MM, level: float = LEVEL) -> Consensus:
    """The settled value of ``measurements`` of one dimension, in any order, with everyone's standing.

    Raises ConsensusError if there is none, if a value is not a finite number or if a doubt is not above zero.
    """
    x, u = _checked(measurements)
    members, who = _numbered(measurement.measurer for measurement in measurements)
    pooled = _pool(measurements, x, u, who, len(members))
    observed, degrees, probability = chi_square(pooled.x, pooled.u)
    agreement, core = _core(pooled, probability, level)
    mean, u_mean = weighted_mean(pooled.x[core], pooled.u[core])
    weight = np.where(core, np.square(u_mean / pooled.u), 0.0)
    difference = pooled.x - mean
    u_difference = u_of_difference(pooled.u, u_mean, weight * np.square(pooled.u))
    standings = map(
        Standing,
        members,
        pooled.x.tolist(),
        pooled.u.tolist(),
        pooled.count.tolist(),
        weight.tolist(),
        core.tolist(),
        difference.tolist(),
        u_difference.tolist(),
        _scores(difference, u_difference, u_mean),
    )
    # A reading is scored as it was stated: of its member's value it shares the stated doubt, not the scatter.
    apart = x - mean
    u_apart = u_of_difference(u, u_mean, weight[who] * u * pooled.stated[who])
    scores = map(
        Score,
        measurements,
        core[who].tolist(),
        apart.tolist(),
        u_apart.tolist(),
        _scores(apart, u_apart, u_mean),
    )
    birge = np.sqrt(observed / degrees) if agreement is Agreement.DISPUTED else 1.0
    value = Quantity(float(mean), float(u_mean * birge), unit)
    return Consensus(value, agreement, observed, degrees, probability, tuple(standings), tuple(scores))


def moved(before: Consensus, after: Consensus) -> Move:
    """Whether the settled value changed beyond doubt from ``before`` to ``after``: by more than twice the
    standard uncertainty of the difference.

    Both rest on mostly the same measurements, so their covariance, Σ a_i b_i u_i u'_i over the members in
    both with their weights a and b, is taken off (JCGM 100, 5.2.2). A new measurement that joins the
    consensus thus moves the value beyond doubt just where its own E_n against the value before exceeds 1.
    ``agreement_changed`` tells the rest: that a value has become disputed, say, or is so no longer.
    """
    if before.value.unit != after.value.unit:
        raise ConsensusError(
            said("the two values are in different units; compare measurements of one dimension")
        )
    earlier = {standing.measurer: standing for standing in before.standings}
    shared = sum(
        then.weight * then.u * now.weight * now.u
        for now in after.standings
        if (then := earlier.get(now.measurer)) is not None
    )
    difference = after.value.value - before.value.value
    u = float(u_of_difference(after.value.u, before.value.u, shared))
    slack = 1e-9 * (before.value.u + after.value.u)
    return Move(
        Quantity(difference, u, after.value.unit),
        bool(abs(difference) > COVERAGE * u + slack),
        before.agreement is not after.agreement,
    )


class _Pooled(NamedTuple):
    """One entry for each member: value, doubt, the part of it that is stated, and how many readings."""

    x: Any
    u: Any
    stated: Any
    count: Any


def _checked(measurements: Sequence[Measurement]) -> tuple[Any, Any]:
    """Values and doubts as arrays."""
    if not measurements:
        raise ConsensusError(said("there is no measurement yet; add one"))
    x = np.array([measurement.value for measurement in measurements], dtype=float)
    u = np.array([measurement.u for measurement in measurements], dtype=float)
    bad = ~(np.isfinite(x) & np.isfinite(u) & (u > 0.0))
    if bad.any():
        first = measurements[int(np.argmax(bad))]
        raise ConsensusError(
            f"the measurement {first.value} by {first.measurer} has a doubt of {first.u}; give a finite "
            "value, and a doubt above zero: at the least what the instrument's resolution leaves"
        )
    return x, u


def _numbered(keys: Any) -> tuple[list[Any], Any]:
    """Distinct keys in order of appearance, and the number of each key's one."""
    seen: dict[Any, int] = {}
    numbers = [seen.setdefault(key, len(seen)) for key in keys]
    return list(seen), np.array(numbers)


def _pool(measurements: Sequence[Measurement], x: Any, u: Any, who: Any, members: int) -> _Pooled:
    """Each member's readings averaged, for each instrument and then over the instruments."""
    if members == len(x):
        return _Pooled(x, u, u, np.ones(members, dtype=int))
    pairs, which = _numbered(
        zip(who.tolist(), (measurement.instrument for measurement in measurements), strict=True)
    )
    by_instrument = _averaged(x, u, u, which, len(pairs))
    owner = np.array([member for member, _ in pairs])
    pooled = _averaged(by_instrument.x, by_instrument.u, by_instrument.stated, owner, members)
    return pooled._replace(count=np.bincount(who, minlength=members))


def _averaged(x: Any, u: Any, stated: Any, group: Any, groups: int) -> _Pooled:
    """Weighted mean of each group; doubts wholly shared, and the scatter of the mean added."""

    def total(values: Any) -> Any:
        return np.bincount(group, weights=values, minlength=groups)

    weight = 1.0 / np.square(u)
    weight /= total(weight)[group]
    mean = total(weight * x)
    count = np.bincount(group, minlength=groups)
    spread = total(np.square(x - mean[group])) / np.maximum(count - 1, 1) / count
    shared = total(weight * u)
    return _Pooled(mean, np.sqrt(np.square(shared) + spread), total(weight * stated), count)


def _core(pooled: _Pooled, probability: float, level: float) -> tuple[Agreement, Any]:
    """How the members agree, and a mask of those that the value rests on."""
    everyone = np.ones(len(pooled.x), dtype=bool)
    if len(pooled.x) == 1:
        return Agreement.SINGLE, everyone
    if probability >= level:
        return Agreement.AGREED, everyone
    subsets = largest_consistent_subsets(pooled.x, pooled.u, level)
    core = np.logical_and.reduce(subsets)
    if 2 * np.count_nonzero(core) <= len(core):
        return Agreement.DISPUTED, everyone
    if len(subsets) > 1 and chi_square(pooled.x[core], pooled.u[core])[2] < level:
        return Agreement.DISPUTED, everyone
    return Agreement.OUTLIERS, core


def _scores(difference: Any, u_difference: Any, u_mean: float) -> list[float | None]:
    """E_n of each; ``None`` where the value is nothing but this one."""
    known = u_difference > 1e-6 * u_mean
    ratios = difference / (COVERAGE * np.where(known, u_difference, 1.0))
    if known.all():
        scores: list[float | None] = ratios.tolist()
        return scores
    return [ratio if ok else None for ratio, ok in zip(ratios.tolist(), known.tolist(), strict=True)]
