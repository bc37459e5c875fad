"""Propagated doubt against random draws through the same formulas, JCGM 101:2008 (see ``monte_carlo``)."""

from __future__ import annotations

import numpy as np
import pytest

from fitcalc import clearance, steering, wheel
from fitcalc.dimensions import Unit
from fitcalc.quantities import Quantity, exact, linear_sum, probability_within, propagate

from .monte_carlo import NORMAL_95, normal, numerical_tolerance, rectangular, sampled, validate


def maker(value: float, tolerance: float) -> Quantity:
    return Quantity.from_tolerance(value, tolerance)


HUB_WIDTH, OFFSET, RIM_WIDTH, SPACER = maker(31.0, 0.1), maker(1.5, 0.05), maker(8.5, 0.08), maker(0.3, 0.02)
KINGPINS, ARM, BUMP = maker(36.0, 0.1), maker(13.0, 0.15), maker(1.8, 0.15)
DIAMETER, TYRE_WIDTH = maker(24.0, 0.1), maker(8.2, 0.1)
ARCH_WIDTH, ARCH_RADIUS = Quantity(52.0, 0.2), Quantity(13.4, 0.05)
WHEELBASE = Quantity(94.0, 0.12)


def scrub_of(h, o, w, s, k):
    return wheel.scrub_radius(wheel.track(h, o, w, s), k)


def drawn(inputs: tuple[Quantity, ...]) -> list:
    """Tolerances are drawn as rectangular, measured dimensions as normal."""
    return [rectangular(q) if q.limit != 2.0 * q.u else normal(q) for q in inputs]


def check(formula, *inputs: Quantity, seed: int, digits: int = 1) -> None:
    validate(propagate(formula, *inputs), sampled(formula, drawn(inputs), seed, digits), digits)


def test_flushness_to_two_digits():
    def flush_of(h, o, w, s, a):
        return clearance.flushness(wheel.overall_width(h, o, w, s), a)

    check(flush_of, HUB_WIDTH, OFFSET, RIM_WIDTH, SPACER, ARCH_WIDTH, seed=1, digits=2)


def test_scrub_radius():
    check(scrub_of, HUB_WIDTH, OFFSET, RIM_WIDTH, SPACER, KINGPINS, seed=2)


def test_a_wheelbase_of_four_links_with_tolerances():
    links = [maker(61.0, 0.1), maker(24.0, 0.2), maker(5.0, 0.15), maker(4.0, 0.1)]
    ours = linear_sum(*((1.0, link) for link in links))
    validate(ours, sampled(lambda *x: sum(x), [rectangular(link) for link in links], seed=3))


def test_no_car_of_the_draws_leaves_the_worst_case():
    links = [maker(61.0, 0.1), maker(24.0, 0.2), maker(5.0, 0.15), maker(4.0, 0.1)]
    stack = linear_sum(*((1.0, link) for link in links))
    rng = np.random.default_rng(4)
    off = np.abs(sum(rectangular(link)(rng) for link in links) - stack.value)
    assert off.max() <= stack.limit
    assert off.max() > 0.8 * stack.limit


def test_wheel_travel():
    def travel_of(b, a, h, o, w, s, k):
        return clearance.wheel_travel(b, a, scrub_of(h, o, w, s, k))

    check(travel_of, BUMP, ARM, HUB_WIDTH, OFFSET, RIM_WIDTH, SPACER, KINGPINS, seed=5)


def lock_of(which: int, chassis_gap: float | None = 6.0):
    def lock(d, tw, h, o, w, s, k, r, c):
        return clearance.lock_limits(d, tw, scrub_of(h, o, w, s, k), r, c, chassis_gap)[which]

    return lock


FRONT_END = (DIAMETER, TYRE_WIDTH, HUB_WIDTH, OFFSET, RIM_WIDTH, SPACER, KINGPINS)


@pytest.mark.parametrize("which", [0, 1], ids=["inward", "outward"])
def test_lock_in_the_arch_within_a_fifth_of_a_degree(which):
    # The lock bends with its inputs even away from the crest; 0.2 degrees is about a fifth of its u.
    inputs = (*FRONT_END, ARCH_RADIUS, Quantity(0.2, 0.05))
    ours = propagate(lock_of(which), *inputs, unit=Unit.DEGREE)
    assert ours.u > 0.5
    validate(ours, sampled(lock_of(which), drawn(inputs), seed=6), tolerance=0.2)


def test_a_corner_that_only_grazes_the_opening_is_not_called_surer_than_it_is():
    # The opening is about as large as the corner's circle, where the lock jumps and nothing is linear.
    inputs = (*FRONT_END, Quantity(14.2, 0.1), Quantity(0.0, 0.1))
    rng = np.random.default_rng(6)
    locks = lock_of(0, None)(*(draw(rng) for draw in drawn(inputs)))
    ours = propagate(lock_of(0, None), *inputs, unit=Unit.DEGREE)
    assert (locks == 90.0).any(), "some cars of the draws should pass the opening altogether"
    assert ours.value - NORMAL_95 * ours.u <= np.quantile(locks, 0.025)


def test_the_turning_radius():
    def radius_of(b, k, i):
        return steering.turn(b, k, 4.0, 90.0, i).centre_radius

    check(radius_of, WHEELBASE, KINGPINS, Quantity(24.0, 0.4, Unit.DEGREE), seed=7)


def test_arch_clearance_off_centre():
    check(clearance.arch_clearance, ARCH_RADIUS, DIAMETER, Quantity(0.8, 0.15), seed=8)


@pytest.mark.parametrize("u_radius", [0.0, 0.05, 0.4])
@pytest.mark.parametrize(("off", "u_off"), [(0.0, 0.3), (0.4, 0.1), (-1.1, 0.25), (0.0, 0.0)])
def test_a_tyre_is_clear_of_both_ends_of_its_arch_as_often_as_is_said(off, u_off, u_radius):
    # |c| has a kink at 0 where both ends are at risk at once, so the share of draws decides.
    inputs = (Quantity(14.2, u_radius), Quantity(24.0, 0.05), Quantity(off, u_off))
    rng = np.random.default_rng(9)
    gaps = clearance.arch_clearance(*(rng.normal(q.value, q.u, 400_000) for q in inputs))
    for wanted in np.linspace(0.1, 3.0, 30):
        room = linear_sum((1.0, inputs[0]), (-0.5, inputs[1]), (-1.0, exact(wanted)))
        # Four standard errors of a share of 400 000 draws are at most 0.0032.
        assert probability_within(inputs[2], room) == pytest.approx((gaps >= wanted).mean(), abs=0.0032)


def test_the_probability_of_conforming_is_the_share_of_draws_that_conform():
    ours = propagate(clearance.flushness, Quantity(52.6, 0.25), ARCH_WIDTH)
    rng = np.random.default_rng(10)
    proud = clearance.flushness(rng.normal(52.6, 0.25, 400_000), rng.normal(52.0, 0.2, 400_000))
    for low, high in ((-1.5, 0.5), (-0.5, 0.3), (0.0, 0.1)):
        share = ((proud >= low) & (proud <= high)).mean()
        # Four standard errors of a share of 400 000 draws are at most 0.0032.
        assert ours.probability_between(low, high) == pytest.approx(share, abs=0.0032)


@pytest.mark.parametrize(
    ("u", "digits", "tolerance"),
    [(0.12, 1, 0.05), (0.12, 2, 0.005), (32.0, 2, 0.5), (0.0987, 1, 0.05), (1.0, 1, 0.5)],
)
def test_the_numerical_tolerance_is_half_the_last_digit_of_u(u, digits, tolerance):
    assert numerical_tolerance(u, digits) == pytest.approx(tolerance)
