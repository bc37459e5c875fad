"""Numbers as people type them: a comma or a point, a unit or none."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitcalc.dimensions import Unit
from fitcalc.typed import plain, unambiguous


@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("58.2", "58.2"),
        ("58,2 mm", "58.2"),
        ("−1,5", "-1.5"),
        ("2.283 in", "57.988"),  # 2.283 × 25.4 = 57.9882
        ('2.283"', "57.988"),
        ("2,5 Zoll", "63.5"),
        ("0.1in", "2.54"),
    ],
)
def test_a_length_is_read_in_mm_whatever_its_unit(typed, mm):
    assert plain(typed, Unit.MM) == mm


def test_a_length_without_a_unit_is_in_inches_where_the_page_asks_for_them():
    assert plain("2.5", Unit.MM, inches=True) == "63.5"
    assert plain("63.5 mm", Unit.MM, inches=True) == "63.5"
    assert plain("142.5", Unit.GRAM, inches=True) == "142.5"


@pytest.mark.parametrize("typed", ["", "wide", "58 cm", "5 g", "1.2.3", "2 in 3", "٣", "1_0", "in"])
def test_what_is_no_length_comes_back_as_it_was_typed(typed):
    assert plain(typed, Unit.MM) == typed
    assert unambiguous(typed, Unit.MM, inches=True) == typed


@given(st.text(max_size=30), st.sampled_from(list(Unit)), st.booleans())
def test_anything_at_all_can_be_typed(text, unit, inches):
    assert isinstance(plain(text, unit, inches), str)
    assert isinstance(unambiguous(text, unit, inches), str)


@given(
    st.decimals(min_value=-999, max_value=999, places=3),
    st.sampled_from(["", " mm", " in", "in", '"', "″", " inches"]),
    st.booleans(),
)
def test_what_is_kept_means_the_same_without_the_page_that_it_came_from(number, behind, inches):
    typed = f"{number:f}{behind}"
    kept = unambiguous(typed, Unit.MM, inches)
    assert Decimal(plain(kept, Unit.MM)) == Decimal(plain(typed, Unit.MM, inches))
    assert unambiguous(kept, Unit.MM, inches=False) == kept
