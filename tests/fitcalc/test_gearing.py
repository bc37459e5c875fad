"""Pinion, spur, slot, rollout and speed."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcalc import gearing
from fitcalc.dimensions import Unit
from fitcalc.gearing import Gear, GearingError
from fitcalc.quantities import Quantity, QuantityError, exact

few = settings(max_examples=20, deadline=None)
modules = st.floats(0.2, 2.0)
teeth = st.integers(6, 120)


def test_the_shafts_stand_apart_by_half_of_both_pitch_diameters():
    # Module 0.5: diameters 6 and 22 mm.
    assert gearing.centre_distance(0.5, 12, 44) == 14.0


@few
@given(modules, teeth, teeth)
def test_either_gear_may_be_named_first(m, z1, z2):
    assert gearing.centre_distance(m, z1, z2) == gearing.centre_distance(m, z2, z1)


@few
@given(modules, teeth, teeth)
def test_one_tooth_more_moves_the_shafts_apart_by_half_a_module(m, z1, z2):
    apart = gearing.centre_distance(m, z1 + 1, z2) - gearing.centre_distance(m, z1, z2)
    assert apart == pytest.approx(m / 2.0)


@few
@given(modules)
def test_module_and_pitch_convert_there_and_back(m):
    assert gearing.module_from_pitch(gearing.pitch_from_module(m)) == pytest.approx(m)


def test_the_ratio_multiplies_by_what_is_inside_the_gearbox():
    assert gearing.ratio(12, 48) == 4.0
    assert gearing.ratio(12, 48, internal=1.9) == pytest.approx(7.6)


def test_a_car_rolls_one_circumference_for_as_many_turns_as_the_ratio_says():
    assert gearing.rollout(24.0, 4.0) == pytest.approx(6.0 * pi)


def test_the_speed_is_turns_a_minute_times_rollout():
    # 2,000 rpm/V on 3 V, all of it kept: 6,000 turns of 100 mm a minute, 36 km an hour.
    assert gearing.speed(2000.0, 3.0, 100.0, 1.0) == pytest.approx(36.0)


@few
@given(st.floats(15.0, 80.0), teeth, teeth)
def test_a_larger_pinion_is_faster_and_a_larger_spur_slower(diameter, z1, z2):
    here = gearing.rollout(diameter, gearing.ratio(z1, z2))
    assert gearing.rollout(diameter, gearing.ratio(z1 + 1, z2)) > here
    assert gearing.rollout(diameter, gearing.ratio(z1, z2 + 1)) < here


def test_a_worn_tyre_carries_its_doubt_into_the_rollout():
    rollout = gearing.rollout_of(Quantity(24.0, 0.1), 4.0)
    assert rollout.value == pytest.approx(6.0 * pi)
    assert rollout.u == pytest.approx(0.1 * pi / 4.0)


def test_the_speed_is_an_estimate_as_doubtful_as_the_load():
    speed = gearing.estimated_speed(exact(2000.0, Unit.RPM_PER_VOLT), exact(3.0, Unit.VOLT), exact(100.0))
    assert speed.unit is Unit.KM_PER_HOUR
    assert speed.value == pytest.approx(36.0 * 0.85)
    assert speed.u == pytest.approx(36.0 * 0.10 / 3.0**0.5)


def test_arrays_of_pinions_give_what_floats_give():
    ratios = gearing.ratio(np.array([10, 12]), 44)
    assert gearing.rollout(24.0, ratios).tolist() == [
        gearing.rollout(24.0, 4.4),
        gearing.rollout(24.0, 44 / 12),
    ]


class TestMesh:
    def test_gears_of_one_module_run_together(self):
        assert gearing.meshing_module(Gear(12, 0.5), Gear(44, 0.5)) == 0.5

    def test_a_pitch_rounded_to_two_decimals_is_still_that_pitch(self):
        spur = Gear(80, gearing.module_from_pitch(48))
        assert gearing.meshing_module(Gear(20, 0.53), spur) == spur.module

    @pytest.mark.parametrize(("module", "pitch"), [(0.4, 64), (0.5, 48), (0.3, 80)])
    def test_near_modules_of_the_metric_and_the_inch_series_do_not_mesh(self, module, pitch):
        with pytest.raises(GearingError, match="fit two gears of one module"):
            gearing.meshing_module(Gear(12, module), Gear(44, gearing.module_from_pitch(pitch)))

    def test_the_refusal_names_both_gears(self):
        both = r"12 teeth of module 0\.5 \(50\.8 pitch\).*44 teeth of module 0\.4"
        with pytest.raises(GearingError, match=both):
            gearing.meshing_module(Gear(12, 0.5), Gear(44, 0.4))

    @pytest.mark.parametrize(("count", "module"), [(0, 0.5), (12, 0.0), (12, -0.5), (12, float("nan"))])
    def test_what_is_no_gear_is_refused(self, count, module):
        with pytest.raises(GearingError, match="check both figures"):
            Gear(count, module)

    @pytest.mark.parametrize(
        "ask",
        [
            lambda: gearing.module_from_pitch(0.0),
            lambda: gearing.pitch_from_module(-1.0),
            lambda: gearing.ratio(0, 44),
            lambda: gearing.rollout(24.0, 0.0),
            lambda: gearing.pinions_in_reach(0.0, 44, 10.0, 12.0),
        ],
    )
    def test_figures_that_divide_by_nothing_are_refused(self, ask):
        with pytest.raises(GearingError, match="above zero; check the figure"):
            ask()


class TestSlot:
    def test_reaches_a_distance_between_its_ends(self):
        reach = gearing.slot_reach(exact(14.0), exact(13.0), exact(16.0))
        assert reach.reaches
        assert reach.margin.value == pytest.approx(1.0)
        assert reach.probability == 1.0

    def test_reaches_its_very_end(self):
        assert gearing.slot_reach(exact(13.0), exact(13.0), exact(16.0)).reaches

    def test_says_by_how_much_it_falls_short(self):
        reach = gearing.slot_reach(exact(17.5), exact(13.0), exact(16.0))
        assert not reach.reaches
        assert reach.margin.value == pytest.approx(-1.5)
        assert reach.probability == 0.0

    def test_at_its_doubtful_end_is_an_even_chance(self):
        reach = gearing.slot_reach(exact(16.0), exact(13.0), Quantity(16.0, 0.1))
        assert reach.probability == pytest.approx(0.5, abs=1e-6)
        assert reach.margin.u == pytest.approx(0.1)

    def test_with_its_ends_the_wrong_way_round_is_refused(self):
        with pytest.raises(GearingError, match="change the two over"):
            gearing.slot_reach(exact(14.0), exact(16.0), exact(13.0))

    def test_in_another_unit_is_refused(self):
        with pytest.raises(QuantityError):
            gearing.slot_reach(exact(14.0), exact(13.0, Unit.GRAM), exact(16.0, Unit.GRAM))

    def test_lists_the_pinions_that_it_takes(self):
        # Module 0.5 with 44 teeth: 12 teeth stand at 14.0, 16 at 15.0.
        assert list(gearing.pinions_in_reach(0.5, 44, 14.0, 15.0)) == [12, 13, 14, 15, 16]

    def test_too_near_for_any_pinion_lists_none(self):
        assert list(gearing.pinions_in_reach(0.5, 44, 5.0, 6.0)) == []

    @few
    @given(modules, teeth, st.floats(5.0, 40.0), st.floats(0.0, 10.0), st.integers(1, 200))
    def test_lists_a_pinion_just_where_its_centre_distance_lies_inside(self, m, spur, low, length, pinion):
        inside = low <= gearing.centre_distance(m, pinion, spur) <= low + length
        clear = min(abs(gearing.centre_distance(m, pinion, spur) - end) for end in (low, low + length)) > 1e-6
        if clear:
            assert (pinion in gearing.pinions_in_reach(m, spur, low, low + length)) == inside
