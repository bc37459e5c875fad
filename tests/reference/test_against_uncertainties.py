"""Propagated doubt against the ``uncertainties`` package, which differentiates instead of stepping.

Formulas of plain arithmetic take its numbers as they are. Where a formula calls NumPy, the same relation is
written here with the package's own functions, so that both value and derivative are its own.
"""

from __future__ import annotations

import math

import pytest
from uncertainties import UFloat, ufloat, umath

from fitcalc import clearance, steering, wheel
from fitcalc.dimensions import Unit
from fitcalc.quantities import Quantity, linear_sum, propagate

HUB_WIDTH = Quantity(31.0, 0.06)
OFFSET = Quantity(1.5, 0.03)
RIM_WIDTH = Quantity(8.5, 0.05)
SPACER = Quantity(0.3, 0.01)
KINGPINS = Quantity(36.0, 0.05)
ARCH_WIDTH = Quantity(52.0, 0.2)
DIAMETER = Quantity(24.0, 0.08)
TYRE_WIDTH = Quantity(8.2, 0.06)
ARCH_RADIUS = Quantity(13.2, 0.05)
CENTRING = Quantity(0.4, 0.05)
ARM = Quantity(13.0, 0.1)
BUMP = Quantity(1.8, 0.1)
WHEELBASE = Quantity(94.0, 0.12)
LINEAR = 1e-6
"""Relative agreement where the formula is linear in each input."""
CURVED = 2e-3
"""Relative agreement where it is not: stepping over one u sees a little of the curve."""


def u(q: Quantity) -> UFloat:
    return ufloat(q.value, q.u)


def agree(ours: Quantity, theirs: UFloat, tolerance: float) -> None:
    assert theirs.std_dev > 0.0
    assert ours.value == pytest.approx(theirs.nominal_value, rel=1e-12)
    assert ours.u == pytest.approx(theirs.std_dev, rel=tolerance)


def compare(formula, *inputs: Quantity, tolerance: float) -> None:
    agree(propagate(formula, *inputs), formula(*map(u, inputs)), tolerance)


def flush_of(h, o, w, s, a):
    return clearance.flushness(wheel.overall_width(h, o, w, s), a)


def scrub_of(h, o, w, s, k):
    return wheel.scrub_radius(wheel.track(h, o, w, s), k)


def travel_of(b, a, h, o, w, s, k):
    return clearance.wheel_travel(b, a, scrub_of(h, o, w, s, k))


def test_flushness():
    compare(flush_of, HUB_WIDTH, OFFSET, RIM_WIDTH, SPACER, ARCH_WIDTH, tolerance=LINEAR)


def test_scrub_radius():
    compare(scrub_of, HUB_WIDTH, OFFSET, RIM_WIDTH, SPACER, KINGPINS, tolerance=LINEAR)


def test_backspacing_in_which_the_rim_width_cancels():
    compare(wheel.backspacing_from_offset, OFFSET, RIM_WIDTH, tolerance=LINEAR)


def test_wheel_travel_with_the_arms_lever():
    compare(travel_of, BUMP, ARM, HUB_WIDTH, OFFSET, RIM_WIDTH, SPACER, KINGPINS, tolerance=CURVED)


def test_arch_clearance_off_centre():
    ours = propagate(clearance.arch_clearance, ARCH_RADIUS, DIAMETER, CENTRING)
    agree(ours, u(ARCH_RADIUS) - u(DIAMETER) / 2 - u(CENTRING), LINEAR)  # the body sits forward


def test_a_wheelbase_of_four_links():
    links = [Quantity(61.0, 0.03), Quantity(24.0, 0.06), Quantity(5.0, 0.05), Quantity(4.0, 0.01)]
    agree(linear_sum(*((1.0, link) for link in links)), sum(map(u, links)), LINEAR)


def test_rear_centring():
    compare(clearance.rear_centring, WHEELBASE, Quantity(94.5, 0.2), CENTRING, tolerance=LINEAR)


def test_the_lock_that_the_opening_sets():
    def lock_of(d, tw, h, o, w, s, k, r, c):
        return clearance.lock_limits(d, tw, scrub_of(h, o, w, s, k), r, c, None)[0]

    inputs = (DIAMETER, TYRE_WIDTH, HUB_WIDTH, OFFSET, RIM_WIDTH, SPACER, KINGPINS, ARCH_RADIUS, CENTRING)
    d, tw, h, o, w, s, k, r, c = map(u, inputs)
    outer = scrub_of(h, o, w, s, k) + tw / 2
    # Outer front corner meets the front of the opening: (D/2) cos δ + b sin δ = R + c.
    angle = umath.atan2(outer, d / 2) - umath.acos((r + c) / umath.hypot(d / 2, outer))
    agree(propagate(lock_of, *inputs, unit=Unit.DEGREE), umath.degrees(angle), CURVED)


def test_the_lock_that_the_chassis_sets():
    def lock_of(d, tw, scrub, g):
        return clearance.lock_limits(d, tw, scrub, 1000.0, 0.0, g)[1]

    inputs = (DIAMETER, TYRE_WIDTH, Quantity(5.0, 0.05), Quantity(4.0, 0.1))
    d, tw, scrub, g = map(u, inputs)
    inner = scrub - tw / 2
    # Inner corner meets the chassis: (D/2) sin δ - a cos δ = g.
    angle = umath.asin(g / umath.hypot(d / 2, inner)) + umath.atan2(inner, d / 2)
    agree(propagate(lock_of, *inputs, unit=Unit.DEGREE), umath.degrees(angle), CURVED)


def test_the_outer_wheels_angle():
    inner = Quantity(28.0, 0.4, Unit.DEGREE)
    ours = propagate(steering.ackermann_outer, inner, WHEELBASE, KINGPINS, unit=Unit.DEGREE)
    theirs = umath.degrees(
        umath.atan(1 / (1 / umath.tan(umath.radians(u(inner))) + u(KINGPINS) / u(WHEELBASE)))
    )
    agree(ours, theirs, CURVED)


def test_the_turning_radius():
    lock = Quantity(24.0, 0.3, Unit.DEGREE)
    ours = propagate(
        lambda b, k, i: steering.turn(b, k, 4.0, 90.0, i).centre_radius, WHEELBASE, KINGPINS, lock
    )
    agree(ours, u(WHEELBASE) / umath.tan(u(lock) * math.pi / 180) + u(KINGPINS) / 2, CURVED)
