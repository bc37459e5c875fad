"""The closed-form lock against a rotating polygon.

Shapely (GEOS) says whether the turned tyre is still inside the free space; the first contact is found by
scanning from straight ahead and halving. It knows nothing of which corner touches what.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from fitcalc.clearance import lock_limits

FAR = 1e4
STEP = 0.1
"""Scan step, degrees. A contact shorter than this is missed: the rows below hold none."""
HALVINGS = 40
TOLERANCE = 1e-6
"""Degrees; halving 0.1 degrees 40 times leaves far less, GEOS' own rounding somewhat more."""


def cases(count: int, seed: int) -> np.ndarray:
    """Rows of tyre diameter, width, scrub radius, arch radius, centring, chassis gap, in mm."""
    rng = np.random.default_rng(seed)
    usual = rng.uniform([18, 5, -2, 9, -1.5, -1], [28, 12, 10, 18, 1.5, 14], (count, 6))
    wild = rng.uniform([5, 2, -40, 5, -10, -20], [120, 60, 40, 90, 10, 60], (count, 6))
    return np.concatenate([usual, wild])


def free_space(rows: np.ndarray, chassis: bool) -> np.ndarray:
    _, _, _, radius, centring, gap = rows.T
    return shapely.box(
        centring - radius, -gap if chassis else np.full(len(rows), -FAR), centring + radius, FAR
    )


def turned(rows: np.ndarray, degrees: np.ndarray) -> np.ndarray:
    """Tyres turned anticlockwise seen from above; x is forward and y out of the car, on the left side."""
    diameter, width, scrub = rows[:, 0], rows[:, 1], rows[:, 2]
    corners = [
        sx * diameter / 2 + 1j * (scrub + sy * width / 2) for sx, sy in ((1, -1), (1, 1), (-1, 1), (-1, -1))
    ]
    points = np.stack(corners, axis=-1) * np.exp(1j * np.radians(degrees))[:, None]
    return shapely.polygons(np.stack([points.real, points.imag], axis=-1))


def first_contact(rows: np.ndarray, sense: int, chassis: bool) -> np.ndarray:
    """Degrees to the first contact; outward on the left side is anticlockwise, ``sense`` +1."""
    space = free_space(rows, chassis)
    shapely.prepare(space)

    def inside(angles: np.ndarray) -> np.ndarray:
        return shapely.covers(space, turned(rows, sense * angles))

    low = np.zeros(len(rows))
    scanning = inside(low)
    for angle in np.arange(STEP, 90.0 + STEP / 2, STEP):
        scanning = scanning & inside(np.full(len(rows), min(angle, 90.0)))
        low = np.where(scanning, min(angle, 90.0), low)
    never = low >= 90.0
    blocked = ~inside(np.zeros(len(rows)))
    high = np.minimum(low + STEP, 90.0)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        free = inside(middle)
        low, high = np.where(free, middle, low), np.where(free, high, middle)
    return np.where(never, 90.0, np.where(blocked, 0.0, low))


@pytest.mark.parametrize("chassis", [True, False], ids=["beside a chassis", "without a chassis"])
@pytest.mark.parametrize(("which", "sense"), [(0, -1), (1, 1)], ids=["inward", "outward"])
def test_the_closed_form_is_where_the_turning_polygon_first_touches(which, sense, chassis):
    rows = cases(750, seed=1992)
    *tyre, gap = rows.T
    closed = lock_limits(*tyre, gap if chassis else None)[which]
    found = first_contact(rows, sense, chassis)
    np.testing.assert_allclose(closed, found, atol=TOLERANCE)


def test_the_random_cars_try_every_kind_of_answer():
    *tyre, gap = cases(750, seed=1992).T
    limits = np.concatenate(lock_limits(*tyre, gap))
    without = np.concatenate(lock_limits(*tyre, None))
    assert (limits == 0.0).sum() > 100
    assert (limits == 90.0).sum() > 20
    assert ((limits > 0.0) & (limits < 90.0)).sum() > 300
    assert (limits < without).sum() > 100, "some must be stopped by the chassis"
