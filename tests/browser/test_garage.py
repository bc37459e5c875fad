"""A member builds a chassis, sees what fits it, and plans a kit, at a desk and on a phone."""

from __future__ import annotations

import pytest
from selenium.webdriver.support.select import Select

from club.garage import stock
from club.models import Chassis
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


def test_an_empty_garage_and_its_errors_can_be_used_by_everybody(desktop, shop):
    desktop.as_member(MemberFactory())
    desktop.open("/garage/").open("/garage/kit/?plan=1").open(f"/garage/for/{shop.body.slug}/")
    desktop.open(f"/garage/chassis/new/?platform={shop.platform.slug}")
    save(desktop)
    assert "Give the chassis a name" in desktop.text


def test_a_member_builds_a_chassis_and_sees_what_fits_it(phone, shop):
    phone.as_member(MemberFactory())
    phone.open("/garage/").leave_by(phone.link("Build a chassis"))
    phone.leave_by(phone.link(shop.platform.name))
    phone.fill(name="Runner")
    for slot, part in (
        ("front_suspension", shop.wide),
        ("motor_mount", shop.mounts[0]),
        ("plate", shop.plates[0]),
        ("position", shop.platform.positions.get(name="middle")),
    ):
        Select(phone.find(f"[name={slot}]")).select_by_value(str(part.pk))
    save(phone)
    assert "3 parts were counted into your garage" in phone.text
    phone.leave_by(phone.link("What fits it")).assert_sound()
    assert "wheelbase 92.0" in phone.text


def test_a_part_is_found_and_added_without_scripts(phone, shop):
    member = MemberFactory()
    phone.as_member(member).without_scripts()
    phone.open("/garage/parts/add/", sound=False)
    phone.fill(q=shop.rear_axle.name)
    phone.find(".search button").click()
    phone.find(".garage-add button").click()
    phone.wait(lambda: "is in your garage" in phone.find("main").text, "the part was not added")
    assert member.owned_parts.get().part == shop.rear_axle
