"""Steering against T. D. Gillespie, *Fundamentals of Vehicle Dynamics* (SAE, 1992), ch. 6.

Low-speed turning, equations (6-1) to (6-3), quoted from memory: with L the wheelbase, R the turn's radius
and t the track between the steered wheels' kingpins,

    outer  δo ≅ L / (R + t/2)      inner  δi ≅ L / (R - t/2)      Ackermann angle  δ ≅ L / R

in radians, for small angles. Our formulas are exact, so the two must meet as the angle vanishes, and part
by a relative δ²/3 (the first term that tan δ ≅ δ leaves out).
"""

from __future__ import annotations

import numpy as np
import pytest

from fitcalc.steering import ackermann_outer, mean_steer, turn

CARS = [(2700.0, 1300.0), (98.0, 38.0), (86.0, 33.0), (257.0, 150.0)]
"""Wheelbase and kingpin spacing, mm: a full-size car and three models."""


def approximations(wheelbase: float, spacing: float, radius: float) -> tuple[float, float, float]:
    return (
        float(np.degrees(wheelbase / (radius + spacing / 2.0))),
        float(np.degrees(wheelbase / (radius - spacing / 2.0))),
        float(np.degrees(wheelbase / radius)),
    )


def relative_errors(wheelbase: float, spacing: float, inner: float) -> np.ndarray:
    made = turn(wheelbase, spacing, 0.0, 90.0, inner)
    exact = np.array([made.outer, made.inner, mean_steer(made.inner, made.outer)])
    return np.array(approximations(wheelbase, spacing, made.centre_radius)) / exact - 1.0


@pytest.mark.parametrize(("wheelbase", "spacing"), CARS)
def test_at_small_angles_the_approximations_hold(wheelbase, spacing):
    # δ²/3 at 2 degrees is 0.04 %.
    assert np.abs(relative_errors(wheelbase, spacing, 2.0)).max() < 5e-4


@pytest.mark.parametrize(("wheelbase", "spacing"), CARS)
def test_the_error_falls_with_the_square_of_the_angle(wheelbase, spacing):
    ratios = relative_errors(wheelbase, spacing, 4.0) / relative_errors(wheelbase, spacing, 2.0)
    np.testing.assert_allclose(ratios, 4.0, rtol=0.08)


@pytest.mark.parametrize(("wheelbase", "spacing"), CARS)
def test_the_error_is_the_term_that_the_approximation_drops(wheelbase, spacing):
    made = turn(wheelbase, spacing, 0.0, 90.0, 2.0)
    dropped = np.radians([made.outer, made.inner, mean_steer(made.inner, made.outer)]) ** 2 / 3.0
    np.testing.assert_allclose(relative_errors(wheelbase, spacing, 2.0), dropped, rtol=0.01)


@pytest.mark.parametrize(("wheelbase", "spacing"), CARS)
def test_at_large_angles_the_approximations_overstate_the_lock(wheelbase, spacing):
    assert (relative_errors(wheelbase, spacing, 30.0) > 0.03).all()


@pytest.mark.parametrize("inner", [3.0, 15.0, 35.0])
@pytest.mark.parametrize(("wheelbase", "spacing"), CARS)
def test_with_tangents_for_angles_his_geometry_is_exact(wheelbase, spacing, inner):
    made = turn(wheelbase, spacing, 0.0, 90.0, inner)
    for angle, radius in (
        (made.outer, made.centre_radius + spacing / 2.0),
        (made.inner, made.centre_radius - spacing / 2.0),
        (mean_steer(made.inner, made.outer), made.centre_radius),
    ):
        assert np.tan(np.radians(angle)) == pytest.approx(wheelbase / radius)


@pytest.mark.parametrize(("wheelbase", "spacing"), CARS)
def test_the_difference_of_the_wheels_grows_with_the_square_of_the_lock(wheelbase, spacing):
    # δi - δo ≅ δ² t / L, which follows from the two approximations.
    inner = 2.0
    outer = ackermann_outer(inner, wheelbase, spacing)
    mean = np.radians(mean_steer(inner, outer))
    assert np.radians(inner - outer) == pytest.approx(mean**2 * spacing / wheelbase, rel=0.01)
