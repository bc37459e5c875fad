"""The pit tools: gearing, and balance on four scales. The address carries everything that is typed."""

from __future__ import annotations

import re
from math import pi
from typing import Any
from urllib.parse import urlencode

import pytest
from django.test import Client

from setups.services.balancing import sets_on_record
from setups.services.comparing import code_of
from setups.translate import configuration_of
from tests.factories import ConfigurationFactory, PartFactory, PlatformFactory
from tests.setups.pages import chosen, part, words

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

GEARS = {"pinion_teeth": "9", "pinion_module": "0.4", "spur_teeth": "44", "spur_module": "0.4"}
CAR = GEARS | {"diameter": "22.5", "kv": "3500", "voltage": "3.7"}
WEIGHTS = {"front_left": "41.5", "front_right": "43", "rear_left": "59.5", "rear_right": "56"}
LENGTHS = {"wheelbase": "92", "front_track": "46.5", "rear_track": "46.5"}
NONSENSE = ["NaN", "inf", "-5", "1e9", "0x10", "1_0", "٣", "<b>", "999999999", "a" * 10_000, "9 9"]


def _said(client: Client, tool: str, **query: Any) -> str:
    response = client.get(f"/{tool}/", query)
    assert response.status_code == 200
    return words(response)


def test_gears_of_one_module_mesh_and_the_page_says_why(client: Client) -> None:
    said = _said(client, "gearing", **GEARS)
    assert "They mesh" in said
    assert "Both gears have module 0.4." in said
    assert "10.6 mm" in said  # 0.4 (9 + 44) / 2


def test_gears_of_two_modules_do_not_mesh_and_the_page_says_what_to_fit(client: Client) -> None:
    said = _said(client, "gearing", **GEARS | {"spur_module": "0.5"}, diameter="22.5")
    assert "They do not mesh" in said
    assert "Fit a pinion of module 0.5, or a spur of module 0.4." in said
    assert "Rollout" not in said.partition("The answer")[2]


def test_a_module_may_be_typed_as_a_pitch(client: Client) -> None:
    said = _said(client, "gearing", **GEARS | {"pinion_module": "48 pitch", "spur_module": "0,53"})
    assert "They mesh" in said
    assert "They do not mesh" in _said(client, "gearing", **GEARS | {"pinion_module": "64p"})


def test_without_a_module_the_ratio_is_known_and_the_mesh_is_not(client: Client) -> None:
    said = _said(client, "gearing", pinion_teeth="9", spur_teeth="44", diameter="22.5")
    assert "Mesh not known" in said
    assert "4.89: 1" in said
    assert "Not known yet: the pinion’s module, the spur’s module" in said


@pytest.mark.parametrize(
    ("low", "high", "reaches"), [("9.8", "11.2", True), ("9.8", "10.4", False), ("11", "12", False)]
)
def test_the_slot_reaches_the_centre_distance_or_does_not(
    client: Client, low: str, high: str, reaches: bool
) -> None:
    said = _said(client, "gearing", **GEARS, slot_low=low, slot_high=high)
    assert ("✓ The slot reaches" in said) is reaches
    assert ("✕ The slot does not reach" in said) is not reaches
    smallest = {"9.8": "5 to", "11": "11 to"}[low]  # 2 a / 0.4 - 44
    assert f"the slot takes pinions of {smallest}" in said


def test_rollout_comes_with_the_doubt_of_the_tyre(client: Client) -> None:
    said = _said(client, "gearing", **GEARS, diameter="22.5", wear="0.5")
    rollout = pi * 22.5 * 9 / 44
    u = pi * 9 / 44 * 0.5 / 3**0.5
    assert f"Rollout {rollout:.2f} ± {u:.2f} mm" in said


def test_the_neighbouring_pinions_say_what_one_tooth_changes(client: Client) -> None:
    response = client.get("/gearing/", GEARS | {"diameter": "22.5"})
    table = part(response, '<table class="table tool-beside"', "</table>")
    rows = [words(row) for row in table.split("<tr")[2:]]
    assert [row.split(">")[-1].split()[0] for row in rows] == ["6", "7", "8", "9", "10", "11", "12"]
    step = pi * 22.5 / 44
    assert f"+{step:.1f} mm" in rows[4]
    assert f"−{step:.1f} mm" in rows[2]
    assert "yours" in rows[3]


def test_the_speed_is_called_an_estimate(client: Client) -> None:
    said = _said(client, "gearing", **CAR)
    speed = 3500 * 3.7 * 0.85 * pi * 22.5 * 9 / 44 * 60 / 1e6
    found = re.search(r"Top speed, an estimate ([\d.]+) ± ([\d.]+) km/h", said)
    assert found
    assert float(found[1]) == pytest.approx(speed, abs=0.06)
    assert "not a measurement" in said


def test_the_internal_ratio_shortens_the_rollout(client: Client) -> None:
    said = _said(client, "gearing", **GEARS, diameter="22.5", internal="2")
    assert "9.78: 1" in said
    assert f"Rollout {pi * 22.5 * 9 / 88:.2f}" in said


def test_parts_of_the_library_bring_their_figures(client: Client) -> None:
    platform = PlatformFactory(slug="runner")
    PartFactory(pinion=True, slug="ten", name="Ten", figures={"teeth": 10}, fits=platform)
    PartFactory(spur=True, slug="big", fits=platform)
    PartFactory(tyre=True, slug="slick", fits=platform)
    PartFactory(motor=True, slug="motor", fits=platform)
    query = {"platform": "runner", "pinion": "ten", "spur": "big", "tyre": "slick", "motor": "motor"}
    response = client.get("/gearing/", query | {"voltage": "3.7"})
    said = words(response)
    assert f"Rollout {pi * 22 * 10 / 44:.2f}" in said
    assert "Top speed, an estimate" in said
    assert "/parts/ten/" in response.content.decode()
    assert chosen(response, "pinion").startswith("Ten")
    worn = _said(client, "gearing", **query, diameter="21")
    assert f"Rollout {pi * 21 * 10 / 44:.2f}" in worn  # what is typed counts first


def test_a_part_is_taken_without_its_platform_in_the_address(client: Client) -> None:
    PartFactory(pinion=True, slug="ten", figures={"teeth": 10})
    assert "4.4: 1" in _said(client, "gearing", pinion="ten", spur_teeth="44").replace("4.40", "4.4")


def test_an_unknown_part_or_platform_is_said_in_words_and_kept(client: Client) -> None:
    PartFactory(spur=True, slug="big")
    for stranger in ("nothing", "big", "x" * 10_000, "%s"):
        response = client.get("/gearing/", {"pinion": stranger, "spur_teeth": "44", "platform": stranger})
        said = words(response)
        assert response.status_code == 200
        assert "is no pinion that the library knows: choose another, or type its figures." in said
        assert "There is no platform" in said
        assert chosen(response, "pinion").endswith("(not known)")


def _assert_refused_and_kept(
    client: Client, tool: str, known: dict[str, str], field: str, nonsense: str
) -> None:
    response = client.get(f"/{tool}/", known | {field: nonsense})
    assert response.status_code == 200
    said = words(response)
    assert "Not worked out yet: 1 figure to correct" in said
    assert "leave it empty" in said or "Check the unit" in said
    assert response.context["form"][field].value() == nonsense
    other = next(name for name in known if name != field)
    assert f'value="{known[other]}"' in response.content.decode()
    assert "<b>" not in response.content.decode()


@pytest.mark.parametrize(
    ("tool", "known", "fields"),
    [
        ("gearing", CAR, (*CAR, "wear", "internal", "load")),
        ("balance", WEIGHTS | LENGTHS, (*WEIGHTS, *LENGTHS, "scale", "ruler")),
    ],
)
def test_nonsense_in_any_field_is_answered_in_words_and_kept(
    client: Client, tool: str, known: dict[str, str], fields: tuple[str, ...]
) -> None:
    for field in fields:
        for nonsense in ("NaN", "-5", "a" * 10_000):
            _assert_refused_and_kept(client, tool, known, field, nonsense)


@pytest.mark.parametrize("nonsense", NONSENSE, ids=range(len(NONSENSE)))
def test_every_kind_of_nonsense_is_answered_in_words_and_kept(client: Client, nonsense: str) -> None:
    _assert_refused_and_kept(client, "gearing", CAR, "spur_teeth", nonsense)
    _assert_refused_and_kept(client, "balance", WEIGHTS, "front_left", nonsense)


@pytest.mark.parametrize(("low", "high"), [("12", "9"), ("9", ""), ("", "9")])
def test_a_slot_needs_both_ends_the_right_way_round(client: Client, low: str, high: str) -> None:
    said = _said(client, "gearing", **GEARS, slot_low=low, slot_high=high)
    assert "Not worked out yet: 1 figure to correct" in said
    assert ("change the two over" in said) is bool(low and high)


def test_teeth_are_whole(client: Client) -> None:
    assert "It is a whole number" in _said(client, "gearing", **GEARS | {"pinion_teeth": "9.5"})


def test_corner_weights_give_the_shares_and_the_cross_weight(client: Client) -> None:
    said = _said(client, "balance", **WEIGHTS, scale="0.3")
    assert re.search(r"Cross weight 51\.2\d? ± 0\.\d+ %", said)  # (43 + 59.5) / 200
    assert re.search(r"Left 50\.5\d? ± 0\.\d+ %, right 49\.5\d? ±", said)
    assert re.search(r"Front 42\.2\d? ± 0\.\d+ %", said)
    assert re.search(r"Total 200\.0\d? ± 0\.\d+ g", said)


@pytest.mark.parametrize(
    ("weights", "advice"),
    [
        (("40", "50", "50", "40"), "Raise the front-left or the rear-right spring seat a little"),
        (("50", "40", "40", "50"), "Raise the front-right or the rear-left spring seat a little"),
        (("50", "50.2", "50", "50"), "Leave the spring seats as they are."),
    ],
)
def test_the_advice_on_cross_weight_is_on_the_lighter_diagonal_and_marked_as_practice(
    client: Client, weights: tuple[str, ...], advice: str
) -> None:
    said = _said(client, "balance", **dict(zip(WEIGHTS, weights, strict=True)))
    assert advice in said
    assert ("common practice" in said) is ("Leave" not in advice)


def test_a_heavy_side_is_mended_with_ballast_and_not_with_springs(client: Client) -> None:
    said = _said(client, "balance", front_left="60", front_right="50", rear_left="60", rear_right="50")
    assert "heavier on the left" in said
    assert "to the right. Spring seats do not change it." in said


def test_the_centre_of_gravity_lies_where_the_moments_put_it_and_is_drawn(client: Client) -> None:
    response = client.get("/balance/", WEIGHTS | LENGTHS)
    said = words(response)
    assert re.search(r"behind the front axle 53\.1\d? ± 0\.\d+ mm", said)  # 92 * 115.5 / 200
    assert re.search(r"to the side 0\.2\d* ± 0\.\d+ mm left", said)  # 46.5 * (101 - 99) / 400
    plan = part(response, '<svg class="drawing"', "</svg>")
    drawn = response.context["answer"].plan
    assert f'cx="{drawn.x}" cy="{drawn.y}"' in plan
    assert "style=" not in plan
    assert drawn.x < 180  # left of the middle of the sheet


def test_without_lengths_the_page_says_what_to_type(client: Client) -> None:
    assert "type the wheelbase and both tracks" in _said(client, "balance", **WEIGHTS)
    assert "type both tracks" in _said(client, "balance", **WEIGHTS, wheelbase="92")


def test_three_corners_are_not_four(client: Client) -> None:
    said = _said(client, "balance", **WEIGHTS | {"rear_left": ""})
    assert "The balance takes all four corners: weigh rear left too." in said


def test_a_car_that_weighs_nothing_is_refused_in_words(client: Client) -> None:
    assert "weigh all four wheels" in _said(client, "balance", **dict.fromkeys(WEIGHTS, "0"))


def test_the_lengths_come_from_a_set_of_parts_as_the_compare_page_codes_it(client: Client) -> None:
    configuration = ConfigurationFactory(name="As supplied")
    code, name = sets_on_record()[0]
    assert code == code_of(configuration_of(configuration))
    assert name.endswith(": As supplied")
    response = client.get("/balance/", WEIGHTS | {"car": code})
    said = words(response)
    assert "Centre of gravity, behind the front axle" in said
    assert chosen(response, "car").endswith("As supplied")
    assert "Wheelbase used 92.0" in said
    typed = _said(client, "balance", **WEIGHTS, car=code, wheelbase="100", ruler="0.2")
    assert "Wheelbase used 100.0" in typed


@pytest.mark.parametrize("code", ["1-2-3", "x" * 10_000, "9-9-9-9-9-9-9-9-9-9-9-9-9"])
def test_an_unknown_car_is_said_in_words(client: Client, code: str) -> None:
    said = _said(client, "balance", **WEIGHTS, car=code)
    assert "Or choose a set here, or type the lengths." in said


def test_the_pages_ask_the_database_a_few_times_however_many_parts_there_are(
    client: Client, django_assert_max_num_queries: Any
) -> None:
    platform = PlatformFactory(slug="runner")
    for teeth in range(8, 20):
        PartFactory(pinion=True, figures={"teeth": teeth}, fits=platform)
        ConfigurationFactory()
    with django_assert_max_num_queries(4):
        client.get("/gearing/", CAR | {"platform": "runner"})
    with django_assert_max_num_queries(3):
        client.get("/balance/", WEIGHTS | LENGTHS)


@pytest.mark.parametrize("tool", ["gearing", "balance"])
def test_each_tool_warns_of_batteries_and_gears_and_says_who_decides(client: Client, tool: str) -> None:
    said = _said(client, tool)
    assert "fire-proof bag" in said
    assert "never leave them unattended" in said
    assert "spinning gears" in said
    assert "the event’s licensed officials decide" in said


def test_the_example_of_an_empty_tool_is_worked_out(client: Client) -> None:
    for tool in ("gearing", "balance"):
        link = part(client.get(f"/{tool}/"), '<a class="button" href="?', '"').partition('href="')[2]
        response = client.get(f"/{tool}/{link.replace('&amp;', '&').partition('#')[0]}")
        assert response.context["answer"] is not None


def test_the_tools_are_linked_from_every_page_and_from_parts_and_platforms(client: Client) -> None:
    platform = PlatformFactory(slug="runner")
    pinion = PartFactory(pinion=True, slug="ten", fits=platform)
    foot = client.get("/parts/").content.decode().partition("<footer")[2]
    assert 'href="/gearing/"' in foot
    assert 'href="/balance/"' in foot
    assert (
        f"/gearing/?{urlencode({'platform': 'runner'})}" in client.get("/platforms/runner/").content.decode()
    )
    assert "/gearing/?pinion=ten" in client.get(pinion.get_absolute_url()).content.decode()
