"""E_n against ISO/IEC 17043, annex B.3.1 e), quoted from memory: E_n = (x - X) / sqrt(U_lab² + U_ref²).

Expanded uncertainties have k = 2; |E_n| <= 1 is satisfactory. The formula is printed alike on
hn-proficiency.com/Proficiency ("Understanding interlaboratory comparisons and the En-value metric", k = 2).
The worked examples are the round-number ones of that formula, done by hand; the case that the standard's
formula leaves out, a laboratory whose result went into the reference value, is checked against the covariance
matrix of JCGM 100:2008, 5.2.2, and by drawing (JCGM 101). The table is CCQM-K155, see test_against_cox_2002.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitcalc.consensus import Measurement, en, settle

from .test_against_cox_2002 import NAMES, NICKEL_155, TABLES, columns, settled


@pytest.mark.parametrize(
    ("value", "expanded", "reference", "expanded_reference", "expected"),
    [
        # U 0.4 and 0.3 join to 0.5.
        (10.5, 0.4, 10.0, 0.3, 1.0),
        (9.75, 0.4, 10.0, 0.3, -0.5),
        (10.0, 0.4, 10.0, 0.3, 0.0),
        # U 0.12 and 0.05 join to 0.13.
        (50.26, 0.12, 50.0, 0.05, 2.0),
        # A reference without doubt.
        (100.6, 2.0, 100.0, 0.0, 0.3),
    ],
)
def test_e_n_of_an_independent_reference(value, expanded, reference, expanded_reference, expected):
    assert en(value, expanded / 2.0, reference, expanded_reference / 2.0) == pytest.approx(expected)


@pytest.mark.parametrize("table", TABLES, ids=NAMES)
def test_an_outliers_e_n_is_that_of_an_independent_reference(table):
    consensus = settled(table)
    for one in consensus.standings:
        if not one.in_consensus:
            joined = np.hypot(2.0 * one.u, 2.0 * consensus.value.u)
            assert one.en == pytest.approx((one.value - consensus.value.value) / joined)


@pytest.mark.parametrize("table", TABLES, ids=NAMES)
def test_a_members_e_n_has_the_doubt_that_the_whole_covariance_matrix_gives(table):
    # d_i = x_i - Σ w_j x_j is a linear form of independent results: u² = c' diag(u²) c.
    consensus = settled(table)
    _, u = columns(table)
    weights = np.array([one.weight for one in consensus.standings])
    for i, one in enumerate(consensus.standings):
        sensitivity = -weights
        sensitivity[i] += 1.0
        u_difference = np.sqrt(sensitivity @ np.diag(u**2) @ sensitivity)
        assert one.en == pytest.approx(one.difference / (2.0 * u_difference))


def test_taking_a_member_as_independent_would_make_it_look_better_than_it_is():
    consensus = settled(NICKEL_155)
    heaviest = max(consensus.standings, key=lambda one: one.weight)
    careless = en(heaviest.value, heaviest.u, consensus.value.value, consensus.value.u)
    assert abs(careless) < 0.75 * abs(heaviest.en)


def test_e_n_of_honest_members_exceeds_one_as_seldom_as_k_2_promises():
    # 4.55 % of a normal distribution lie beyond two standard uncertainties.
    rng = np.random.default_rng(11)
    u = np.array([0.02, 0.05, 0.05, 0.1])
    scores = []
    for values in 50.0 + rng.normal(0.0, u, (700, 4)):
        readings = [Measurement(value, d, i) for i, (value, d) in enumerate(zip(values, u, strict=True))]
        scores += [one.en for one in settle(readings, level=0.0).standings]
    assert np.mean(np.abs(scores) > 1.0) == pytest.approx(0.0455, abs=0.013)


def test_a_member_with_two_readings_is_scored_as_one_who_read_twice_with_one_doubt():
    # Both readings share their doubt, so the second changes neither the value nor the standing.
    once = settle([Measurement(50.0, 0.05, "a"), Measurement(50.1, 0.05, "b")])
    twice = settle([*[Measurement(50.0, 0.05, "a")] * 2, Measurement(50.1, 0.05, "b")])
    assert twice.standings[0].en == pytest.approx(once.standings[0].en)
    assert [score.en for score in twice.scores[:2]] == pytest.approx([once.standings[0].en] * 2)
