"""What must never be in the library is refused by the database, also when nothing checks before it.

Rows are written with ``bulk_create`` and ``update``, which call no ``clean()``; each refusal is matched to
the constraint that is meant, so that a row wrong for another reason does not pass for it.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import DataError, IntegrityError, models, transaction

from fitcalc.dimensions import BODY_DIMENSIONS, PART_DIMENSIONS, PartKind
from fitcalc.quantities import Quantity
from setups.models import (
    Body,
    BodyDimension,
    BodyPart,
    ConfigurationPart,
    Fitment,
    KeptAnswer,
    Maker,
    Measurement,
    Part,
    PartDimension,
    PartPair,
    Platform,
    StatedFigure,
    Tally,
)
from tests.factories import (
    BodyFactory,
    ConfigurationFactory,
    KnownWheelbaseFactory,
    MakerFactory,
    MemberFactory,
    PartFactory,
    PlatformFactory,
)
from tests.setups import test_setup_models as setups

pytestmark = pytest.mark.django_db

Make = Callable[[], models.Model]

MAKE: dict[str, Make] = {
    "platform": PlatformFactory,
    "position": lambda: PlatformFactory().positions.first(),
    "known_wheelbase": KnownWheelbaseFactory,
    "wheel": PartFactory,
    "mount": lambda: PartFactory(motor_mount=True),
    "body": BodyFactory,
    "body_dimension": lambda: BodyFactory().dimensions.get(quantity="wheelbase"),
    "part_dimension": lambda: PartFactory(wheel=True).dimensions.get(quantity="rim_width"),
    "part_pair": lambda: PartPair.objects.create(part=PartFactory(), other=PartFactory(), rule="never"),
    "slot": lambda: ConfigurationFactory().slots.first(),
    "measurement": lambda: Measurement.objects.create(
        body=BodyFactory(), member=MemberFactory(), quantity="wheelbase", value=92, instrument="calliper"
    ),
    "stated_figure": lambda: StatedFigure.objects.create(body=BodyFactory(), quantity="wheelbase", value=92),
}

NEVER: list[tuple[str, str, dict[str, Any]]] = [
    ("platform", "platform_scale_sane", {"scale": 3}),
    ("platform", "platform_scale_sane", {"scale": 65}),
    ("platform", "platform_datum_sane", {"datum": Decimal(-200)}),
    ("platform", "platform_datum_sane", {"datum": Decimal(400)}),
    ("platform", "platform_datum_sane", {"datum_tolerance": Decimal("-0.1")}),
    ("platform", "platform_sizes_positive", {"front_rim_width": Decimal(0)}),
    ("platform", "platform_sizes_positive", {"chassis_front_width": Decimal(-26)}),
    ("platform", "platform_offset_grid_sane", {"offset_step": Decimal(0)}),
    ("platform", "platform_offset_grid_sane", {"offset_step": Decimal("-0.5")}),
    ("platform", "platform_offset_grid_sane", {"offset_min": Decimal(4)}),
    ("platform", "platform_criteria_sane", {"flush_band": Decimal(0)}),
    ("platform", "platform_criteria_sane", {"inset_limit": Decimal("0.49")}),
    ("platform", "platform_criteria_sane", {"centring_limit": Decimal(0)}),
    ("platform", "platform_criteria_sane", {"arch_clearance": Decimal("-0.01")}),
    ("platform", "platform_criteria_sane", {"steer_min": Decimal(-1)}),
    ("platform", "platform_criteria_sane", {"steer_min": Decimal(61)}),
    ("position", "position_shift_sane", {"shift": Decimal("100.1")}),
    ("position", "position_shift_sane", {"shift": Decimal("-100.1")}),
    ("position", "position_shift_sane", {"tolerance": Decimal("-0.1")}),
    ("known_wheelbase", "known_wheelbase_positive", {"wheelbase": Decimal(0)}),
    ("known_wheelbase", "known_wheelbase_positive", {"wheelbase": Decimal(-92)}),
    ("known_wheelbase", "known_wheelbase_positive", {"tolerance": Decimal("-0.2")}),
    ("wheel", "part_kind_known", {"kind": "windscreen"}),
    ("wheel", "part_layout_for_motor_mounts", {"layout": "mid"}),
    ("mount", "part_layout_for_motor_mounts", {"layout": ""}),
    ("wheel", "part_figures_positive", {"price": Decimal("-0.01")}),
    ("wheel", "part_figures_positive", {"pack_size": 0}),
    ("wheel", "part_figures_positive", {"mass": Decimal(0)}),
    ("wheel", "part_figures_positive", {"mass": Decimal(-3)}),
    ("body", "body_scale_sane", {"scale": 3}),
    ("body", "body_scale_sane", {"scale": 65}),
    ("body", "body_price_not_negative", {"price": Decimal(-1)}),
    ("body", "body_sizes_positive", {"designated_front_width": Decimal(0)}),
    ("body", "body_sizes_positive", {"full_size_wheelbase": Decimal(-2500)}),
    ("body", "body_designated_offsets_sane", {"designated_front_offset": Decimal("-20.5")}),
    ("body", "body_designated_offsets_sane", {"designated_rear_offset": Decimal("30.5")}),
    ("body_dimension", "body_dimension_plausible", {"value": Decimal(-92)}),
    ("body_dimension", "body_dimension_plausible", {"value": Decimal("39.999")}),
    ("body_dimension", "body_dimension_plausible", {"value": Decimal("420.001")}),
    ("body_dimension", "body_dimension_plausible", {"quantity": "hub_width"}),
    ("body_dimension", "body_dimension_doubt", {"tolerance": Decimal("-0.1")}),
    ("body_dimension", "body_dimension_doubt", {"uncertainty": Decimal("-0.1")}),
    ("part_dimension", "part_dimension_plausible", {"value": Decimal(-8)}),
    ("part_dimension", "part_dimension_plausible", {"value": Decimal("90.001")}),
    ("part_dimension", "part_dimension_plausible", {"quantity": "wheelbase"}),
    ("part_dimension", "part_dimension_doubt", {"tolerance": Decimal("-0.1")}),
    ("part_dimension", "part_dimension_doubt", {"uncertainty": Decimal("-0.1")}),
    ("measurement", "measurement_plausible", {"value": Decimal(-92)}),
    ("measurement", "measurement_plausible", {"value": Decimal("420.001")}),
    ("measurement", "measurement_plausible", {"quantity": "hub_width"}),
    ("measurement", "measurement_plausible", {"body": None}),
    ("measurement", "measurement_instrument_known", {"instrument": "eye"}),
    ("measurement", "measurement_doubt", {"uncertainty": Decimal("-0.1")}),
    ("measurement", "measurement_doubt", {"instrument": "other"}),
    ("stated_figure", "stated_figure_plausible", {"value": Decimal("39.999")}),
    ("stated_figure", "stated_figure_plausible", {"body": None}),
    ("stated_figure", "stated_figure_doubt", {"tolerance": Decimal("-0.1")}),
    ("slot", "configuration_slot_known", {"slot": "ashtray"}),
    ("slot", "configuration_slot_known", {"slot": "position"}),
]

TWICE: dict[str, tuple[Make, dict[str, Any]]] = {
    "position_name_once_a_platform": (MAKE["position"], {"order": 9, "shift": 9}),
    "known_wheelbase_once": (KnownWheelbaseFactory, {"wheelbase": 90}),
    "part_number_once_a_maker": (lambda: PartFactory(part_number="W-7"), {"slug": "w7", "name": "Other"}),
    "part_dimension_once": (MAKE["part_dimension"], {"value": 9}),
    "fitment_once": (lambda: PartFactory(fits=PlatformFactory()).fitments.get(), {}),
    "part_pair_once": (MAKE["part_pair"], {"rule": "only_with"}),
    "body_number_once_a_maker": (lambda: BodyFactory(part_number="B-7"), {"slug": "b7", "name": "Other"}),
    "body_dimension_once": (MAKE["body_dimension"], {"value": 93}),
    "body_part_once": (
        lambda: BodyPart.objects.create(body=BodyFactory(), part=PartFactory(), rule="fouls"),
        {"rule": "made_for"},
    ),
    "configuration_name_once_a_platform": (ConfigurationFactory, {}),
    "configuration_slot_once": (MAKE["slot"], {}),
    "stated_figure_once_a_body": (MAKE["stated_figure"], {"value": 93}),
    "stated_figure_once_a_part": (
        lambda: StatedFigure.objects.create(part=PartFactory(), quantity="rim_width", value=8),
        {"value": 9},
    ),
    "kept_answer_once_a_key": (
        lambda: KeptAnswer.objects.create(
            member=MemberFactory(), key="k", asked="a", kept_at="2026-01-01T00:00Z"
        ),
        {"asked": "b"},
    ),
    "tally_once": (
        lambda: Tally.objects.create(scope="", facet="circuit", value="c", number=1),
        {"number": 2},
    ),
}
"""What cannot stand twice: a row, and what its double may differ in."""

PAIR_OF_ONE = "part_pair_of_two"


def constraints() -> dict[str, models.BaseConstraint]:
    return {
        constraint.name: constraint
        for model in apps.get_app_config("setups").get_models()
        for constraint in model._meta.constraints
    }


def refusal(name: str) -> Any:
    """The database's refusal by the constraint ``name``; SQLite names a unique one by its columns."""
    constraint = constraints()[name]
    said = name
    if isinstance(constraint, models.UniqueConstraint):
        said = f"{name}|UNIQUE constraint failed: .*{constraint.fields[-1]}"
    return pytest.raises(IntegrityError, match=said)


@pytest.mark.parametrize(("what", "constraint", "change"), NEVER, ids=lambda value: str(value))
def test_what_must_never_be_is_refused_on_a_change(what, constraint, change):
    row = MAKE[what]()
    with refusal(constraint), transaction.atomic():
        type(row).objects.filter(pk=row.pk).update(**change)
    assert type(row).objects.get(pk=row.pk) == row


@pytest.mark.parametrize(("what", "constraint", "change"), NEVER, ids=lambda value: str(value))
def test_what_must_never_be_is_refused_in_a_new_row(what, constraint, change):
    row = MAKE[what]()
    type(row).objects.filter(pk=row.pk).delete()
    with refusal(constraint):
        type(row).objects.bulk_create([changed(row, change)])


@pytest.mark.parametrize("constraint", TWICE)
def test_what_stands_once_cannot_stand_twice(constraint):
    make, difference = TWICE[constraint]
    row = make()
    row.refresh_from_db()
    with refusal(constraint):
        type(row).objects.bulk_create([changed(row, {"pk": None, "id": None} | difference)])


def test_a_part_makes_no_pair_with_itself():
    part = PartFactory()
    with refusal(PAIR_OF_ONE):
        PartPair.objects.bulk_create([PartPair(part=part, other=part, rule="never")])


def test_every_constraint_of_the_library_is_tried_here():
    assert {name for _, name, _ in NEVER} | set(TWICE) | {PAIR_OF_ONE} | setups.NAMES == set(constraints())


def changed(row: models.Model, change: dict[str, Any]) -> models.Model:
    for name, value in change.items():
        setattr(row, name, value)
    return row


def test_two_platforms_may_each_have_a_middle_position():
    first, second = PlatformFactory(), PlatformFactory()
    assert first.positions.get(name="middle") != second.positions.get(name="middle")


def test_parts_without_a_number_are_many_and_two_makers_may_use_one_number():
    maker = MakerFactory()
    PartFactory(maker=maker), PartFactory(maker=maker)
    PartFactory(part_number="77"), PartFactory(part_number="77")
    assert Part.objects.filter(part_number="77").count() == 2


@pytest.mark.parametrize("kind", [kind for kind in PartKind if kind is not PartKind.MOTOR_MOUNT])
def test_no_kind_but_a_motor_mount_has_a_layout(kind):
    part = PartFactory(kind=kind.value)
    with refusal("part_layout_for_motor_mounts"):
        Part.objects.filter(pk=part.pk).update(layout="rear")


@pytest.mark.parametrize("name", BODY_DIMENSIONS)
def test_a_bodys_dimension_may_lie_on_either_bound_and_not_beyond(name):
    kind = BODY_DIMENSIONS[name]
    row = BodyFactory(figures=dict.fromkeys(BODY_DIMENSIONS) | {name: kind.low}).dimensions.get()
    bounds(BodyDimension.objects.filter(pk=row.pk), kind.low, kind.high, "body_dimension_plausible")


@pytest.mark.parametrize("name", PART_DIMENSIONS)
def test_a_parts_dimension_may_lie_on_either_bound_and_not_beyond(name):
    kind = PART_DIMENSIONS[name]
    row = (
        PartDimension.objects.create(
            part=PartFactory(spring=True), quantity=name, value=Decimal(str(kind.low))
        )
        if name != "spring_rate"
        else PartFactory(spring=True).dimensions.get()
    )
    bounds(PartDimension.objects.filter(pk=row.pk), kind.low, kind.high, "part_dimension_plausible")


def bounds(row: models.QuerySet[Any], low: float, high: float, constraint: str) -> None:
    for bound, beyond in ((low, Decimal("-0.001")), (high, Decimal("0.001"))):
        row.update(value=Decimal(str(bound)))
        with refusal(constraint), transaction.atomic():
            row.update(value=Decimal(str(bound)) + beyond)


def test_a_dimension_outside_its_bounds_is_told_which_and_what_to_check():
    with pytest.raises(ValidationError, match=r"between 40 and 420 mm; you gave 9\.2\. Check the unit"):
        BodyDimension(body=BodyFactory(), quantity="wheelbase", value=Decimal("9.2")).full_clean()


@pytest.mark.parametrize("value", ["NaN", "Infinity", "-Infinity"])
def test_what_is_not_a_number_is_no_dimension(value):
    row = MAKE["body_dimension"]()
    with pytest.raises(ValidationError):
        changed(row, {"value": Decimal(value)}).full_clean()
    with (
        pytest.raises((IntegrityError, DataError, ValidationError, ArithmeticError, ValueError)),
        transaction.atomic(),
    ):
        BodyDimension.objects.filter(pk=row.pk).update(value=Decimal(value))


def test_a_stated_tolerance_is_rectangular_and_a_measured_doubt_is_taken_as_it_is():
    row = MAKE["body_dimension"]()
    assert row.quantity_value() == Quantity.from_tolerance(92.0, 0.1)
    assert changed(row, {"uncertainty": Decimal("0.03")}).quantity_value() == Quantity(92.0, 0.03)
    assumed = changed(row, {"uncertainty": None, "tolerance": None})
    assert assumed.quantity_value() == Quantity.from_tolerance(92.0, 0.1)


def test_a_maker_with_parts_cannot_be_removed_and_a_body_takes_its_dimensions_along():
    part, body = PartFactory(), BodyFactory()
    with pytest.raises(models.ProtectedError):
        part.maker.delete()
    body.delete()
    assert not BodyDimension.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_foreign_keys_are_kept_by_the_database_itself():
    with pytest.raises(IntegrityError):
        Fitment.objects.bulk_create([Fitment(part_id=10**6, platform_id=10**6)])


def test_a_search_finds_every_word_in_name_maker_number_or_full_size_car():
    maker = MakerFactory(name="Quarry Lane")
    body = BodyFactory(name="Heron GT", maker=maker, part_number="QL-12", full_size_car="Heron tourer")
    BodyFactory(name="Heron GT", slug="another-heron")
    for text, found in itertools.product(["heron quarry", "ql-12", "TOURER heron gt"], [[body]]):
        assert list(Body.objects.matching(text)) == found
    part = PartFactory(name="Dish wheel", maker=maker, part_number="QL-90")
    PartFactory(name="Dish wheel", slug="another-dish")
    assert list(Part.objects.matching("wheel ql-90 lane")) == [part]
    assert Maker.objects.get(name="Quarry Lane").bodies.get() == body
    assert ConfigurationPart.objects.count() == Platform.objects.count() == 0
