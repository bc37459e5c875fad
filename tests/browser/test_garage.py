"""A member builds a chassis, sees what fits it, and plans a kit, at a desk and on a phone."""

from __future__ import annotations

import pytest
from selenium.webdriver.support.select import Select

from club.garage import stock
from club.models import Chassis, OwnedPart
from tests.factories import MemberFactory, full_catalogue


@pytest.fixture
def shop(db):
    return full_catalogue()


def build(member, shop) -> Chassis:
    chassis = Chassis(member=member, name="Runner")
    slots = {
        "front_suspension": shop.wide,
        "front_wheel": shop.wheels[min(shop.wheels)],
        "front_tyre": shop.tyres[0],
        "rear_axle": shop.rear_axle,
        "rear_wheel": shop.wheels[min(shop.wheels)],
        "rear_tyre": shop.tyres[0],
        "motor_mount": shop.mounts[0],
        "plate": shop.plates[0],
    }
    position = shop.platform.positions.get(name="middle")
    stock.build(chassis, position, {slot: part.pk for slot, part in slots.items()})
    return chassis


def save(screen) -> None:
    """Press the button at the end of a long form, which the window must not still be gliding to."""
    button = screen.find("main form.stack > .button")
    glide = "arguments[0].scrollIntoView({behavior: 'instant', block: 'center'})"
    screen.driver.execute_script(glide, button)
    screen.leave_by(button).assert_sound()


def test_every_page_of_a_garage_can_be_used_by_everybody(screen, shop, dark):
    if dark:
        screen.in_the_dark()
    member = MemberFactory(display_name="Ada")
    chassis = build(member, shop)
    row = stock.add(member, shop.narrow, 2)
    member.owned_bodies.create(body=shop.body)
    OwnedPart.objects.create(member=MemberFactory(), part=shop.body_mount, count=1, offer="lend")
    screen.as_member(member)
    for page in (
        "/garage/",
        "/garage/parts/add/?q=part",
        f"/garage/parts/{row.pk}/",
        "/garage/bodies/add/?q=shell",
        "/garage/chassis/new/",
        f"/garage/chassis/new/?platform={shop.platform.slug}",
        f"/garage/chassis/{chassis.pk}/",
        f"/garage/chassis/{chassis.pk}/fits/",
        f"/garage/for/{shop.body.slug}/",
        f"/garage/kit/?body={shop.body.slug}&borrow=yes&plan=1",
    ):
        screen.open(page)


def test_an_empty_garage_and_its_errors_can_be_used_by_everybody(screen, shop):
    screen.as_member(MemberFactory())
    screen.open("/garage/").open("/garage/kit/?plan=1").open(f"/garage/for/{shop.body.slug}/")
    screen.open(f"/garage/chassis/new/?platform={shop.platform.slug}")
    save(screen)
    assert "Give the chassis a name" in screen.text


def test_a_member_builds_a_chassis_and_sees_what_fits_it(screen, shop):
    screen.as_member(MemberFactory())
    screen.open("/garage/").leave_by(screen.link("Build a chassis"))
    screen.leave_by(screen.link(shop.platform.name))
    screen.fill(name="Runner")
    for slot, part in (
        ("front_suspension", shop.wide),
        ("motor_mount", shop.mounts[0]),
        ("plate", shop.plates[0]),
        ("position", shop.platform.positions.get(name="middle")),
    ):
        Select(screen.find(f"[name={slot}]")).select_by_value(str(part.pk))
    save(screen)
    assert "3 parts were counted into your garage" in screen.text
    screen.leave_by(screen.link("What fits it")).assert_sound()
    assert "wheelbase 92.0" in screen.text


def test_a_part_is_found_and_added_without_scripts(phone, shop):
    member = MemberFactory()
    phone.as_member(member).without_scripts()
    phone.open("/garage/parts/add/", sound=False)
    phone.fill(q=shop.rear_axle.name)
    phone.find(".search button").click()
    phone.find(".garage-add button").click()
    phone.wait(lambda: "is in your garage" in phone.find("main").text, "the part was not added")
    assert member.owned_parts.get().part == shop.rear_axle
