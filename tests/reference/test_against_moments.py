"""Corner weights and centre of gravity against statics worked another way, and a published example.

EXAMPLE: "Cross Weight", racingsoftwaretechnology.com/tipstricksCrossWeight.htm: 700, 600, 900 and 600 lb
    (left front, right front, left rear, right rear) give a cross weight, right front and left rear, of
    53.57 %.

The forces of a rigid car on its wheels are made up here from its mass and centre of gravity by least squares:
vertical balance and two moments leave the cross weight free, which is then set. From these forces alone the
centre of gravity must come back. The doubts are checked against drawing (JCGM 101).
"""

from __future__ import annotations

import numpy as np
import pytest

from fitcalc.balance import CornerWeights, balance
from fitcalc.dimensions import Unit
from fitcalc.quantities import Quantity

CORNERS = ("front_left", "front_right", "rear_left", "rear_right")


def weighed(forces, u=0.0) -> CornerWeights:
    return CornerWeights(
        **{name: Quantity(float(f), u, Unit.GRAM) for name, f in zip(CORNERS, forces, strict=True)}
    )


def contacts(wheelbase, front_track, rear_track):
    """Where the four wheels stand, x forward from the front axle and y to the left."""
    return np.array(
        [
            [0.0, front_track / 2.0],
            [0.0, -front_track / 2.0],
            [-wheelbase, rear_track / 2.0],
            [-wheelbase, -rear_track / 2.0],
        ]
    )


@pytest.mark.parametrize("seed", range(12))
def test_forces_that_hold_a_car_give_back_its_centre_of_gravity(seed):
    rng = np.random.default_rng(seed)
    wheelbase, front_track, rear_track = rng.uniform([80, 50, 50], [260, 180, 180])
    mass = rng.uniform(150.0, 1500.0)
    x, y = -rng.uniform(0.4, 0.65) * wheelbase, rng.uniform(-0.05, 0.05) * front_track
    at = contacts(wheelbase, front_track, rear_track)
    statics = np.vstack([np.ones(4), at[:, 0], at[:, 1]])
    held, *_ = np.linalg.lstsq(statics, mass * np.array([1.0, x, y]), rcond=None)
    # What is left free: a load of one diagonal against the other that turns neither axle nor side.
    *_, rows = np.linalg.svd(statics)
    forces = held + rng.uniform(-0.03, 0.03) * mass * rows[-1]
    found = balance(weighed(forces), Quantity(wheelbase), Quantity(front_track), Quantity(rear_track))
    assert found.total.value == pytest.approx(mass)
    assert found.x.value == pytest.approx(x)
    assert found.y.value == pytest.approx(y, abs=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_the_centre_of_gravity_is_the_mean_of_the_contacts_by_weight(seed):
    rng = np.random.default_rng(seed)
    forces = rng.uniform(10.0, 400.0, 4)
    size = rng.uniform([80, 50, 50], [260, 180, 180])
    x, y = np.average(contacts(*size), axis=0, weights=forces)
    found = balance(weighed(forces), *(Quantity(length) for length in size))
    assert (found.x.value, found.y.value) == pytest.approx((x, y))


def test_the_published_example_has_a_cross_weight_of_53_57_per_cent():
    found = balance(weighed([700.0, 600.0, 900.0, 600.0]))
    assert found.total.value == 2800.0
    assert found.cross.value == pytest.approx(0.5357, abs=5e-5)


def test_doubts_are_those_of_drawing():
    forces, size = np.array([38.0, 42.0, 61.0, 59.0]), np.array([90.0, 60.0, 64.0])
    u_force, u_size = 0.5, 0.3
    rng = np.random.default_rng(1)
    drawn = forces + rng.normal(0.0, u_force, (50_000, 4))
    lengths = size + rng.normal(0.0, u_size, (50_000, 3))
    total = drawn.sum(axis=1)
    x = -lengths[:, 0] * drawn[:, 2:].sum(axis=1) / total
    sideways = (drawn[:, 0] - drawn[:, 1]) * lengths[:, 1] + (drawn[:, 2] - drawn[:, 3]) * lengths[:, 2]
    found = balance(weighed(forces, u_force), *(Quantity(length, u_size) for length in size))
    assert found.x.u == pytest.approx(x.std(), rel=0.02)
    assert found.y.u == pytest.approx((sideways / 2.0 / total).std(), rel=0.02)
    assert found.cross.u == pytest.approx((drawn[:, [1, 2]].sum(axis=1) / total).std(), rel=0.02)
