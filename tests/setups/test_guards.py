"""Rules that span tables hold whichever way a row is written."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction

from fitcalc.parts import OffsetGrid
from setups import guards, marks
from setups.models import (
    Configuration,
    Fitment,
    KnownWheelbase,
    MountingPosition,
    Part,
    PartDimension,
    Platform,
)
from tests.factories import ConfigurationFactory, KnownWheelbaseFactory, PartFactory, PlatformFactory

pytestmark = pytest.mark.django_db


def refused(message: str) -> object:
    return pytest.raises(IntegrityError, match=message)


def wheel_of(offset: str, **given: object) -> Part:
    return PartFactory(wheel=True, figures={"offset": offset}, **given)


@pytest.mark.parametrize("offset", ["-1", "-0.5", "0", "0.5", "2.5", "3"])
def test_a_wheel_on_the_grid_fits_the_platform(offset):
    platform = PlatformFactory()
    assert wheel_of(offset, fits=platform).fitments.count() == 1


@pytest.mark.parametrize("offset", ["-1.5", "0.25", "1.49", "3.5", "-0.001"])
def test_a_wheel_off_the_grid_cannot_be_said_to_fit(offset):
    platform = PlatformFactory()
    wheel = wheel_of(offset)
    with refused("offset_outside_grid"):
        Fitment.objects.bulk_create([Fitment(part=wheel, platform=platform)])


@pytest.mark.parametrize("step", ["0.1", "0.25", "0.3", "0.5", "0.7"])
def test_the_guard_agrees_with_the_calculation_on_every_tenth_and_quarter(step):
    platform = PlatformFactory(offset_step=Decimal(step))
    grid = OffsetGrid(low=-1.0, high=3.0, step=float(step))
    tried = {Decimal(n) / 20 for n in range(-24, 64)}
    for offset in sorted(tried):
        wheel = wheel_of(str(offset))
        try:
            with transaction.atomic():
                Fitment.objects.create(part=wheel, platform=platform)
            held = True
        except IntegrityError:
            held = False
        assert held == grid.holds(float(offset)), offset


def test_a_fitment_cannot_be_moved_to_a_platform_whose_grid_the_wheel_is_off():
    wheel = wheel_of("2.5", fits=PlatformFactory())
    coarse = PlatformFactory(offset_step=1)
    with refused("offset_outside_grid"):
        Fitment.objects.filter(part=wheel).update(platform=coarse)


def test_a_fitted_wheels_offset_cannot_leave_the_grid():
    wheel = wheel_of("0.5", fits=PlatformFactory())
    with refused("offset_outside_grid"), transaction.atomic():
        wheel.dimensions.filter(quantity="offset").update(value=Decimal("0.75"))
    assert wheel.dimensions.get(quantity="offset").value == Decimal("0.5")
    wheel.dimensions.filter(quantity="offset").update(value=Decimal("1"))


def test_an_offset_off_the_grid_cannot_be_added_to_a_fitted_wheel():
    wheel = PartFactory(wheel=True, figures={"offset": None}, fits=PlatformFactory())
    with refused("offset_outside_grid"):
        PartDimension.objects.bulk_create([PartDimension(part=wheel, quantity="offset", value=Decimal("7"))])


def test_another_dimension_cannot_be_turned_into_an_offset_off_the_grid():
    wheel = PartFactory(wheel=True, figures={"offset": None}, fits=PlatformFactory())
    with refused("offset_outside_grid"):
        wheel.dimensions.filter(quantity="rim_width").update(quantity="offset")


def test_a_grid_cannot_change_under_a_wheel_that_stands_on_it():
    platform = PlatformFactory()
    wheel_of("2.5", fits=platform)
    for change in ({"offset_step": Decimal(1)}, {"offset_max": Decimal(2)}, {"offset_min": Decimal("-0.9")}):
        with refused("offset_outside_grid"), transaction.atomic():
            Platform.objects.filter(pk=platform.pk).update(**change)
    Platform.objects.filter(pk=platform.pk).update(offset_max=Decimal("2.5"))


def test_a_step_of_zero_is_refused_by_the_table_and_not_by_a_division():
    platform = PlatformFactory()
    wheel_of("2.5", fits=platform)
    with refused("platform_offset_grid_sane"):
        Platform.objects.filter(pk=platform.pk).update(offset_step=0)


def test_a_part_with_an_offset_off_the_grid_cannot_become_a_wheel():
    platform = PlatformFactory()
    part = PartFactory(spacer=True, figures={"offset": "0.25"}, fits=platform)
    with refused("offset_outside_grid"):
        Part.objects.filter(pk=part.pk).update(kind="wheel")


def test_only_wheels_answer_to_the_grid():
    part = PartFactory(spacer=True, figures={"offset": "0.25"}, fits=PlatformFactory())
    assert part.fitments.count() == 1


def test_a_configuration_names_a_position_of_its_own_platform():
    configuration = ConfigurationFactory()
    other = PlatformFactory().positions.first()
    with refused("position_of_another_platform"), transaction.atomic():
        Configuration.objects.filter(pk=configuration.pk).update(position=other)
    with refused("position_of_another_platform"), transaction.atomic():
        Configuration.objects.bulk_create(
            [Configuration(name="Stray", platform=configuration.platform, position=other)]
        )
    with refused("position_of_another_platform"):
        MountingPosition.objects.filter(pk=configuration.position_id).update(platform=other.platform)


def test_a_published_wheelbase_names_a_position_of_its_own_platform():
    known = KnownWheelbaseFactory()
    other = PlatformFactory().positions.first()
    with refused("position_of_another_platform"), transaction.atomic():
        KnownWheelbase.objects.filter(pk=known.pk).update(position=other)
    with refused("position_of_another_platform"):
        MountingPosition.objects.filter(pk=known.position_id).update(platform=other.platform)


MARKED = [table for of in marks.COUNTED.values() for table in of if table.startswith("setups_")]
EVERY = sum(len(guard.events) for guard in guards.GUARDS) + 3 * len(MARKED) + 3
"""With those that mark changes and keep tallies. Both databases count one for each event."""


def standing() -> int:
    table = (
        "sqlite_master WHERE type = 'trigger' AND tbl_name LIKE 'setups_%'"
        if connection.vendor == "sqlite"
        else "information_schema.triggers WHERE event_object_table LIKE 'setups_%'"
    )
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT COUNT(*) FROM {table}")
        return cursor.fetchone()[0]


def test_installing_the_guards_again_changes_nothing():
    before = standing()
    guards.install("default")
    guards.install("default")
    assert standing() == before == EVERY


@pytest.mark.django_db(transaction=True)
def test_the_guards_outlive_a_migration_that_remakes_their_tables(settings):
    own = dict(settings.MIGRATION_MODULES)
    settings.MIGRATION_MODULES = own | {"setups": "tests.setups.later_migrations"}
    try:
        call_command("migrate", "setups", verbosity=0)
        assert standing() == EVERY
        wheel = wheel_of("0.5", fits=PlatformFactory())
        with refused("offset_outside_grid"):
            wheel.dimensions.filter(quantity="offset").update(value=Decimal("0.75"))
    finally:
        before = [name for name in _names() if name != "x_remake"][-1]
        call_command("migrate", "setups", before, verbosity=0)
        settings.MIGRATION_MODULES = own
    assert standing() == EVERY


def _names() -> list[str]:
    from django.db.migrations.loader import MigrationLoader

    return sorted(name for app, name in MigrationLoader(connection).disk_migrations if app == "setups")
