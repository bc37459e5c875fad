"""The factories that the other tests stand on."""

from __future__ import annotations

import pytest

from fitcalc.dimensions import REQUIRED, PartKind
from setups.models import Fitment
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "factory",
    [
        factories.MemberFactory,
        factories.MakerFactory,
        factories.PlatformFactory,
        factories.MountingPositionFactory,
        factories.PartFactory,
        factories.BodyFactory,
        factories.ConfigurationFactory,
        factories.KnownWheelbaseFactory,
    ],
)
def test_a_factory_gives_a_valid_object_with_no_arguments(factory):
    made = factory()
    made.full_clean()
    for dimension in getattr(made, "dimensions", made.__class__.objects.none()).all():
        dimension.full_clean()


@pytest.mark.parametrize("kind", list(PartKind))
def test_a_part_of_any_kind_has_the_dimensions_that_its_kind_requires(kind):
    part = factories.PartFactory(**{kind.value: True})
    part.full_clean()
    assert part.kind == kind
    assert set(REQUIRED[kind]) <= {row.quantity for row in part.dimensions.all()}


def test_figures_override_and_leave_out_dimensions():
    wheel = factories.PartFactory(wheel=True, figures={"offset": 1.5, "rim_width": None})
    assert [(row.quantity, row.value) for row in wheel.dimensions.all()] == [("offset", 1.5)]
    assert not factories.BodyFactory(unmeasured=True).dimensions.exists()


def test_a_platform_has_three_positions_and_a_full_catalogue_fits_it():
    catalogue = factories.full_catalogue()
    assert [position.shift for position in catalogue.positions] == [-4, 0, 4]
    assert Fitment.objects.filter(platform=catalogue.platform).count() == 16
