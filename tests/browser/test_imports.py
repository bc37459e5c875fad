"""A spreadsheet is checked and loaded in a real browser."""

from __future__ import annotations

from pathlib import Path

from setups.models import Body
from tests.factories import MemberFactory

MESSY = Path(__file__).resolve().parents[1] / "setups" / "data" / "members-bodies.csv"
ROWS = "name,maker,scale,wheelbase\nTrial Shell,Trial Works,28,90.2\n"


def test_a_visitor_checks_a_members_messy_file_and_sees_each_row(desktop):
    desktop.open("/imports/")
    desktop.assert_accessible()
    desktop.find("[name=file]").send_keys(str(MESSY))
    desktop.press("Check it")
    desktop.assert_sound()
    assert "to correct" in desktop.text
    assert "line" in desktop.text.lower()
    desktop.assert_accessible()
    assert not Body.objects.exists()


def test_a_librarian_loads_what_the_dry_run_found_right(phone):
    phone.as_member(MemberFactory(role="librarian"))
    phone.open("/imports/")
    phone.driver.execute_script("document.querySelector('[name=text]').value = arguments[0]", ROWS)
    phone.press("Check it")
    assert "Nothing to correct" in phone.text
    assert not Body.objects.exists()
    phone.press("Load 1")
    phone.assert_sound()
    assert Body.objects.get().name == "Trial Shell"
    assert "Trial Shell" in phone.text
