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


def test_a_body_is_found_while_typing(screen, library):
    BodyFactory(name="Another Shell", scale=library.platform.scale)
    screen.open("/")
    assert "Another Shell" in screen.text
    screen.fill(q=library.body.name)
    screen.wait(lambda: "Another Shell" not in screen.text, "the list did not follow the typing")
    assert library.body.name in screen.text
    screen.assert_sound()
    screen.leave_by(screen.link(library.body.name))
    assert screen.path == library.body.get_absolute_url()


def test_a_body_is_found_without_scripts(phone, library):
    BodyFactory(name="Another Shell", scale=library.platform.scale)
    phone.without_scripts()
    phone.open("/?" + urlencode({"q": library.body.name}), sound=False)
    assert library.body.name in phone.text
    assert "Another Shell" not in phone.text


@pytest.mark.parametrize("name", ["find", "platforms", "parts"])
def test_the_lists_can_be_used_by_everybody(screen, library, name, dark):
    if dark:
        screen.in_the_dark()
    screen.open(reverse(name))
    screen.assert_accessible()


def test_a_platform_shows_the_wheelbases_that_its_parts_reach(screen, library):
    screen.open(library.platform.get_absolute_url())
    for position in library.positions:
        assert position.name in screen.text
    assert library.wide.name in screen.text
    screen.assert_accessible()


def test_a_part_leads_to_its_platform(screen, library):
    screen.open(library.wide.get_absolute_url())
    screen.assert_accessible()
    screen.leave_by(screen.link(library.platform.name))
    assert screen.path == library.platform.get_absolute_url()


def test_cars_ticked_on_a_body_page_are_compared(screen, library):
    screen.open(library.body.get_absolute_url(), sound=False)
    for box in screen.all("[name=car]")[:2]:
        screen.driver.execute_script("arguments[0].click()", box)
    screen.press("Compare the ticked")
    screen.assert_sound()
    assert screen.path.partition("?")[0] == reverse("compare")
    assert "What differs in parts" in screen.text
    screen.assert_accessible()


def test_six_cars_stay_within_the_screen(screen, library):
    (found,) = answer(library.body).platforms
    cars = [code_of(match.report.configuration) for match in found.solution.matches[:6]]
    screen.open(f"{reverse('compare')}?{urlencode({'car': cars, 'body': library.body.slug}, doseq=True)}")
    assert "6 cars" in screen.text
