"""Full size to model and back."""

from __future__ import annotations

import numpy as np

from fitcalc.quantities import Quantity, Real
from fitcalc.said import said

STRETCH = 0.015
"""Relative standard uncertainty of a wheelbase predicted from the full-size car: bodies are stretched or
shortened to suit a chassis. Common practice, no source."""


class ScaleError(ValueError):
    """A scale 1:n whose n is not above zero."""


def _checked(n: Real) -> Real:
    if not np.all(np.isfinite(n) & (np.asarray(n) > 0)):
        raise ScaleError(said("a scale is 1:n with n above zero, such as 1:28"))
    return n


def to_model(full_size: Real, n: Real) -> Real:
    """Length at scale 1:n of a ``full_size`` length, in the unit given. Raises ScaleError unless n > 0."""
    return full_size / _checked(n)


def to_full_size(model: Real, n: Real) -> Real:
    """Full-size length of a ``model`` length at 1:n, in the unit given. Raises ScaleError unless n > 0."""
    return model * _checked(n)


def predicted_wheelbase(full_size_wheelbase: Real, n: Real) -> Quantity:
    """Wheelbase, mm, that a body at 1:n is likely to need, from the full-size car's in mm.

    Its doubt is STRETCH of the value. Raises ScaleError unless n > 0.
    """
    value = to_model(full_size_wheelbase, n)
    return Quantity(value, STRETCH * value)
