"""Widths, track and the offset conventions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitcalc import wheel

hub_widths = st.floats(10.0, 250.0)
offsets = st.floats(-20.0, 30.0)
rim_widths = st.floats(3.0, 90.0)
spacers = st.floats(0.0, 10.0)
flanges = st.floats(0.0, 30.0)


def close(value):
    return pytest.approx(value, abs=1e-9)


def test_width_adds_offset_spacer_and_rim_on_both_sides():
    # 30 between the hubs; each side 1.5 offset, 0.5 spacer, 9 rim.
    assert wheel.overall_width(30.0, 1.5, 9.0, 0.5) == 52.0


def test_track_runs_between_the_rims_centres():
    assert wheel.track(30.0, 1.5, 9.0, 0.5) == 43.0


def test_scrub_radius_is_half_of_what_the_track_exceeds_the_kingpins_by():
    assert wheel.scrub_radius(43.0, 36.0) == 3.5


def test_wheels_centred_over_their_kingpins_have_no_scrub():
    assert wheel.scrub_radius(40.0, 40.0) == 0.0


def test_kingpins_wider_than_the_track_give_a_negative_scrub():
    assert wheel.scrub_radius(38.0, 40.0) == -1.0


def test_a_front_end_is_named_by_its_width_over_zero_offset_wheels():
    hub_width = wheel.hub_width_from_across(50.0, 8.5)
    assert hub_width == 33.0
    assert wheel.overall_width(hub_width, 0.0, 8.5) == 50.0


def test_a_rim_level_with_the_hub_has_its_whole_width_outboard():
    # Zero offset: the centreline stands half a rim outboard of the face, a negative inset.
    assert wheel.inset_from_offset(0.0, 9.0) == -4.5


def test_a_rim_whose_centre_is_on_the_hubs_face_has_no_inset():
    assert wheel.inset_from_offset(-4.5, 9.0) == 0.0


@given(hub_widths, offsets, rim_widths, spacers, st.floats(-5.0, 5.0))
def test_every_offset_changed_by_d_changes_the_width_and_the_track_by_2d(h, o, w, s, d):
    assert wheel.overall_width(h, o + d, w, s) - wheel.overall_width(h, o, w, s) == close(2.0 * d)
    assert wheel.track(h, o + d, w, s) - wheel.track(h, o, w, s) == close(2.0 * d)


@given(hub_widths, offsets, rim_widths, spacers)
def test_a_spacer_does_what_the_same_offset_does(h, o, w, s):
    assert wheel.overall_width(h, o, w, s) == close(wheel.overall_width(h, o + s, w))
    assert wheel.track(h, o, w, s) == close(wheel.track(h, o + s, w))


@given(hub_widths, offsets, rim_widths, spacers)
def test_the_track_is_one_rim_narrower_than_the_width(h, o, w, s):
    assert wheel.overall_width(h, o, w, s) - wheel.track(h, o, w, s) == close(w)


@given(hub_widths, st.floats(20.0, 350.0), rim_widths, spacers)
def test_the_offset_for_a_width_gives_that_width(h, width, w, s):
    assert wheel.overall_width(h, wheel.offset_for_width(h, width, w, s), w, s) == close(width)


@given(hub_widths, rim_widths)
def test_across_and_hub_width_convert_there_and_back(h, w):
    assert wheel.hub_width_from_across(wheel.across_from_hub_width(h, w), w) == close(h)


@given(offsets, rim_widths)
def test_offset_and_inset_convert_there_and_back(o, w):
    assert wheel.offset_from_inset(wheel.inset_from_offset(o, w), w) == close(o)


@given(offsets, rim_widths, flanges)
def test_offset_and_backspacing_convert_there_and_back(o, w, f):
    assert wheel.offset_from_backspacing(wheel.backspacing_from_offset(o, w, f), w, f) == close(o)


@given(offsets, rim_widths, st.floats(0.01, 5.0))
def test_the_two_conventions_have_opposite_signs(o, w, d):
    assert wheel.inset_from_offset(o + d, w) < wheel.inset_from_offset(o, w)


@given(offsets, rim_widths)
def test_without_flanges_backspacing_is_the_offset_turned_round(o, w):
    assert wheel.backspacing_from_offset(o, w) == close(-o)


def test_arrays_give_what_floats_give():
    h, o, w = np.array([28.0, 30.0]), np.array([-1.0, 2.5]), np.array([8.0, 11.0])
    assert wheel.overall_width(h, o, w).tolist() == [
        wheel.overall_width(28.0, -1.0, 8.0),
        wheel.overall_width(30.0, 2.5, 11.0),
    ]
