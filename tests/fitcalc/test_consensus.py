"""Many measurements of one dimension, one settled value, and who disagrees."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcalc.consensus import (
    Agreement,
    ConsensusError,
    Measurement,
    chi_square,
    moved,
    settle,
    u_of_difference,
)
from fitcalc.dimensions import Unit
from fitcalc.subsets import EXACT_UP_TO, largest_consistent_subsets, weighted_mean

few = settings(max_examples=15, deadline=None)


def measured(*values: float, u: float = 0.05, first: int = 0) -> list[Measurement]:
    """One measurement by each of as many members."""
    return [Measurement(value, u, f"member {first + i}") for i, value in enumerate(values)]


def standing(consensus, measurer):
    return next(one for one in consensus.standings if one.measurer == measurer)


readings = st.builds(
    Measurement,
    st.floats(40.0, 60.0).map(lambda x: round(x, 2)),
    st.sampled_from([0.02, 0.05, 0.1, 0.5]),
    st.integers(0, 8),
    st.sampled_from([None, "calliper", "ruler"]),
)
cases = st.lists(readings, min_size=1, max_size=14)


class TestTheValue:
    def test_is_the_mean_weighted_by_inverse_variance(self):
        # Weights 1/0.1² = 100 and 1/0.05² = 400: (100 * 50.0 + 400 * 50.1) / 500.
        consensus = settle([Measurement(50.0, 0.1, "a"), Measurement(50.1, 0.05, "b")])
        assert consensus.value.value == pytest.approx(50.08)
        assert consensus.value.u == pytest.approx(500.0**-0.5)

    def test_of_one_measurement_is_that_measurement(self):
        consensus = settle([Measurement(50.0, 0.1, "a")])
        assert (consensus.value.value, consensus.value.u) == (50.0, 0.1)
        assert consensus.agreement is Agreement.SINGLE
        assert consensus.scores[0].en is None

    def test_keeps_its_unit(self):
        assert settle(measured(160.0, 160.1), Unit.GRAM).value.unit is Unit.GRAM

    @few
    @given(cases)
    def test_does_not_depend_on_the_order_of_the_measurements(self, measurements):
        shuffled = random.Random(1).sample(measurements, len(measurements))
        one, other = settle(measurements), settle(shuffled)
        assert other.value.value == pytest.approx(one.value.value, abs=1e-9)
        assert other.value.u == pytest.approx(one.value.u, rel=1e-9)
        assert other.agreement is one.agreement
        assert set(other.outliers) == set(one.outliers)

    @few
    @given(cases, st.floats(-30.0, 30.0))
    def test_moves_along_when_every_measurement_is_moved(self, measurements, by):
        there = [Measurement(m.value + by, m.u, m.measurer, m.instrument) for m in measurements]
        assert settle(there).value.value == pytest.approx(settle(measurements).value.value + by, abs=1e-6)

    @few
    @given(cases)
    def test_lies_between_the_least_and_the_greatest_measurement(self, measurements):
        values = [m.value for m in measurements]
        assert min(values) - 1e-9 <= settle(measurements).value.value <= max(values) + 1e-9

    @few
    @given(cases)
    def test_is_at_least_as_sure_as_its_surest_member_unless_disputed(self, measurements):
        consensus = settle(measurements)
        if consensus.agreement is not Agreement.DISPUTED:
            surest = min(one.u for one in consensus.standings if one.in_consensus)
            assert consensus.value.u <= surest + 1e-12


class TestAgreement:
    def test_of_measurements_within_their_doubts(self):
        consensus = settle(measured(50.0, 50.05, 49.95, 50.02))
        assert consensus.agreement is Agreement.AGREED
        assert consensus.outliers == ()
        assert consensus.degrees == 3

    def test_names_the_one_that_most_contradict(self):
        consensus = settle(measured(50.0, 50.05, 49.95, 51.0))
        assert consensus.agreement is Agreement.OUTLIERS
        assert consensus.outliers == ("member 3",)
        assert consensus.value.value == pytest.approx(50.0)
        assert standing(consensus, "member 3").weight == 0.0

    def test_names_nobody_where_two_contradict_each_other(self):
        consensus = settle(measured(50.0, 51.0))
        assert consensus.agreement is Agreement.DISPUTED
        assert consensus.outliers == ()

    def test_of_two_that_contradict_leaves_the_value_as_doubtful_as_they_are_apart(self):
        # Mean 50.5, u = 0.05 / sqrt(2), χ² = 2 (0.5 / 0.05)² = 200 on 1 degree: u sqrt(200) = 0.5.
        consensus = settle(measured(50.0, 51.0))
        assert consensus.value.value == pytest.approx(50.5)
        assert consensus.value.u == pytest.approx(0.5)

    def test_is_disputed_between_two_camps_of_equal_size(self):
        consensus = settle(measured(50.0, 50.02, 51.0, 51.02))
        assert consensus.agreement is Agreement.DISPUTED
        assert consensus.outliers == ()

    def test_is_settled_by_the_member_who_sides_with_one_camp(self):
        consensus = settle(measured(50.0, 50.02, 51.0, 51.02, 50.01))
        assert set(consensus.outliers) == {"member 2", "member 3"}

    def test_treats_equal_measurements_alike(self):
        # Either of the two at 50.15 could stay beside the three at 50.0, but not both: both are named.
        consensus = settle(measured(50.0, 50.0, 50.0, 50.15, 50.15))
        assert chi_square(np.array([50.0, 50.0, 50.0, 50.15]), np.full(4, 0.05))[2] > 0.05
        assert set(consensus.outliers) == {"member 3", "member 4"}

    def test_is_disputed_where_the_middle_one_agrees_with_either_side(self):
        assert settle(measured(50.0, 50.1, 50.2)).agreement is Agreement.DISPUTED

    @few
    @given(cases)
    def test_of_those_in_the_consensus_passes_the_test(self, measurements):
        consensus = settle(measurements)
        kept = [one for one in consensus.standings if one.in_consensus]
        if consensus.agreement is Agreement.OUTLIERS:
            assert 2 * len(kept) > len(consensus.standings)
            values, u = (np.array([getattr(one, name) for one in kept]) for name in ("value", "u"))
            assert chi_square(values, u)[2] >= 0.05
        else:
            assert len(kept) == len(consensus.standings)

    @few
    @given(cases)
    def test_weights_add_up_to_one(self, measurements):
        assert sum(one.weight for one in settle(measurements).standings) == pytest.approx(1.0)


class TestOneMemberHasOneSay:
    def test_repeating_a_reading_changes_nothing(self):
        once = settle(measured(50.0, 50.1))
        often = settle(measured(50.0, 50.1) + [Measurement(50.1, 0.05, "member 1")] * 20)
        assert often.value.value == pytest.approx(once.value.value)
        assert often.value.u == pytest.approx(once.value.u)
        assert standing(often, "member 1").readings == 21

    def test_a_members_own_scatter_adds_to_the_doubt(self):
        # Mean 50.2; the readings' standard deviation of the mean is 0.2, the stated doubt 0.05.
        consensus = settle([Measurement(50.0, 0.05, "a"), Measurement(50.4, 0.05, "a")])
        assert consensus.value.value == pytest.approx(50.2)
        assert consensus.value.u == pytest.approx(np.hypot(0.05, 0.2))

    def test_a_reading_far_from_the_others_does_not_hide_behind_the_same_members_good_one(self):
        consensus = settle(
            [
                *measured(50.0, 50.0, 50.0),
                *measured(50.0, 51.0, first=9)[:1],
                Measurement(51.0, 0.05, "member 9"),
            ]
        )
        assert consensus.agreement is Agreement.AGREED
        assert abs(consensus.scores[-1].en) > 1.0
        assert abs(consensus.scores[-2].en) <= 1.0

    def test_many_readings_with_one_instrument_weigh_like_one(self):
        ruler = [Measurement(50.5, 0.1, "a", "ruler")] * 9
        consensus = settle([*ruler, Measurement(50.0, 0.1, "a", "calliper")])
        assert consensus.value.value == pytest.approx(50.25)

    def test_the_better_instrument_counts_more(self):
        consensus = settle([Measurement(50.5, 0.5, "a", "ruler"), Measurement(50.0, 0.02, "a", "calliper")])
        assert consensus.value.value == pytest.approx(50.0, abs=0.001)

    @few
    @given(cases, st.integers(2, 5))
    def test_giving_every_measurement_several_times_gains_nothing(self, measurements, times):
        once, often = settle(measurements), settle(measurements * times)
        singly = [m for m in measurements if [n.measurer for n in measurements].count(m.measurer) == 1]
        for m in singly:
            assert standing(often, m.measurer).u == pytest.approx(standing(once, m.measurer).u)
            assert standing(often, m.measurer).value == pytest.approx(standing(once, m.measurer).value)


class TestANewMeasurement:
    def test_that_agrees_does_not_move_the_value_beyond_doubt(self):
        before = measured(50.0, 50.05, 49.95)
        move = moved(settle(before), settle([*before, Measurement(50.04, 0.05, "new")]))
        assert not move.beyond_doubt
        assert not move.agreement_changed
        assert move.difference.value == pytest.approx(0.01)

    def test_that_is_an_outlier_leaves_the_value_and_changes_the_agreement(self):
        before = measured(50.0, 50.05, 49.95)
        move = moved(settle(before), settle([*before, Measurement(52.0, 0.05, "new")]))
        assert move.difference.value == pytest.approx(0.0)
        assert not move.beyond_doubt
        assert move.agreement_changed

    def test_that_turns_the_majority_moves_the_value_beyond_doubt(self):
        before = measured(50.0, 50.02, 51.0)
        after = [*before, *measured(51.0, 51.01, first=7)]
        assert settle(before).value.value == pytest.approx(50.01)
        move = moved(settle(before), settle(after))
        assert move.difference.value == pytest.approx(0.993, abs=0.001)
        assert move.beyond_doubt

    def test_that_contradicts_a_single_one_disputes_it(self):
        move = moved(settle(measured(50.0)), settle(measured(50.0, 51.0)))
        assert move.agreement_changed

    @few
    @given(st.floats(49.0, 51.0), st.sampled_from([0.02, 0.05, 0.3]))
    def test_moves_the_value_beyond_doubt_just_where_it_disagreed_with_it(self, value, u):
        before = settle(measured(50.0, 50.05, 49.95))
        after = settle([*measured(50.0, 50.05, 49.95), Measurement(value, u, "new")])
        if after.agreement is Agreement.AGREED:
            apart = abs(value - before.value.value) / (2.0 * u_of_difference(u, before.value.u))
            assert moved(before, after).beyond_doubt == (apart > 1.0)

    @few
    @given(cases)
    def test_of_nothing_new_moves_nothing(self, measurements):
        move = moved(settle(measurements), settle(measurements))
        assert not move.beyond_doubt
        assert not move.agreement_changed

    def test_of_another_unit_is_refused(self):
        with pytest.raises(ConsensusError, match="different units"):
            moved(settle(measured(50.0)), settle(measured(50.0), Unit.GRAM))


class TestBadInput:
    def test_nothing_measured_says_to_measure(self):
        with pytest.raises(ConsensusError, match="add one"):
            settle([])

    @pytest.mark.parametrize(
        ("value", "u"), [(50.0, 0.0), (50.0, -1.0), (float("nan"), 0.1), (50.0, float("inf"))]
    )
    def test_a_measurement_without_doubt_is_named(self, value, u):
        with pytest.raises(ConsensusError, match="by member x has a doubt of"):
            settle([*measured(50.0), Measurement(value, u, "member x")])


class TestManyMeasurements:
    def test_those_beyond_the_exact_search_still_name_the_planted_outliers(self):
        rng = np.random.default_rng(3)
        count = 10 * EXACT_UP_TO
        u = rng.uniform(0.02, 0.1, count)
        values = 50.0 + rng.normal(0.0, 0.5 * u)
        values[::10] += 3.0
        consensus = settle([Measurement(v, d, i) for i, (v, d) in enumerate(zip(values, u, strict=True))])
        assert consensus.outliers == tuple(range(0, count, 10))
        assert consensus.value.value == pytest.approx(50.0, abs=3.0 * consensus.value.u)

    @pytest.mark.parametrize("seed", range(6))
    def test_the_subset_found_is_consistent_and_no_one_more_can_join(self, seed):
        rng = np.random.default_rng(seed)
        count = 5 * EXACT_UP_TO
        u = rng.uniform(0.02, 0.1, count)
        values = 50.0 + rng.normal(0.0, u)
        values[: count // 3] += rng.normal(0.0, 0.5, count // 3)
        mask = largest_consistent_subsets(values, u)[0]
        assert chi_square(values[mask], u[mask])[2] >= 0.05
        for other in np.flatnonzero(~mask):
            joined = mask.copy()
            joined[other] = True
            assert chi_square(values[joined], u[joined])[2] < 0.05

    @pytest.mark.parametrize("seed", range(8))
    def test_the_wider_search_finds_what_the_exact_one_finds(self, seed, monkeypatch):
        rng = np.random.default_rng(seed)
        u = rng.uniform(0.02, 0.2, EXACT_UP_TO)
        values = 50.0 + rng.normal(0.0, u)
        values[: EXACT_UP_TO // 4] += rng.normal(0.0, 0.5, EXACT_UP_TO // 4)
        exact = largest_consistent_subsets(values, u)[0]
        monkeypatch.setattr("fitcalc.subsets.EXACT_UP_TO", 5)
        assert np.count_nonzero(largest_consistent_subsets(values, u)[0]) == np.count_nonzero(exact)


def test_a_large_common_offset_costs_the_weighted_mean_no_digits():
    mean, u = weighted_mean(np.array([1e9 + 0.001, 1e9 + 0.003]), np.array([1.0, 1.0]))
    assert mean - 1e9 == pytest.approx(0.002, abs=1e-6)
    assert u == pytest.approx(0.5**0.5)
