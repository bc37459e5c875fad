"""A spreadsheet is checked and loaded in a real browser."""

from __future__ import annotations

from pathlib import Path

from setups.models import Body
from tests.factories import MemberFactory

MESSY = Path(__file__).resolve().parents[1] / "setups" / "data" / "members-bodies.csv"
ROWS = "name,maker,scale,wheelbase\nTrial Shell,Trial Works,28,90.2\n"


def test_a_visitor_checks_a_members_messy_file_and_sees_each_row(screen):
    screen.open("/imports/")
    screen.assert_accessible()
    screen.find("[name=file]").send_keys(str(MESSY))
    screen.press("Check it")
    screen.assert_sound()
    assert "to correct" in screen.text
    assert "line" in screen.text.lower()
    screen.assert_accessible()
    assert not Body.objects.exists()


def test_a_librarian_loads_what_the_dry_run_found_right(screen):
    screen.as_member(MemberFactory(role="librarian"))
    screen.open("/imports/")
    screen.driver.execute_script("document.querySelector('[name=text]').value = arguments[0]", ROWS)
    screen.press("Check it")
    assert "Nothing to correct" in screen.text
    assert not Body.objects.exists()
    screen.press("Load 1")
    screen.assert_sound()
    assert Body.objects.get().name == "Trial Shell"
    assert "Trial Shell" in screen.text
