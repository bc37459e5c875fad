"""Platforms, positions, rules and names from a file."""

from __future__ import annotations

import pytest

from setups.imports.kinds import KINDS
from setups.imports.load import load
from setups.imports.plan import Plan, plan_of
from setups.models import ConfigurationPart, Maker, PartPair, Platform
from tests.factories import (
    BodyFactory,
    ConfigurationFactory,
    KnownWheelbaseFactory,
    MakerFactory,
    PartFactory,
    PlatformFactory,
)

pytestmark = pytest.mark.django_db
PLATFORM = "slug,name,maker,scale,datum,front_rim_width,offset_min,offset_max,offset_step\n"


def _plan(what: str, text: str) -> Plan:
    return plan_of(KINDS[what], text)


def _load(what: str, text: str) -> Plan:
    plan, loaded = load(KINDS[what], text, _plan(what, text).fingerprint)
    assert loaded is not None, (plan.problems, [row.problems for row in plan.wrong])
    return plan


def _problems(plan: Plan) -> list[tuple[int, str, str]]:
    return [(one.line, one.column, one.message) for row in plan.wrong for one in row.problems]


def test_a_platform_with_its_positions_is_loaded_and_found_again() -> None:
    MakerFactory(name="Fen")
    text = PLATFORM + "toller,Toller,Fen,1:28,30,8.5,-1,3,0.5\n"
    _load("platforms", text)
    assert _plan("platforms", text).unchanged
    _load("positions", "platform,name,order,shift\nToller,short,1,-4\ntoller,long,2,4\n")
    assert list(Platform.objects.get().positions.values_list("name", "shift")) == [("short", -4), ("long", 4)]
    changed = _plan("positions", "platform,name,shift\ntoller,short,-5\n").changed[0].changes
    assert [(one.what, one.before, one.after) for one in changed] == [("Shift", "−4 mm", "−5 mm")]


@pytest.mark.parametrize(
    ("row", "column", "said"),
    [
        ("toller,Toller,Fenn,28,30,8.5,-1,3,0.5", "maker", "did you mean “Fen”?"),
        ("toller,Toller,Fen,28,30,8.5,3,-1,0.5", "", "the smallest offset no larger than the largest"),
        ("toller,Toller,Fen,28,900,8.5,-1,3,0.5", "", "The datum must lie between"),
        ("toller,Toller,Fen,280,30,8.5,-1,3,0.5", "scale", "less than or equal to 64"),
        ("toller,Taken,Fen,28,30,8.5,-1,3,0.5", "name", "Another platform has it"),
        ("toller,,Fen,28,30,8.5,-1,3,0.5", "name", "every platform needs it"),
    ],
)
def test_what_a_platform_cannot_be_names_line_and_column(row: str, column: str, said: str) -> None:
    PlatformFactory(name="Taken", maker=MakerFactory(name="Fen"))
    problems = _problems(_plan("platforms", f"{PLATFORM}{row}\n"))
    assert problems[0][:2] == (2, column)
    assert said in problems[0][2]


def test_two_makers_of_one_address_in_a_file_are_an_error() -> None:
    problems = _problems(_plan("makers", "name,slug\nFen,fen\nFen Works,fen\n"))
    assert problems == [(3, "slug", "Another maker has it: no two may have the same.")]
    assert not Maker.objects.exists()


def test_a_rule_of_two_parts_is_loaded_by_number_and_a_part_is_no_pair_of_itself() -> None:
    maker = MakerFactory(name="Fen")
    mount = PartFactory(motor_mount=True, maker=maker, part_number="F-1")
    plate = PartFactory(plate=True, maker=maker, part_number="F-2")
    _load("part-rules", "part,other,rule,reason\nFen / F-1,F-2,never,it fouls\n")
    assert PartPair.objects.get(part=mount, other=plate).reason == "it fouls"
    problems = _problems(_plan("part-rules", "part,other,rule\nF-1,Fen/F-1,never\n"))
    assert problems == [(2, "", "A part cannot be paired with itself.")]


def test_a_position_is_one_of_its_platform() -> None:
    known = KnownWheelbaseFactory()
    row = f"{known.platform.slug},{known.motor_mount.slug},{known.plate.slug},far,93"
    problems = _problems(_plan("wheelbases", f"platform,motor_mount,plate,position,wheelbase\n{row}\n"))
    assert problems[0][:2] == (2, "position")
    assert "it has short, middle, long" in problems[0][2]


def test_a_part_of_a_configuration_is_swapped() -> None:
    car = ConfigurationFactory(name="as supplied")
    plate = PartFactory(plate=True, slug="other-plate", fits=car.platform)
    text = f"platform,name,position,plate\n{car.platform.slug},as supplied,middle,other-plate\n"
    _load("configurations", text)
    assert ConfigurationPart.objects.get(configuration=car, slot="plate").part == plate
    assert car.slots.count() == 8
    assert _plan("configurations", text).unchanged


@pytest.mark.parametrize(
    ("row", "column", "said"),
    [
        (",,wheelbase,92", "body", "one of the two"),
        ("plover,,wheelbase,921", "value", "between 40 and 420 mm"),
    ],
)
def test_what_a_stated_figure_cannot_be(row: str, column: str, said: str) -> None:
    BodyFactory(slug="plover")
    problems = _problems(_plan("stated-figures", f"body,part,quantity,value\n{row}\n"))
    assert problems[0][:2] == (2, column)
    assert said in problems[0][2]
