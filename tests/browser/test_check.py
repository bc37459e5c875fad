"""The check page at a desk and in the pits."""

from __future__ import annotations

from decimal import Decimal

import pytest
from selenium.webdriver.support.select import Select

from fitcalc.parts import Slot
from setups.services.fitting import answer
from tests.factories import BodyFactory, ConfigurationFactory, full_catalogue


@pytest.fixture
def asked(transactional_db):
    return full_catalogue(body=BodyFactory(name="Lapwing Coupé", slug="lapwing"))


def fitting(catalogue) -> dict[str, str]:
    """Slot -> the words of the option that makes the chassis fit."""
    best = answer(catalogue.body).platforms[0].best.report.configuration
    words = {slot.value: f"{one.name} ({catalogue.platform.maker})" for slot, one in best.parts()}
    return words | {Slot.POSITION.value: best.position.name}


def choose(screen, **options: str) -> None:
    for name, words in options.items():
        Select(screen.find(f"[name={name}]")).select_by_visible_text(words)


def answered(screen, words: str) -> None:
    screen.wait(lambda: words in screen.find("#answer").text, f"the answer never said {words!r}")


def test_choosing_parts_changes_the_answer_while_the_page_stays(phone, asked):
    phone.open("/bodies/lapwing/check/")
    assert "Nothing chosen yet" in phone.find("#answer").text
    phone.driver.execute_script("window.stayed = true")
    options = fitting(asked)
    plate = options.pop("plate")
    choose(phone, **options)
    answered(phone, "Still open: plate.")
    choose(phone, plate=plate)
    answered(phone, "Your chassis fits as it is: nothing to change, nothing to buy.")
    wrong = asked.wheels[Decimal("2.5")]
    choose(phone, rear_wheel=f"{wrong.name} ({wrong.maker})")
    answered(phone, "Not as it is: 1 thing to mend.")
    assert "Buy 1 part" in phone.find(".way").text
    assert phone.driver.execute_script("return window.stayed") is True
    phone.assert_sound()


def test_the_answer_is_told_beside_the_form_without_scrolling(phone, asked):
    phone.open("/bodies/lapwing/check/")
    choose(phone, **fitting(asked))
    answered(phone, "Your chassis fits as it is")
    phone.driver.execute_script("document.querySelector('[name=front_wheel]').scrollIntoView()")
    status = phone.find("#status")
    assert "fits" in status.text
    box = phone.driver.execute_script("return arguments[0].getBoundingClientRect().toJSON()", status)
    assert box["top"] > 0
    assert box["bottom"] <= phone.height


def test_what_was_chosen_is_in_the_address_and_one_step_back_leaves_the_page(desktop, asked):
    desktop.open("/bodies/lapwing/")
    desktop.leave_by(desktop.link("Check my own chassis"))
    choose(desktop, **fitting(asked))
    answered(desktop, "Your chassis fits as it is")
    desktop.wait(lambda: f"plate={asked.plates[0].pk}" in desktop.path, "the address never changed")
    desktop.driver.refresh()
    assert "Your chassis fits as it is" in desktop.find("#answer").text
    assert Select(desktop.find("[name=plate]")).first_selected_option.text == fitting(asked)["plate"]
    desktop.driver.back()
    desktop.wait(lambda: desktop.path == "/bodies/lapwing/", "going back did not lead to the body")


def test_every_answer_is_sound(phone, asked):
    phone.in_the_dark()
    query = "&".join(
        f"{slot.value}={one.id}"
        for slot, one in answer(asked.body).platforms[0].best.report.configuration.parts()
    )
    position = asked.positions[1].pk
    for address in (
        f"?{query}&position={position}",
        f"?{query}&position={asked.positions[0].pk}",
        f"?plate={asked.plates[0].pk}",
        "?plate=x&front_wheel=999999",
        "?platform=no-such",
    ):
        phone.open(f"/bodies/lapwing/check/{address}")


def test_a_set_as_supplied_is_one_press_away(desktop, asked):
    ConfigurationFactory(name="Zebra as supplied", platform=asked.platform)
    desktop.open("/bodies/lapwing/check/")
    desktop.leave_by(desktop.link("Zebra as supplied"))
    desktop.assert_sound()
    assert desktop.find("#answer .verdict").is_displayed()
    assert "Nothing chosen yet" not in desktop.text
    desktop.leave_by(desktop.link("Start again"))
    assert "Nothing chosen yet" in desktop.text


def test_the_page_needs_no_script(phone, asked):
    phone.without_scripts()
    phone.open("/bodies/lapwing/check/", sound=False)
    choose(phone, **fitting(asked))
    phone.find("main form.chassis button").click()
    phone.wait(lambda: "plate=" in phone.path, "the form led nowhere")
    assert phone.path.endswith("#answer")
    assert "Your chassis fits as it is" in phone.find("#answer").text
    assert Select(phone.find("[name=plate]")).first_selected_option.text == fitting(asked)["plate"]
