"""A value with its doubt: one idea, carried through the whole calculation.

A ``Quantity`` holds a value, its standard uncertainty ``u`` and a worst-case half-width ``limit``,
as scalars or as NumPy arrays of one shape, so that one formula serves a single car and a whole
catalogue. Uncertainty follows JCGM 100:2008 (GUM); clause numbers are given where used.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import isfinite
from typing import Any

import numpy as np
from scipy.special import ndtr, owens_t

from fitcalc.dimensions import Unit

Real = Any
"""A float or a float64 array; formulas in this package take and return either."""

MM_PER_INCH = 25.4
"""Exact, by the international yard and pound agreement of 1959."""


class QuantityError(ValueError):
    """A value that cannot be a quantity: not finite, a negative doubt, or units that do not go together."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value with its standard uncertainty.

    ``value`` and ``u`` are in ``unit``; ``u`` is one standard deviation. ``limit`` is the
    half-width that a worst-case stack uses: the stated tolerance where there is one, else 2u.
    Values are floats or arrays of one shape. Raises QuantityError if a value is not finite or a
    doubt is negative.
    """

    value: Real
    u: Real = 0.0
    unit: Unit = Unit.MM
    limit: Real = field(default=None)

    def __post_init__(self) -> None:
        if self.limit is None:
            object.__setattr__(self, "limit", 2.0 * self.u)
        for name in ("value", "u", "limit"):
            given = getattr(self, name)
            if not (isfinite(given) if isinstance(given, float) else np.isfinite(given).all()):
                raise QuantityError(f"the {name} must be a finite number")
            if name != "value" and (given < 0 if isinstance(given, float) else (np.asarray(given) < 0).any()):
                raise QuantityError("a doubt cannot be negative")

    @classmethod
    def from_tolerance(cls, value: Real, tolerance: Real, unit: Unit = Unit.MM) -> Quantity:
        """A maker's figure ``value`` ± ``tolerance``, as rectangular: u = a / sqrt(3), JCGM 100, 4.3.7."""
        return cls(value, tolerance / np.sqrt(3.0), unit, tolerance)

    @classmethod
    def from_reading(
        cls, value: Real, resolution: Real, spread: Real = 0.0, unit: Unit = Unit.MM
    ) -> Quantity:
        """An instrument's reading: resolution as rectangular of half a step either way (JCGM 100, F.2.2.1),
        combined with the standard deviation ``spread`` of repeated readings."""
        return cls(value, np.sqrt((resolution / 2.0) ** 2 / 3.0 + np.square(spread)), unit)

    def __str__(self) -> str:
        if np.ndim(self.value):
            return f"{np.size(self.value)} quantities in {self.unit.value or 'no unit'}"
        return f"{self.value:.2f} ± {self.u:.2f} {self.unit.value}".rstrip()

    def _same_unit(self, other: Quantity) -> None:
        if self.unit != other.unit:
            raise QuantityError(f"cannot combine {self.unit.value!r} with {other.unit.value!r}")

    def __add__(self, other: Quantity) -> Quantity:
        return linear_sum((1.0, self), (1.0, other))

    def __sub__(self, other: Quantity) -> Quantity:
        return linear_sum((1.0, self), (-1.0, other))

    def __neg__(self) -> Quantity:
        return self.scaled(-1.0)

    def scaled(self, factor: float) -> Quantity:
        """The quantity times an exact ``factor``."""
        return Quantity(factor * self.value, abs(factor) * self.u, self.unit, abs(factor) * self.limit)

    def __abs__(self) -> Quantity:
        return Quantity(np.abs(self.value), self.u, self.unit, self.limit)

    def take(self, index: Any) -> Quantity:
        """The quantities at ``index`` (an integer, a mask or an index array) of an array quantity."""

        def pick(x: Real) -> Real:
            picked = np.asarray(x)[index] if np.ndim(x) else x
            return float(picked) if np.ndim(picked) == 0 else picked

        return Quantity._checked(pick(self.value), pick(self.u), self.unit, pick(self.limit))

    def rows(self, index: Any) -> list[Quantity]:
        """One scalar quantity for each entry of the integer array ``index``."""
        if not np.ndim(self.value):
            return [self] * len(index)
        shape = np.shape(self.value)
        columns = (
            (x if np.shape(x) == shape else np.broadcast_to(x, shape))[index].tolist()
            for x in (self.value, self.u, self.limit)
        )
        figures = zip(*columns, strict=True)
        return [Quantity._checked(value, u, self.unit, limit) for value, u, limit in figures]

    @classmethod
    def _checked(cls, value: Real, u: Real, unit: Unit, limit: Real) -> Quantity:
        """A quantity of figures that have passed the checks of another one."""
        made = object.__new__(cls)
        _fill_value(made, value)
        _fill_u(made, u)
        _fill_unit(made, unit)
        _fill_limit(made, limit)
        return made

    def probability_between(self, low: float | None, high: float | None) -> Real:
        """Probability that the true value lies in [low, high], the value being normal with ``u``.

        JCGM 106:2012, 7.2. ``None`` leaves a side open. Without doubt it is 0 or 1.
        """
        u = np.maximum(np.asarray(self.u, dtype=float), 1e-12)
        value = np.asarray(self.value, dtype=float)
        # The tiny slack keeps a value that stands on its limit inside it, as a stated limit means.
        above = 1.0 if low is None else ndtr((value - low + 1e-9) / u)
        below = 1.0 if high is None else ndtr((high - value + 1e-9) / u)
        probability = np.clip(above + below - 1.0, 0.0, 1.0)
        return float(probability) if np.ndim(probability) == 0 else probability


def probability_within(offset: Quantity, room: Quantity) -> Real:
    """Probability that |offset| <= room, both normal and independent.

    Both ends are at risk at once: room - offset and room + offset must stay above zero, two normal
    variables of one spread with correlation (u_room² - u_offset²) / (u_room² + u_offset²). Their joint
    probability in closed form by Owen's T function (Owen 1956, Ann. Math. Statist. 27, 1075-1090).
    """
    u_offset = np.maximum(np.asarray(offset.u, dtype=float), 1e-9)
    u_room = np.maximum(np.asarray(room.u, dtype=float), 1e-9)
    spread = np.hypot(u_offset, u_room)
    h = _off_zero((room.value - offset.value + 1e-9) / spread)
    k = _off_zero((room.value + offset.value + 1e-9) / spread)
    correlation = (u_room**2 - u_offset**2) / spread**2
    root = 2.0 * u_room * u_offset / spread**2
    joint = (
        (ndtr(h) + ndtr(k)) / 2.0
        - owens_t(h, (k - correlation * h) / (h * root))
        - owens_t(k, (h - correlation * k) / (k * root))
        - np.where(h * k < 0.0, 0.5, 0.0)
    )
    probability = np.clip(joint, 0.0, 1.0)
    return float(probability) if np.ndim(probability) == 0 else probability


def _off_zero(x: Real) -> Real:
    return np.where(np.abs(x) < 1e-12, 1e-12, x)


_fill_value, _fill_u, _fill_unit, _fill_limit = (
    vars(Quantity)[name].__set__ for name in ("value", "u", "unit", "limit")
)


def exact(value: Real, unit: Unit = Unit.MM) -> Quantity:
    """A quantity without doubt: a definition, a count, a stated limit."""
    return Quantity(value, 0.0, unit, 0.0)


def linear_sum(*terms: tuple[float, Quantity]) -> Quantity:
    """Sum of ``factor * quantity`` over independent quantities of one unit.

    u² = Σ (c_i u_i)² (JCGM 100, 5.1.2, eq. 10); the worst-case limit is Σ |c_i| limit_i.
    """
    first = terms[0][1]
    for _, quantity in terms[1:]:
        first._same_unit(quantity)
    return Quantity(
        sum(factor * quantity.value for factor, quantity in terms),
        np.sqrt(sum((factor * quantity.u) ** 2 for factor, quantity in terms)),
        first.unit,
        sum(abs(factor) * quantity.limit for factor, quantity in terms),
    )


def propagate(function: Callable[..., Real], *inputs: Quantity, unit: Unit = Unit.MM) -> Quantity:
    """``function`` of independent quantities with its first-order uncertainty (JCGM 100, 5.1.2).

    Sensitivities are differences over one standard uncertainty either way, which is what JCGM 100, 5.1.3,
    note 2 offers where a derivative is awkward: their mean, or the larger of the two where the value turns
    between them, so that a tyre just centred in its arch keeps the doubt of its centring. ``function``
    takes the values as positional arguments and must work elementwise on arrays.
    """
    doubtful = [i for i, quantity in enumerate(inputs) if np.any(quantity.u) or np.any(quantity.limit)]
    if not doubtful:
        here = function(*(quantity.value for quantity in inputs))
        nothing: Real = np.zeros(np.shape(here)) if np.ndim(here) else 0.0
        return Quantity(here, nothing, unit, nothing)
    # One call for all: along a last axis the value itself, then each doubtful input a step up and down.
    values = [np.asarray(quantity.value, dtype=float)[..., np.newaxis] for quantity in inputs]
    steps = []
    for place, i in enumerate(doubtful):
        quantity = inputs[i]
        step = np.maximum(np.maximum(quantity.u, quantity.limit / 2.0), 1e-9)
        shape = np.broadcast_shapes(np.shape(quantity.value), np.shape(step))
        values[i] = np.array(np.broadcast_to(values[i], (*shape, 1 + 2 * len(doubtful))))
        values[i][..., 1 + 2 * place] += step
        values[i][..., 2 + 2 * place] -= step
        steps.append(step)
    moved = function(*values)
    here = moved[..., 0]
    variance: Real = 0.0
    limit: Real = 0.0
    for place, (i, step) in enumerate(zip(doubtful, steps, strict=True)):
        rise = moved[..., 1 + 2 * place] - here
        fall = here - moved[..., 2 + 2 * place]
        turns = rise * fall < 0.0
        change = np.where(turns, np.maximum(np.abs(rise), np.abs(fall)), np.abs(rise + fall) / 2.0)
        slope = change / step
        variance = variance + np.square(slope * inputs[i].u)
        limit = limit + slope * inputs[i].limit
    figures = (here, np.sqrt(variance), limit)
    value, u, limit = figures if np.ndim(here) else map(float, figures)
    return Quantity(value, u, unit, limit)


def worst_case(*terms: tuple[float, Quantity]) -> Real:
    """Half-width of the worst-case stack: Σ |c_i| limit_i."""
    return sum(abs(factor) * quantity.limit for factor, quantity in terms)


def root_sum_square(*terms: tuple[float, Quantity]) -> Real:
    """Half-width of the root-sum-square stack: sqrt(Σ (c_i limit_i)²)."""
    return np.sqrt(sum((factor * quantity.limit) ** 2 for factor, quantity in terms))


def inches_to_mm(inches: Real) -> Real:
    """Inches to millimetres, exact."""
    return inches * MM_PER_INCH


def mm_to_inches(mm: Real) -> Real:
    """Millimetres to inches, exact."""
    return mm / MM_PER_INCH
