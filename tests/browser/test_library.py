"""Visitors look round the library in a real browser: find, platforms, parts, compare."""

from __future__ import annotations

from urllib.parse import urlencode

import pytest
from django.urls import reverse

from setups.services.comparing import code_of
from setups.services.fitting import answer
from tests.factories import BodyFactory, full_catalogue


@pytest.fixture
def library(live_server):
    return full_catalogue()


def test_a_body_is_found_while_typing(desktop, library):
    BodyFactory(name="Another Shell", scale=library.platform.scale)
    desktop.open("/")
    assert "Another Shell" in desktop.text
    desktop.fill(q=library.body.name)
    desktop.wait(lambda: "Another Shell" not in desktop.text, "the list did not follow the typing")
    assert library.body.name in desktop.text
    desktop.assert_sound()
    desktop.leave_by(desktop.link(library.body.name))
    assert desktop.path == library.body.get_absolute_url()


def test_a_body_is_found_without_scripts(phone, library):
    BodyFactory(name="Another Shell", scale=library.platform.scale)
    phone.without_scripts()
    phone.open("/?" + urlencode({"q": library.body.name}), sound=False)
    assert library.body.name in phone.text
    assert "Another Shell" not in phone.text


def test_a_platform_shows_the_wheelbases_that_its_parts_reach(phone, library):
    phone.open(library.platform.get_absolute_url())
    for position in library.positions:
        assert position.name in phone.text
    assert library.wide.name in phone.text
    phone.assert_accessible()


def test_a_part_leads_to_its_platform(desktop, library):
    desktop.open(library.wide.get_absolute_url())
    desktop.assert_accessible()
    desktop.leave_by(desktop.link(library.platform.name))
    assert desktop.path == library.platform.get_absolute_url()


def test_cars_ticked_on_a_body_page_are_compared(phone, library):
    phone.open(library.body.get_absolute_url(), sound=False)
    for box in phone.all("[name=car]")[:2]:
        phone.driver.execute_script("arguments[0].click()", box)
    phone.press("Compare the ticked")
    phone.assert_sound()
    assert phone.path.partition("?")[0] == reverse("compare")
    assert "What differs in parts" in phone.text
    phone.assert_accessible()


def test_six_cars_stay_within_the_screen(screen, library):
    (found,) = answer(library.body).platforms
    cars = [code_of(match.report.configuration) for match in found.solution.matches[:6]]
    screen.open(f"{reverse('compare')}?{urlencode({'car': cars, 'body': library.body.slug}, doseq=True)}")
    assert "6 cars" in screen.text
