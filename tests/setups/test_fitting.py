"""What does this body need? The library's answer over all platforms of its scale."""

from __future__ import annotations

from decimal import Decimal

import pytest

from fitcalc.findings import Rule, Verdict
from fitcalc.parts import Slot
from fitcalc.solver import Order
from setups.models import Body, BodyDimension, BodyPart, Part, PartDimension, PartPair
from setups.services.changes import changes, parts_in, slots_of, way, ways
from setups.services.fitting import answer, platforms_for
from setups.translate import part_of
from tests.factories import BodyFactory, PartFactory, PlatformFactory, full_catalogue

pytestmark = pytest.mark.django_db


def asked(body: Body, **options):
    fresh = Body.objects.prefetch_related("dimensions", "part_rules").get(pk=body.pk)
    return answer(fresh, **options)


def test_a_body_that_fits_is_answered_with_parts_that_do(catalogue):
    (found,) = asked(catalogue.body).platforms
    best = found.best
    assert best.report.verdict is Verdict.FITS
    assert best.report.geometry.wheelbase.value == 92.0
    assert best.report.geometry.front_flush.value == best.report.geometry.rear_flush.value == 0.0
    assert best.report.configuration.body_mount.id == catalogue.body_mount.pk


def test_the_cheapest_way_costs_what_its_packs_cost(catalogue):
    """Nine slots, a pack of 4.50 for each: the front and the rear tyres are the same, two packs of two."""
    (found,) = asked(catalogue.body).platforms
    configuration = found.best.report.configuration
    assert len(list(configuration.parts())) == 9
    assert configuration.front_tyre.id == configuration.rear_tyre.id
    assert found.best.cost == pytest.approx(9 * 4.50)


def test_what_is_at_hand_is_not_paid_for(catalogue):
    at_hand = [catalogue.wide.pk, catalogue.rear_axle.pk, catalogue.body_mount.pk]
    (found,) = asked(catalogue.body, owned=at_hand).platforms
    assert {part.id for _, part in found.best.to_buy}.isdisjoint(at_hand)
    assert found.best.parts_to_change == 6
    assert found.best.cost == pytest.approx(6 * 4.50)


def test_figures_without_any_doubt_are_answered_as_exact():
    catalogue = full_catalogue(platform=PlatformFactory(datum_tolerance=0))
    BodyDimension.objects.update(tolerance=0)
    PartDimension.objects.update(tolerance=0)
    catalogue.platform.positions.update(tolerance=0)
    (found,) = asked(catalogue.body).platforms
    assert found.best.report.verdict is Verdict.FITS
    assert found.best.report.geometry.wheelbase.u == 0.0
    assert {finding.probability for finding in found.best.report.findings} == {1.0}


def test_every_platform_of_the_scale_is_tried_and_none_of_another():
    catalogue = full_catalogue()
    PlatformFactory(scale=24)
    empty = PlatformFactory()
    assert set(platforms_for(catalogue.body)) == {catalogue.platform, empty}
    assert {one.platform for one in asked(catalogue.body).platforms} == {catalogue.platform, empty}


def test_the_platform_that_fits_is_shown_before_those_that_do_not():
    body = BodyFactory()
    PlatformFactory(name="Aardvark")
    far = full_catalogue(platform=PlatformFactory(name="Badger", datum=Decimal("50")))
    near = full_catalogue(platform=PlatformFactory(name="Zebra"), body=body)
    found = asked(body).platforms
    assert [one.platform.name for one in found] == ["Zebra", "Badger", "Aardvark"]
    assert found[0].platform == near.platform
    assert (found[1].best, found[1].platform) == (None, far.platform)
    assert found[1].nearest is not None


def test_a_clear_fit_is_shown_before_a_doubtful_one():
    catalogue = full_catalogue(platform=PlatformFactory(name="Zebra"))
    doubtful = PlatformFactory(name="Aardvark", datum_tolerance=Decimal("3"))
    for part in catalogue.platform.parts.all():
        part.platforms.add(doubtful)
    found = asked(catalogue.body).platforms
    assert [(one.platform.name, one.best.report.verdict) for one in found] == [
        ("Zebra", Verdict.FITS),
        ("Aardvark", Verdict.CLOSE),
    ]


def test_a_platform_with_nothing_in_a_slot_says_which(catalogue):
    Part.objects.filter(kind="motor_mount").delete()
    (found,) = asked(catalogue.body).platforms
    assert found.gaps == ["motor mount"]
    assert (found.best, found.nearest) == (None, None)


def test_a_body_of_a_scale_without_platforms_has_no_answers(catalogue):
    assert asked(BodyFactory(scale=10)).platforms == []


def test_a_mount_that_fouls_the_floor_is_not_used(catalogue):
    used = asked(catalogue.body).platforms[0].best.report.configuration.motor_mount
    BodyPart.objects.create(body=catalogue.body, part_id=used.id, rule=BodyPart.Rule.FOULS)
    (found,) = asked(catalogue.body).platforms
    assert {m.report.configuration.motor_mount.id for m in found.solution.matches}.isdisjoint({used.id})
    assert found.best.report.geometry.wheelbase.value == 92.0


def test_a_body_with_a_mount_of_its_own_takes_no_other():
    catalogue = full_catalogue()
    stranger = full_catalogue(platform=catalogue.platform)
    free = PartFactory(front_body_mount=True, fits=catalogue.platform)
    mounts = {
        m.report.configuration.body_mount.id for m in asked(catalogue.body).platforms[0].solution.matches
    }
    assert mounts == {catalogue.body_mount.pk}
    assert mounts.isdisjoint({stranger.body_mount.pk, free.pk})


def test_two_mounts_that_a_body_fouls_leave_a_near_miss_that_says_so(catalogue):
    for mount in catalogue.mounts:
        BodyPart.objects.create(body=catalogue.body, part=mount, rule=BodyPart.Rule.FOULS)
    (found,) = asked(catalogue.body).platforms
    assert found.best is None
    assert [finding.rule for finding in found.nearest.report.failing] == [Rule.FLOOR]


def test_parts_that_must_not_meet_never_do(catalogue):
    for wheel in catalogue.wheels.values():
        PartPair.objects.create(part=catalogue.wide, other=wheel, rule=PartPair.Rule.NEVER)
    matches = asked(catalogue.body, limit=200).platforms[0].solution.matches
    assert {m.report.configuration.front_suspension.id for m in matches} == {catalogue.narrow.pk}


def test_a_part_whose_only_partner_is_not_sold_here_is_never_used(catalogue):
    PartPair.objects.create(
        part=catalogue.narrow, other=PartFactory(wheel=True), rule=PartPair.Rule.ONLY_WITH
    )
    matches = asked(catalogue.body, limit=200).platforms[0].solution.matches
    assert {m.report.configuration.front_suspension.id for m in matches} == {catalogue.wide.pk}


def test_the_answer_names_the_row_behind_every_part_that_it_speaks_of(catalogue):
    found = asked(catalogue.body, limit=200)
    spoken_of = {
        part.id
        for match in (*found.platforms[0].solution.matches, *found.platforms[0].solution.near_misses)
        for _, part in match.report.configuration.parts()
    }
    assert spoken_of <= set(found.parts)


@pytest.mark.parametrize("bodies", [1, 12])
def test_the_answer_takes_four_queries_at_any_size(django_assert_num_queries, bodies):
    catalogue = full_catalogue()
    for _ in range(bodies):
        full_catalogue(platform=catalogue.platform)
    body = Body.objects.prefetch_related("dimensions", "part_rules").get(pk=catalogue.body.pk)
    with django_assert_num_queries(4):
        assert answer(body).platforms[0].best


# From one set of parts to another


def built_and_best(catalogue):
    best = asked(catalogue.body).platforms[0].best.report.configuration
    return dict(slots_of(best)), best


def mended(catalogue, built):
    """The ways to make a chassis fit that has ``built``."""
    options = {"owned": parts_in(built), "order": Order.FEWEST_CHANGES, "limit": 120}
    return ways(built, asked(catalogue.body, **options).platforms[0].solution.matches)


def test_a_chassis_that_fits_has_nothing_to_change(catalogue):
    built, best = built_and_best(catalogue)
    assert changes(built, best) == []
    first = mended(catalogue, built)[0]
    assert (first.changes, first.to_buy, first.cost) == ([], {}, 0)


def test_one_wrong_part_takes_one_change_and_costs_one_pack(catalogue):
    built, _ = built_and_best(catalogue)
    offsets = {wheel.offset.value: wheel for wheel in shelf_wheels(catalogue)}
    built[Slot.REAR_WHEEL] = offsets[2.5]
    first = mended(catalogue, built)[0]
    (change,) = first.changes
    assert (change.slot, change.was.name) == (Slot.REAR_WHEEL, offsets[2.5].name)
    assert first.to_buy == {Slot.REAR_WHEEL: change.now}
    assert first.cost == 4.50
    assert first.match.report.fits


def test_the_fewest_parts_come_first(catalogue):
    built, _ = built_and_best(catalogue)
    built[Slot.REAR_WHEEL] = next(wheel for wheel in shelf_wheels(catalogue) if wheel.offset.value == 2.5)
    clear = [one for one in mended(catalogue, built) if one.match.report.verdict is Verdict.FITS]
    counts = [len(one.to_buy) for one in clear]
    assert counts == sorted(counts)
    assert counts[0] == 1 < counts[-1]


def test_one_pair_of_wheels_does_not_serve_two_axles(catalogue):
    """Zero offset fits the rear too, but the pair is in front: a second one has to be bought."""
    built, best = built_and_best(catalogue)
    built[Slot.REAR_WHEEL] = next(wheel for wheel in shelf_wheels(catalogue) if wheel.offset.value == 2.5)
    for one in mended(catalogue, built):
        assert one.match.report.fits
        if one.match.report.configuration.rear_wheel.id == best.front_wheel.id:
            assert Slot.REAR_WHEEL in one.to_buy
            break
    else:
        pytest.fail("no way has the front wheels' offset at the rear")


def test_wheels_that_stand_on_the_wrong_axles_change_places_at_no_cost(catalogue):
    built, _ = built_and_best(catalogue)
    built[Slot.FRONT_WHEEL], built[Slot.REAR_WHEEL] = built[Slot.REAR_WHEEL], built[Slot.FRONT_WHEEL]
    swapped = [one for one in mended(catalogue, built) if not one.to_buy]
    slots = [{change.slot for change in one.changes} for one in swapped]
    assert {Slot.FRONT_WHEEL, Slot.REAR_WHEEL} in slots


def test_an_open_slot_is_filled_and_a_part_too_many_comes_out(catalogue):
    built, best = built_and_best(catalogue)
    spacer = part_of(PartFactory(spacer=True))
    built[Slot.PLATE], built[Slot.FRONT_SPACER] = None, spacer
    match = asked(catalogue.body).platforms[0].best
    found = {change.slot: change for change in way(built, match).changes}
    assert set(found) == {Slot.FRONT_SPACER, Slot.PLATE}
    assert (found[Slot.FRONT_SPACER].was, found[Slot.FRONT_SPACER].now) == (spacer, None)
    assert (found[Slot.PLATE].was, found[Slot.PLATE].now) == (None, best.plate)
    assert way(built, match).to_buy == {Slot.PLATE: best.plate}


def test_moving_the_rear_end_costs_nothing(catalogue):
    built, best = built_and_best(catalogue)
    positions = asked(catalogue.body).shelf.catalogues[catalogue.platform.pk].positions
    built[Slot.POSITION] = next(position for position in positions if position.id != best.position.id)
    first = mended(catalogue, built)[0]
    assert [change.slot for change in first.changes] == [Slot.POSITION]
    assert (first.to_buy, first.cost) == ({}, 0)


def test_a_part_whose_price_nobody_knows_makes_the_cost_unknown(catalogue):
    built, _ = built_and_best(catalogue)
    built[Slot.PLATE] = None
    assert way(built, asked(catalogue.body).platforms[0].best).cost == 4.50
    Part.objects.filter(kind="plate").update(price=None)
    assert way(built, asked(catalogue.body).platforms[0].best).cost is None


def shelf_wheels(catalogue):
    return asked(catalogue.body).shelf.catalogues[catalogue.platform.pk].wheels
