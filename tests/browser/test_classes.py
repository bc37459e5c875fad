"""A race director writes a class and publishes it; a member checks a car, at a desk and on a phone."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from selenium.webdriver.support.select import Select

from club.models import RulebookEdition
from club.racing.editions import start, today
from setups.services import verifying
from tests.factories import (
    ClauseFactory,
    EditionFactory,
    MemberFactory,
    RaceClassFactory,
    SetupFactory,
    published,
    reading_for,
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


def test_a_director_writes_and_publishes_a_class(screen, director):
    screen.as_member(director).open("/classes/").leave_by(screen.link("Start a class"))
    screen.fill(name="Hall Saloons", description="Small saloons on carpet.")
    screen.press("Start the class").assert_sound()
    screen.fill(name="Winter")
    screen.driver.execute_script(
        "document.querySelector('[name=valid_from]').value = arguments[0]", today().isoformat()
    )
    screen.press("Start the draft").assert_sound()
    add_limit(screen)
    screen.assert_sound()
    screen.leave_by(screen.link("Publish"))
    screen.press("Publish it").assert_sound()
    assert "holds today" in screen.text
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


def test_rulebooks_and_checks_can_be_used_by_everybody(screen, director):
    if screen.width < 600:  # light at the desk, dark in the pits
        screen.in_the_dark()
    setup = SetupFactory(author=director)
    verifying.add(reading_for(setup, "front_width", "53.9"))
    race_class = RaceClassFactory(name="Hall Saloons")
    edition = EditionFactory(race_class=race_class, valid_from=today() - timedelta(days=9))
    ClauseFactory(edition=edition, number="1", rule="guarded_acceptance", high=Decimal("54"))
    ClauseFactory(edition=edition, number="2", quantity="rear_width", high=Decimal("54"))
    ClauseFactory(edition=edition, number="3", wheels=True, thing="body", items=[setup.current.body])
    ClauseFactory(edition=edition, number="4", seen=True)
    published(edition, director)
    draft = start(race_class, "next", today() + timedelta(days=9), after=edition)
    listed = draft.clauses.get(number="3")
    listed.wording = "Other bodies."
    listed.save()
    address = draft.get_absolute_url()
    screen.as_member(director)
    for page in (
        "/classes/",
        race_class.get_absolute_url(),
        address,
        f"{address}clauses/{listed.pk}/",
        f"{race_class.get_absolute_url()}compare/",
        f"{race_class.get_absolute_url()}check/",
        f"{race_class.get_absolute_url()}check/?setup={setup.pk}",
        f"/setups/{setup.pk}/classes/",
    ):
        screen.open(page)
    screen.leave_by(screen.link("Clause by clause"))
    assert "does not comply" in screen.text
    assert "contradicts the computed" in screen.text
