"""What the solver makes of the demo: bodies that fit, only just, or not, each for a reason to be seen."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import pytest
from django.db import connection, transaction

from fitcalc import parts as calc
from fitcalc.findings import Rule, Verdict
from fitcalc.parts import Axle
from fitcalc.solver import Match
from setups.models import Body
from setups.services.fitting import answer
from setups.services.twins import beside
from tests.setups.test_demo import run

pytestmark = pytest.mark.one_database


@dataclass(frozen=True)
class Outcome:
    """What the library answers for one body over all platforms of its scale."""

    fitting: int
    matches: tuple[Match, ...]
    misses: tuple[Match, ...]

    @property
    def body(self) -> calc.Body:
        return (*self.matches, *self.misses)[0].report.body

    @property
    def verdict(self) -> Verdict | None:
        return min((m.report.verdict for m in self.matches), key=lambda v: v.gravity, default=None)


@pytest.fixture(scope="module")
def outcomes(django_db_setup, django_db_blocker) -> dict[str, Outcome]:
    """Every body of the demo solved once; the rows are rolled back, the answers are plain records."""
    with django_db_blocker.unblock():
        with transaction.atomic():
            run()
            bodies = Body.objects.prefetch_related("dimensions", "part_rules")
            solved = {(body.name, body.scale): answer(body) for body in bodies}
            transaction.set_rollback(True)
        connection.close()
    return {
        name: Outcome(
            sum(found.solution.fitting for found in answered.platforms),
            tuple(match for found in answered.platforms for match in found.solution.matches),
            tuple(miss for found in answered.platforms for miss in found.solution.near_misses),
        )
        for (name, _), answered in solved.items()
    }


def test_most_bodies_clearly_fit_something(outcomes):
    assert sum(outcome.verdict is Verdict.FITS for outcome in outcomes.values()) >= 40


def test_a_few_bodies_fit_one_set_and_no_other(outcomes):
    only = {name for name, outcome in outcomes.items() if len(outcome.matches) == 1}
    assert only == {"Whinchat Works Car", "Goldcrest Micro", "Smew Streamliner"}
    assert all(outcomes[name].verdict is Verdict.FITS for name in only)


def test_a_few_bodies_are_too_close_to_call(outcomes):
    close = {name for name, outcome in outcomes.items() if outcome.verdict is Verdict.CLOSE}
    assert close == {"Bullfinch Van", "Yellowhammer Ice Racer", "Scaup Roadster", "Oystercatcher Saloon"}


@pytest.mark.parametrize(
    ("name", "rule", "axle"),
    [
        ("Phalarope Record Car", Rule.WHEELBASE, None),
        ("Flat Sixpence", Rule.WHEELBASE, None),
        ("Wryneck Special", Rule.FLUSH, Axle.FRONT),
        ("Pochard Truck", Rule.FLUSH, Axle.REAR),
        ("Sanderling Beach Car", Rule.BUMP, Axle.FRONT),
        ("Chough Vintage", Rule.ARCH, Axle.REAR),
    ],
)
def test_what_fits_nothing_is_told_the_one_rule_that_it_misses(outcomes, name, rule, axle):
    outcome = outcomes[name]
    assert outcome.fitting == 0
    missed = [miss.report.failing for miss in outcome.misses]
    assert (rule, axle) in [(failing[0].rule, failing[0].axle) for failing in missed if len(failing) == 1]


def test_nothing_else_fits_nothing(outcomes):
    assert sum(outcome.fitting == 0 for outcome in outcomes.values()) == 6


def test_the_record_car_is_a_millimetre_and_a_half_longer_than_any_chain(outcomes):
    misses = [
        finding.margin
        for miss in outcomes["Phalarope Record Car"].misses
        for finding in miss.report.failing
        if finding.rule is Rule.WHEELBASE
    ]
    assert max(misses) == pytest.approx(-1.5, abs=0.1)


def test_what_nobody_has_measured_is_not_known_and_not_a_failure(outcomes):
    unknown = {name for name, outcome in outcomes.items() if outcome.verdict is Verdict.UNKNOWN}
    assert unknown == {"Kittiwake Silhouette", "Chiffchaff Pick-up", "Lowtide Wedge"}
    missing = {
        name: {key for finding in outcomes[name].matches[0].report.findings for key in finding.missing}
        for name in unknown
    }
    assert missing == {
        "Kittiwake Silhouette": {"front_arch_width", "rear_arch_width"},
        "Chiffchaff Pick-up": {"layouts"},
        "Lowtide Wedge": {"body_mount"},
    }


def test_one_wheelbase_is_scaled_from_the_full_size_car(outcomes):
    assert [name for name, outcome in outcomes.items() if outcome.body.wheelbase_predicted] == [
        "Oystercatcher Saloon"
    ]


def test_some_bodies_take_one_layout_only_and_some_either(outcomes):
    taken = Counter(
        len(outcome.body.layouts) for outcome in outcomes.values() if outcome.body.layouts is not None
    )
    assert taken[1] >= 15
    assert taken[2] >= 15
    assert [name for name, outcome in outcomes.items() if outcome.body.layouts is None] == [
        "Chiffchaff Pick-up"
    ]


def test_a_body_whose_maker_states_a_front_end_and_offsets_is_answered_with_them_first(outcomes):
    stated = [
        outcome
        for outcome in outcomes.values()
        if outcome.verdict is Verdict.FITS and outcome.body.designated_front_width is not None
    ]
    assert len(stated) >= 35
    assert all(outcome.matches[0].designated for outcome in stated)


@pytest.mark.django_db
def test_the_same_width_on_a_narrower_front_end_is_there_to_compare_and_steers_less():
    """A narrower front end with more offset: the same width, more scrub radius, less lock."""
    run()
    body = Body.objects.prefetch_related("dimensions", "part_rules").get(name="Guillemot Saloon")
    matches = answer(body, limit=500).platforms[0].solution.matches
    found = [compared for match in matches if (compared := beside(match, matches))]
    assert found
    for compared in found:
        assert compared.scrub_now.value > compared.scrub_was.value + 1
        assert compared.lock_now.value < compared.lock_was.value
        assert compared.travel_now.value > compared.travel_was.value
