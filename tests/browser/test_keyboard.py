"""The main paths are walked with the keys alone: Tab, Shift, Enter, arrows, and letters (WCAG 2.1.1, 2.4.3,
2.4.7, 2.4.11)."""

from __future__ import annotations

import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

from club.models import Inspection
from setups.models import Draft, Measurement
from setups.services.fitting import answer
from tests.club.race_days import race_day
from tests.factories import PASSWORD, BodyFactory, MemberFactory, full_catalogue

MOST_STEPS = 90
"""More presses of Tab than any page should ask for."""

HAS_FOCUS = """
const here = document.activeElement;
if (!here || here === document.body) return null;
const box = here.getBoundingClientRect();
const middle = [box.left + box.width / 2, box.top + Math.min(box.height, innerHeight) / 2];
const hit = document.elementFromPoint(...middle);
const style = e => getComputedStyle(e);
const outlined = e => e && (style(e).outlineStyle !== 'none' || style(e).boxShadow !== 'none');
return {
    words: (here.innerText || here.getAttribute('aria-label') || here.name || '').trim(),
    matches: here.matches(arguments[0]),
    seen: outlined(here) || outlined(here.closest('.card, label, li')),
    covered: !hit || !(here.contains(hit) || hit.contains(here) || here.labels && [...here.labels].some(
        label => label.contains(hit))) && !hit.closest('.card, label, summary'),
};
"""


class Keyboard:
    """Somebody at the page who has no pointer."""

    def __init__(self, screen) -> None:
        self.screen = screen

    def press(self, *keys: str) -> None:
        for key in keys:
            ActionChains(self.screen.driver).send_keys(key).perform()

    def go_to(self, selector: str) -> None:
        """Tab on until what ``selector`` finds has the focus; every stop on the way can be seen."""
        stops = []
        for _ in range(MOST_STEPS):
            self.press(Keys.TAB)
            here = self.screen.driver.execute_script(HAS_FOCUS, selector)
            if here is None:
                continue
            stops.append(here["words"][:40])
            assert here["seen"], f"nothing shows that {here['words']!r} has the focus"
            assert not here["covered"], f"{here['words']!r} has the focus under something else"
            if here["matches"]:
                return
        raise AssertionError(f"{selector} was not reached; the stops were {stops}")

    def enter(self, selector: str) -> None:
        """Go to it and press Enter, and wait for the page that comes."""
        self.go_to(selector)
        self.screen.driver.execute_script("window.isThePageBefore = true")
        self.press(Keys.ENTER)
        self.screen.wait(
            lambda: self.screen.driver.execute_script(
                "return !window.isThePageBefore && document.readyState === 'complete'"
            ),
            f"Enter on {selector} led nowhere",
        )

    def write(self, selector: str, text: str) -> None:
        self.go_to(selector)
        self.press(text)


@pytest.fixture
def keys(desktop) -> Keyboard:
    return Keyboard(desktop)


@pytest.fixture
def shop(transactional_db):
    return full_catalogue(body=BodyFactory(name="Lapwing Coupé", slug="lapwing"))


def test_a_newcomer_comes_from_a_name_to_what_to_buy_and_tries_their_own_chassis(keys, desktop, shop):
    BodyFactory(name="Another shell", scale=shop.platform.scale)
    desktop.open("/")
    keys.press(Keys.TAB)
    assert desktop.driver.switch_to.active_element.text == "Skip to the content"
    keys.press(Keys.ENTER)
    keys.write("#q", "lapwing")
    desktop.wait(lambda: "Another shell" not in desktop.text, "the list did not follow the typing")
    keys.enter("#found .card-link, #found a[href^='/bodies/']")
    assert desktop.path == "/bodies/lapwing/"
    assert "Fits the" in desktop.text
    keys.enter("main a[href*='/check/']")
    best = answer(shop.body).platforms[0].best.report.configuration
    keys.go_to("[name=front_suspension]")
    keys.press(best.front_suspension.name[:8])
    desktop.wait(
        lambda: best.front_suspension.name in desktop.find("[name=front_suspension] option:checked").text,
        "the part was not chosen by its name",
    )


def test_a_member_signs_in_and_measures(keys, desktop, shop):
    MemberFactory(username="ada")
    desktop.open("/account/sign-in/")
    keys.write("[name=login]", "ada")
    keys.write("[name=password]", PASSWORD)
    keys.enter("main form button:not([type=button])")
    assert desktop.path == "/"
    desktop.open("/bodies/lapwing/measure/wheelbase/")
    keys.write("[name=value]", "92.05")
    keys.enter("main form.measure-form button")
    assert float(Measurement.objects.get().value) == 92.05


def test_a_setup_is_begun_and_goes_from_step_to_step(keys, desktop, shop):
    desktop.as_member(MemberFactory()).open("/setups/new/?body=lapwing")
    keys.enter("main form .button")
    keys.go_to("[name=plate]")
    keys.press(Keys.ARROW_DOWN)
    keys.enter("button[name=go][value=settings]")
    assert "Settings" in desktop.find("[aria-current=step]").text
    assert Draft.objects.get().typed["plate"] == str(shop.plates[0].pk)


def test_an_inspector_takes_a_reading(keys, desktop):
    day = race_day()
    car, width = day.enter_setup(7), day.clause("2.1")
    desktop.as_member(day.director).without_scripts().open(f"{car.get_absolute_url()}inspect/", sound=False)
    desktop.find("main")
    # Without scripts nothing can be asked of the page, so the focus is found by the driver.
    for _ in range(MOST_STEPS):
        keys.press(Keys.TAB)
        if desktop.driver.switch_to.active_element.get_attribute("name") == f"reading_{width.pk}":
            break
    keys.press("54.9", Keys.ENTER)
    desktop.wait(Inspection.objects.exists, "the reading was not stored")
    assert float(Inspection.objects.get().value) == 54.9
