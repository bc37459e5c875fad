"""The table of the OWASP ASVS is complete, and every place that it names is there."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest

pytestmark = pytest.mark.one_database

TABLE = Path(__file__).with_name("ASVS.md")
ROOT = TABLE.parents[2]
ROW = re.compile(r"\| (\d+\.\d+\.\d+) \| ([12]) \| (.+?) \| (\S+) \| (.+) \|")
HOLDS, DOES_NOT_APPLY, LEFT = "holds", "n/a", "left"
LEVELS = {
    **{"1.1": "22", "1.2": "1111122223", "1.3": "112222222223", "1.4": "222", "1.5": "123"},
    **{"2.1": "122", "2.2": "112", "2.3": "12223", "2.4": "23"},
    **{"3.1": "3", "3.2": "113", "3.3": "12223", "3.4": "11222233", "3.5": "11122333"},
    **{"3.6": "3", "3.7": "22333"},
    **{"4.1": "12233", "4.2": "23333", "4.3": "22", "4.4": "1222"},
    **{"5.1": "2", "5.2": "112333", "5.3": "113", "5.4": "222"},
    **{"6.1": "122", "6.2": "111111112222", "6.3": "11223333", "6.4": "112233", "6.5": "22222333"},
    **{"6.6": "2223", "6.7": "33", "6.8": "2222"},
    **{"7.1": "222", "7.2": "1111", "7.3": "22", "7.4": "11222", "7.5": "223", "7.6": "22"},
    **{"8.1": "1233", "8.2": "1123", "8.3": "133", "8.4": "23"},
    **{"9.1": "111", "9.2": "1222"},
    **{"10.1": "22", "10.2": "223", "10.3": "22223", "10.4": "1111122222233333", "10.5": "22222"},
    **{"10.6": "22", "10.7": "222"},
    **{"11.1": "2233", "11.2": "22233", "11.3": "11233", "11.4": "1222", "11.5": "23", "11.6": "23"},
    **{"11.7": "33"},
    **{"12.1": "12233", "12.2": "11", "12.3": "22223"},
    **{"13.1": "2333", "13.2": "222223", "13.3": "2233", "13.4": "1222233"},
    **{"14.1": "22", "14.2": "12223333", "14.3": "122"},
    **{"15.1": "12233", "15.2": "12233", "15.3": "1222222", "15.4": "3333"},
    **{"16.1": "2", "16.2": "22222", "16.3": "2222", "16.4": "222", "16.5": "2223"},
    **{"17.1": "23", "17.2": "22223333", "17.3": "22"},
}
"""The level of each requirement, section by section, of the CSV of 5.0.0 in OWASP/ASVS, 5.0/docs_en."""


def rows() -> list[tuple[str, str, str, str, str]]:
    """Number, level, words, standing, and where or why, of each row."""
    return ROW.findall(TABLE.read_text())


def test_every_requirement_of_the_first_two_levels_stands_in_the_table_once():
    wanted = {
        f"{section}.{number}": level
        for section, levels in LEVELS.items()
        for number, level in enumerate(levels, start=1)
        if level != "3"
    }
    found = [(number, level) for number, level, *_ in rows()]
    assert sorted(found) == sorted(wanted.items())
    assert Counter("".join(LEVELS.values())) == {"1": 70, "2": 183, "3": 92}
    lines = [line for line in TABLE.read_text().splitlines() if re.match(r"\| \d", line)]
    assert len(lines) == len(found), "a row that cannot be read"


def test_each_requirement_holds_or_has_a_reason():
    for number, _, _, stands, why in rows():
        assert stands in (HOLDS, DOES_NOT_APPLY, LEFT), number
        assert len(why) >= 4, number


def test_every_place_that_is_named_is_there():
    missing = []
    places = re.findall(r"`([^`]*[/.][^`]*)`", "".join(why for *_, why in rows()))
    for place in places:
        path, _, inside = place.partition("::")
        inside = f"def {inside}(" if inside.startswith("test_") else inside
        if not (ROOT / path).is_file() or inside not in (ROOT / path).read_text():
            missing.append(place)
    assert missing == []
    assert len(places) > 150


def test_what_is_said_to_hold_is_mostly_shown_by_tests_and_the_rest_by_code():
    holding = [why for _, _, _, stands, why in rows() if stands == HOLDS]
    shown = [why for why in holding if "tests/" in why]
    assert len(shown) > len(holding) / 2


def test_the_counts_are_those_that_were_last_looked_at():
    """A row that begins or ceases to hold is looked at by somebody, who changes the figure here."""
    assert Counter(stands for _, _, _, stands, _ in rows()) == {HOLDS: 159, DOES_NOT_APPLY: 71, LEFT: 23}
