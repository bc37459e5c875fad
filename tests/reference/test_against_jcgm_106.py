"""Decisions against JCGM 106:2012, *The role of measurement uncertainty in conformity assessment*.

Clause numbers and the figures of the worked examples are from memory; each figure is also what the formula of
its clause gives when worked by hand. Normal probabilities are held against scipy.stats, the global risks of
clause 9 against their double integral (scipy.integrate.dblquad) and against drawing.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import dblquad

from fitcalc.dimensions import Unit
from fitcalc.legality import Car, DecisionRule, Limit, judge
from fitcalc.legality_rules import (
    acceptance_limits,
    conformance_probability,
    global_consumers_risk,
    global_producers_risk,
    guard_band,
)
from fitcalc.quantities import Quantity

ACCEPTANCE, REJECTION = DecisionRule.GUARDED_ACCEPTANCE, DecisionRule.GUARDED_REJECTION


@pytest.mark.parametrize(
    ("probability", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)]
)
def test_table_1_one_sided_tolerance(probability, z):
    # 7.3.3, table 1: z = (y - T_L)/u of a conformance probability.
    assert conformance_probability(z, 1.0, 0.0, np.inf) == pytest.approx(probability, abs=2.5e-3)
    assert conformance_probability(-z, 1.0, -np.inf, 0.0) == pytest.approx(probability, abs=2.5e-3)


def test_the_diodes_breakdown_voltage_in_7_3_example_1():
    # At most -5.40 V; found -5.47 V with u = 0.05 V: Φ(1.4) = 0.92.
    assert conformance_probability(-5.47, 0.05, -np.inf, -5.40) == pytest.approx(0.92, abs=0.005)


def test_the_containers_burst_pressure_in_7_3_example_2():
    # At least 490 kPa; found 509.7 kPa with u = 8.6 kPa: Φ(2.3) = 0.99.
    assert conformance_probability(509.7, 8.6, 490.0, np.inf) == pytest.approx(0.99, abs=0.005)


def test_the_oils_viscosity_in_the_example_of_7_4():
    # 12.5 to 16.3 mm²/s; found 13.6 with u = 1.8: Φ(1.5) - Φ(-0.6) = 0.66.
    assert conformance_probability(13.6, 1.8, 12.5, 16.3) == pytest.approx(0.66, abs=0.005)


def test_simple_acceptance_on_the_limit_may_be_wrong_half_the_time():
    # 8.2: the probability of a wrong acceptance reaches 50 % where the value is on the limit.
    clause = Limit(id=1, quantity="front_width", high=74.0)
    ruling = judge(clause, Car(measured={"front_width": Quantity(74.0, 0.1)}))
    assert ruling.passes
    assert ruling.consumers_risk == pytest.approx(0.5, abs=1e-6)


def test_a_guard_band_of_the_expanded_uncertainty_leaves_a_risk_of_2_3_percent():
    # 8.3.2: w = U with U = 2 u; on the acceptance limit 1 - Φ(2).
    clause = Limit(id=1, quantity="front_width", high=74.0, rule=ACCEPTANCE)
    ruling = judge(clause, Car(measured={"front_width": Quantity(73.8, 0.1)}))
    assert ruling.passes
    assert ruling.accept_high == pytest.approx(73.8)
    assert ruling.consumers_risk == pytest.approx(1.0 - stats.norm.cdf(2.0), abs=1e-6)


def test_the_speed_limit_of_the_example_in_8_3_3():
    # Guarded rejection: limit 100 km/h, u = 2 % of the reading, a fine only at 99.9 % certainty: from
    # 107 km/h, since v (1 - 3.09 x 0.02) = 100. The factor of the guard band is then half of 3.09.
    factor = stats.norm.ppf(0.999) / 2.0
    fined = [
        v
        for v in range(95, 120)
        if v > acceptance_limits(-np.inf, 100.0, -1, guard_band(0.02 * v, factor))[1]
    ]
    assert fined[0] == 107


@pytest.mark.parametrize("rule", [ACCEPTANCE, REJECTION])
def test_the_acceptance_limits_of_a_two_sided_tolerance(rule):
    # 8.3.2 and 8.3.3: A_L = T_L + w, A_U = T_U - w; w below zero for guarded rejection.
    clause = Limit(id=1, quantity="wheelbase", low=94.0, high=98.0, rule=rule)
    ruling = judge(clause, Car(measured={"wheelbase": Quantity(96.0, 0.25)}))
    w = 0.5 if rule is ACCEPTANCE else -0.5
    assert (ruling.accept_low, ruling.accept_high) == pytest.approx((94.0 + w, 98.0 - w))


def test_closed_form_probabilities_agree_with_scipys_normal_distribution():
    rng = np.random.default_rng(106)
    value, u, low = rng.normal(0, 2, 300), rng.uniform(0.05, 3, 300), rng.normal(-1, 1, 300)
    high = low + rng.uniform(0, 4, 300)
    expected = stats.norm.cdf(high, value, u) - stats.norm.cdf(low, value, u)
    assert conformance_probability(value, u, low, high) == pytest.approx(expected, abs=1e-7)


def test_the_specific_risks_of_9_3_add_up_to_the_probability_of_conforming():
    clause = Limit(id=1, quantity="mass", low=120.0, rule=ACCEPTANCE)
    for value in (119.0, 119.9, 120.1, 120.6):
        ruling = judge(clause, Car(measured={"mass": Quantity(value, 0.2, Unit.GRAM)}))
        p = stats.norm.cdf((value - 120.0) / 0.2)
        if ruling.passes:
            assert ruling.consumers_risk == pytest.approx(1.0 - p, abs=1e-6)
        else:
            assert ruling.producers_risk == pytest.approx(p, abs=1e-6)


# Clause 9.5: a field of cars about 73.4 mm with a spread of 0.35 mm, limit 74 mm, measured with u = 0.15 mm.

FIELD = Quantity(73.4, 0.35)
CASES = [
    # low, high, accept_low, accept_high, u
    (None, 74.0, None, 74.0, 0.15),
    (None, 74.0, None, 73.7, 0.15),
    (None, 74.0, None, 74.3, 0.15),
    (73.0, None, 73.1, None, 0.15),
    (73.0, 74.0, 73.0, 74.0, 0.10),
    (73.0, 74.0, 73.2, 73.8, 0.10),
    (73.0, 74.0, 72.8, 74.2, 0.02),
]


def double_integral(low, high, a_low, a_high, u, legal, accepted) -> float:
    """∫∫ g(η) h(y | η) over the true values that are (not) legal and the readings that are (not) accepted."""
    mean, spread = FIELD.value, FIELD.u

    def density(reading, true):
        return stats.norm.pdf(true, mean, spread) * stats.norm.pdf(reading, true, u)

    def pieces(least, most, inside):
        start, end = mean - 8 * spread - 8 * u, mean + 8 * spread + 8 * u
        least, most = start if least is None else least, end if most is None else most
        return [(least, most)] if inside else [(start, least), (most, end)]

    total = 0.0
    for true in pieces(low, high, legal):
        for start, end in pieces(a_low, a_high, accepted):
            # Cut to where there is anything, so that the quadrature's points meet it.
            total += dblquad(
                density,
                *true,
                lambda eta, start=start, end=end: min(max(start, eta - 8 * u), end),
                lambda eta, start=start, end=end: max(min(end, eta + 8 * u), start),
                epsabs=1e-8,
            )[0]
    return total


@pytest.mark.parametrize("case", [CASES[1], CASES[5]])
def test_global_risks_are_the_double_integrals_of_9_5(case):
    low, high, a_low, a_high, u = case
    consumers = global_consumers_risk(FIELD, u, low, high, a_low, a_high)
    producers = global_producers_risk(FIELD, u, low, high, a_low, a_high)
    assert consumers == pytest.approx(double_integral(*case, legal=False, accepted=True), abs=1e-6)
    assert producers == pytest.approx(double_integral(*case, legal=True, accepted=False), abs=1e-6)


@pytest.mark.parametrize("case", CASES)
def test_global_risks_are_what_drawing_cars_and_readings_gives(case):
    low, high, a_low, a_high, u = case
    rng = np.random.default_rng(95)
    true = rng.normal(FIELD.value, FIELD.u, 400_000)
    reading = rng.normal(true, u)

    def within(x, least, most):
        return (x >= (-np.inf if least is None else least)) & (x <= (np.inf if most is None else most))

    legal, accepted = within(true, low, high), within(reading, a_low, a_high)
    for found, drawn in (
        (global_consumers_risk(FIELD, u, low, high, a_low, a_high), np.mean(~legal & accepted)),
        (global_producers_risk(FIELD, u, low, high, a_low, a_high), np.mean(legal & ~accepted)),
    ):
        assert found == pytest.approx(drawn, abs=4 * (drawn / 400_000) ** 0.5 + 1e-5)


def test_accepted_cars_are_the_legal_ones_less_those_turned_away_and_the_illegal_ones_let_through():
    low, high, a_low, a_high, u = CASES[5]
    marginal = stats.norm(FIELD.value, np.hypot(FIELD.u, u))
    accepted = marginal.cdf(a_high) - marginal.cdf(a_low)
    legal = stats.norm.cdf(high, FIELD.value, FIELD.u) - stats.norm.cdf(low, FIELD.value, FIELD.u)
    consumers = global_consumers_risk(FIELD, u, low, high, a_low, a_high)
    producers = global_producers_risk(FIELD, u, low, high, a_low, a_high)
    assert accepted == pytest.approx(legal - producers + consumers, abs=1e-7)


def test_a_wider_guard_band_trades_the_consumers_risk_for_the_producers():
    # 9.5.4 and its figure: R_C falls and R_P rises as the acceptance interval shrinks.
    limits = [74.3, 74.15, 74.0, 73.85, 73.7]
    consumers = [global_consumers_risk(FIELD, 0.15, None, 74.0, None, limit) for limit in limits]
    producers = [global_producers_risk(FIELD, 0.15, None, 74.0, None, limit) for limit in limits]
    assert consumers == sorted(consumers, reverse=True)
    assert producers == sorted(producers)


def test_a_field_without_spread_has_no_global_risk_to_speak_of():
    with pytest.raises(ValueError, match="spread"):
        global_consumers_risk(Quantity(73.4, 0.0), 0.1, None, 74.0, None, 74.0)
