"""JSON Lines from a member: read line by line, and what is wrong said by line and key."""

from __future__ import annotations

from decimal import Decimal

import pytest

from setups.imports.kinds import KINDS
from setups.imports.plan import Plan, plan_of
from setups.imports.reading import Unreadable, as_text, decoded
from setups.models import Body

pytestmark = pytest.mark.django_db
PLOVER = '{"name": "Plover", "maker": "Reed", "scale": 28, "wheelbase": 92.25, "takes_rear_motor": true}'


def _plan(*lines: str) -> Plan:
    return plan_of(KINDS["bodies"], as_text("\n".join(lines) + "\n"))


def _problems(plan: Plan) -> list[tuple[int, str, str]]:
    return [(one.line, one.column, one.message) for row in plan.wrong for one in row.problems]


def test_an_object_a_line_is_read_with_its_decimals_and_its_truths() -> None:
    plan = _plan(PLOVER, "", '{"maker": "Reed", "name": "Heron", "scale": "1:24", "price": null}')
    assert not plan.problems
    assert not plan.wrong
    body = plan.rows[0].checked
    assert (body.instance.takes_rear_motor, body.dimensions[0].value) == (True, Decimal("92.25"))
    assert [row.line for row in plan.rows] == [1, 3]
    assert plan.notices == ["It was read as JSON Lines."]
    assert not Body.objects.exists()


def test_a_dimension_may_be_an_object_of_its_own() -> None:
    plan = _plan('{"name": "P", "maker": "R", "scale": 28, "wheelbase": {"value": 92, "tolerance": 0.2}}')
    assert (plan.rows[0].checked.dimensions[0].tolerance, plan.wrong) == (Decimal("0.2"), [])


def test_text_is_taken_letter_by_letter() -> None:
    plan = _plan('{"name": "=1+2", "maker": "n/a", "scale": 28, "description": "a  b"}')
    instance = plan.rows[0].checked.instance
    assert (instance.name, plan.new_makers, instance.description) == ("=1+2", ["n/a"], "a  b")


@pytest.mark.parametrize(
    ("line", "key", "said"),
    [
        ('{"name": "P", "maker": "R", "scale": 28,}', "", "It is not JSON from character"),
        ('{"name": "P" "maker": "R"}', "", "write one object a line"),
        ('"P"', "", "It is not an object"),
        ("[1, 2]", "", "It is not an object"),
        ('{"name": "P", "maker": "R", "scale": 28, "scale": 24}', "scale", "It stands twice in the line"),
        ('{"name": "P", "maker": "R", "scale": NaN}', "", "“NaN” is not a number"),
        ('{"name": "P", "maker": "R", "scale": 28, "wheelbase": 1e999999}', "", "is too long a number"),
        (
            '{"name": "P", "maker": "R", "scale": 28, "wheelbase": ' + "9" * 5000 + "}",
            "",
            "is too long a number",
        ),
        ('{"name": "P", "maker": "R", "scale": 28, "wheelbase": [92]}', "wheelbase", "It is a list"),
        (
            '{"name": "P", "maker": "R", "scale": 28, "material": [["x"]]}',
            "material",
            "A list may hold names only",
        ),
        (
            '{"name": "P", "maker": "R", "scale": 28, "x": {"a": {"b": {"c": 1}}}}',
            "x_a_b",
            "nested too deeply",
        ),
        ('{"x": ' + "[" * 60_000, "", "nested too deeply"),
        ('{"name": "' + "P" * 100_001 + '"}', "", "more than 100,000 characters"),
        ('{"name": "P", "maker": "R", "scale": 28, "wheelbase": "wide"}', "wheelbase", "is not a number"),
        ('{"name": "P", "maker": "R", "scale": 28, "wheelbase": true}', "wheelbase", "is not a number"),
        (
            '{"name": "P", "maker": "R", "scale": 28, "description": "\\ud800"}',
            "description",
            "cannot be printed",
        ),
        ('{"name": "P", "scale": 28}', "maker", "every body needs it"),
        ('{"name": "P", "maker": "R", "scale": 28, "wheelbase": 965}', "wheelbase", "between 40 and 420 mm"),
    ],
)
def test_what_is_wrong_names_line_and_key_and_leaves_the_other_lines_be(
    line: str, key: str, said: str
) -> None:
    plan = _plan(PLOVER, line)
    assert len(plan.new) == 1
    ((found_line, found_key, message),) = _problems(plan)
    assert (found_line, found_key) == (2, key)
    assert said in message


def test_a_key_that_is_not_known_is_named() -> None:
    plan = _plan('{"name": "P", "maker": "R", "scale": 28, "wheelbse": 92}')
    assert "Keys that are not read: “wheelbse” (did you mean wheelbase?)." in plan.notices


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[\n" + PLOVER + "\n]", "Write it as JSON Lines"),
        ("{}\n{}\n", "There are no keys in it"),
        ("{oops\n", "Line 1: It is not JSON"),
        ("{" + ", ".join(f'"k{n}": 1' for n in range(501)) + "}", "501 different keys"),
        ((PLOVER + "\n") * 5001, "more than 5,000 rows"),
        ('{"nom": "P"}', "There is no such key. Add “name”"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(text: str, said: str) -> None:
    assert said in plan_of(KINDS["bodies"], as_text(text)).problems[0].message


def test_other_encodings_are_told_apart() -> None:
    for encoding in ("utf-8", "utf-8-sig", "utf-16"):
        text, _ = decoded(PLOVER.replace("Plover", "Plövér").encode(encoding))
        assert plan_of(KINDS["bodies"], text).new[0].name == "Plövér"
    with pytest.raises(Unreadable):
        decoded(b"\x00\x01\x02")
