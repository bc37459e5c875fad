"""The pages of platforms: what their parts reach, and where a published figure contradicts them."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from setups.models import PartPair
from setups.services.platforms import offered
from tests.factories import (
    BodyFactory,
    FullCatalogue,
    KnownWheelbaseFactory,
    PartFactory,
    PlatformFactory,
    full_catalogue,
)

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]
THIN = "\u202f"


def _page(client: Client, slug: str) -> str:
    response = client.get(f"/platforms/{slug}/")
    assert response.status_code == 200
    return response.content.decode()


def test_the_list_names_every_platform_with_its_scale(client: Client) -> None:
    PlatformFactory(name="Toller One", scale=28)
    PlatformFactory(name="Toller Two", scale=12)
    page = client.get("/platforms/").content.decode()
    assert "Toller One" in page
    assert "1:12" in page


def test_no_platform_says_what_would_be_here(client: Client) -> None:
    assert "The library holds no platforms" in client.get("/platforms/").content.decode()


def test_an_unknown_platform_is_a_page_in_words(client: Client) -> None:
    assert client.get("/platforms/nowhere/").status_code == 404


def test_every_mount_plate_and_position_has_its_wheelbase(catalogue: FullCatalogue) -> None:
    """30 of the platform + mount + plate + position; the factories' figures."""
    reach = offered(catalogue.platform).wheelbases
    lengths = {
        (table.mount, row.plate, one.position): round(float(one.length.value), 3)
        for table in reach.mounts
        for row in table.rows
        for one in row.reaches
    }
    assert len(lengths) == 3 * 2 * 3
    first, second = catalogue.mounts
    short, middle, _long = catalogue.positions
    assert lengths[first, catalogue.plates[0], middle] == 92
    assert lengths[second, catalogue.plates[0], short] == 92
    assert lengths[catalogue.mid_mount, catalogue.plates[1], middle] == 106
    assert (reach.shortest, reach.longest) == (88, 110)


def test_a_plate_that_does_not_go_with_a_mount_is_not_listed_with_it(catalogue: FullCatalogue) -> None:
    plate = catalogue.plates[0]
    PartPair.objects.create(part=plate, other=catalogue.mid_mount, rule=PartPair.Rule.ONLY_WITH)
    never = catalogue.plates[1]
    PartPair.objects.create(part=catalogue.mid_mount, other=never, rule=PartPair.Rule.NEVER)
    listed = {
        (table.mount, row.plate)
        for table in offered(catalogue.platform).wheelbases.mounts
        for row in table.rows
    }
    assert listed == {(catalogue.mid_mount, plate), *((mount, never) for mount in catalogue.mounts)}


def test_a_mount_that_goes_only_with_one_front_end_stands_with_every_plate(catalogue: FullCatalogue) -> None:
    """The table is of mounts and plates: what else a mount asks for is met or not on the check page."""
    mount = catalogue.mounts[0]
    PartPair.objects.create(part=mount, other=catalogue.wide, rule=PartPair.Rule.ONLY_WITH)
    tables = offered(catalogue.platform).wheelbases.mounts
    plates = {table.mount: [row.plate for row in table.rows] for table in tables}
    assert plates[mount] == plates[catalogue.mounts[1]] == catalogue.plates


def test_a_published_wheelbase_that_agrees_stands_beside_the_chain(
    client: Client, catalogue: FullCatalogue
) -> None:
    KnownWheelbaseFactory(
        platform=catalogue.platform,
        motor_mount=catalogue.mounts[0],
        plate=catalogue.plates[0],
        wheelbase=Decimal("92.3"),
        tolerance=Decimal("0.1"),
    )
    page = _page(client, catalogue.platform.slug)
    assert f"published 92.3{THIN}mm, agrees" in page
    assert "contradict" not in page


def test_a_published_wheelbase_beyond_all_tolerances_shows_the_conflict(
    client: Client, catalogue: FullCatalogue
) -> None:
    """The parts explain 0.1 + 0.1 + 0.1 + 0.05 and the publication 0.1: 0.45 in all, and it is 0.6 off."""
    KnownWheelbaseFactory(
        platform=catalogue.platform,
        motor_mount=catalogue.mounts[0],
        plate=catalogue.plates[0],
        wheelbase=Decimal("92.6"),
        tolerance=Decimal("0.1"),
        source="leaflet of spring",
    )
    page = _page(client, catalogue.platform.slug)
    assert "1 published wheelbase contradicts the parts." in page
    assert "leaflet of spring says" in page
    assert f"the tolerances explain ±0.45{THIN}mm" in page
    assert f"contradicts the published 92.6{THIN}mm" in page


def test_a_published_wheelbase_of_parts_that_do_not_pair_is_not_lost(
    client: Client, catalogue: FullCatalogue
) -> None:
    PartPair.objects.create(part=catalogue.mounts[0], other=catalogue.plates[0], rule=PartPair.Rule.NEVER)
    KnownWheelbaseFactory(
        platform=catalogue.platform, motor_mount=catalogue.mounts[0], plate=catalogue.plates[0]
    )
    assert "Published for parts that do not go together here" in _page(client, catalogue.platform.slug)


def test_front_ends_are_named_by_their_width_over_zero_offset_wheels(
    client: Client, catalogue: FullCatalogue
) -> None:
    """Hub 38 and 33 with two rims of 8.5: 55 and 50 across."""
    ends = offered(catalogue.platform).front_ends
    assert [float(end.across.value) for end in ends] == [50, 55]
    assert "Across, zero offset" in _page(client, catalogue.platform.slug)


def test_the_offset_grid_says_what_is_sold_at_each_offset(catalogue: FullCatalogue) -> None:
    PartFactory(wheel=True, axle="front", figures={"offset": "0.5"}, fits=catalogue.platform)
    offsets = {one.value: (one.front, one.rear) for one in offered(catalogue.platform).offsets}
    assert list(offsets) == [-1, -0.5, 0, 0.5, 1, 1.5, 2, 2.5, 3]
    assert offsets[0.5] == (2, 1)
    assert offsets[1] == (1, 1)
    assert offsets[-1] == (0, 0)


def test_what_counts_as_a_fit_is_said_in_words(client: Client) -> None:
    platform = PlatformFactory(flush_band="0.60", inset_limit="1.70", steer_min="21.5")
    page = _page(client, platform.slug)
    assert f"within 0.60{THIN}mm of the arch" in page
    assert f"up to 1.70{THIN}mm inside the arch" in page
    assert "21.5° each way" in page
    assert f"from 95{THIN}% probability" in page


def test_bodies_of_its_scale_are_counted_by_what_its_mounts_leave(
    client: Client, catalogue: FullCatalogue
) -> None:
    BodyFactory(scale=24)
    BodyFactory(scale=28, takes_rear_motor=None)
    page = _page(client, catalogue.platform.slug)
    assert "1 of 2 1:28 bodies have a floor that takes one of its motor mounts" in page


def test_a_part_without_a_figure_that_it_needs_is_named(client: Client, catalogue: FullCatalogue) -> None:
    PartFactory(plate=True, name="Toller plate", figures={"chain_length": None}, fits=catalogue.platform)
    page = _page(client, catalogue.platform.slug)
    assert "Left out of every answer until their figures are known" in page
    assert "Toller plate" in page


def test_a_platform_without_parts_says_what_it_takes(client: Client) -> None:
    page = _page(client, PlatformFactory(positions={}).slug)
    assert "No wheelbase can be computed" in page
    assert "No front end is known for it" in page


def test_the_number_of_queries_does_not_grow_with_the_parts(client: Client, catalogue: FullCatalogue) -> None:
    address = f"/platforms/{catalogue.platform.slug}/"
    with CaptureQueriesContext(connection) as few:
        client.get(address)
    full_catalogue(catalogue.platform)
    for mount in catalogue.mounts:
        for position in catalogue.positions:
            KnownWheelbaseFactory(
                platform=catalogue.platform, motor_mount=mount, plate=catalogue.plates[0], position=position
            )
    with CaptureQueriesContext(connection) as many:
        client.get(address)
    assert len(many) == len(few) <= 14
