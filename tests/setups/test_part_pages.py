"""The pages of parts: what they measure, fit, need and cost."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from fitcalc.dimensions import PartKind
from setups.models import BodyPart, Part, PartPair
from tests.factories import BodyFactory, ConfigurationFactory, PartFactory, PlatformFactory

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]
THIN = "\u202f"


def _page(client: Client, part: Part) -> str:
    response = client.get(part.get_absolute_url())
    assert response.status_code == 200
    return response.content.decode()


def _listed(client: Client, query: str = "") -> list[str]:
    response = client.get(f"/parts/{query}")
    assert response.status_code == 200
    return [sheet.part.name for sheet in response.context["sheets"]]


def test_parts_are_narrowed_by_kind_platform_axle_and_words(client: Client) -> None:
    one, two = PlatformFactory(slug="one"), PlatformFactory(slug="two")
    PartFactory(wheel=True, name="Front wheel", axle="front", fits=one)
    PartFactory(wheel=True, name="Any wheel", fits=[one, two])
    PartFactory(rear_axle=True, name="Rear axle", fits=two)
    PartFactory(tyre=True, name="Slick", part_number="SL-4")
    assert _listed(client) == ["Rear axle", "Slick", "Any wheel", "Front wheel"]
    assert _listed(client, "?kind=wheel") == ["Any wheel", "Front wheel"]
    assert _listed(client, "?platform=two") == ["Rear axle", "Any wheel"]
    assert _listed(client, "?axle=rear") == ["Rear axle", "Slick", "Any wheel"]
    assert _listed(client, "?axle=front&kind=wheel&platform=one") == ["Any wheel", "Front wheel"]
    assert _listed(client, "?q=sl-4") == ["Slick"]


def test_an_unknown_filter_is_said_and_every_part_is_listed(client: Client) -> None:
    PartFactory(name="Toller wheel")
    response = client.get("/parts/?kind=spoiler&platform=nowhere&page=NaN")
    page = response.content.decode()
    assert "There is no such kind: every one is listed." in page
    assert "There is no page “NaN”" in page
    assert "Toller wheel" in page


def test_ten_megabytes_of_words_are_cut_and_said_so(client: Client) -> None:
    response = client.get("/parts/", {"q": "wheel " * 1_700_000})
    assert "That text is too long to search for" in response.content.decode()
    assert len(response.content) < 50_000


def test_no_part_at_all_and_no_part_that_matches_are_told_apart(client: Client) -> None:
    assert "The library holds no parts" in client.get("/parts/").content.decode()
    PartFactory()
    assert "No part matches all of that" in client.get("/parts/?q=nothing").content.decode()


def test_long_lists_page_and_keep_their_filters(client: Client) -> None:
    maker = PartFactory(name="Wheel 000").maker
    for number in range(1, 60):
        PartFactory(name=f"Wheel {number:03}", maker=maker)
    assert _listed(client, "?kind=wheel&page=2")[0] == "Wheel 048"
    assert "?kind=wheel&amp;page=1" in client.get("/parts/?kind=wheel&page=2").content.decode()


def test_the_number_of_queries_does_not_grow_with_the_list(client: Client) -> None:
    platform = PlatformFactory()
    PartFactory(fits=platform)
    with CaptureQueriesContext(connection) as few:
        client.get("/parts/")
    for _ in range(40):
        PartFactory(fits=[platform, PlatformFactory()])
    with CaptureQueriesContext(connection) as many:
        client.get("/parts/")
    assert len(many) == len(few) <= 7


def test_a_dimension_comes_with_its_doubt_its_source_and_its_meaning(client: Client) -> None:
    part = PartFactory(plate=True)
    part.dimensions.update(
        value=Decimal("18.25"),
        tolerance=None,
        uncertainty=Decimal("0.04"),
        basis="measured",
        source="Ode's calliper",
    )
    page = _page(client, part)
    assert f"+18.25{THIN}±{THIN}0.04{THIN}mm" in page
    assert "measured by a member, Ode&#x27;s calliper" in page
    assert "What this part adds to the wheelbase" in page


def test_a_required_dimension_that_nobody_knows_is_asked_for(client: Client) -> None:
    part = PartFactory(front_suspension=True, figures={"kingpin_spacing": None})
    page = _page(client, part)
    assert "It is left out of every answer until this is known: kingpin spacing." in page
    assert page.count("not known") == 1


def test_a_wheel_is_given_in_both_conventions_with_opposite_signs(client: Client) -> None:
    """Offset +1.5 on a rim of 8 mm: inset -(1.5 + 4) = -5.5, backspacing 4 - 5.5 = -1.5."""
    page = _page(client, PartFactory(wheel=True, figures={"offset": "1.5", "rim_width": "8"}))
    assert f"+1.50{THIN}±{THIN}0.06{THIN}mm" in page
    assert f"−5.50{THIN}±{THIN}0.06{THIN}mm" in page
    assert f"−1.50{THIN}±{THIN}0.06{THIN}mm" in page
    assert "The signs are opposite" in page


def test_a_wheel_without_its_rim_width_shows_one_convention_only(client: Client) -> None:
    page = _page(client, PartFactory(wheel=True, figures={"rim_width": None}))
    assert "The signs are opposite" not in page


def test_a_pack_of_several_has_the_price_of_one(client: Client) -> None:
    page = _page(client, PartFactory(price=Decimal("8.40"), pack_size=4))
    assert "4 pieces" in page
    assert f"€{THIN}8.40" in page
    assert f"€{THIN}2.10" in page


def test_a_price_that_nobody_knows_is_said(client: Client) -> None:
    page = _page(client, PartFactory(price=None, pack_size=4))
    assert "price not known" in page
    assert "Price of one" not in page


def test_what_it_goes_with_is_given_from_both_sides_with_the_reason(client: Client) -> None:
    mount, plate, axle = (
        PartFactory(motor_mount=True, name="Toller mount"),
        PartFactory(plate=True, name="Toller plate"),
        PartFactory(rear_axle=True, name="Toller axle"),
    )
    PartPair.objects.create(part=plate, other=mount, rule="only_with", reason="Its holes match this mount.")
    PartPair.objects.create(part=axle, other=mount, rule="never", reason="The spur meets the mount.")
    on_plate, on_mount, on_axle = (_page(client, part) for part in (plate, mount, axle))
    assert "Goes only with one of these" in on_plate
    assert "Toller mount" in on_plate
    assert "These need it, or another on their list" in on_mount
    assert "Its holes match this mount." in on_mount
    assert "Must not meet" in on_mount
    assert "The spur meets the mount." in on_axle


def test_a_body_mount_names_the_bodies_that_it_is_made_for_and_fouls(client: Client) -> None:
    mount = PartFactory(front_body_mount=True)
    BodyPart.objects.create(part=mount, body=BodyFactory(name="Plover"), rule="made_for")
    BodyPart.objects.create(
        part=mount, body=BodyFactory(name="Heron"), rule="fouls", reason="It meets the seat."
    )
    page = _page(client, mount)
    assert "Made for" in page
    assert "Plover" in page
    assert "It meets the seat." in page


def test_configurations_that_use_it_are_linked(client: Client) -> None:
    plate = PartFactory(plate=True)
    body = BodyFactory()
    ConfigurationFactory(name="As supplied", parts={"plate": plate}, body=body)
    page = _page(client, plate)
    assert "As supplied" in page
    assert body.get_absolute_url() in page


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("motor", "A motor gets hot"),
        ("front_body_mount", "cutting away from yourself"),
        ("rear_body_mount", "cutting away from yourself"),
        ("pinion", "away from running gears"),
    ],
)
def test_kinds_that_can_hurt_come_with_a_caution_that_defers_to_maker_and_officials(
    client: Client, kind: str, words: str
) -> None:
    page = _page(client, PartFactory(kind=kind))
    assert words in page
    assert "instructions come first, and at an event its officials decide" in page


@pytest.mark.parametrize("kind", list(PartKind))
def test_every_kind_of_part_has_a_page(client: Client, kind: PartKind) -> None:
    part = PartFactory(kind=kind.value)
    assert part.name in _page(client, part)


def test_an_unknown_part_is_a_page_in_words(client: Client) -> None:
    response = client.get("/parts/nothing/")
    assert response.status_code == 404
    assert "There is no such part in the library" in response.content.decode()


def test_a_part_page_takes_a_constant_number_of_queries(client: Client) -> None:
    part = PartFactory(motor_mount=True, fits=PlatformFactory())
    with CaptureQueriesContext(connection) as few:
        client.get(part.get_absolute_url())
    for _ in range(8):
        PartPair.objects.create(part=PartFactory(plate=True), other=part, rule="only_with")
        BodyPart.objects.create(part=part, body=BodyFactory(), rule="fouls")
        ConfigurationFactory(parts={"motor_mount": part})
    with CaptureQueriesContext(connection) as many:
        client.get(part.get_absolute_url())
    assert len(many) == len(few) <= 8
