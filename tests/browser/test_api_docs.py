"""The interface's description can be browsed and tried, offline and under the content policy."""

from __future__ import annotations

import json

import pytest

from tests.factories import BodyFactory

pytestmark = pytest.mark.django_db(transaction=True)


def _press(screen, within, selector):
    """Press what ``selector`` finds; the viewer scrolls as it unfolds, so that a pointer may miss."""
    found = screen.wait(lambda: within.find_elements("css selector", selector), f"no {selector} came")
    screen.driver.execute_script("arguments[0].click()", found[0])


def _opened(screen, words):
    """The operation whose summary contains ``words``, opened."""
    screen.find(".opblock-summary-control")
    operation = next(one for one in screen.all(".opblock") if words in one.text)
    _press(screen, operation, ".opblock-summary-control")
    screen.wait(
        lambda: operation.find_elements("css selector", ".responses-wrapper"), f"{words} did not open"
    )
    return operation


def test_the_description_is_sound_closed_and_open(screen):
    screen.open("/api/docs/", sound=False)
    screen.find(".opblock-summary-control")
    screen.assert_sound()
    _opened(screen, "List bodies")
    _opened(screen, "What fits this body?")
    screen.wait(lambda: screen.all(".body-param__example"), "no example came")
    screen.assert_sound()


def test_the_description_is_sound_in_the_dark(desktop):
    desktop.in_the_dark().open("/api/docs/", sound=False)
    desktop.find(".opblock-summary-control")
    _opened(desktop, "Does this configuration fit")
    desktop.wait(lambda: desktop.all(".body-param__example"), "no example came")
    desktop.assert_sound()


def test_a_call_can_be_tried_from_the_page(desktop):
    BodyFactory(name="Siskin")
    desktop.open("/api/docs/", sound=False)
    operation = _opened(desktop, "List bodies")
    _press(desktop, operation, ".try-out__btn")
    _press(desktop, operation, ".execute")
    desktop.wait(lambda: "Siskin" in operation.text, "the body did not come")
    desktop.assert_quiet()


def test_an_example_can_be_computed_from_the_page(desktop):
    desktop.open("/api/docs/", sound=False)
    operation = _opened(desktop, "Does this configuration fit")
    _press(desktop, operation, ".try-out__btn")
    field = desktop.wait(lambda: operation.find_elements("css selector", "textarea"), "no field came")[0]
    assert json.loads(field.get_attribute("value"))["body"]["scale"] == 28
    _press(desktop, operation, ".execute")
    desktop.wait(lambda: '"verdict": "fits"' in operation.text, "no verdict came")
    desktop.assert_quiet()


def test_without_scripts_the_page_leads_to_the_schema(desktop):
    desktop.without_scripts().open("/api/docs/", sound=False)
    assert "Without scripts" in desktop.text
    desktop.link("OpenAPI in JSON")
