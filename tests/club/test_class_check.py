"""A car checked against a class, from a setup or one's own chassis, and what would make it legal."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest

from club.garage import stock
from club.racing.cars import OpenSlots, subject_of_chassis, subject_of_setup
from club.racing.checking import check, classes_without, matrix, rulebook_of, rulebooks_on
from club.racing.editions import today
from club.racing.mending import mend
from fitcalc.legality import ClassVerdict, Source, judge_all
from setups.models import Body, BodyPart
from setups.services import verifying
from tests.club.checked_cars import a_chassis, a_setup, at_least, at_most, edition_of
from tests.factories import (
    BodyFactory,
    FullCatalogue,
    MemberFactory,
    PartFactory,
    RaceClassFactory,
    reading_for,
)

pytestmark = pytest.mark.django_db

COMPLIES, NOT_CHECKED, TOO_CLOSE, DOES_NOT = ClassVerdict


@pytest.fixture
def shop(catalogue) -> FullCatalogue:
    return catalogue


def checked(setup, *clauses):
    return check(subject_of_setup(setup).car, rulebook_of(edition_of(*clauses)))


def verdicts(found) -> list[ClassVerdict]:
    return [row.ruling.verdict for row in found.rows]


# What is known of a car


def test_a_setups_car_is_computed_from_its_parts_and_its_settings(shop):
    tuning = {
        "mass": 168.0,
        "front_ride_height": 1.5,
        "rear_ride_height": 2.0,
        "pinion_teeth": 11.0,
        "spur_teeth": 44.0,
        "motor": "the quick one",
    }
    car = subject_of_setup(a_setup(shop, tuning=tuning)).car
    found = {key: round(float(quantity.value), 3) for key, quantity in car.computed.items()}
    assert found == {
        "front_width": 55.0,
        "rear_width": 55.0,
        "front_track": 46.5,
        "rear_track": 46.5,
        "wheelbase": 92.0,
        "front_tyre_diameter": 22.0,
        "rear_tyre_diameter": 22.0,
        "front_tyre_width": 8.5,
        "rear_tyre_width": 8.5,
        "front_offset": 0.0,
        "rear_offset": 1.0,
        "body_mass": 38.0,
        "mass": 168.0,
        "ground_clearance": 1.5,  # the lower end
        "rollout": 17.279,  # 22 pi / 4
    }
    assert all(quantity.u > 0 for quantity in car.computed.values())


def test_what_other_members_measured_counts_and_what_the_author_did_does_not(shop):
    setup = a_setup(shop)
    verifying.add(reading_for(setup, "rear_width", "55.05"))
    verifying.add(reading_for(setup, "front_width", "54.2", member=setup.author))
    car = subject_of_setup(setup).car
    assert {key: float(quantity.value) for key, quantity in car.measured.items()} == {"rear_width": 55.05}
    found = check(car, rulebook_of(edition_of(at_most("front_width", 56), at_most("rear_width", 56))))
    assert [row.ruling.source for row in found.rows] == [Source.COMPUTED, Source.MEASURED]


def test_it_is_noted_which_kinds_of_parts_are_on_the_car(shop):
    car = subject_of_setup(a_setup(shop)).car
    assert car.fitted["wheel"] == {shop.wheels[Decimal(0)].pk, shop.wheels[Decimal(1)].pk}
    assert car.fitted["body"] == {shop.body.pk}
    assert car.fitted["spacer"] == frozenset()
    assert "motor" not in car.fitted  # nothing says which one it is


# Verdicts


def test_each_clause_has_its_verdict(shop):
    found = checked(
        a_setup(shop),
        at_most("front_width", 56),
        at_most("rear_width", 54),
        at_most("wheelbase", 92.1),
        at_least("mass", 150),
        {"seen": True},
        {"wheels": True, "items": [shop.wheels[Decimal(0)]]},
        {"wheels": True, "thing": "body", "items": [shop.body]},
        {"wheels": True, "thing": "motor", "items": []},
    )
    assert verdicts(found) == [
        COMPLIES, DOES_NOT, TOO_CLOSE, NOT_CHECKED, NOT_CHECKED, DOES_NOT, COMPLIES, NOT_CHECKED,
    ]  # fmt: skip
    assert (found.verdict, found.passes) == (DOES_NOT, False)
    assert found.rows[5].ruling.culprits == (shop.wheels[Decimal(1)].pk,)
    assert verdicts(found) != sorted(verdicts(found), key=lambda v: -v.gravity)
    assert [row.ruling.verdict.gravity for row in found.problems_first] == [3, 3, 2, 1, 1, 1, 0, 0]


def test_a_car_passes_only_when_nothing_is_open(shop):
    setup = a_setup(shop)
    assert checked(setup, at_most("front_width", 56)).passes is True
    assert checked(setup, at_most("front_width", 56), {"seen": True}).passes is None


def test_a_batch_is_judged_as_its_cars_are(shop):
    setups = [a_setup(shop), a_setup(shop, rear_tyre=shop.tyres[1])]
    rulebook = rulebook_of(edition_of(at_most("rear_tyre_diameter", 23), at_most("front_width", 56)))
    cars = [subject_of_setup(setup).car for setup in setups]
    together = judge_all(rulebook.clauses, cars)
    assert together.legal == [check(car, rulebook).passes for car in cars] == [True, False]


def test_every_class_at_once_by_the_editions_that_hold(shop, django_assert_num_queries):
    race_class = RaceClassFactory(name="Narrow")
    edition_of(at_most("front_width", 60), race_class=race_class, valid_from=date(2020, 1, 1))
    narrow = edition_of(at_most("front_width", 50), race_class=race_class)
    wide = edition_of(at_most("front_width", 60), {"wheels": True, "items": [shop.wheels[Decimal(0)]]})
    coming = edition_of(at_most("front_width", 60), valid_from=today() + timedelta(days=1))
    car = subject_of_setup(a_setup(shop)).car
    for _ in range(2):
        with django_assert_num_queries(4):  # editions, clauses, items, and the classes that have none
            rulebooks = rulebooks_on(today())
            without = classes_without(rulebooks)
        assert coming.race_class in without
        edition_of(at_most("front_width", 60))
    found = {one.edition.pk: one.passes for one in matrix(car, rulebooks)}
    assert found[narrow.pk] is False
    assert found[wide.pk] is False
    assert coming.pk not in found


# What would make it legal


def mended(setup, member, *clauses):
    return mend(subject_of_setup(setup), rulebook_of(edition_of(*clauses)), member)


def test_smaller_tyres_are_found_that_still_fit_the_body(shop):
    setup = a_setup(shop, front_tyre=shop.tyres[1], rear_tyre=shop.tyres[1])
    found = mended(setup, None, at_most("front_tyre_diameter", 23), at_most("rear_tyre_diameter", 23))
    assert [(step.change.slot.value, step.part.id) for step in found.steps] == [
        ("front_tyre", shop.tyres[0].pk),
        ("rear_tyre", shop.tyres[0].pk),
    ]
    assert found.buys == 2
    assert found.match.cost == 9.0  # two packs of two
    assert found.match.report.fits


def test_what_the_member_owns_is_not_bought(shop):
    member = MemberFactory()
    stock.add(member, shop.tyres[0], 2)
    setup = a_setup(shop, author=member, rear_tyre=shop.tyres[1])
    small = (at_most("front_tyre_diameter", 23), at_most("rear_tyre_diameter", 23))
    assert mended(setup, member, *small).buys == 0
    assert mended(setup, MemberFactory(), *small).buys == 1


def test_one_pair_does_not_serve_both_axles(shop):
    setup = a_setup(shop, rear_tyre=shop.tyres[1])
    small = (at_most("front_tyre_diameter", 23), at_most("rear_tyre_diameter", 23))
    found = mended(setup, None, *small)
    assert [part.id for part in found.short] == [shop.tyres[0].pk]


def test_parts_may_change_places_where_that_is_enough(shop):
    # The front may stand on the larger tyres that the rear has to give up.
    found = mended(a_setup(shop, rear_tyre=shop.tyres[1]), None, at_most("rear_tyre_diameter", 23))
    assert found.buys == 0
    assert {step.change.slot.value for step in found.steps} == {"front_tyre", "rear_tyre"}


def test_a_barred_wheel_is_replaced_by_an_equivalent_front_end(shop):
    # Without the wheels of offset 0 the wide front end is 56 mm at the least, the narrow one 55 on 2.5.
    setup = a_setup(shop)
    barred = {"wheels": True, "allows": False, "items": [shop.wheels[Decimal(0)]]}
    found = mended(setup, None, barred, at_most("front_width", 55.4))
    fitted = {step.change.slot.value: step.change.now.id for step in found.steps}
    assert fitted["front_suspension"] == shop.narrow.pk
    assert fitted["front_wheel"] in (shop.wheels[Decimal("2.5")].pk, shop.wheels[Decimal(2)].pk)


def test_a_width_limit_is_met_where_the_body_leaves_room(shop):
    # The body is 55 wide and takes up to 1.5 mm inset; half a millimetre less offset is 1 mm less width.
    setup = a_setup(shop)
    found = mended(setup, None, at_most("rear_width", 54.5))
    assert [(step.change.slot.value, step.change.now.id) for step in found.steps] == [
        ("rear_wheel", shop.wheels[Decimal("0.5")].pk)
    ]
    assert found.left == []


def test_where_nothing_is_legal_the_nearest_is_told(shop):
    found = mended(a_setup(shop), None, at_most("rear_width", 40), at_most("front_width", 56))
    assert found.match is None
    assert found.looked_at > 0
    assert [ruling.clause.quantity for ruling in found.nearest] == ["rear_width"]


def test_a_body_that_is_not_allowed_cannot_be_mended_from_below(shop):
    found = mended(a_setup(shop), None, {"wheels": True, "thing": "body", "items": [BodyFactory()]})
    assert found.barred
    assert found.match is None


def test_what_no_part_decides_is_told_in_figures(shop):
    setup = a_setup(shop, tuning={"mass": 150.0, "front_ride_height": 0.6, "rear_ride_height": 1.0})
    found = mended(
        setup,
        None,
        at_least("mass", 160, rule="guarded_acceptance"),
        at_least("ground_clearance", 1),
        at_most("front_width", 56),
    )
    changes = {ruling.clause.quantity: round(ruling.change, 3) for ruling in found.by_hand}
    assert changes == {"mass": 12.0, "ground_clearance": 0.4}  # 160 + 2 u, u = 1 g
    assert found.steps == []


# A chassis from the garage


def test_a_chassis_is_checked_under_a_body_or_without(shop):
    member = MemberFactory()
    chassis = a_chassis(shop, member)
    body = Body.objects.prefetch_related("dimensions", "part_rules").get(pk=shop.body.pk)
    bare, dressed = subject_of_chassis(chassis, None), subject_of_chassis(chassis, body)
    assert bare.car.computed["front_width"] == dressed.car.computed["front_width"]
    assert "body" not in bare.car.fitted
    assert "body_mass" not in bare.car.computed
    assert dressed.car.fitted["body"] == {shop.body.pk}
    assert dressed.car.fitted["front_body_mount"] == {shop.body_mount.pk}


def test_a_chassis_with_an_open_slot_says_what_to_do(shop):
    chassis = a_chassis(shop, MemberFactory(), plate=None)
    with pytest.raises(OpenSlots, match="complete it in the garage"):
        subject_of_chassis(chassis, None)


def test_parts_that_only_other_bodies_mounts_fit_are_not_proposed(shop):
    other = BodyFactory(scale=shop.body.scale)
    stranger = PartFactory(front_body_mount=True, fits=shop.platform)
    BodyPart.objects.create(body=other, part=stranger, rule=BodyPart.Rule.MADE_FOR)
    found = mended(a_setup(shop, rear_tyre=shop.tyres[1]), None, at_most("rear_tyre_diameter", 23))
    assert found.match.report.configuration.body_mount.id == shop.body_mount.pk
