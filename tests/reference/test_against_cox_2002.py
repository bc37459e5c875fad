"""Consensus against Cox 2002 (Metrologia 39, 589-595), procedure A, on published key comparisons.

Procedure A, quoted from memory: the weighted mean y with u(y)^-2 = Σ u_i^-2; χ² = Σ (x_i - y)² / u_i²;
consistent unless P(χ²(n - 1) > χ²) < 0.05; degrees of equivalence d_i = x_i - y with u²(d_i) = u_i² - u²(y).
The largest consistent subset is Cox 2007 (Metrologia 44, 187-200).

The tables, with what their source publishes of them:

NICKEL: CCQM-K145, nickel in bovine liver, mg/kg, as printed in the supplementary R code of Possolo, Hibbert,
    Stohner, Bodnar and Meija, *A brief guide to measurement uncertainty (IUPAC technical report)*,
    example 4F: Q(16) = 40.1205, p = 0.0007.
IRIDIUM: molar mass, g/mol, example 3E of the same: Q(2) = 9.61, p = 0.0082, from doubts before rounding.
EFFECTS: the example of ``meta.chitest`` in the R package vcmeta: Q = 2.706526 on 3, p = 0.4391195.
CADMIUM: CCQM-K49, mg/kg, from the NIST Decision Tree (usnistgov/NIST-Decision-Tree): expanded uncertainties
    and k as reported, reference value 0.0976.
NICKEL_155: CCQM-K155 sample A, mg/kg, from the same: VNIIFTRI is left out there, consensus 4.547, u 0.032.
PCB28: CCQM-K25, ng/g, from the same.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from scipy import stats

from fitcalc.consensus import Agreement, Measurement, chi_square, settle
from fitcalc.subsets import largest_consistent_subsets, weighted_mean

NICKEL = {
    "JSI": (1.930, 0.110),
    "INMC": (1.940, 0.064),
    "GLHK": (1.942, 0.092),
    "LNE": (1.958, 0.075),
    "NIST": (1.984, 0.020),
    "KRISS": (1.993, 0.033),
    "INACAL": (2.010, 0.060),
    "NMIA": (2.020, 0.050),
    "NIM": (2.022, 0.023),
    "NMIJ": (2.050, 0.020),
    "RISE": (2.055, 0.052),
    "NRC": (2.070, 0.050),
    "PTB": (2.077, 0.035),
    "LATU": (2.080, 0.059),
    "LGC": (2.131, 0.042),
    "UME": (2.150, 0.030),
    "HSA": (2.180, 0.080),
}
IRIDIUM = {
    "Chang": (192.21677, 0.00081),
    "Walczyk": (192.21662, 0.00029),
    "Zhu": (192.21763, 0.00017),
}
EFFECTS = {"1": (0.297, 0.082), "2": (0.324, 0.051), "3": (0.281, 0.047), "4": (0.149, 0.094)}
CADMIUM = {
    "BAM": (0.0978, 0.0006 / 2),
    "IAEA": (0.099, 0.003 / 2),
    "LNE": (0.0930, 0.0026 / 2),
    "NIM": (0.0975, 0.0015 / 2),
    "NIST": (0.0966, 0.0013 / 2),
    "NMIA": (0.1000, 0.0062 / 2.18),
    "NMIJ": (0.0963, 0.0021 / 2),
    "TUBITAK": (0.110, 0.0025 / 2),
}
NICKEL_155 = {
    "FTMC": (4.280, 0.650),
    "NIMT": (4.320, 0.071),
    "RISE": (4.480, 0.150),
    "NRC": (4.522, 0.022),
    "KRISS": (4.534, 0.020),
    "UME": (4.568, 0.019),
    "NMIA": (4.580, 0.070),
    "NMIJ": (4.620, 0.060),
    "UNIIM": (4.700, 0.450),
    "NIM": (4.744, 0.090),
    "VNIIFTRI": (6.670, 0.380),
}
PCB28 = {
    "IRMM": (34.3, 1.03),
    "KRISS": (32.9, 0.69),
    "NARL": (34.53, 0.83),
    "NIST": (32.42, 0.29),
    "NMIJ": (31.9, 0.40),
    "NRC": (35.8, 0.38),
}
TABLES = [NICKEL, IRIDIUM, EFFECTS, CADMIUM, NICKEL_155, PCB28]
NAMES = ["K145 nickel", "iridium", "effects", "K49 cadmium", "K155 nickel", "K25 PCB 28"]


def settled(table):
    return settle([Measurement(value, u, lab) for lab, (value, u) in table.items()])


def columns(table):
    values, u = np.array(list(table.values())).T
    return values, u


def test_the_test_statistic_of_k145_is_the_published_one():
    observed, degrees, probability = chi_square(*columns(NICKEL))
    assert observed == pytest.approx(40.1205, abs=5e-5)
    assert degrees == 16
    assert probability == pytest.approx(0.0007, abs=1e-4)


def test_the_test_statistic_of_iridium_is_the_published_one():
    # The doubts are printed to two digits: χ² follows them to a few per cent.
    observed, degrees, probability = chi_square(*columns(IRIDIUM))
    assert observed == pytest.approx(9.61, abs=0.1)
    assert degrees == 2
    assert probability == pytest.approx(0.0082, abs=4e-4)


def test_a_consistent_table_has_the_published_statistic_and_keeps_everyone():
    consensus = settled(EFFECTS)
    assert consensus.chi_square == pytest.approx(2.706526, abs=5e-7)
    assert consensus.probability == pytest.approx(0.4391195, abs=5e-8)
    assert consensus.agreement is Agreement.AGREED


def test_without_its_two_outliers_cadmium_settles_at_the_published_reference_value():
    consensus = settled(CADMIUM)
    assert consensus.outliers == ("LNE", "TUBITAK")
    assert consensus.value.value == pytest.approx(0.0976, abs=5e-5)


def test_k155_names_the_laboratory_that_was_left_out_and_settles_within_the_published_doubt():
    consensus = settled(NICKEL_155)
    assert "VNIIFTRI" in consensus.outliers
    assert consensus.value.value == pytest.approx(4.547, abs=0.032)


@pytest.mark.parametrize("table", TABLES, ids=NAMES)
def test_the_steps_of_procedure_a_on_all_laboratories(table):
    values, u = columns(table)
    mean, u_mean = weighted_mean(values, u)
    assert mean == pytest.approx(np.average(values, weights=u**-2.0), rel=1e-12)
    assert u_mean == pytest.approx(np.sum(u**-2.0) ** -0.5, rel=1e-12)
    observed, degrees, probability = chi_square(values, u)
    assert observed == pytest.approx(np.sum(((values - mean) / u) ** 2), rel=1e-9)
    assert probability == pytest.approx(stats.chi2.sf(observed, degrees), rel=1e-9)


@pytest.mark.parametrize("table", TABLES, ids=NAMES)
def test_the_largest_consistent_subset_is_the_one_that_walking_all_subsets_finds(table):
    values, u = columns(table)
    expected = walked(values, u)
    found = [frozenset(np.flatnonzero(mask).tolist()) for mask in largest_consistent_subsets(values, u)]
    assert set(found) == expected


@pytest.mark.parametrize("kind", range(4), ids=["plain", "equal doubts", "rounded", "rounded, equal doubts"])
def test_of_random_tables_too_with_ties_and_equal_results_among_them(kind):
    for seed in range(kind, 40, 4):
        check_random_table(seed)


def check_random_table(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 10))
    u = rng.choice([0.02, 0.05, 0.1], count) if seed % 2 else rng.uniform(0.02, 0.15, count)
    values = 50.0 + rng.normal(0.0, u) + rng.choice([0.0, 0.0, 0.3, 1.0], count)
    if seed % 4 >= 2:
        values = np.round(values, 1)
    found = [frozenset(np.flatnonzero(mask).tolist()) for mask in largest_consistent_subsets(values, u)]
    assert set(found) == walked(values, u)


@pytest.mark.parametrize("table", TABLES, ids=NAMES)
def test_degrees_of_equivalence_have_the_doubt_of_cox_inside_and_outside_the_consensus(table):
    consensus = settled(table)
    for one in consensus.standings:
        sign = -1.0 if one.in_consensus else 1.0
        variance = one.u**2 + sign * consensus.value.u**2
        assert one.difference == pytest.approx(one.value - consensus.value.value)
        assert one.u_difference == pytest.approx(variance**0.5)


def walked(values, u) -> set[frozenset[int]]:
    """All largest consistent subsets with the least χ², by trying every one, largest first."""
    for size in range(len(values), 0, -1):
        limit = stats.chi2.ppf(0.95, size - 1) if size > 1 else 0.0
        tried = []
        for chosen in combinations(range(len(values)), size):
            x, d = values[list(chosen)], u[list(chosen)]
            mean = np.average(x, weights=d**-2.0)
            tried.append((float(np.sum(((x - mean) / d) ** 2)), frozenset(chosen)))
        least = min(chi for chi, _ in tried)
        if least <= limit + 1e-12:
            return {chosen for chi, chosen in tried if chi <= least + 1e-9 * (1.0 + least)}
    raise AssertionError("a single one is always consistent")
