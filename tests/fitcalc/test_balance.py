"""Corner weights and the centre of gravity."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcalc.balance import BalanceError, CornerWeights, balance
from fitcalc.dimensions import Unit
from fitcalc.quantities import Quantity

few = settings(max_examples=20, deadline=None)
grams = st.floats(5.0, 600.0)


def g(value: float, u: float = 0.1) -> Quantity:
    return Quantity(value, u, Unit.GRAM)


def weights(front_left=40.0, front_right=40.0, rear_left=60.0, rear_right=60.0, u=0.1) -> CornerWeights:
    return CornerWeights(
        front_left=g(front_left, u),
        front_right=g(front_right, u),
        rear_left=g(rear_left, u),
        rear_right=g(rear_right, u),
    )


WHEELBASE, FRONT_TRACK, REAR_TRACK = Quantity(90.0, 0.1), Quantity(60.0, 0.1), Quantity(64.0, 0.1)


def placed(corners: CornerWeights):
    return balance(corners, WHEELBASE, FRONT_TRACK, REAR_TRACK)


def test_shares_are_of_the_total():
    found = balance(weights(42.0, 38.0, 61.0, 59.0))
    assert found.total.value == 200.0
    assert found.front.value == pytest.approx(0.40)
    assert found.rear.value == pytest.approx(0.60)
    assert found.left.value == pytest.approx(0.515)
    assert found.right.value == pytest.approx(0.485)
    assert found.cross.value == pytest.approx(99.0 / 200.0)


def test_an_even_car_has_its_centre_of_gravity_on_its_centreline():
    found = placed(weights())
    assert found.cross.value == 0.5
    assert found.y.value == 0.0


def test_the_centre_of_gravity_lies_behind_the_front_axle_by_the_rear_share_of_the_wheelbase():
    assert placed(weights()).x.value == pytest.approx(-0.6 * 90.0)


def test_a_car_heavier_on_the_left_has_its_centre_of_gravity_to_the_left():
    # (44 - 36) * 30 + (63 - 57) * 32 over 200.
    assert placed(weights(44.0, 36.0, 63.0, 57.0)).y.value == pytest.approx((8.0 * 30.0 + 6.0 * 32.0) / 200.0)


def test_weight_moved_across_both_diagonals_leaves_the_centre_of_gravity_and_changes_the_cross_weight():
    even, wedged = balance(weights()), balance(weights(38.0, 42.0, 62.0, 58.0))
    assert wedged.front.value == even.front.value
    assert wedged.left.value == even.left.value
    assert wedged.cross.value == pytest.approx(0.52)


def test_without_a_wheelbase_or_a_track_there_is_no_centre_of_gravity():
    found = balance(weights(), front_track=FRONT_TRACK)
    assert found.x is None
    assert found.y is None


def test_the_scales_doubt_is_carried_into_the_shares():
    # Front share f: each front corner moves it by (1 - f) / total, each rear one by -f / total.
    found = balance(weights(u=0.5))
    expected = 0.5 / 200.0 * (2.0 * 0.6**2 + 2.0 * 0.4**2) ** 0.5
    assert found.front.u == pytest.approx(expected, rel=1e-4)
    assert found.rear.u == found.front.u
    assert found.total.u == pytest.approx(1.0)


def test_a_doubtful_wheelbase_makes_the_place_doubtful():
    exactly = weights(u=0.0)
    assert balance(exactly, Quantity(90.0, 1.0)).x.u == pytest.approx(0.6)


@few
@given(grams, grams, grams, grams)
def test_left_and_right_swapped_turn_the_car_over_its_centreline(fl, fr, rl, rr):
    one, other = placed(weights(fl, fr, rl, rr)), placed(weights(fr, fl, rr, rl))
    assert other.x.value == pytest.approx(one.x.value)
    assert other.y.value == pytest.approx(-one.y.value, abs=1e-9)
    assert other.cross.value == pytest.approx(1.0 - one.cross.value)


@few
@given(grams, grams, grams, grams)
def test_the_centre_of_gravity_lies_between_the_wheels(fl, fr, rl, rr):
    found = placed(weights(fl, fr, rl, rr))
    assert -90.0 < found.x.value < 0.0
    assert abs(found.y.value) < 32.0


@few
@given(grams, grams, grams, grams, st.floats(0.1, 10.0))
def test_a_scale_that_reads_too_much_all_over_leaves_the_shares(fl, fr, rl, rr, k):
    one, other = balance(weights(fl, fr, rl, rr)), balance(weights(k * fl, k * fr, k * rl, k * rr))
    for share in ("front", "left", "cross"):
        assert getattr(other, share).value == pytest.approx(getattr(one, share).value)


def test_a_corner_below_zero_is_refused():
    with pytest.raises(BalanceError, match="zero the scale"):
        weights(front_left=-0.5)


def test_a_car_that_weighs_nothing_is_refused():
    with pytest.raises(BalanceError, match="weigh all four wheels"):
        weights(0.0, 0.0, 0.0, 0.0)


def test_weights_in_another_unit_are_refused():
    with pytest.raises(BalanceError, match="grams"):
        CornerWeights(front_left=Quantity(40.0), front_right=g(40.0), rear_left=g(60.0), rear_right=g(60.0))
