"""The wheelbase chain and its check against known wheelbases."""

from __future__ import annotations

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitcalc.chain import Contribution, KnownWheelbase, WheelbaseChain, chain_of, conflicts
from fitcalc.parts import Layout, MotorMount, OffsetGrid, Plate, Platform, Position, Slot
from fitcalc.quantities import Quantity, exact


def sized(value: float, tolerance: float = 0.1) -> Quantity:
    return Quantity.from_tolerance(value, tolerance)


PLATFORM = Platform(
    id=1,
    name="Heron",
    scale=28,
    datum=sized(61.0, 0.05),
    offsets=OffsetGrid(low=-1.0, high=3.0, step=0.5),
    front_rim_width=exact(8.5),
)
MOUNT = MotorMount(id=2, name="Mount A", chain_length=sized(24.0, 0.1), layout=Layout.REAR_MOTOR)
PLATE = Plate(id=3, name="Plate A", chain_length=sized(5.0, 0.1))
POSITION = Position(id=("position", 4), name="middle", shift=sized(4.0, 0.02))


def chain() -> WheelbaseChain:
    return chain_of(PLATFORM, MOUNT, PLATE, POSITION)


def known(wheelbase: float, tolerance: float) -> KnownWheelbase:
    return KnownWheelbase(2, 3, ("position", 4), sized(wheelbase, tolerance))


def test_the_wheelbase_is_the_sum_of_its_links():
    assert chain().length.value == pytest.approx(94.0)


def test_the_links_keep_their_names_and_slots_from_front_to_rear():
    assert [(link.name, link.slot) for link in chain().contributions] == [
        ("Heron", None),
        ("Mount A", Slot.MOTOR_MOUNT),
        ("Plate A", Slot.PLATE),
        ("middle", Slot.POSITION),
    ]


def test_the_worst_case_adds_the_tolerances():
    assert chain().worst_case == pytest.approx(0.27)


def test_the_statistical_stack_adds_their_squares():
    assert chain().root_sum_square == pytest.approx(sqrt(0.05**2 + 0.1**2 + 0.1**2 + 0.02**2))


def test_the_standard_uncertainty_is_that_of_independent_rectangular_links():
    assert chain().length.u == pytest.approx(sqrt((0.05**2 + 0.1**2 + 0.1**2 + 0.02**2) / 3.0))


def test_a_known_wheelbase_within_both_tolerances_agrees():
    difference, agrees = conflicts(chain(), known(93.6, 0.2))
    assert difference.value == pytest.approx(0.4)
    assert agrees


def test_a_known_wheelbase_exactly_on_the_limit_agrees():
    assert conflicts(chain(), known(94.0 - 0.47, 0.2)).agrees


def test_a_known_wheelbase_beyond_both_tolerances_conflicts_either_way():
    assert not conflicts(chain(), known(93.5, 0.2)).agrees
    assert not conflicts(chain(), known(94.5, 0.2)).agrees


def test_the_difference_says_which_is_longer():
    assert conflicts(chain(), known(95.0, 0.2)).difference.value == pytest.approx(-1.0)


links = st.lists(st.tuples(st.floats(-80.0, 420.0), st.floats(0.0, 2.0)), min_size=1, max_size=8)


@given(links)
def test_the_worst_case_is_never_less_than_the_statistical_stack(values):
    stack = WheelbaseChain(tuple(Contribution("link", None, sized(v, t)) for v, t in values))
    assert stack.worst_case >= stack.root_sum_square - 1e-9


@given(links)
def test_the_order_of_the_links_does_not_matter(values):
    made = [Contribution("link", None, sized(v, t)) for v, t in values]
    there, back = WheelbaseChain(tuple(made)).length, WheelbaseChain(tuple(reversed(made))).length
    assert there.value == pytest.approx(back.value, abs=1e-9)
    assert there.u == pytest.approx(back.u, abs=1e-9)
