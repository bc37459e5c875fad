"""A member's garage: what is owned, what is built of it, and who may see and change it."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils.html import escape

from club.garage import stock
from club.models import Chassis, ChassisPart, OwnedBody, OwnedPart
from tests.factories import BodyFactory, ConfigurationFactory, MemberFactory, PartFactory, PlatformFactory

pytestmark = pytest.mark.django_db

HOME = "/garage/"


@pytest.fixture
def member(client):
    one = MemberFactory()
    client.force_login(one)
    return one


def slots_of(configuration) -> dict[str, int]:
    return dict(configuration.slots.values_list("slot", "part_id"))


def a_chassis(member, name="Runner", **kwargs) -> Chassis:
    configuration = ConfigurationFactory(**kwargs)
    chassis = Chassis(member=member, name=name)
    stock.build(chassis, configuration.position, slots_of(configuration))
    return chassis


def words(answer) -> str:
    return " ".join(answer.content.decode().split())


# Who may see it


def pages(chassis, part_row, body_row) -> list[str]:
    return [
        HOME,
        reverse("garage-add-part"),
        reverse("garage-add-body"),
        reverse("owned-part", args=[part_row.pk]),
        reverse("new-chassis"),
        reverse("chassis", args=[chassis.pk]),
        reverse("chassis-fits", args=[chassis.pk]),
        reverse("garage-needs", args=[body_row.body.slug]),
        reverse("kit"),
    ]


def test_a_garage_is_for_members_and_sends_others_to_sign_in(client):
    other = MemberFactory()
    chassis = a_chassis(other)
    body = OwnedBody.objects.create(member=other, body=BodyFactory())
    part = other.owned_parts.first()
    for page in pages(chassis, part, body):
        answer = client.get(page)
        assert answer.status_code == 302, page
        assert answer["Location"].startswith("/account/sign-in/?next=/garage/")
    for name, row in (("remove-part", part), ("remove-body", body), ("remove-chassis", chassis)):
        assert client.post(reverse(name, args=[row.pk])).status_code == 302
        assert type(row).objects.filter(pk=row.pk).exists()


def test_all_pages_answer_their_owner(client, member):
    chassis = a_chassis(member)
    body = OwnedBody.objects.create(member=member, body=BodyFactory())
    for page in pages(chassis, member.owned_parts.first(), body):
        assert client.get(page).status_code == 200, page


def test_what_another_member_has_is_not_there(client, member):
    other = MemberFactory()
    chassis = a_chassis(other, name="Secret runner")
    part = other.owned_parts.first()
    body = OwnedBody.objects.create(member=other, body=BodyFactory())
    assert "Secret runner" not in words(client.get(HOME))
    for name, row in (("owned-part", part), ("chassis", chassis), ("chassis-fits", chassis)):
        assert client.get(reverse(name, args=[row.pk])).status_code == 404
        assert client.post(reverse(name, args=[row.pk]), {"count": 5}).status_code in (404, 405)
    for name, row in (("remove-part", part), ("remove-body", body), ("remove-chassis", chassis)):
        assert client.post(reverse(name, args=[row.pk])).status_code == 404
        assert type(row).objects.filter(pk=row.pk).exists()
    part.refresh_from_db()
    assert part.count != 5


def test_nothing_is_removed_by_following_a_link(client, member):
    chassis = a_chassis(member)
    assert client.get(reverse("remove-chassis", args=[chassis.pk])).status_code == 405
    assert Chassis.objects.filter(pk=chassis.pk).exists()


def test_the_way_to_the_garage_is_shown_to_members_only(client):
    assert "/garage/" not in words(client.get("/account/sign-in/"))
    client.force_login(MemberFactory())
    assert 'href="/garage/"' in words(client.get(HOME))


# Parts


def test_an_empty_garage_says_what_would_be_here(client, member):
    page = words(client.get(HOME))
    assert page.count("None yet") == 3
    assert reverse("new-chassis") in page


def test_a_part_is_searched_and_added(client, member):
    part = PartFactory(name="Soft slick", tyre=True)
    page = words(client.get(reverse("garage-add-part"), {"q": "slick"}))
    assert "Soft slick" in page
    assert 'value="2"' in page  # a pair
    client.post(reverse("garage-add-part"), {"q": "slick", "part": part.pk, "count": "4"})
    client.post(reverse("garage-add-part"), {"part": part.pk, "count": "2"})
    assert member.owned_parts.get().count == 6
    assert "6 ×" in words(client.get(HOME))


def test_no_more_are_counted_than_the_table_takes(client, member):
    part = PartFactory()
    for _ in range(2):
        client.post(reverse("garage-add-part"), {"part": part.pk, "count": "999"})
    assert member.owned_parts.get().count == 999


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("", "Say how many you have"),
        ("two", "Type a whole number"),
        ("0", "Count at least one"),
        ("-3", "Count at least one"),
        ("1000", "up to 999"),
        ("2.5", "Type a whole number"),
    ],
)
def test_a_count_that_is_none_is_told_beside_what_was_typed(client, member, typed, said):
    part = PartFactory(name="Soft slick", tyre=True)
    answer = client.post(reverse("garage-add-part"), {"q": "slick", "part": part.pk, "count": typed})
    page = words(answer)
    assert answer.status_code == 200
    assert said in page
    assert f'value="{typed}"' in page
    assert not member.owned_parts.exists()


@pytest.mark.parametrize("key", ["", "none", "999999", "9" * 40, "-1", "٣", "²"])
def test_a_part_that_the_library_lacks_is_told(client, member, key):
    answer = client.post(reverse("garage-add-part"), {"part": key, "count": "1"})
    assert answer.status_code == 200
    assert "Nothing was added" in words(answer)


def test_a_search_that_finds_nothing_says_so(client, member):
    assert "No part is called that" in words(client.get(reverse("garage-add-part"), {"q": "zzz"}))
    assert "No body is called that" in words(client.get(reverse("garage-add-body"), {"q": "zzz"}))


def test_count_and_offer_are_changed(client, member):
    row = stock.add(member, PartFactory(), 2)
    address = reverse("owned-part", args=[row.pk])
    client.post(address, {"count": "3", "offer": "part_with", "price": "2.50"})
    row.refresh_from_db()
    assert (row.count, row.offer, row.price) == (3, "part_with", Decimal("2.50"))
    assert "3 to part with, €" in words(client.get(HOME))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"count": "0"}, "Count at least one, or remove the part"),
        ({"count": "x"}, "Type a whole number"),
        ({"price": "2", "offer": "lend"}, "A price is asked only of what you part with"),
        ({"price": "-2", "offer": "part_with"}, "A price is zero or more"),
        ({"price": "cheap", "offer": "part_with"}, "Type an amount"),
        ({"price": "1e99", "offer": "part_with"}, "more than the garage can note"),
        ({"offer": "give"}, "Choose one of the three"),
    ],
)
def test_a_change_that_makes_no_sense_is_told_and_what_was_typed_is_kept(client, member, change, said):
    row = stock.add(member, PartFactory(), 2)
    given = {"count": "7", "offer": "none", "price": ""} | change
    answer = client.post(reverse("owned-part", args=[row.pk]), given)
    page = words(answer)
    assert answer.status_code == 200
    assert said in page
    assert f'value="{given["count"]}"' in page
    if given["price"]:
        assert f'value="{given["price"]}"' in page
    row.refresh_from_db()
    assert (row.count, row.offer, row.price) == (2, "none", None)


def test_what_stands_on_a_chassis_cannot_be_counted_away_or_removed(client, member):
    chassis = a_chassis(member)
    wheel = chassis.slots.get(slot="front_wheel").part
    row = member.owned_parts.get(part=wheel)
    assert row.count == 2
    answer = client.post(reverse("owned-part", args=[row.pk]), {"count": "1", "offer": "none"})
    assert "2 of them stand on your chassis" in words(answer)
    answer = client.post(reverse("remove-part", args=[row.pk]), follow=True)
    assert "stayed: 2 of it stand on your chassis" in words(answer)
    assert member.owned_parts.filter(part=wheel, count=2).exists()


def test_a_loose_part_is_removed(client, member):
    row = stock.add(member, PartFactory(), 2)
    client.post(reverse("remove-part", args=[row.pk]))
    assert not member.owned_parts.exists()


# Bodies


def test_a_body_is_added_once_and_removed(client, member):
    body = BodyFactory(name="Grey Wagtail")
    assert "Grey Wagtail" in words(client.get(reverse("garage-add-body"), {"q": "wagtail"}))
    for _ in range(2):
        client.post(reverse("garage-add-body"), {"body": body.pk})
    assert member.owned_bodies.count() == 1
    assert "in your garage" in words(client.get(reverse("garage-add-body"), {"q": "wagtail"}))
    client.post(reverse("remove-body", args=[member.owned_bodies.get().pk]))
    assert not member.owned_bodies.exists()


@pytest.mark.parametrize("key", ["", "x", "999999"])
def test_a_body_that_the_library_lacks_is_told(client, member, key):
    answer = client.post(reverse("garage-add-body"), {"body": key})
    assert (answer.status_code, "Nothing was added" in words(answer)) == (200, True)


# Chassis


def given_for(configuration, **change) -> dict:
    return {
        "platform": configuration.platform.slug,
        "name": "Runner",
        "position": configuration.position_id,
    } | slots_of(configuration) | change


def test_a_chassis_is_built_from_a_set_as_supplied_and_its_parts_are_owned(client, member):
    supplied = ConfigurationFactory(name="Box")
    page = words(client.get(reverse("new-chassis"), {"platform": supplied.platform.slug, "set": supplied.pk}))
    assert 'value="Box"' in page
    assert page.count(" selected>") >= len(slots_of(supplied)) + 1
    answer = client.post(reverse("new-chassis"), given_for(supplied), follow=True)
    chassis = member.chassis.get()
    assert (chassis.name, chassis.position) == ("Runner", supplied.position)
    assert chassis.platform == supplied.platform
    assert chassis.filled() == slots_of(supplied)
    assert "8 parts were counted into your garage" in words(answer)
    counts = dict(member.owned_parts.values_list("part_id", "count"))
    assert counts == dict(stock.fitted(member))
    assert counts[slots_of(supplied)["rear_tyre"]] == 2


def test_a_set_as_supplied_that_is_not_there_opens_an_empty_form(client, member):
    platform = PlatformFactory()
    assert client.get(reverse("new-chassis"), {"platform": platform.slug, "set": "x"}).status_code == 200


def test_an_unknown_platform_is_told(client, member):
    PlatformFactory()
    page = words(client.get(reverse("new-chassis"), {"platform": "no-such"}))
    assert "no platform of that name" in page


def test_a_slot_may_be_left_open_and_the_garage_says_so(client, member):
    supplied = ConfigurationFactory()
    client.post(reverse("new-chassis"), given_for(supplied, plate="", rear_tyre=""))
    assert set(slots_of(supplied)) - set(member.chassis.get().filled()) == {"plate", "rear_tyre"}
    assert "2 slots open" in words(client.get(HOME))


def test_a_part_that_left_the_catalogue_is_told_on_every_page_that_judges_the_chassis(client, member):
    chassis = a_chassis(member)
    part = chassis.slots.get(slot="motor_mount").part
    part.dimensions.all().delete()
    body = BodyFactory(scale=chassis.platform.scale)
    shown = [
        reverse("chassis", args=[chassis.pk]),
        reverse("chassis-fits", args=[chassis.pk]),
        reverse("garage-needs", args=[body.slug]),
    ]
    for address in shown:
        text = words(client.get(address))
        assert text.count("so the slot counts as open") == 1, address
        assert f"the library has {escape(part)} or one" in text, address


def test_parts_that_are_owned_already_are_not_counted_twice(client, member):
    supplied = ConfigurationFactory()
    for part in slots_of(supplied).values():
        OwnedPart.objects.create(member=member, part_id=part, count=3)
    client.post(reverse("new-chassis"), given_for(supplied))
    assert set(member.owned_parts.values_list("count", flat=True)) == {3}


def test_a_second_chassis_of_the_same_parts_needs_as_many_again(client, member):
    supplied = ConfigurationFactory()
    client.post(reverse("new-chassis"), given_for(supplied))
    client.post(reverse("new-chassis"), given_for(supplied, name="Second"))
    plate = slots_of(supplied)["plate"]
    assert member.owned_parts.get(part=plate).count == 2


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"name": ""}, "Give the chassis a name"),
        ({"name": "x" * 81}, "up to 80 characters"),
        ({"position": ""}, "Choose the position"),
        ({"position": "999999"}, "nothing that the library knows"),
        ({"plate": "999999"}, "nothing that the library knows"),
        ({"front_wheel": "wheel"}, "nothing that the library knows"),
    ],
)
def test_a_chassis_that_cannot_be_is_told_and_what_was_chosen_is_kept(client, member, change, said):
    supplied = ConfigurationFactory()
    given = given_for(supplied, **change)
    answer = client.post(reverse("new-chassis"), given)
    page = words(answer)
    assert answer.status_code == 200
    assert said in page
    assert f'value="{given["name"]}"' in page or not given["name"]
    assert f'<option value="{slots_of(supplied)["motor_mount"]}" selected>' in page
    assert not member.chassis.exists()


def test_a_part_of_another_kind_is_refused(client, member):
    supplied = ConfigurationFactory()
    given = given_for(supplied, plate=slots_of(supplied)["motor_mount"])
    assert "does not go here" in words(client.post(reverse("new-chassis"), given))
    assert not member.chassis.exists()


def test_a_name_is_given_once_but_by_each_member(client, member):
    supplied = ConfigurationFactory()
    a_chassis(MemberFactory(), name="Runner")
    client.post(reverse("new-chassis"), given_for(supplied))
    assert member.chassis.count() == 1
    answer = client.post(reverse("new-chassis"), given_for(supplied))
    assert "You have a chassis of this name already" in words(answer)
    assert member.chassis.count() == 1


def test_a_chassis_is_changed_under_its_own_name(client, member):
    chassis = a_chassis(member)
    other = PartFactory(plate=True, fits=chassis.platform)
    given = {
        "platform": chassis.platform.slug,
        "name": chassis.name,
        "position": chassis.platform.positions.get(name="long").pk,
        **chassis.filled(),
        "plate": other.pk,
    }
    client.post(reverse("chassis", args=[chassis.pk]), given)
    fresh = Chassis.objects.get(pk=chassis.pk)
    assert (fresh.position.name, fresh.filled()["plate"]) == ("long", other.pk)
    assert member.owned_parts.filter(part=other, count=1).exists()


def test_a_chassis_taken_apart_leaves_its_parts(client, member):
    chassis = a_chassis(member)
    owned = member.owned_parts.count()
    client.post(reverse("remove-chassis", args=[chassis.pk]))
    assert not member.chassis.exists()
    assert member.owned_parts.count() == owned == 8


# What the database refuses


def never(make) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        make()


def test_the_tables_refuse_what_must_never_be():
    member, part, body = MemberFactory(), PartFactory(), BodyFactory()
    rows = OwnedPart.objects
    never(lambda: rows.create(member=member, part=part, count=0))
    never(lambda: rows.create(member=member, part=part, count=1000))
    never(lambda: rows.create(member=member, part=part, offer="give"))
    never(lambda: rows.create(member=member, part=part, offer="part_with", price=-1))
    never(lambda: rows.create(member=member, part=part, offer="lend", price=1))
    rows.create(member=member, part=part)
    never(lambda: rows.create(member=member, part=part))
    OwnedBody.objects.create(member=member, body=body)
    never(lambda: OwnedBody.objects.create(member=member, body=body))
    chassis = a_chassis(member)
    never(lambda: Chassis.objects.create(member=member, name=chassis.name, position=chassis.position))
    never(lambda: ChassisPart.objects.create(chassis=chassis, slot="plate", part=part))
    never(lambda: ChassisPart.objects.create(chassis=chassis, slot="boot", part=part))


# How much it asks of the database


def test_much_in_a_garage_takes_as_many_queries_as_little(client, member, django_assert_max_num_queries):
    a_chassis(member, name="One")
    OwnedBody.objects.create(member=member, body=BodyFactory())
    with django_assert_max_num_queries(9) as little:
        client.get(HOME)
    for number in range(3):
        a_chassis(member, name=f"More {number}")
        OwnedBody.objects.create(member=member, body=BodyFactory())
    with django_assert_max_num_queries(9) as much:
        client.get(HOME)
    assert len(much) == len(little)
