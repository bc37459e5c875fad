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


def test_choosing_parts_changes_the_answer_while_the_page_stays(screen, asked):
    screen.open("/bodies/lapwing/check/")
    assert "Nothing chosen yet" in screen.find("#answer").text
    screen.driver.execute_script("window.stayed = true")
    options = fitting(asked)
    plate = options.pop("plate")
    choose(screen, **options)
    answered(screen, "Still open: plate.")
    choose(screen, plate=plate)
    answered(screen, "Your chassis fits as it is: nothing to change, nothing to buy.")
    wrong = asked.wheels[Decimal("2.5")]
    choose(screen, rear_wheel=f"{wrong.name} ({wrong.maker})")
    answered(screen, "Not as it is: 1 thing to mend.")
    assert "Buy 1 part" in screen.find(".way").text
    assert screen.driver.execute_script("return window.stayed") is True
    screen.assert_sound()


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


def test_what_was_chosen_is_in_the_address_and_one_step_back_leaves_the_page(screen, asked):
    screen.open("/bodies/lapwing/")
    screen.leave_by(screen.link("Check my own chassis"))
    choose(screen, **fitting(asked))
    answered(screen, "Your chassis fits as it is")
    screen.wait(lambda: f"plate={asked.plates[0].pk}" in screen.path, "the address never changed")
    screen.driver.refresh()
    assert "Your chassis fits as it is" in screen.find("#answer").text
    assert Select(screen.find("[name=plate]")).first_selected_option.text == fitting(asked)["plate"]
    screen.driver.back()
    screen.wait(lambda: screen.path == "/bodies/lapwing/", "going back did not lead to the body")


def test_every_answer_is_sound(screen, asked, dark):
    if dark:
        screen.in_the_dark()
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
        screen.open(f"/bodies/lapwing/check/{address}")


def test_a_set_as_supplied_is_one_press_away(screen, asked):
    ConfigurationFactory(name="Zebra as supplied", platform=asked.platform)
    screen.open("/bodies/lapwing/check/")
    screen.leave_by(screen.link("Zebra as supplied"))
    screen.assert_sound()
    assert screen.find("#answer .verdict").is_displayed()
    assert "Nothing chosen yet" not in screen.text
    screen.leave_by(screen.link("Start again"))
    assert "Nothing chosen yet" in screen.text


def test_the_page_needs_no_script(phone, asked):
    phone.without_scripts()
    phone.open("/bodies/lapwing/check/", sound=False)
    choose(phone, **fitting(asked))
    phone.find("main form.chassis button").click()
    phone.wait(lambda: "plate=" in phone.path, "the form led nowhere")
    assert phone.path.endswith("#answer")
    assert "Your chassis fits as it is" in phone.find("#answer").text
    assert Select(phone.find("[name=plate]")).first_selected_option.text == fitting(asked)["plate"]
