"""Look for a setup and lay two side by side, with scripts and without."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.urls import reverse

from tests.factories import BodyFactory, PlatformFactory, SetupFactory


@pytest.fixture
def posted(live_server):
    """Two setups of one body at one circuit."""
    body, platform = BodyFactory(name="Plover Coupé"), PlatformFactory(name="Marsh Harrier")
    given = {"body": body, "platform": platform, "circuit": "Mill hall", "surface": "carpet"}
    dry = SetupFactory(name="Dry carpet", best_lap=Decimal("9.8"), tuning={"rear_spring": "soft"}, **given)
    long = SetupFactory(name="Long runs", best_lap=Decimal("9.6"), tuning={"rear_spring": "hard"}, **given)
    return dry, long


def test_a_setup_is_found_while_typing_and_two_are_compared(desktop, posted):
    desktop.open(reverse("setups"))
    desktop.assert_accessible()
    desktop.fill(q="runs")
    desktop.wait(lambda: "Dry carpet" not in desktop.text, "the list did not follow the typing")
    desktop.open(reverse("setups"))
    for box in desktop.all("input[name=car]"):
        box.click()
    desktop.leave_by(desktop.find("#compare button"))
    assert desktop.path.startswith(reverse("compare"))
    assert "soft" in desktop.text
    assert "hard" in desktop.text
    desktop.assert_accessible()


def test_setups_are_narrowed_down_and_compared_without_scripts(phone, posted):
    phone.without_scripts()
    phone.open(reverse("setups") + "?circuit=Mill+hall&sort=lap", sound=False)
    assert phone.text.index("Long runs") < phone.text.index("Dry carpet")
    for box in phone.all("input[name=car]"):
        box.click()
    phone.leave_by(phone.find("#compare button"))
    assert phone.path.startswith(reverse("compare"))
    assert "Marsh Harrier" in phone.text
