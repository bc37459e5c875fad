"""Deciding on a measured value beside a limit, when the value has a doubt: guard bands and risks.

After JCGM 106:2012 (conformance probability, clause 7; decision rules, clause 8; risks, clause 9) and
ISO 14253-1, whose rule for proving conformity is guarded acceptance; both quoted from memory. Values are
normal with standard uncertainty u, the expanded uncertainty is U = 2 u, and the guard band is w = r U with
the factor r of the clause: 1 by default, the rule of ISO 14253-1 (JCGM 106, 8.3.2).

Everything takes floats or arrays that broadcast, in any one unit; an open side is ``None`` for a scalar limit
and an infinity in an array.
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np
from scipy.integrate import quad
from scipy.special import ndtr

from fitcalc.consensus import COVERAGE
from fitcalc.quantities import Quantity, Real
from fitcalc.said import said

SLACK = 1e-9
"""A value that stands on its limit is inside it, as a stated limit means."""


class DecisionRule(StrEnum):
    """What a clause makes of a value whose doubt reaches across the limit."""

    SIMPLE = "simple"
    """The value alone decides; both sides share the risk (JCGM 106, 8.2)."""
    GUARDED_ACCEPTANCE = "guarded_acceptance"
    """Fails unless clearly inside: accepted up to the limit less w (JCGM 106, 8.3.2; ISO 14253-1)."""
    GUARDED_REJECTION = "guarded_rejection"
    """Passes unless clearly outside: accepted up to the limit plus w (JCGM 106, 8.3.3)."""

    @property
    def inward(self) -> int:
        """Which way the guard band lies from the limit: 1 inside it, -1 outside, 0 without one."""
        return {self.SIMPLE: 0, self.GUARDED_ACCEPTANCE: 1, self.GUARDED_REJECTION: -1}[self]


def guard_band(u: Real, factor: Real = 1.0) -> Real:
    """Width of the guard band: w = r U = 2 r u."""
    return COVERAGE * factor * u


def acceptance_limits(low: Real, high: Real, inward: Real, band: Real) -> tuple[Real, Real]:
    """A_L = T_L + w and A_U = T_U - w, the band taken off (``inward`` 1), added (-1) or left out (0).

    The lower may exceed the upper: then the doubt is too wide for the tolerance and nothing is accepted.
    """
    return low + inward * band, high - inward * band


def conformance_probability(value: Real, u: Real, low: Real, high: Real) -> Real:
    """Probability that the true value lies in the tolerance: Φ((T_U - y)/u) - Φ((T_L - y)/u), JCGM 106, 7.4.

    Limits may be infinite; without doubt it is 0 or 1.
    """
    spread = np.maximum(u, 1e-12)
    return np.clip(ndtr((high - value + SLACK) / spread) - ndtr((low - value - SLACK) / spread), 0.0, 1.0)


def global_consumers_risk(
    prior: Quantity,
    u: float,
    low: float | None,
    high: float | None,
    accept_low: float | None,
    accept_high: float | None,
) -> float:
    """Probability that a car of the field is not legal and yet accepted: R_C of JCGM 106, 9.5.2.

    ``prior`` is the field: mean and standard deviation of the true values. ``u`` is that of the measurement.
    R_C = ∫ over the outside of the tolerance of g(η) [Φ((A_U - η)/u) - Φ((A_L - η)/u)] dη.
    """
    outside = [(-np.inf, low)] if low is not None else []
    if high is not None:
        outside.append((high, np.inf))
    return sum(_integral(prior, u, accept_low, accept_high, ends, accepted=True) for ends in outside)


def global_producers_risk(
    prior: Quantity,
    u: float,
    low: float | None,
    high: float | None,
    accept_low: float | None,
    accept_high: float | None,
) -> float:
    """Probability that a car of the field is legal and yet turned away: R_P of JCGM 106, 9.5.3; as above."""
    inside = (-np.inf if low is None else low, np.inf if high is None else high)
    return _integral(prior, u, accept_low, accept_high, inside, accepted=False)


def _integral(
    prior: Quantity,
    u: float,
    accept_low: float | None,
    accept_high: float | None,
    ends: tuple[float, float],
    accepted: bool,
) -> float:
    """Of the prior between ``ends``, the share whose measured value is accepted, or is not."""
    mean, spread = float(prior.value), float(prior.u)
    if not (spread > 0.0 and u > 0.0):
        raise ValueError(said("the field and the measurement both have a spread above zero; give both"))
    a_low = -np.inf if accept_low is None else accept_low
    a_high = np.inf if accept_high is None else accept_high
    # Beyond nine standard deviations nothing is left; the acceptance limits are where the integrand turns.
    least, most = (float(np.clip(end, mean - 9.0 * spread, mean + 9.0 * spread)) for end in ends)
    if least >= most:
        return 0.0

    def integrand(true: float) -> float:
        chance = max(0.0, float(ndtr((a_high - true) / u) - ndtr((a_low - true) / u)))
        density = np.exp(-0.5 * ((true - mean) / spread) ** 2) / (spread * np.sqrt(2.0 * np.pi))
        return float(density * (chance if accepted else 1.0 - chance))

    turns = sorted(
        {turn for a in (a_low, a_high) for turn in (a - 3.0 * u, a, a + 3.0 * u) if least < turn < most}
    )
    return float(quad(integrand, least, most, points=turns or None, limit=200, epsabs=1e-10)[0])
