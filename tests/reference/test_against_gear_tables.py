"""Gear pitches and centre distances against published tables.

EQUIVALENT: Machinery's Handbook, 31st ed., p. 2299, "Equivalent Diametral Pitches, Circular Pitches, and
    Metric Modules": diametral pitch, module in mm (it cuts some figures and rounds others).
PITCHES: tandwiel.info, "Pitch - metric module - diametral pitch - circular pitch", the small end of its
    table: circular pitch in mm, module in mm, diametral pitch. METRIC is from the same.
SERIES_I: ISO 54:1996, cylindrical gears, the modules of series I up to 2, from memory; it starts at 1, and
    those below are common in small gears (common practice, no source).
"""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from fitcalc import gearing
from fitcalc.gearing import Gear, GearingError

EQUIVALENT = [
    (11, 2.3091),
    (12, 2.1167),
    (14, 1.8143),
    (15, 1.6933),
    (16, 1.5875),
    (17, 1.4941),
    (18, 1.4111),
    (19, 1.3368),
    (20, 1.2700),
    (22, 1.1545),
    (24, 1.0583),
    (25, 1.0160),
    (26, 0.9769),
    (28, 0.9071),
    (30, 0.8467),
    (32, 0.7937),
    (34, 0.7470),
    (36, 0.7056),
    (38, 0.6684),
    (40, 0.6350),
    (42, 0.6048),
    (44, 0.5773),
    (46, 0.5522),
    (48, 0.5292),
    (50, 0.5080),
]
PITCHES = [(0.99746, 0.3175, 80), (1.10828, 0.3528, 72), (1.24682, 0.3969, 64), (1.32994, 0.4233, 60)]
METRIC = [(0.62831, 0.2000), (0.78540, 0.2500), (0.94248, 0.3000), (1.00531, 0.3200), (1.25664, 0.4000)]
SERIES_I = [0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.25, 1.5, 2.0]


LAST_DIGIT = 6e-5


def test_the_tables_diametral_pitches_give_their_modules():
    pitches, modules = np.array(EQUIVALENT + [(pitch, module) for _, module, pitch in PITCHES]).T
    np.testing.assert_allclose(gearing.module_from_pitch(pitches), modules, atol=LAST_DIGIT, rtol=0.0)


def test_the_tables_modules_give_their_diametral_pitches():
    pitches, modules = np.array(EQUIVALENT).T
    np.testing.assert_allclose(gearing.pitch_from_module(modules) / pitches, 1.0, atol=LAST_DIGIT / 0.5)


def test_teeth_stand_the_tables_circular_pitch_apart_on_the_pitch_circle():
    circular, modules = np.array(METRIC + [(p, m) for p, m, _ in PITCHES]).T
    np.testing.assert_allclose(pi * gearing.pitch_diameter(modules, 48) / 48, circular, rtol=2e-4)


def test_a_pair_in_inches_stands_apart_by_the_teeth_over_twice_the_pitch():
    # Machinery's Handbook, formulas for spur gears, from memory: C = (N_G + N_P) / (2 P), inches.
    pitches = np.array([pitch for pitch, _ in EQUIVALENT])
    apart = gearing.centre_distance(gearing.module_from_pitch(pitches), 18, 72)
    np.testing.assert_allclose(apart, 25.4 * (72 + 18) / (2.0 * pitches), rtol=1e-12)


def test_two_pitch_circles_touch_at_the_centre_distance():
    modules = np.array(SERIES_I)
    radii = sum(gearing.pitch_diameter(modules, teeth) / 2.0 for teeth in (12, 44))
    np.testing.assert_allclose(gearing.centre_distance(modules, 12, 44), radii, rtol=1e-12)


def test_no_two_modules_of_the_series_mesh():
    for one in SERIES_I:
        for other in SERIES_I:
            if one == other:
                assert gearing.meshing_module(Gear(12, one), Gear(44, other)) == one
            else:
                with pytest.raises(GearingError):
                    gearing.meshing_module(Gear(12, one), Gear(44, other))


@pytest.mark.parametrize(("_", "module", "pitch"), PITCHES)
def test_a_module_as_the_table_rounds_it_is_still_that_pitch(_, module, pitch):
    assert gearing.meshing_module(Gear(12, module), Gear(44, gearing.module_from_pitch(pitch)))
