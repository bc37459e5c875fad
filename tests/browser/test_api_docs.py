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


def _opened(screen, group, words):
    """The operation of ``group`` whose summary contains ``words``, opened."""
    tag = screen.find(f"[data-tag='{group}']")
    if tag.get_attribute("data-is-open") != "true":
        _press(screen, tag, "button")
    operation = screen.wait(
        lambda: [one for one in screen.all(".opblock") if words in one.text], f"{words} is not in {group}"
    )[0]
    _press(screen, operation, ".opblock-summary-control")
    screen.wait(
        lambda: operation.find_elements("css selector", ".responses-wrapper"), f"{words} did not open"
    )
    return operation


def test_the_description_is_sound_and_what_it_describes_can_be_tried_from_the_page(desktop):
    BodyFactory(name="Siskin")
    desktop.open("/api/docs/", sound=False)
    desktop.find("[data-tag]")
    desktop.assert_sound()
    listed = _opened(desktop, "Library", "List bodies")
    computed = _opened(desktop, "Computing", "Does this configuration fit")
    desktop.wait(lambda: desktop.all(".body-param__example"), "no example came")
    desktop.assert_sound()

    _press(desktop, listed, ".try-out__btn")
    _press(desktop, listed, ".execute")
    desktop.wait(lambda: "Siskin" in listed.text, "the body did not come")
    _press(desktop, computed, ".try-out__btn")
    field = desktop.wait(lambda: computed.find_elements("css selector", "textarea"), "no field came")[0]
    assert json.loads(field.get_attribute("value"))["body"]["scale"] == 28
    _press(desktop, computed, ".execute")
    desktop.wait(lambda: '"verdict": "fits"' in computed.text, "no verdict came")
    desktop.assert_quiet()


def test_without_scripts_the_page_leads_to_the_schema(desktop):
    desktop.without_scripts().open("/api/docs/", sound=False)
    assert "Without scripts" in desktop.text
    desktop.link("OpenAPI in JSON")
