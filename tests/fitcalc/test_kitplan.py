"""The cheapest packs with which a list of bodies can be run."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import milp

from fitcalc.kitplan import (
    KitPlanError,
    Offer,
    OfferKind,
    Pack,
    Use,
    Wanted,
    Way,
    pack_of,
    plan,
    way_of,
)
from fitcalc.parts import Configuration
from tests.reference.random_catalogues import random_catalogue

few = settings(max_examples=8, deadline=None)


def body(name: str, *ways: dict[str, int]) -> Wanted:
    return Wanted(
        body=name, ways=tuple(Way(id=f"{name} {i}", pieces=pieces) for i, pieces in enumerate(ways))
    )


def pack(name: str, price: float | None, pieces: dict[str, int], available: int | None = None) -> Pack:
    return Pack(id=name, pieces=pieces, price=price, available=available)


def bought(found) -> dict:
    return {line.item.id: line.count for line in found.to_buy}


def taken(found) -> dict:
    return {line.item.id: line.count for line in found.to_take}


COUPE = body("coupé", {"wheel": 4, "mount": 1})
ESTATE = body("estate", {"wheel": 4, "long mount": 1})
WHEELS = pack("pair of wheels", 6.0, {"wheel": 2})
MOUNT = pack("mount", 9.0, {"mount": 1})
LONG_MOUNT = pack("long mount", 11.0, {"long mount": 1})


class TestOneAtATime:
    def test_shares_the_pieces_between_the_bodies(self):
        found = plan([COUPE, ESTATE], {}, [WHEELS, MOUNT, LONG_MOUNT])
        assert bought(found) == {"pair of wheels": 2, "mount": 1, "long mount": 1}
        assert found.cost == 32.0
        assert found.complete

    def test_buys_nothing_that_is_owned(self):
        found = plan([COUPE], {"wheel": 3, "mount": 1}, [WHEELS, MOUNT])
        assert bought(found) == {"pair of wheels": 1}
        assert found.spare == {"wheel": 1}

    def test_needs_nothing_for_bodies_that_run_already(self):
        found = plan([COUPE], {"wheel": 4, "mount": 1}, [WHEELS, MOUNT])
        assert found.shopping_list == ()
        assert found.cost == 0.0


class TestAtOnce:
    def test_adds_the_pieces_up(self):
        found = plan([COUPE, ESTATE], {}, [WHEELS, MOUNT, LONG_MOUNT], use=Use.AT_ONCE)
        assert bought(found) == {"pair of wheels": 4, "mount": 1, "long mount": 1}
        assert found.cost == 44.0

    def test_costs_the_same_for_a_single_body(self):
        ask = [COUPE], {}, [WHEELS, MOUNT]
        assert plan(*ask, use=Use.AT_ONCE).cost == plan(*ask).cost

    @few
    @given(st.integers(0, 8), st.integers(0, 2))
    def test_never_costs_less_than_one_at_a_time(self, wheels, mounts):
        ask = [COUPE, ESTATE], {"wheel": wheels, "mount": mounts}, [WHEELS, MOUNT, LONG_MOUNT]
        assert plan(*ask, use=Use.AT_ONCE).cost >= plan(*ask).cost


class TestChoosing:
    def test_takes_the_cheaper_of_two_ways(self):
        found = plan(
            [body("coupé", {"alloy": 1}, {"plastic": 1})],
            {},
            [pack("alloy", 20.0, {"alloy": 1}), pack("plastic", 5.0, {"plastic": 1})],
        )
        assert found.chosen["coupé"].id == "coupé 1"
        assert found.cost == 5.0

    def test_takes_the_way_listed_first_where_both_cost_the_same(self):
        ways = body("coupé", {"a": 1}, {"b": 1})
        packs = [pack("b", 5.0, {"b": 1}), pack("a", 5.0, {"a": 1})]
        assert plan([ways], {}, packs).chosen["coupé"].id == "coupé 0"

    def test_finds_the_part_that_serves_two_bodies(self):
        # Each alone is cheaper on its own part; together the dearer shared one is.
        bodies = [body("coupé", {"own": 1}, {"shared": 1}), body("estate", {"other": 1}, {"shared": 1})]
        packs = [
            pack("own", 6.0, {"own": 1}),
            pack("other", 6.0, {"other": 1}),
            pack("shared", 8.0, {"shared": 1}),
        ]
        assert plan(bodies[:1], {}, packs).cost == 6.0
        assert bought(plan(bodies, {}, packs)) == {"shared": 1}

    def test_buys_a_set_of_different_parts_where_it_is_cheaper_than_singles(self):
        found = plan([COUPE], {}, [WHEELS, MOUNT, pack("chassis kit", 20.0, {"wheel": 4, "mount": 1})])
        assert bought(found) == {"chassis kit": 1}

    def test_buys_no_more_packs_than_there_are(self):
        last = pack("cheap", 1.0, {"wheel": 2}, available=1)
        found = plan([body("coupé", {"wheel": 4})], {}, [last, WHEELS])
        assert bought(found) == {"cheap": 1, "pair of wheels": 1}

    def test_counts_pieces_got_and_not_used(self):
        found = plan([body("coupé", {"spacer": 2})], {}, [pack("ten spacers", 3.0, {"spacer": 10})])
        assert found.spare == {"spacer": 8}


class TestOffers:
    def test_a_loan_is_taken_before_anything_is_bought(self):
        found = plan([COUPE], {"wheel": 4}, [MOUNT], [Offer(id="from Ada", part="mount", count=1)])
        assert taken(found) == {"from Ada": 1}
        assert found.cost == 0.0

    def test_nothing_is_borrowed_without_need(self):
        found = plan([COUPE], {"wheel": 4, "mount": 1}, [], [Offer(id="from Ada", part="mount", count=1)])
        assert found.shopping_list == ()

    def test_a_member_lends_no_more_than_offered(self):
        three = Offer(id="from Ada", part="wheel", count=3)
        found = plan([body("coupé", {"wheel": 4})], {}, [WHEELS], [three])
        assert taken(found)["from Ada"] == 2
        assert bought(found) == {"pair of wheels": 1}

    def test_a_member_who_parts_with_it_for_less_than_the_shop_is_paid(self):
        offer = Offer(id="from Bo", part="mount", count=1, kind=OfferKind.PART_WITH, price=4.0)
        found = plan([body("coupé", {"mount": 1})], {}, [MOUNT], [offer])
        assert taken(found) == {"from Bo": 1}
        assert found.cost == 4.0


class TestUnknownPrices:
    def test_a_pack_of_unknown_price_is_not_taken_for_free(self):
        found = plan([body("coupé", {"mount": 1})], {}, [pack("unpriced", None, {"mount": 1}), MOUNT])
        assert bought(found) == {"mount": 1}
        assert found.cost_complete

    def test_it_is_bought_where_nothing_else_serves_and_the_cost_says_so(self):
        found = plan([COUPE], {}, [WHEELS, pack("unpriced", None, {"mount": 1})])
        assert bought(found) == {"pair of wheels": 2, "unpriced": 1}
        assert found.cost == 12.0
        assert not found.cost_complete
        assert [line.cost for line in found.to_buy] == [12.0, None]


class TestWhatCannotBeRun:
    def test_is_named_with_what_is_missing_and_the_others_are_planned_for(self):
        found = plan([COUPE, ESTATE], {"mount": 1}, [WHEELS])
        assert set(found.chosen) == {"coupé"}
        assert not found.complete
        (shortfall,) = found.left_out
        assert shortfall.body == "estate"
        assert shortfall.missing == {"long mount": 1}
        assert bought(found) == {"pair of wheels": 2}

    def test_is_told_by_the_way_that_lacks_the_fewest_pieces(self):
        (shortfall,) = plan([body("coupé", {"a": 2, "b": 2}, {"c": 1})], {}, []).left_out
        assert shortfall.way.id == "coupé 1"
        assert shortfall.missing == {"c": 1}

    def test_without_any_way_says_that_there_is_none(self):
        (shortfall,) = plan([body("coupé")], {}, [WHEELS]).left_out
        assert shortfall.way is None
        assert shortfall.missing == {}

    def test_at_once_is_as_few_bodies_as_possible(self):
        # Two mounts for three bodies: one must stay at home, whichever.
        bodies = [body(name, {"mount": 1}) for name in "abc"]
        found = plan(bodies, {"mount": 2}, [], use=Use.AT_ONCE)
        assert len(found.chosen) == 2
        assert [shortfall.missing for shortfall in found.left_out] == [{"mount": 1}]

    def test_one_at_a_time_may_run_where_at_once_cannot(self):
        assert plan([body("a", {"mount": 1}), body("b", {"mount": 1})], {"mount": 1}, []).complete

    def test_gives_way_to_a_way_that_leaves_the_scarce_part_to_another(self):
        bodies = [body("a", {"rare": 1}, {"common": 1}), body("b", {"rare": 1})]
        found = plan(bodies, {"rare": 1}, [pack("common", 5.0, {"common": 1})], use=Use.AT_ONCE)
        assert found.complete
        assert found.chosen["a"].id == "a 1"


class TestBadInput:
    @pytest.mark.parametrize(
        ("ask", "says"),
        [
            (lambda: plan([COUPE, COUPE], {}, []), "the body coupé is given twice"),
            (lambda: plan([COUPE], {}, [MOUNT, MOUNT]), "the pack mount is given twice"),
            (lambda: plan([COUPE], {"wheel": -1}, []), "wheel is counted -1"),
            (lambda: plan([COUPE], {}, [pack("half", 1.0, {"wheel": 0.5})]), "whole numbers"),
            (lambda: plan([COUPE], {}, [pack("mount", -1.0, {"mount": 1})]), "has the price -1.0"),
            (lambda: plan([COUPE], {}, [pack("mount", float("nan"), {"mount": 1})]), "has the price nan"),
            (
                lambda: plan([COUPE], {}, [], [Offer(id="loan", part="mount", count=1, price=2.0)]),
                "lend it at none, or part with it",
            ),
        ],
    )
    def test_is_refused_with_what_to_do(self, ask, says):
        with pytest.raises(KitPlanError, match=says):
            ask()

    def test_no_bodies_need_nothing(self):
        assert plan([], {}, [MOUNT]).shopping_list == ()

    def test_a_question_too_large_for_the_time_is_refused_in_words(self, monkeypatch):
        class Unfinished:
            status, x = 1, None

        monkeypatch.setattr("fitcalc.kitplan.milp", lambda *args, **kwargs: Unfinished())
        with pytest.raises(KitPlanError, match="choose fewer bodies"):
            plan([COUPE], {}, [MOUNT])


class TestWhenTimeRunsOut:
    def unfinished(self, monkeypatch, after: int):
        """The solver finds its plans, but from the call ``after`` on cannot prove them."""
        calls = []

        def solver(*args, **kwargs):
            result = milp(*args, **kwargs)
            calls.append(result)
            if len(calls) >= after:
                result.status = 1
            return result

        monkeypatch.setattr("fitcalc.kitplan.milp", solver)

    def test_a_plan_that_may_not_be_the_cheapest_says_so(self, monkeypatch):
        self.unfinished(monkeypatch, after=2)
        found = plan([COUPE, ESTATE], {}, [WHEELS, MOUNT, LONG_MOUNT])
        assert found.complete
        assert not found.proven

    def test_the_cheapest_plan_stays_proven_without_its_last_order(self, monkeypatch):
        self.unfinished(monkeypatch, after=3)
        assert plan([COUPE, ESTATE], {}, [WHEELS, MOUNT, LONG_MOUNT]).proven

    def test_nothing_needless_is_bought_even_if_the_solver_would(self, monkeypatch):
        def lavish(*args, **kwargs):
            result = milp(*args, **kwargs)
            result.x = kwargs["bounds"].ub.copy()
            return result

        monkeypatch.setattr("fitcalc.kitplan.milp", lavish)
        offers = [Offer(id="from Ada", part="wheel", count=4)]
        found = plan([body("coupé", {"wheel": 4})], {}, [WHEELS], offers)
        assert found.to_buy == ()
        assert taken(found) == {"from Ada": 4}


class TestConfigurations:
    def configuration(self, front: int, rear: int) -> Configuration:
        catalogue = random_catalogue(random.Random(2), wheels=2, tyres=1, spacers=1, pair_rules=False)
        return Configuration(
            platform=catalogue.platform,
            front_suspension=catalogue.front_suspensions[0],
            front_wheel=catalogue.wheels[front],
            front_tyre=catalogue.tyres[0],
            front_spacer=catalogue.spacers[0],
            rear_axle=catalogue.rear_axles[0],
            rear_wheel=catalogue.wheels[rear],
            rear_tyre=catalogue.tyres[0],
            motor_mount=catalogue.motor_mounts[0],
            plate=catalogue.plates[0],
            position=catalogue.positions[0],
        )

    def test_take_two_wheels_an_end_and_one_of_what_is_not_paired(self):
        built = self.configuration(front=0, rear=1)
        pieces = way_of(built, "first").pieces
        assert pieces[built.front_wheel.id] == pieces[built.rear_wheel.id] == 2
        assert pieces[built.front_spacer.id] == 2
        assert pieces[built.plate.id] == pieces[built.motor_mount.id] == 1
        assert built.position.id not in pieces

    def test_take_four_of_a_wheel_that_is_on_both_ends(self):
        built = self.configuration(front=1, rear=1)
        assert way_of(built, "first").pieces[built.rear_wheel.id] == 4

    def test_are_run_from_the_packs_that_their_parts_are_sold_in(self):
        wheel = replace(self.configuration(0, 0).front_wheel, price=7.5, pack_size=2)
        assert pack_of(wheel) == Pack(id=wheel.id, pieces={wheel.id: 2}, price=7.5)
