"""Flushness, centring, arch, bump and lock."""

from __future__ import annotations

from math import acos, atan2, degrees, hypot

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fitcalc import clearance
from fitcalc.quantities import Quantity, propagate

diameters = st.floats(10.0, 60.0)
widths = st.floats(3.0, 30.0)
scrubs = st.floats(-10.0, 25.0)
radii = st.floats(5.0, 40.0)
centrings = st.floats(-4.0, 4.0)
gaps = st.one_of(st.none(), st.floats(-5.0, 30.0))
tyres = st.tuples(diameters, widths, scrubs, radii, centrings, gaps)


def test_a_wheel_wider_than_its_arch_stands_proud_by_half_the_difference():
    assert clearance.flushness(51.0, 50.0) == 0.5


def test_a_wheel_narrower_than_its_arch_is_inset():
    assert clearance.flushness(48.0, 50.0) == -1.0


def test_a_mount_that_reaches_too_far_holds_the_body_forward():
    assert clearance.front_centring(31.0, 30.0) == 1.0


def test_a_short_chassis_leaves_the_rear_wheel_forward_in_its_arch():
    assert clearance.rear_centring(93.0, 94.0) == 1.0


def test_a_body_held_forward_puts_the_rear_wheel_back_in_its_arch():
    assert clearance.rear_centring(94.0, 94.0, 1.0) == -1.0


def test_a_body_held_forward_makes_up_for_a_short_chassis():
    assert clearance.rear_centring(93.0, 94.0, 1.0) == 0.0


@given(radii, diameters, centrings)
def test_off_centre_costs_the_same_clearance_fore_and_aft(r, d, c):
    assert clearance.arch_clearance(r, d, c) == clearance.arch_clearance(r, d, -c)
    assert clearance.arch_clearance(r, d, c) <= clearance.arch_clearance(r, d, 0.0)


def test_arch_clearance_is_what_is_left_on_the_narrow_side():
    assert clearance.arch_clearance(13.5, 24.0, -0.6) == pytest.approx(0.9)


def test_a_wheel_over_its_kingpin_rises_as_the_kingpin_does():
    assert clearance.wheel_travel(2.0, 14.0, 0.0) == 2.0


def test_a_wheel_outboard_of_its_kingpin_rises_more():
    assert clearance.wheel_travel(2.0, 14.0, 3.5) == 2.5


def test_bump_clearance_is_arch_height_less_tyre_and_travel():
    assert clearance.bump_clearance(15.0, 24.0, 2.5) == 0.5


def test_a_long_wheel_reaches_the_front_of_the_opening_when_turned_in():
    # Outer front corner (12, 8), opening 14 ahead: 12 cos δ + 8 sin δ = 14.
    expected = degrees(atan2(8.0, 12.0) - acos(14.0 / hypot(12.0, 8.0)))
    inward, _ = clearance.lock_limits(24.0, 8.0, 4.0, 14.0, 0.0, None)
    assert inward == pytest.approx(expected)


def test_turned_out_it_is_the_outer_rear_corner_that_reaches_the_opening():
    # A body 1 mm forward: 13 behind, 15 ahead.
    expected = degrees(atan2(8.0, 12.0) - acos(13.0 / hypot(12.0, 8.0)))
    inward, outward = clearance.lock_limits(24.0, 8.0, 4.0, 14.0, 1.0, None)
    assert outward == pytest.approx(expected)
    assert outward < inward


def test_the_chassis_stops_the_inner_corner_either_way():
    # Inner corners (±12, 2), chassis 4 inboard of the kingpin: 12 sin δ - 2 cos δ = 4.
    expected = degrees(atan2(12.0, -2.0) - acos(4.0 / hypot(12.0, 2.0)))
    inward, outward = clearance.lock_limits(24.0, 8.0, 6.0, 100.0, 0.0, 4.0)
    assert inward == pytest.approx(expected)
    assert outward == pytest.approx(expected)


def test_the_inner_corner_can_be_the_first_to_reach_the_opening():
    # A tyre mostly inboard of its kingpin: inner rear corner (-12, -8) swings back when turned in.
    expected = degrees(atan2(8.0, 12.0) - acos(14.0 / hypot(12.0, 8.0)))
    inward, _ = clearance.lock_limits(24.0, 8.0, -4.0, 14.0, 0.0, None)
    assert inward == pytest.approx(expected)


def test_a_tyre_that_fills_its_arch_cannot_steer():
    assert clearance.lock_limits(28.0, 8.0, 4.0, 14.0, 0.0, None) == (0.0, 0.0)


def test_a_tyre_that_already_touches_the_chassis_cannot_steer():
    assert clearance.lock_limits(20.0, 8.0, 2.0, 100.0, 0.0, 2.0) == (0.0, 0.0)


def test_a_tyre_with_room_all_round_never_touches():
    assert clearance.lock_limits(20.0, 8.0, 4.0, 100.0, 0.0, 100.0) == (90.0, 90.0)


def test_a_contact_beyond_square_does_not_count():
    # The whole wheel is 20 outboard of its kingpin; it would meet the chassis at 105 degrees.
    assert clearance.lock_limits(10.0, 8.0, 24.0, 100.0, 0.0, 10.0) == (90.0, 90.0)


def test_a_corner_that_just_passes_the_opening_never_touches():
    # The outer corner is 13 from the kingpin: 5-12-13.
    assert clearance.lock_limits(24.0, 4.0, 3.0, 13.0 + 1e-9, 0.0, None) == (90.0, 90.0)


@given(tyres)
def test_lock_is_between_straight_ahead_and_square(tyre):
    for limit in clearance.lock_limits(*tyre):
        assert 0.0 <= limit <= 90.0


@given(tyres)
def test_a_body_held_back_swaps_the_two_locks(tyre):
    *rest, c, gap = tyre
    inward, outward = clearance.lock_limits(*rest, c, gap)
    assert clearance.lock_limits(*rest, -c, gap) == (outward, inward)


@given(tyres, st.floats(0.0, 5.0))
def test_a_larger_opening_never_costs_lock(tyre, more):
    d, w, s, r, c, gap = tyre
    wider = clearance.lock_limits(d, w, s, r + more, c, gap)
    for before, after in zip(clearance.lock_limits(*tyre), wider, strict=True):
        assert after >= before - 1e-9


@given(tyres, st.floats(0.0, 5.0))
def test_a_wider_tyre_never_gains_lock(tyre, more):
    d, w, s, r, c, gap = tyre
    wider = clearance.lock_limits(d, w + more, s, r, c, gap)
    for before, after in zip(clearance.lock_limits(*tyre), wider, strict=True):
        assert after <= before + 1e-9


@given(tyres, st.floats(0.0, 5.0))
def test_a_larger_tyre_never_gains_lock(tyre, more):
    d, w, s, r, c, gap = tyre
    larger = clearance.lock_limits(d + more, w, s, r, c, gap)
    for before, after in zip(clearance.lock_limits(*tyre), larger, strict=True):
        assert after <= before + 1e-9


@given(tyres, st.floats(0.0, 5.0))
def test_more_scrub_never_gains_lock_in_a_centred_arch(tyre, more):
    d, w, s, r, _, _ = tyre
    assume(s >= 0.0)
    before, _ = clearance.lock_limits(d, w, s, r, 0.0, None)
    after, _ = clearance.lock_limits(d, w, s + more, r, 0.0, None)
    assert after <= before + 1e-9


@given(tyres)
def test_a_chassis_in_the_way_never_gains_lock(tyre):
    free = clearance.lock_limits(*tyre[:5], None)
    for limit, without in zip(clearance.lock_limits(*tyre), free, strict=True):
        assert limit <= without


def test_arrays_give_what_floats_give():
    rng = np.random.default_rng(28)
    rows = rng.uniform([15, 5, -3, 9, -1, -2], [30, 12, 12, 20, 1, 12], (200, 6))
    inward, outward = clearance.lock_limits(*rows.T)
    for row, i, o in zip(rows.tolist(), inward, outward, strict=True):
        assert clearance.lock_limits(*row) == (pytest.approx(i), pytest.approx(o))
    assert {0.0, 90.0} < set(inward), "the rows should hold the extremes too"


def test_a_lock_that_is_the_same_whatever_the_doubt_keeps_none():
    # The tyre touches straight ahead, and still would if the opening were wider by its doubt.
    radius = Quantity.from_tolerance(13.0, 0.1)
    lock = propagate(lambda r: clearance.lock_limits(28.0, 8.0, 4.0, r, 0.0, None)[0], radius)
    assert (lock.value, lock.u) == (0.0, 0.0)
