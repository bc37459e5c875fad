"""Ackermann steering and the turning circle, and the scale."""

from __future__ import annotations

from math import hypot, inf, sin, tan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitcalc import scale, steering

wheelbases = st.floats(40.0, 420.0)
kingpins = st.floats(5.0, 240.0)
angles = st.floats(0.5, 60.0)


def radians(angle: float) -> float:
    return float(np.radians(angle))


def test_the_outer_wheel_steers_less_than_the_inner():
    # cot(outer) = cot(45°) + 40 / 80 = 1.5.
    assert tan(radians(steering.ackermann_outer(45.0, 80.0, 40.0))) == pytest.approx(1.0 / 1.5)


def test_straight_ahead_both_wheels_are_straight():
    assert steering.ackermann_outer(0.0, 90.0, 38.0) == 0.0
    assert steering.ackermann_inner(0.0, 90.0, 38.0) == 0.0


def test_an_inner_wheel_beyond_square_is_said_as_it_is():
    # cot(inner) = cot(60°) - 1 is negative: the turn's centre lies between the kingpins.
    assert steering.ackermann_inner(60.0, 90.0, 90.0) > 90.0


@given(angles, wheelbases, kingpins)
def test_inner_and_outer_convert_there_and_back(inner, wheelbase, kingpin_spacing):
    outer = steering.ackermann_outer(inner, wheelbase, kingpin_spacing)
    assert steering.ackermann_inner(outer, wheelbase, kingpin_spacing) == pytest.approx(inner)


@given(angles, wheelbases, kingpins)
def test_the_mean_lies_between_inner_and_outer(inner, wheelbase, kingpin_spacing):
    outer = steering.ackermann_outer(inner, wheelbase, kingpin_spacing)
    assert outer < steering.mean_steer(inner, outer) < inner


@given(angles)
def test_two_wheels_at_one_angle_have_that_mean(angle):
    assert steering.mean_steer(angle, angle) == pytest.approx(angle)


def test_the_mean_of_straight_ahead_is_straight_ahead():
    assert steering.mean_steer(0.0, 0.0) == 0.0


@given(angles, wheelbases, kingpins, st.floats(0.0, 20.0))
def test_all_four_wheels_roll_about_one_point(inner, wheelbase, kingpin_spacing, scrub):
    turn = steering.turn(wheelbase, kingpin_spacing, scrub, 90.0, inner)
    # The point on the rear axle's line; the outer kingpin; the distance between them by Pythagoras.
    outer_kingpin = hypot(wheelbase, turn.centre_radius + kingpin_spacing / 2.0)
    assert turn.outer_wheel_radius == pytest.approx(outer_kingpin + scrub)
    assert sin(radians(turn.outer)) == pytest.approx(wheelbase / outer_kingpin)
    assert turn.centre_radius == pytest.approx(
        wheelbase / tan(radians(steering.mean_steer(turn.inner, turn.outer)))
    )


@given(angles, angles, wheelbases, kingpins)
def test_the_tightest_turn_stays_inside_both_limits_and_reaches_one(
    inward, outward, wheelbase, kingpin_spacing
):
    turn = steering.turn(wheelbase, kingpin_spacing, 0.0, inward, outward)
    assert turn.inner <= outward + 1e-9
    assert turn.outer <= inward + 1e-9
    assert turn.inner == pytest.approx(outward) or turn.outer == pytest.approx(inward)


@given(angles, st.floats(0.1, 20.0), wheelbases, kingpins)
def test_more_lock_turns_tighter(lock, more, wheelbase, kingpin_spacing):
    wide = steering.turn(wheelbase, kingpin_spacing, 3.0, lock, lock)
    tight = steering.turn(wheelbase, kingpin_spacing, 3.0, lock + more, lock + more)
    assert tight.centre_radius < wide.centre_radius
    assert tight.outer_wheel_radius < wide.outer_wheel_radius


def test_a_longer_car_needs_more_room_at_the_same_lock():
    assert steering.turn(98.0, 38.0, 4.0, 22.0, 25.0).centre_radius > (
        steering.turn(90.0, 38.0, 4.0, 22.0, 25.0).centre_radius
    )


def test_the_outer_corner_is_half_a_body_out_and_an_overhang_ahead():
    turn = steering.turn(90.0, 40.0, 4.0, 90.0, 45.0, body_width=76.0, front_overhang=30.0)
    assert turn.centre_radius == pytest.approx(110.0)
    assert turn.outer_corner_radius == pytest.approx(hypot(120.0, 148.0))


def test_without_a_body_there_is_no_corner():
    assert steering.turn(90.0, 40.0, 4.0, 90.0, 45.0, body_width=76.0).outer_corner_radius is None


def test_a_car_that_cannot_steer_goes_straight_on():
    turn = steering.turn(90.0, 40.0, 4.0, 0.0, 30.0)
    assert (turn.inner, turn.outer) == (0.0, 0.0)
    assert turn.centre_radius == inf
    assert turn.outer_wheel_radius == inf


def test_arrays_give_what_floats_give():
    limits = np.array([5.0, 20.0, 35.0])
    turn = steering.turn(90.0, 40.0, 4.0, limits, 30.0)
    for i, limit in enumerate(limits):
        assert turn.centre_radius[i] == pytest.approx(
            steering.turn(90.0, 40.0, 4.0, limit, 30.0).centre_radius
        )


def test_a_circle_of_four_wheelbases_implies_thirty_degrees():
    assert steering.implied_lock(100.0, 400.0) == pytest.approx(30.0)


@given(angles, wheelbases)
def test_the_implied_lock_is_the_lock_of_a_car_with_one_front_wheel(angle, wheelbase):
    turn = steering.turn(wheelbase, 0.0, 0.0, angle, angle)
    assert steering.implied_lock(wheelbase, 2.0 * turn.outer_wheel_radius) == pytest.approx(angle)


def test_a_circle_too_small_for_the_wheelbase_is_refused():
    with pytest.raises(steering.SteeringError, match="two wheelbases"):
        steering.implied_lock(100.0, 150.0)


def test_a_circle_that_is_not_a_number_is_refused():
    with pytest.raises(steering.SteeringError, match="two wheelbases"):
        steering.implied_lock(100.0, float("nan"))


@given(st.floats(1.0, 6000.0), st.integers(1, 64))
def test_scaling_there_and_back_gives_the_same_length(length, n):
    assert scale.to_full_size(scale.to_model(length, n), n) == pytest.approx(length)


def test_a_predicted_wheelbase_is_the_scaled_one_with_its_doubt():
    predicted = scale.predicted_wheelbase(2660.0, 28)
    assert predicted.value == pytest.approx(95.0)
    assert predicted.u == pytest.approx(1.425)


@pytest.mark.parametrize("n", [0, -28, float("nan"), float("inf")])
def test_a_scale_that_is_none_is_refused(n):
    with pytest.raises(scale.ScaleError, match="above zero"):
        scale.to_model(2660.0, n)
