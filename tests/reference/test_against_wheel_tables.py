"""Offset, inset and backspacing against published charts for full-size wheels.

What those charts call offset is the inset here: mm from the rim's centreline to the mounting face, positive
where the face is outboard. They count a rim as one inch wider over its flanges than its nominal width.

CHART: "What is wheel backspacing?", safehubcollective.org/most-popular/what-is-wheel-backspacing/, an
excerpt of a backspacing to offset chart (it cuts some figures to whole mm and rounds others).
QUICK_REFERENCE: "Backspacing to Offset Calculator", cal87.calculator.city, its quick reference table.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitcalc import wheel
from fitcalc.quantities import inches_to_mm, mm_to_inches

CHART = [
    # rim width, in; backspacing, in; offset, mm
    (5.5, 3.25, 0.0),
    (5.5, 4.5, 32.0),
    (6.0, 3.25, -6.4),
    (6.0, 4.5, 25.0),
    (6.5, 3.25, -12.0),
    (6.5, 4.5, 19.0),
    (7.5, 3.25, -25.0),
    (7.5, 3.5, -19.0),
    (8.0, 3.25, -32.0),
    (8.0, 3.5, -25.0),
    (8.5, 3.25, -38.0),
    (8.5, 3.5, -32.0),
    (9.0, 3.25, -44.0),
    (9.0, 3.5, -38.0),
]
QUICK_REFERENCE = [(8.0, 5.0, 13.0), (8.5, 5.5, 19.0), (9.0, 6.0, 25.0)]
FLANGE = inches_to_mm(1.0)
WHOLE_MM = 0.71
"""The largest distance of a cut or rounded figure of these charts from the exact one, mm."""


@pytest.mark.parametrize(("width", "backspacing", "offset"), CHART + QUICK_REFERENCE)
def test_the_charts_backspacing_gives_its_offset(width, backspacing, offset):
    rim_width = inches_to_mm(width)
    ours = wheel.offset_from_backspacing(inches_to_mm(backspacing), rim_width, FLANGE)
    assert wheel.inset_from_offset(ours, rim_width) == pytest.approx(offset, abs=WHOLE_MM)


@pytest.mark.parametrize(("width", "backspacing", "offset"), CHART + QUICK_REFERENCE)
def test_the_charts_offset_gives_its_backspacing(width, backspacing, offset):
    rim_width = inches_to_mm(width)
    ours = wheel.backspacing_from_offset(wheel.offset_from_inset(offset, rim_width), rim_width, FLANGE)
    assert mm_to_inches(ours) == pytest.approx(backspacing, abs=mm_to_inches(WHOLE_MM))


def test_without_the_flanges_the_chart_would_be_half_an_inch_out():
    width, backspacing, offset = np.array(CHART).T
    rim_width = inches_to_mm(width)
    ours = wheel.inset_from_offset(
        wheel.offset_from_backspacing(inches_to_mm(backspacing), rim_width), rim_width
    )
    np.testing.assert_allclose(ours - offset, inches_to_mm(0.5), atol=WHOLE_MM)
