"""Clauses, the three decision rules, and what is not known."""

from __future__ import annotations

from time import perf_counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcalc.dimensions import Unit
from fitcalc.legality import (
    BODY,
    Car,
    ClassVerdict,
    DecisionRule,
    LegalityError,
    Limit,
    Listing,
    Required,
    Source,
    judge,
    judge_all,
    worst,
)
from fitcalc.quantities import Quantity

COMPLIES, NOT_CHECKED, TOO_CLOSE, DOES_NOT = ClassVerdict
SIMPLE, ACCEPTANCE, REJECTION = DecisionRule
few = settings(max_examples=60, deadline=None)


def width(high=74.0, low=None, rule=SIMPLE, factor=1.0, quantity="front_width") -> Limit:
    return Limit(id=1, quantity=quantity, low=low, high=high, rule=rule, factor=factor)


def measured(value, u=0.1, key="front_width", unit=Unit.MM) -> Car:
    return Car(measured={key: Quantity(value, u, unit)})


def computed(value, u=0.1, key="front_width") -> Car:
    return Car(computed={key: Quantity(value, u)})


# The three rules beside one limit of 74 mm, U = 0.2 mm.


@pytest.mark.parametrize(
    ("rule", "value", "verdict", "passes"),
    [
        (SIMPLE, 73.95, COMPLIES, True),
        (SIMPLE, 74.05, DOES_NOT, False),
        (ACCEPTANCE, 73.75, COMPLIES, True),
        (ACCEPTANCE, 73.85, TOO_CLOSE, False),
        (ACCEPTANCE, 74.05, DOES_NOT, False),
        (REJECTION, 73.95, COMPLIES, True),
        (REJECTION, 74.15, TOO_CLOSE, True),
        (REJECTION, 74.25, DOES_NOT, False),
    ],
)
def test_a_measured_width_beside_its_limit(rule, value, verdict, passes):
    ruling = judge(width(rule=rule), measured(value))
    assert (ruling.verdict, ruling.passes, ruling.source) == (verdict, passes, Source.MEASURED)


@pytest.mark.parametrize("rule", DecisionRule)
def test_a_width_that_stands_on_the_limit_without_doubt_complies(rule):
    assert judge(width(rule=rule), measured(74.0, 0.0)).verdict is COMPLIES
    assert judge(width(high=None, low=74.0, rule=rule), measured(74.0, 0.0)).verdict is COMPLIES


def test_a_value_on_the_acceptance_limit_itself_is_accepted():
    assert judge(width(rule=ACCEPTANCE), measured(73.8)).passes is True
    assert judge(width(rule=REJECTION), measured(74.2)).passes is True


@pytest.mark.parametrize(
    ("value", "verdict"), [(73.7, COMPLIES), (73.9, TOO_CLOSE), (74.1, TOO_CLOSE), (74.3, DOES_NOT)]
)
def test_a_computed_width_near_the_limit_is_too_close_until_it_is_measured(value, verdict):
    ruling = judge(width(), computed(value))
    assert ruling.verdict is verdict
    assert ruling.passes is (value <= 74.0)
    assert ruling.source is Source.COMPUTED


def test_the_guard_band_grows_with_the_factor_of_the_clause():
    ruling = judge(width(rule=ACCEPTANCE, factor=0.5), measured(73.85))
    assert ruling.verdict is COMPLIES
    assert ruling.accept_high == pytest.approx(73.9)
    assert ruling.accept_low is None


@few
@given(st.floats(70, 78), st.floats(0.0, 1.0), st.floats(0.0, 2.0))
def test_guarded_acceptance_is_never_milder_and_guarded_rejection_never_harder_than_simple(value, u, factor):
    hard, plain, mild = (
        judge(width(rule=rule, factor=factor), measured(value, u)).passes
        for rule in (ACCEPTANCE, SIMPLE, REJECTION)
    )
    assert hard <= plain <= mild


@few
@given(st.floats(-3, 3), st.floats(0.01, 1.0), st.sampled_from(DecisionRule))
def test_a_least_value_is_judged_as_a_greatest_one_seen_in_a_mirror(off, u, rule):
    at_most = judge(width(high=74.0, rule=rule), measured(74.0 + off, u))
    at_least = judge(width(high=None, low=74.0, rule=rule), measured(74.0 - off, u))
    assert at_most.verdict is at_least.verdict
    assert at_most.probability == pytest.approx(at_least.probability)
    assert at_most.margin == pytest.approx(at_least.margin)


def test_margin_probability_and_risk_of_a_car_that_passes():
    ruling = judge(width(), measured(73.9))
    assert ruling.margin == pytest.approx(0.1)
    assert ruling.probability == pytest.approx(0.8413, abs=1e-4)  # one standard uncertainty inside
    assert ruling.consumers_risk == pytest.approx(0.1587, abs=1e-4)
    assert ruling.producers_risk is None


def test_a_car_turned_away_carries_the_risk_of_being_legal():
    ruling = judge(width(), measured(74.1))
    assert ruling.margin == pytest.approx(-0.1)
    assert ruling.producers_risk == pytest.approx(0.1587, abs=1e-4)
    assert ruling.consumers_risk is None


def test_a_doubt_wider_than_the_tolerance_accepts_nothing_and_says_so():
    clause = width(low=73.9, high=74.1, rule=ACCEPTANCE)
    ruling = judge(clause, measured(74.0, 0.1))
    assert ruling.too_doubtful
    assert (ruling.verdict, ruling.passes, ruling.change) == (TOO_CLOSE, False, None)
    assert not judge(clause, measured(74.0, 0.04)).too_doubtful


@pytest.mark.parametrize(("value", "change"), [(73.7, None), (73.9, -0.1), (75.0, -1.2), (69.0, 1.2)])
def test_it_says_by_how_much_a_failing_width_has_to_change(value, change):
    ruling = judge(width(low=70.0, high=74.0, rule=ACCEPTANCE), measured(value))
    assert ruling.change == (None if change is None else pytest.approx(change))


# What is known, and from where


def test_a_missing_measurement_is_never_a_pass():
    ruling = judge(width(rule=REJECTION), Car())
    assert (ruling.verdict, ruling.passes, ruling.value) == (NOT_CHECKED, None, None)
    assert judge_all([width()], [Car()]).legal == [None]


def test_what_was_measured_counts_before_what_is_computed():
    car = Car(computed={"front_width": Quantity(73.0, 0.1)}, measured={"front_width": Quantity(74.5, 0.1)})
    ruling = judge(width(), car)
    assert (ruling.verdict, ruling.source) == (DOES_NOT, Source.MEASURED)
    assert ruling.computed.value == 73.0
    assert ruling.disagrees
    assert ruling.en == pytest.approx(1.5 / (2 * 0.1 * 2**0.5))


def test_a_measurement_within_the_doubt_of_both_does_not_disagree():
    car = Car(computed={"front_width": Quantity(73.0, 0.1)}, measured={"front_width": Quantity(73.2, 0.1)})
    assert not judge(width(), car).disagrees
    assert judge(width(), measured(73.0)).en is None


def test_the_overall_width_is_that_of_the_wider_axle():
    both = {"front_width": Quantity(72.0, 0.1), "rear_width": Quantity(74.5, 0.2)}
    ruling = judge(width(quantity="width"), Car(measured=both))
    assert (ruling.verdict, ruling.value) == (DOES_NOT, both["rear_width"])
    one = judge(width(quantity="width"), Car(measured={"front_width": both["front_width"]}))
    assert one.verdict is NOT_CHECKED


@pytest.mark.parametrize(
    "wrong",
    [
        {"quantity": "colour"},
        {"high": None},
        {"low": 75.0},
        {"high": float("nan")},
        {"factor": -0.1},
    ],
)
def test_what_is_no_limit_is_refused(wrong):
    with pytest.raises(LegalityError):
        width(**wrong)


def test_a_mass_in_millimetres_is_refused():
    with pytest.raises(LegalityError, match="give it in g"):
        judge(Limit(id=1, quantity="mass", low=120.0), measured(130.0, key="mass"))


# Lists and required things


def test_an_allow_list_names_what_may_not_be_there():
    clause = Listing(id=1, kind="motor", ids=frozenset({"a", "b"}))
    assert judge(clause, Car(fitted={"motor": frozenset({"a"})})).verdict is COMPLIES
    ruling = judge(clause, Car(fitted={"motor": frozenset({"a", "z"})}))
    assert (ruling.verdict, ruling.passes, ruling.culprits) == (DOES_NOT, False, ("z",))


def test_a_deny_list_lets_everything_else_pass():
    clause = Listing(id=1, kind=BODY, ids=frozenset({7}), allows=False)
    assert judge(clause, Car(fitted={BODY: frozenset({8})})).passes is True
    ruling = judge(clause, Car(fitted={BODY: frozenset({7})}))
    assert (ruling.passes, ruling.culprits) == (False, (7,))


def test_a_kind_that_nobody_noted_is_not_checked():
    assert judge(Listing(id=1, kind="motor", ids=frozenset()), Car()).verdict is NOT_CHECKED
    assert judge(Required(id=1, kind="motor"), Car()).verdict is NOT_CHECKED


def test_a_required_thing_is_there_or_is_not():
    any_motor = Required(id=1, kind="motor")
    this_motor = Required(id=2, kind="motor", ids=frozenset({"a"}))
    with_b = Car(fitted={"motor": frozenset({"b"})})
    assert judge(any_motor, with_b).passes is True
    assert judge(this_motor, with_b).passes is False
    assert judge(any_motor, Car(fitted={"motor": frozenset()})).passes is False


def test_what_only_an_inspector_can_see_waits_for_an_inspector():
    bumper = Required(id=3, wording="A foam bumper.")
    assert judge(bumper, Car(fitted={"motor": frozenset({"a"})})).verdict is NOT_CHECKED
    yes = judge(bumper, Car(seen={3: True}))
    no = judge(bumper, Car(seen={3: False}))
    assert (yes.verdict, yes.source) == (COMPLIES, Source.SEEN)
    assert (no.verdict, no.passes) == (DOES_NOT, False)


# A whole entry list


def entry_list(number, rng) -> list[Car]:
    cars = []
    for _ in range(number):
        known = {
            key: Quantity(float(rng.normal(centre, 0.5)), 0.1)
            for key, centre in (("front_width", 73.5), ("rear_width", 74.0), ("wheelbase", 98.0))
            if rng.random() > 0.1
        }
        taken = {
            key: Quantity(q.value + float(rng.normal(0, 0.2)), 0.05)
            for key, q in known.items()
            if rng.random() > 0.5
        }
        fitted = {"motor": frozenset({int(rng.integers(5))})} if rng.random() > 0.2 else {}
        cars.append(Car(computed=known, measured=taken, fitted=fitted))
    return cars


def rulebook(number) -> list:
    keys = ("front_width", "rear_width", "wheelbase", "width")
    limits = [
        Limit(id=i, quantity=keys[i % 4], low=40.0 + i, high=98.0 - 0.8 * i, rule=list(DecisionRule)[i % 3])
        for i in range(number - 2)
    ]
    return [*limits, Listing(id="motors", kind="motor", ids=frozenset({0, 1})), Required(id="bumper")]


def test_an_entry_list_is_judged_as_each_car_by_itself():
    cars, clauses = entry_list(12, np.random.default_rng(4)), rulebook(8)
    together = judge_all(clauses, cars)
    for i, car in enumerate(cars):
        alone = [judge(clause, car) for clause in clauses]
        assert together.of(i) == alone
        assert together.worst[i] is worst(ruling.verdict for ruling in alone)
        answers = {ruling.passes for ruling in alone}
        assert together.legal[i] is (False if False in answers else None if None in answers else True)


def test_a_rulebook_without_clauses_forbids_nothing():
    nothing = judge_all([], [Car(), Car()])
    assert nothing.worst == [COMPLIES, COMPLIES]
    assert nothing.legal == [True, True]
    assert worst([]) is COMPLIES


def test_a_thousand_entries_against_thirty_clauses_take_well_under_a_second():
    cars, clauses = entry_list(1000, np.random.default_rng(5)), rulebook(30)
    started = perf_counter()
    rulings = judge_all(clauses, cars)
    assert len(rulings.worst) == len(rulings.legal) == 1000
    assert perf_counter() - started < 0.8
