"""Decisions against ISO 14253-1, *Decision rules for verifying conformity or nonconformity with
specifications*.

From memory. The rule splits the line by the expanded uncertainty U (k = 2) either side of a specification
limit: conformity is verified inside the limit by U or more, nonconformity beyond it by U or more, and between
the two neither is (1998 and 2013, clause 5; the 2017 edition asks for 95 % instead, a guard band of 1.65 u).
"""

from __future__ import annotations

import pytest
from scipy import stats

from fitcalc.legality import Car, ClassVerdict, DecisionRule, Limit, judge
from fitcalc.quantities import Quantity

U = 0.01
LOW, HIGH = 9.95, 10.05


def ruling(value: float, rule: DecisionRule, factor: float = 1.0):
    clause = Limit(id=1, quantity="ground_clearance", low=LOW, high=HIGH, rule=rule, factor=factor)
    return judge(clause, Car(measured={"ground_clearance": Quantity(value, U / 2)}))


def conformity_verified(value: float) -> bool:
    return ruling(value, DecisionRule.GUARDED_ACCEPTANCE).verdict is ClassVerdict.COMPLIES


def nonconformity_verified(value: float) -> bool:
    return ruling(value, DecisionRule.GUARDED_REJECTION).verdict is ClassVerdict.DOES_NOT_COMPLY


@pytest.mark.parametrize(
    ("value", "zone"),
    [
        (9.9300, "nonconformity"),
        (9.9399, "nonconformity"),
        (9.9401, "neither"),
        (9.9599, "neither"),
        (9.9601, "conformity"),
        (10.0000, "conformity"),
        (10.0399, "conformity"),
        (10.0401, "neither"),
        (10.0599, "neither"),
        (10.0601, "nonconformity"),
    ],
)
def test_the_three_zones_of_a_two_sided_specification(value, zone):
    found = (conformity_verified(value), nonconformity_verified(value))
    assert (
        found
        == {"conformity": (True, False), "nonconformity": (False, True), "neither": (False, False)}[zone]
    )


@pytest.mark.parametrize("value", [9.9401, 9.9599, 10.0401, 10.0599])
def test_in_the_zone_of_uncertainty_who_has_to_prove_it_loses(value):
    # Clause 6: the supplier proves conformity, the customer nonconformity.
    assert ruling(value, DecisionRule.GUARDED_ACCEPTANCE).passes is False
    assert ruling(value, DecisionRule.GUARDED_REJECTION).passes is True


def test_a_guard_band_of_1_65_u_verifies_conformity_at_95_percent():
    factor = stats.norm.ppf(0.95) / 2.0
    assert factor * U == pytest.approx(1.645 * U / 2, rel=1e-3)
    limit = ruling(10.0, DecisionRule.GUARDED_ACCEPTANCE, factor).accept_high
    on_it = ruling(limit, DecisionRule.GUARDED_ACCEPTANCE, factor)
    assert on_it.verdict is ClassVerdict.COMPLIES
    assert on_it.probability == pytest.approx(0.95, abs=1e-6)


def test_a_tolerance_narrower_than_twice_u_cannot_be_verified_at_all():
    clause = Limit(
        id=1, quantity="ground_clearance", low=9.995, high=10.005, rule=DecisionRule.GUARDED_ACCEPTANCE
    )
    found = judge(clause, Car(measured={"ground_clearance": Quantity(10.0, U / 2)}))
    assert found.too_doubtful
    assert found.passes is False
