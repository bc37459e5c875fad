"""The library's tables become the calculation's records, and nothing is made up on the way."""

from __future__ import annotations

from decimal import Decimal

import pytest

from fitcalc import parts as calc
from fitcalc.chain import chain_of, conflicts
from fitcalc.dimensions import BODY_DIMENSIONS, REQUIRED, PartKind, Unit
from fitcalc.parts import Axle, Layout, Slot
from setups.models import Body, BodyPart, Configuration, PartPair
from setups.translate import (
    LISTS,
    SLOT_KINDS,
    body_of,
    configuration_of,
    known_wheelbase_of,
    part_of,
    platform_of,
    position_of,
    shelf_for,
)
from tests.factories import (
    BodyFactory,
    ConfigurationFactory,
    KnownWheelbaseFactory,
    PartFactory,
    PlatformFactory,
    full_catalogue,
)

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


# Bodies


def test_a_body_brings_its_dimensions_with_their_doubt():
    body = body_of(BodyFactory())
    assert (body.wheelbase.value, body.wheelbase.limit, body.wheelbase.unit) == (92.0, 0.1, Unit.MM)
    assert body.wheelbase.u == pytest.approx(0.1 / 3**0.5)
    assert (body.mass.value, body.mass.unit) == (38.0, Unit.GRAM)
    assert not body.wheelbase_predicted


def test_what_nobody_has_measured_stays_unknown():
    body = body_of(BodyFactory(unmeasured=True))
    assert [getattr(body, name) for name in BODY_DIMENSIONS] == [None] * len(BODY_DIMENSIONS)


def test_a_wheelbase_that_is_not_known_is_predicted_from_the_full_size_car():
    body = body_of(BodyFactory(figures={"wheelbase": None}, full_size_wheelbase=Decimal(2604)))
    assert body.wheelbase_predicted
    assert body.wheelbase.value == 93.0
    assert body.wheelbase.u == pytest.approx(0.015 * 93.0)


def test_a_measured_wheelbase_is_not_replaced_by_a_predicted_one():
    body = body_of(BodyFactory(full_size_wheelbase=Decimal(2604)))
    assert body.wheelbase.value == 92.0
    assert not body.wheelbase_predicted


@pytest.mark.parametrize(
    ("rear", "mid", "layouts"),
    [
        (None, None, None),
        (True, None, {Layout.REAR_MOTOR}),
        (None, True, {Layout.MID_MOTOR}),
        (True, True, set(Layout)),
        (False, False, set()),
    ],
)
def test_the_layouts_are_those_that_somebody_has_tried(rear, mid, layouts):
    assert body_of(BodyFactory(takes_rear_motor=rear, takes_mid_motor=mid)).layouts == layouts


def test_what_the_maker_states_and_what_fouls_the_floor_come_along():
    body = BodyFactory(
        designated_front_width=Decimal("55.00"),
        designated_front_offset=Decimal("0.00"),
        designated_rear_offset=Decimal("1.00"),
    )
    mount, own = PartFactory(motor_mount=True), PartFactory(front_body_mount=True)
    BodyPart.objects.create(body=body, part=mount, rule=BodyPart.Rule.FOULS)
    BodyPart.objects.create(body=body, part=own, rule=BodyPart.Rule.MADE_FOR)
    seen = body_of(body)
    assert (seen.designated_front_width, seen.designated_front_offset, seen.designated_rear_offset) == (
        55,
        0,
        1,
    )
    assert seen.fouled_by == {mount.pk}


# Parts


@pytest.mark.parametrize("kind", list(LISTS))
def test_a_part_of_each_kind_that_is_fitted_has_its_record(kind):
    part = PartFactory(kind=kind.value, price=Decimal("7.20"), pack_size=4)
    record = part_of(part)
    assert (record.id, record.name, record.price, record.pack_size) == (part.pk, part.name, 7.2, 4)


@pytest.mark.parametrize(("kind", "name"), [(kind, name) for kind in LISTS for name in REQUIRED[kind]])
def test_a_part_that_lacks_a_dimension_that_its_kind_requires_is_left_out(kind, name):
    assert part_of(PartFactory(kind=kind.value, figures={name: None})) is None


@pytest.mark.parametrize("kind", sorted(set(PartKind) - set(LISTS)))
def test_a_part_of_another_kind_has_no_place_in_the_fit(kind):
    assert part_of(PartFactory(kind=kind.value)) is None


def test_a_dimension_that_is_not_required_may_be_missing():
    suspension = part_of(
        PartFactory(front_suspension=True, figures={"bump_travel": None, "arm_length": None})
    )
    assert (suspension.bump_travel, suspension.arm_length) == (None, None)
    assert suspension.steer_limit.unit is Unit.DEGREE


def test_a_tyre_is_called_by_its_own_words():
    tyre = part_of(PartFactory(tyre=True, axle="rear"))
    assert (tyre.diameter.value, tyre.width.value, tyre.axles) == (22.0, 8.5, {Axle.REAR})


def test_a_wheel_for_no_axle_in_particular_goes_on_either():
    assert part_of(PartFactory(wheel=True)).axles == set(Axle)


def test_a_motor_mount_knows_where_its_motor_sits():
    assert part_of(PartFactory(motor_mount=True, layout="mid")).layout is Layout.MID_MOTOR


def test_a_body_mount_names_the_bodies_that_it_is_made_for_and_not_those_that_it_fouls():
    mount = PartFactory(front_body_mount=True)
    mine, other = BodyFactory(), BodyFactory()
    BodyPart.objects.create(body=mine, part=mount, rule=BodyPart.Rule.MADE_FOR)
    BodyPart.objects.create(body=other, part=mount, rule=BodyPart.Rule.FOULS)
    assert part_of(mount).bodies == {mine.pk}


# Platforms, positions, configurations


def test_a_platform_brings_its_grid_and_what_it_calls_a_fit():
    platform = PlatformFactory(
        flush_band=Decimal("0.40"), steer_min=Decimal("18.0"), chassis_front_width=None
    )
    seen = platform_of(platform)
    assert seen.datum.limit == 0.1
    assert seen.offsets.values() == [-1, -0.5, 0, 0.5, 1, 1.5, 2, 2.5, 3]
    assert (seen.criteria.flush_band, seen.criteria.steer_min) == (0.4, 18.0)
    assert seen.chassis_front_width is None


def test_a_position_cannot_be_taken_for_a_part():
    position = PlatformFactory().positions.get(name="long")
    seen = position_of(position)
    assert (seen.id, seen.name, seen.shift.value) == (("position", position.pk), "long", 4.0)


def test_a_configuration_is_the_same_car_in_the_calculation():
    configuration = ConfigurationFactory()
    seen = configuration_of(configuration)
    slots = {slot.slot: slot.part_id for slot in configuration.slots.all()}
    assert {slot.value: part.id for slot, part in seen.parts()} == slots
    assert seen.position.name == "middle"
    assert seen.front_spacer is None


def test_a_configuration_with_a_gap_says_which():
    plate = PartFactory(plate=True, figures={"chain_length": None})
    configuration = ConfigurationFactory(parts={"front_wheel": None, "plate": plate})
    with pytest.raises(ValueError, match="choose a part with known dimensions for: front wheel, plate"):
        configuration_of(configuration)


def test_a_spacer_of_a_thickness_that_nobody_knows_is_not_taken_for_none():
    spacer = PartFactory(spacer=True, figures={"thickness": None})
    configuration = ConfigurationFactory(parts={"front_spacer": spacer})
    with pytest.raises(ValueError, match=r"choose a part with known dimensions for: front spacer$"):
        configuration_of(configuration)


@pytest.mark.parametrize("many", [1, 6])
def test_configurations_with_their_parts_take_a_constant_number_of_queries(django_assert_num_queries, many):
    ConfigurationFactory.create_batch(many)
    with django_assert_num_queries(5):
        for configuration in Configuration.objects.select_related("platform", "position").prefetch_related(
            "slots__part__dimensions", "slots__part__body_rules"
        ):
            configuration_of(configuration)


@pytest.mark.parametrize(("published", "agrees"), [("92.2", True), ("92.6", False)])
def test_a_published_wheelbase_checks_the_chain_of_the_same_parts(published, agrees):
    """Chain 30 ± 0.1 + 44 ± 0.1 + 18 ± 0.1 + 0 ± 0.05 = 92 ± 0.35 at worst; published ± 0.2."""
    known = KnownWheelbaseFactory(wheelbase=Decimal(published))
    seen = known_wheelbase_of(known)
    mount, plate, position = part_of(known.motor_mount), part_of(known.plate), position_of(known.position)
    assert (seen.motor_mount, seen.plate, seen.position) == (mount.id, plate.id, position.id)
    chain = chain_of(platform_of(known.platform), mount, plate, position)
    assert conflicts(chain, seen).agrees is agrees


# The shelf


def shelved(body: Body | None, *platforms):
    return shelf_for(platforms, body)


def test_each_platform_has_what_is_sold_for_it_and_no_more():
    mine, other = full_catalogue(), full_catalogue()
    shared = PartFactory(tyre=True, fits=[mine.platform, other.platform])
    shelf = shelved(mine.body, mine.platform, other.platform)
    first, second = shelf.catalogues[mine.platform.pk], shelf.catalogues[other.platform.pk]
    assert {part.id for part in first.tyres} == {*(tyre.pk for tyre in mine.tyres), shared.pk}
    assert {part.id for part in second.tyres} == {*(tyre.pk for tyre in other.tyres), shared.pk}
    assert {part.id for part in first.front_suspensions} == {mine.wide.pk, mine.narrow.pk}
    assert [position.name for position in first.positions] == ["short", "middle", "long"]
    assert shelf.parts[shared.pk] == shared


def test_of_the_front_mounts_only_the_bodys_own_is_on_the_shelf():
    """Each body has its own: a large library holds as many front mounts as bodies."""
    catalogue = full_catalogue()
    for _ in range(3):
        full_catalogue(platform=catalogue.platform)
    shelf = shelved(catalogue.body, catalogue.platform)
    (mount,) = shelf.catalogues[catalogue.platform.pk].body_mounts
    assert mount.id == catalogue.body_mount.pk
    assert mount.bodies == {catalogue.body.pk}
    assert [part for part in shelf.parts.values() if part.kind == PartKind.FRONT_BODY_MOUNT] == [
        catalogue.body_mount
    ]
    assert shelved(None, catalogue.platform).catalogues[catalogue.platform.pk].body_mounts == ()


def test_a_part_without_a_required_dimension_is_not_on_the_shelf(catalogue):
    bare = PartFactory(plate=True, figures={"chain_length": None}, fits=catalogue.platform)
    plates = shelved(catalogue.body, catalogue.platform).catalogues[catalogue.platform.pk].plates
    assert {plate.id for plate in plates} == {plate.pk for plate in catalogue.plates}
    assert bare.pk not in {plate.id for plate in plates}


@pytest.mark.parametrize("parts", [3, 60])
def test_a_shelf_of_any_size_takes_three_queries(django_assert_num_queries, parts):
    catalogue = full_catalogue()
    other = PlatformFactory()
    made = PartFactory.create_batch(parts, wheel=True, fits=[catalogue.platform, other])
    PartPair.objects.bulk_create(
        PartPair(part=wheel, other=catalogue.wide, rule=PartPair.Rule.NEVER) for wheel in made
    )
    body = Body.objects.prefetch_related("part_rules").get(pk=catalogue.body.pk)
    with django_assert_num_queries(3):
        shelf = shelf_for([catalogue.platform, other], body)
    assert len(shelf.catalogues[other.pk].wheels) == parts
    assert len(shelf.catalogues[other.pk].pairs.never) == parts


# Pairs


def pairs_of(catalogue):
    return shelved(catalogue.body, catalogue.platform).catalogues[catalogue.platform.pk].pairs


def pair(part, other, rule):
    PartPair.objects.create(part=part, other=other, rule=rule)


def test_parts_that_must_not_meet_are_told_whichever_way_round_they_are_noted(catalogue):
    pair(catalogue.wide, catalogue.tyres[1], PartPair.Rule.NEVER)
    assert pairs_of(catalogue).never == {frozenset({catalogue.wide.pk, catalogue.tyres[1].pk})}


def test_partners_of_one_kind_are_a_choice_and_kinds_add_up(catalogue):
    plate = catalogue.plates[0]
    for other in (*catalogue.mounts, catalogue.rear_axle):
        pair(plate, other, PartPair.Rule.ONLY_WITH)
    groups = pairs_of(catalogue).only_with[plate.pk]
    assert set(groups) == {
        frozenset(mount.pk for mount in catalogue.mounts),
        frozenset({catalogue.rear_axle.pk}),
    }


def test_a_partner_that_is_not_sold_for_the_platform_is_still_needed(catalogue):
    plate, elsewhere = catalogue.plates[0], PartFactory(motor_mount=True)
    pair(plate, elsewhere, PartPair.Rule.ONLY_WITH)
    assert pairs_of(catalogue).only_with == {plate.pk: (frozenset({elsewhere.pk}),)}


def test_a_partner_of_a_kind_that_has_no_slot_asks_nothing(catalogue):
    pair(catalogue.wide, PartFactory(spring=True, fits=catalogue.platform), PartPair.Rule.ONLY_WITH)
    assert pairs_of(catalogue).only_with == {}


def test_every_slot_but_the_position_takes_a_kind_that_is_on_the_shelf():
    assert set(SLOT_KINDS) == set(Slot) - {Slot.POSITION}
    assert set(SLOT_KINDS.values()) == set(LISTS)
    assert {*LISTS.values(), "positions"} == {
        name for name in calc.Catalogue.__dataclass_fields__ if name not in ("platform", "pairs")
    }
