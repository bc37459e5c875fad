"""The body page at a desk and in the pits."""

from __future__ import annotations

from decimal import Decimal

import pytest

from setups.models import BodyPart
from tests.factories import BodyFactory, PlatformFactory, full_catalogue

LONG_NAME = "Grand touring long-tail coupé with covered headlamps, roof rack and double-bubble windscreen"


@pytest.fixture
def shown(transactional_db):
    """A body that fits, with what its maker states, on the first of two platforms of its scale."""
    PlatformFactory(name="Aardvark", slug="aardvark")
    body = BodyFactory(
        name="Lapwing Coupé",
        slug="lapwing",
        designated_front_width=Decimal("55"),
        designated_front_offset=Decimal("0"),
        designated_rear_offset=Decimal("1"),
    )
    return full_catalogue(platform=PlatformFactory(name="Zebra"), body=body)


def drawings(screen) -> list[str]:
    """What the drawings that can be seen show, in words and lines."""
    return [one.get_attribute("outerHTML") for one in screen.all(".car-drawing svg") if one.is_displayed()]


def test_the_body_is_answered_and_its_car_drawn_in_plan_and_from_the_side(screen, shown, dark):
    if dark:
        screen.in_the_dark()
    screen.open("/bodies/lapwing/")
    assert "Fits the Zebra" in screen.text
    plan, side = drawings(screen)
    assert "drawing-plan" in plan
    assert "drawing-side" in side
    for one in screen.all(".car-drawing svg"):
        if one.is_displayed():
            assert one.size["width"] > 300
            assert one.size["height"] > 100


def test_pressing_a_configuration_draws_that_one(phone, shown):
    phone.open("/bodies/lapwing/")
    best = drawings(phone)
    phone.leave_by(phone.find("#row-3 a"))
    phone.assert_sound()
    assert phone.path.endswith("show=3#in-hand")
    assert phone.find("#in-hand h2").text == "Configuration 3 on the Zebra"
    assert drawings(phone) != best
    assert phone.find("#row-3").get_attribute("aria-current") == "true"
    top = phone.driver.execute_script("return document.getElementById('in-hand').getBoundingClientRect().top")
    assert -5 < top < phone.height / 2, "the drawing is not in sight"


def test_pressing_a_near_miss_draws_what_is_wrong_with_it(desktop, shown):
    desktop.open("/bodies/lapwing/")
    assert not desktop.all(".car-drawing .fails")
    desktop.leave_by(desktop.find(".near-misses .card-title a"))
    desktop.assert_sound()
    assert desktop.find("#in-hand h2").text == "Near miss 1 on the Zebra"
    assert [one for one in desktop.all(".car-drawing .fails") if one.is_displayed()]


def test_each_platform_of_the_scale_is_one_press_away(phone, shown):
    phone.open("/bodies/lapwing/")
    phone.leave_by(phone.link("Aardvark"))
    phone.assert_sound()
    assert "Nothing can be fitted on the Aardvark yet" in phone.text
    phone.leave_by(phone.link("Zebra"))
    assert "Fits the Zebra" in phone.text


def test_a_word_says_what_it_means_on_tap(desktop, shown):
    desktop.open("/bodies/lapwing/")
    meaning = desktop.find(".needs .term p")
    assert not meaning.is_displayed()
    desktop.find(".needs .term summary").click()
    assert meaning.is_displayed()
    desktop.assert_not_wider()


def test_more_configurations_are_shown_from_where_the_list_ended(phone, shown):
    phone.open("/bodies/lapwing/")
    assert len(phone.all(".configuration")) == 12
    phone.leave_by(phone.link("Show more"))
    phone.assert_sound()
    assert len(phone.all(".configuration")) > 12


def test_a_long_name_and_missing_dimensions_keep_to_the_screen(screen, transactional_db):
    body = BodyFactory(name=LONG_NAME, slug="long", unmeasured=True)
    full_catalogue(body=body)
    screen.open("/bodies/long/")
    assert "not everything is known" in screen.text


def test_what_fits_nothing_shows_where_it_is_wrong(desktop, transactional_db):
    full_catalogue(body=BodyFactory(slug="narrow", figures={"front_arch_width": "46"}))
    desktop.open("/bodies/narrow/")
    assert "does not fit" in desktop.text
    assert [one for one in desktop.all(".car-drawing .d-gap.fails") if one.is_displayed()]


def test_a_body_that_no_platform_is_for_still_shows_its_needs(phone, transactional_db):
    BodyPart.objects.all().delete()
    BodyFactory(slug="lonely", scale=10)
    phone.open("/bodies/lonely/")
    assert "No platform of this scale yet" in phone.text
    assert "What it needs" in phone.text


def test_the_page_needs_no_script(phone, shown):
    phone.without_scripts()
    phone.open("/bodies/lapwing/", sound=False)
    assert "Fits the Zebra" in phone.text
    phone.find("#row-2 a").click()
    phone.wait(lambda: "show=2" in phone.path, "pressing a configuration led nowhere")
    assert phone.find("#in-hand h2").text == "Configuration 2 on the Zebra"


def test_on_paper_every_figure_of_the_card_keeps_its_name(desktop, shown):
    desktop.open("/bodies/lapwing/")
    desktop.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print", "features": []})
    card = desktop.find(".needs").text
    for name in ("Wheelbase", "Front end", "Wheel offsets", "Motor", "Front body mount"):
        assert name in card
    assert not desktop.find(".configurations").is_displayed()
    assert len(drawings(desktop)) == 2
