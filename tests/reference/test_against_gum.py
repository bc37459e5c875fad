"""Propagation against the worked example of JCGM 100:2008 (GUM), H.1: calibration of a 50 mm end gauge.

The figures are quoted from memory; lengths in nm, temperatures in °C. Only the linear part applies here
(H.1.3 to H.1.5); the second-order terms of H.1.7 and the degrees of freedom of H.1.6 do not.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitcalc.quantities import Quantity, linear_sum, propagate

STANDARD = Quantity(50_000_623.0, 25.0)
"""Length of the standard at 20 °C, from its certificate (H.1.3.1)."""
OBSERVED = Quantity(215.0, 5.8)
"""Mean difference of five observations; u of the mean (H.1.3.2)."""
COMPARATOR_RANDOM = Quantity(0.0, 3.9)
COMPARATOR_SYSTEMATIC = Quantity(0.0, 6.7)
EXPANSION = Quantity.from_tolerance(11.5e-6, 2e-6)
"""Expansion coefficient of the standard, rectangular ± 2e-6 (H.1.3.3)."""
BENCH = Quantity(-0.1, 0.2)
"""Mean deviation of the bed from 20 °C (H.1.3.4)."""
CYCLE = Quantity(0.0, 0.35)
"""Cyclic variation of the room, arcsine ± 0.5 °C (H.1.3.4)."""
EXPANSION_DIFFERENCE = Quantity.from_tolerance(0.0, 1e-6)
"""Between the two gauges' coefficients, rectangular ± 1e-6 (H.1.3.5)."""
TEMPERATURE_DIFFERENCE = Quantity.from_tolerance(0.0, 0.05)
"""Between the two gauges, rectangular ± 0.05 °C (H.1.3.6)."""


def length(standard, difference, expansion, temperature, expansion_difference, temperature_difference):
    """H.1.2, equation (H.3): l = ls + d - ls (δα θ + αs δθ)."""
    return (
        standard
        + difference
        - standard * (expansion_difference * temperature + expansion * temperature_difference)
    )


def difference() -> Quantity:
    return linear_sum((1.0, OBSERVED), (1.0, COMPARATOR_RANDOM), (1.0, COMPARATOR_SYSTEMATIC))


def temperature() -> Quantity:
    return linear_sum((1.0, BENCH), (1.0, CYCLE))


def inputs() -> list[Quantity]:
    return [
        STANDARD,
        difference(),
        EXPANSION,
        temperature(),
        EXPANSION_DIFFERENCE,
        TEMPERATURE_DIFFERENCE,
    ]


@pytest.mark.parametrize(
    ("quantity", "u", "rounding"),
    [
        (EXPANSION, 1.2e-6, 0.05e-6),
        (EXPANSION_DIFFERENCE, 0.58e-6, 0.005e-6),
        (TEMPERATURE_DIFFERENCE, 0.029, 0.0005),
    ],
    ids=["expansion", "difference of expansion", "difference of temperature"],
)
def test_rectangular_limits_give_the_guides_standard_uncertainty(quantity, u, rounding):
    assert quantity.u == pytest.approx(u, abs=rounding)


def test_the_comparators_three_doubts_join_to_9_7_nm():
    assert difference().u == pytest.approx(9.7, abs=0.05)


def test_the_temperatures_two_doubts_join_to_0_41_degrees():
    # The guide takes 0.2² + 0.35² = 0.165 and prints 0.41.
    assert temperature().u == pytest.approx(0.41, abs=0.01)


@pytest.mark.parametrize(
    ("place", "nm"),
    [(0, 25.0), (1, 9.7), (2, 0.0), (3, 0.0), (4, 2.9), (5, 16.6)],
    ids=["standard", "difference", "expansion", "temperature", "its difference", "theirs"],
)
def test_each_contribution_is_that_of_table_h_1(place, nm):
    alone = [Quantity(q.value) for q in inputs()]
    alone[place] = inputs()[place]
    assert propagate(length, *alone).u == pytest.approx(nm, abs=0.05)


def test_the_gauge_is_50_000838_mm_with_a_standard_uncertainty_of_32_nm():
    result = propagate(length, *inputs())
    assert result.value == pytest.approx(50_000_838.0, abs=0.5)
    assert result.u == pytest.approx(32.0, abs=0.5)


def test_a_reading_has_0_29_of_a_step():
    # F.2.2.1: u = 0.29 δx for a resolution δx.
    assert Quantity.from_reading(10.0, 1.0).u == pytest.approx(0.29, abs=0.005)


def test_a_handbooks_limits_for_copper_have_0_23_ppm():
    # 4.3.7, example 1: 16.52e-6 with a maximum error of 0.40e-6, u = 0.23e-6.
    assert Quantity.from_tolerance(16.52e-6, 0.40e-6).u == pytest.approx(0.23e-6, abs=0.005e-6)


def test_two_thirds_and_95_percent_lie_within_one_and_two_standard_uncertainties():
    # Table G.1: 68.27 % for k = 1, 95.45 % for k = 2, 99.73 % for k = 3.
    q = Quantity(np.zeros(3), 1.0)
    for k, share in ((1.0, 0.6827), (2.0, 0.9545), (3.0, 0.9973)):
        assert q.probability_between(-k, k) == pytest.approx(share, abs=5e-5)
