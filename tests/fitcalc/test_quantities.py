"""A value with its doubt."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitcalc.dimensions import Unit
from fitcalc.quantities import (
    Quantity,
    QuantityError,
    exact,
    inches_to_mm,
    linear_sum,
    mm_to_inches,
    propagate,
    root_sum_square,
    worst_case,
)

values = st.floats(-500.0, 500.0)
doubts = st.floats(0.0, 5.0)
factors = st.floats(-5.0, 5.0)
quantities = st.builds(Quantity, values, doubts)


def close(value):
    return pytest.approx(value, rel=1e-9, abs=1e-9)


def test_a_tolerance_is_read_as_rectangular():
    q = Quantity.from_tolerance(10.0, 0.3)
    assert q.u == close(0.3 / sqrt(3.0))
    assert q.limit == 0.3


def test_a_reading_joins_half_a_step_with_the_spread():
    q = Quantity.from_reading(10.0, 0.02, spread=0.03)
    assert q.u == close(sqrt(0.01**2 / 3.0 + 0.03**2))


def test_without_a_tolerance_the_worst_case_is_two_standard_uncertainties():
    assert Quantity(10.0, 0.2).limit == 0.4


def test_an_exact_value_has_no_doubt():
    assert (exact(5.0).u, exact(5.0).limit) == (0.0, 0.0)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), np.array([1.0, np.nan]), np.float64("nan")])
def test_a_value_that_is_not_a_number_is_refused(bad):
    with pytest.raises(QuantityError, match="value must be a finite number"):
        Quantity(bad)


def test_a_doubt_that_is_not_a_number_is_refused():
    with pytest.raises(QuantityError, match="u must be a finite number"):
        Quantity(1.0, float("nan"))


@pytest.mark.parametrize("bad", [-0.1, -1, np.array([0.1, -0.1])])
def test_a_negative_doubt_is_refused(bad):
    with pytest.raises(QuantityError, match="cannot be negative"):
        Quantity(1.0, bad)


def test_a_negative_tolerance_is_refused():
    with pytest.raises(QuantityError, match="cannot be negative"):
        Quantity(1.0, 0.1, Unit.MM, -0.2)


def test_units_that_do_not_go_together_are_refused():
    with pytest.raises(QuantityError, match="cannot combine 'mm' with '°'"):
        exact(1.0) + exact(1.0, Unit.DEGREE)


def test_it_prints_with_its_doubt_and_unit():
    assert str(Quantity(25.0, 0.125)) == "25.00 ± 0.12 mm"
    assert str(exact(12.0, Unit.NONE)) == "12.00 ± 0.00"
    assert str(Quantity(np.array([1.0, 2.0]))) == "2 quantities in mm"


@given(quantities, quantities)
def test_adding_and_subtracting_add_the_doubts_squares(a, b):
    assert (a + b).value == close(a.value + b.value)
    assert (a - b).value == close(a.value - b.value)
    assert (a + b).u == close(sqrt(a.u**2 + b.u**2))
    assert (a - b).u == (a + b).u


@given(quantities, factors)
def test_scaling_scales_the_doubt_by_the_size_of_the_factor(q, factor):
    scaled = q.scaled(factor)
    assert scaled.value == close(factor * q.value)
    assert scaled.u == close(abs(factor) * q.u)
    assert scaled.limit == close(abs(factor) * q.limit)


@given(quantities)
def test_turned_round_twice_it_is_the_same(q):
    turned = -q
    assert -turned == q
    assert turned.value == -q.value


@given(quantities)
def test_its_size_has_the_same_doubt(q):
    assert abs(q).value == abs(q.value)
    assert abs(q).u == q.u


terms = st.lists(st.tuples(factors, quantities), min_size=1, max_size=6)


@given(terms)
def test_the_worst_case_is_never_less_than_the_root_sum_square(given_terms):
    assert worst_case(*given_terms) >= root_sum_square(*given_terms) - 1e-9


@given(terms)
def test_a_linear_formula_propagates_as_a_linear_sum(given_terms):
    def formula(*x):
        return sum(factor * value for (factor, _), value in zip(given_terms, x, strict=True))

    propagated = propagate(formula, *(q for _, q in given_terms))
    summed = linear_sum(*given_terms)
    assert propagated.value == pytest.approx(summed.value, abs=1e-6)
    assert propagated.u == pytest.approx(summed.u, rel=1e-4, abs=1e-6)
    assert propagated.limit == pytest.approx(summed.limit, rel=1e-4, abs=1e-6)


def test_arrays_propagate_as_each_of_their_rows():
    x = Quantity(np.array([1.0, 2.0, 3.0]), np.array([0.1, 0.0, 0.3]))
    y = Quantity(5.0, 0.2)
    together = propagate(lambda a, b: a * b, x, y)
    for i in range(3):
        alone = propagate(lambda a, b: a * b, x.take(i), y)
        assert together.take(i).value == close(alone.value)
        assert together.take(i).u == close(alone.u)


def test_a_value_on_the_kink_of_its_formula_keeps_its_doubt():
    assert propagate(np.abs, Quantity(0.0, 0.3)).u == close(0.3)


def test_a_formula_with_a_flat_top_adds_only_what_it_bends():
    # Near a smooth crest the change over one u is of the second order.
    assert propagate(np.cos, Quantity(0.0, 0.01)).u == pytest.approx(1.0 - np.cos(0.01))


def test_exact_inputs_give_an_exact_result():
    result = propagate(lambda a, b: a / b, exact(10.0), exact(4.0))
    assert (result.value, result.u, result.limit) == (2.5, 0.0, 0.0)


def test_the_result_is_in_the_unit_asked_for():
    assert propagate(lambda a: a, exact(1.0), unit=Unit.DEGREE).unit is Unit.DEGREE


def test_taking_a_row_gives_plain_numbers():
    q = Quantity(np.array([1.0, 2.0]), np.array([0.1, 0.2])).take(1)
    assert (q.value, q.u, q.limit) == (2.0, 0.2, 0.4)
    assert isinstance(q.value, float)


def test_taking_by_a_mask_keeps_the_rows_that_hold():
    q = Quantity(np.array([1.0, 2.0, 3.0]), 0.1).take(np.array([True, False, True]))
    assert q.value.tolist() == [1.0, 3.0]
    assert q.u == 0.1


def test_rows_come_in_the_order_asked_for():
    rows = Quantity(np.array([1.0, 2.0, 3.0]), np.array([0.1, 0.2, 0.3])).rows(np.array([2, 0, 2]))
    assert [(q.value, q.u) for q in rows] == [(3.0, 0.3), (1.0, 0.1), (3.0, 0.3)]


def test_one_quantity_serves_every_row():
    q = Quantity(1.0, 0.1)
    assert q.rows(np.array([0, 0])) == [q, q]


@given(values, st.floats(0.01, 5.0), values)
def test_below_and_above_a_limit_are_all_there_is(value, u, limit):
    q = Quantity(value, u)
    assert q.probability_between(None, limit) + q.probability_between(limit, None) == pytest.approx(
        1.0, abs=1e-6
    )


def test_a_value_on_its_limit_conforms_one_time_in_two():
    assert Quantity(3.0, 0.1).probability_between(None, 3.0) == pytest.approx(0.5, abs=1e-6)


def test_one_standard_uncertainty_either_way_holds_two_thirds():
    # 68.27 % of a normal distribution.
    assert Quantity(3.0, 0.1).probability_between(2.9, 3.1) == pytest.approx(0.6827, abs=1e-4)


def test_without_doubt_it_conforms_or_it_does_not():
    assert exact(3.0).probability_between(2.0, 3.0) == 1.0
    assert exact(3.01).probability_between(2.0, 3.0) == 0.0


@given(quantities, values, st.floats(0.0, 50.0), st.floats(0.0, 50.0))
def test_a_wider_band_is_never_less_likely(q, low, width, more):
    narrow = q.probability_between(low, low + width)
    assert 0.0 <= narrow <= q.probability_between(low - more, low + width + more) + 1e-12


@given(st.floats(-1000.0, 1000.0))
def test_inches_convert_there_and_back(inches):
    assert mm_to_inches(inches_to_mm(inches)) == close(inches)
    assert inches_to_mm(1.0) == 25.4
