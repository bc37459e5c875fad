"""The pit tools at a desk and on a phone, with scripts and without."""

from __future__ import annotations

from selenium.webdriver.common.keys import Keys

from tests.factories import PlatformFactory, full_catalogue

GEARING = (
    "/gearing/?pinion_teeth=9&pinion_module=0.4&spur_teeth=44&spur_module=0.4&diameter=22.5&kv=3500&voltage=3.7"
    "&slot_low=9.8&slot_high=11.2"
)
BALANCE = (
    "/balance/?front_left=41.5&front_right=43&rear_left=59.5&rear_right=56&scale=0.3&wheelbase=92"
    "&front_track=46.5&rear_track=46.5"
)


def work_out(screen, **fields):
    """Type into ``fields`` and send the form by its button, from the keyboard."""
    before = screen.path
    screen.fill(**fields).find(".tool-foot button").send_keys(Keys.ENTER)
    screen.wait(lambda: screen.path != before, "no other page came")
    return screen


def test_the_tools_can_be_used_by_everybody(phone, db):
    shop = full_catalogue()
    PlatformFactory(name="A platform with a name that is long enough to wrap on a phone")
    phone.in_the_dark()
    for page in (
        "/gearing/",
        GEARING,
        GEARING + f"&platform={shop.platform.slug}&pinion=nothing",
        GEARING.replace("spur_module=0.4", "spur_module=0.5"),
        GEARING.replace("slot_high=11.2", "slot_high=10.1"),
        "/balance/",
        BALANCE,
        BALANCE + "&ruler=many",
    ):
        phone.open(page)  # quiet console, not too wide, one main heading, accessible


def test_a_pinion_with_one_tooth_more_is_worked_out_without_scripts(desktop, db):
    desktop.without_scripts().open(GEARING, sound=False)
    assert "They mesh" in desktop.text
    work_out(desktop, pinion_teeth="10")
    assert "pinion_teeth=10" in desktop.path
    assert "4.40 : 1" in desktop.text


def test_a_slip_keeps_what_was_typed_and_its_mending_is_answered(phone, db):
    work_out(phone.open(BALANCE), front_left="forty")
    phone.assert_sound()
    assert "“forty” is no number" in phone.text
    assert phone.find("[name=front_left]").get_attribute("value") == "forty"
    work_out(phone, front_left="41.5")
    assert "Cross weight 51.2" in phone.text
    assert phone.find(".tool-plan ellipse").is_displayed()
