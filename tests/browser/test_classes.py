"""A race director writes a class and publishes it; a member checks a car, at a desk and on a phone."""

from __future__ import annotations

from decimal import Decimal

import pytest
from selenium.webdriver.support.select import Select

from club.models import RulebookEdition
from club.racing.editions import today
from tests.factories import (
    EditionFactory,
    MemberFactory,
    RaceClassFactory,
)


@pytest.fixture
def director(db):
    return MemberFactory(race_director=True, display_name="Dana")


def press(screen, words: str) -> None:
    """Press a button that may stand below the window, which must not still be gliding to it."""
    button = next(one for one in screen.all("main button") if one.text.strip() == words)
    screen.driver.execute_script(
        "arguments[0].scrollIntoView({behavior: 'instant', block: 'center'})", button
    )
    screen.leave_by(button)


def add_limit(screen) -> None:
    screen.leave_by(screen.link("A limit: width"))
    screen.fill(number="2.1", wording="At most 56 mm over the front wheels.", high="56")
    Select(screen.find("[name=quantity]")).select_by_value("front_width")
    press(screen, "Preview")
    screen.assert_sound()
    assert "As members will read it" in screen.text
    press(screen, "Save the clause")


def test_a_director_writes_and_publishes_a_class(desktop, director):
    desktop.as_member(director).open("/classes/").leave_by(desktop.link("Start a class"))
    desktop.fill(name="Hall Saloons", description="Small saloons on carpet.")
    desktop.press("Start the class").assert_sound()
    desktop.fill(name="Winter")
    desktop.driver.execute_script(
        "document.querySelector('[name=valid_from]').value = arguments[0]", today().isoformat()
    )
    desktop.press("Start the draft").assert_sound()
    add_limit(desktop)
    desktop.assert_sound()
    desktop.leave_by(desktop.link("Publish"))
    desktop.press("Publish it").assert_sound()
    assert "holds today" in desktop.text
    assert RulebookEdition.objects.get().clauses.get().high == Decimal("56")


def test_a_class_is_written_on_a_phone_without_scripts(phone, director):
    draft = EditionFactory(race_class=RaceClassFactory(name="Hall Saloons"))
    phone.as_member(director).without_scripts().open(draft.get_absolute_url(), sound=False)
    phone.link("A limit: width").click()
    phone.wait(lambda: "A new limit" in phone.text, "no form came")
    phone.fill(number="2.1", wording="At most 56 mm.", high="56")
    Select(phone.find("[name=quantity]")).select_by_value("front_width")
    phone.find("button[value=save]").click()
    phone.wait(lambda: "Clause 2.1 is saved." in phone.text, "the clause was not saved")
    assert draft.clauses.get().number == "2.1"
