"""What fits a body: ``/api/v1/solve`` over the library's platforms and over a catalogue of one's own."""

from __future__ import annotations

import copy
from decimal import Decimal

import pytest
from django.apps import apps
from django.core.cache import caches
from django.db.models import F

from setups.api import computing, examples
from setups.api.limits import MOST_CANDIDATES
from setups.models import (
    Body,
    BodyDimension,
    BodyPart,
    Fitment,
    MountingPosition,
    Part,
    PartDimension,
    PartPair,
    Platform,
)
from setups.services.fitting import answer as library_answer
from tests.factories import BodyFactory, PartFactory, PlatformFactory, full_catalogue
from tests.setups.asking import pointed, post, refused

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

SOLVE = examples.SOLVE[0].value


@pytest.fixture(autouse=True)
def unthrottled(settings):
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"DEFAULT_THROTTLE_RATES": {"computing": ""}}


@pytest.fixture
def library(db):
    return full_catalogue()


def solve(**content):
    answer = post("solve", content)
    assert answer.status_code == 200, answer.content
    return answer.json()


def shape(match):
    """What a configuration is made of."""
    parts = {(slot, part["part"]) for slot, part in match["configuration"]["parts"].items()}
    return frozenset(parts | {("position", match["configuration"]["position"])})


def test_every_platform_of_the_scale_is_searched_and_no_other(library):
    PlatformFactory(scale=24)
    empty = PlatformFactory(scale=28)
    found = solve(body=library.body.slug)["platforms"]
    assert [one["platform"]["slug"] for one in found] == [library.platform.slug, empty.slug]
    assert found[0]["matches"]
    assert "front_suspension" in found[1]["gaps"]
    assert found[1]["combinations"] == 0


def test_the_answer_is_that_of_the_body_page(library):
    theirs = library_answer(library.body, limit=10, owned={library.wide.pk}).platforms[0].solution
    mine = solve(body=library.body.slug, limit=10, owned=[library.wide.slug])["platforms"][0]
    assert (mine["fitting"], mine["combinations"]) == (theirs.fitting, theirs.combinations)
    assert [(m["verdict"], m["cost"], m["parts_to_change"], m["designated"]) for m in mine["matches"]] == [
        (m.report.verdict.value, pytest.approx(m.cost), m.parts_to_change, m.designated)
        for m in theirs.matches
    ]
    assert len(mine["near_misses"]) == len(theirs.near_misses)


def test_what_is_listed_as_fitting_fits_and_what_is_near_does_not(library):
    found = solve(body=library.body.slug, limit=200, misses=20)["platforms"][0]
    assert found["matches"]
    assert found["near_misses"]
    assert all(match["fits"] for match in found["matches"])
    assert not any(match["fits"] for match in found["near_misses"])


def test_a_match_posted_to_fit_comes_back_the_same(library):
    match = solve(body=library.body.slug)["platforms"][0]["matches"][0]
    built = {slot: part["part"] for slot, part in match["configuration"]["parts"].items()}
    position = match["configuration"]["position"]
    configuration = {"platform": library.platform.slug, "position": position, "parts": built}
    report = post("fit", {"configuration": configuration, "body": library.body.slug}).json()
    assert report["findings"] == match["findings"]
    assert report["geometry"] == match["geometry"]


def test_a_near_miss_names_the_part_that_would_mend_it(library):
    body = BodyFactory(scale=28, figures={"rear_arch_width": "53.2"})
    BodyPart.objects.create(body=body, part=library.body_mount, rule=BodyPart.Rule.MADE_FOR)
    found = solve(body=body.slug, platforms=[library.platform.slug])["platforms"][0]
    swaps = [
        remedy
        for match in found["near_misses"]
        for finding in match["findings"]
        for remedy in finding["remedies"]
        if remedy["action"] == "swap"
    ]
    assert swaps
    assert all(remedy["part"]["url"] for remedy in swaps if remedy["slot"] != "position" and remedy["part"])


def test_what_is_owned_need_not_be_bought(library):
    first = solve(body=library.body.slug, limit=1)["platforms"][0]["matches"][0]
    assert first["to_buy"]
    assert {purchase["slot"] for purchase in first["to_buy"] if purchase["pieces"] == 2} == {
        "front_wheel",
        "front_tyre",
        "rear_wheel",
        "rear_tyre",
    }
    owned = [part["part"] for part in first["configuration"]["parts"].values()]
    again = solve(body=library.body.slug, limit=1, owned=owned)["platforms"][0]["matches"][0]
    assert (again["to_buy"], again["cost"], again["parts_to_change"]) == ([], 0.0, 0)
    assert shape(again) == shape(first)


@pytest.mark.parametrize(("limit", "misses"), [(1, 0), (2, 1)])
def test_no_more_is_listed_than_is_asked_for(library, limit, misses):
    found = solve(body=library.body.slug, limit=limit, misses=misses)["platforms"][0]
    assert (len(found["matches"]), len(found["near_misses"])) == (limit, misses)


def test_without_distinct_each_combination_stands_for_itself(library):
    twin = full_catalogue(library.platform)
    assert twin.wide.pk != library.wide.pk
    both = {"body": library.body.slug, "limit": 200}
    once = solve(**both)["platforms"][0]
    each = solve(**both, distinct=False)["platforms"][0]
    assert once["fitting"] == each["fitting"]
    assert len(once["matches"]) < len(each["matches"])
    assert any(match["alternatives"] for match in once["matches"])
    assert not any(match["alternatives"] for match in each["matches"])


def test_an_inline_body_is_solved_on_the_library_s_platforms(library):
    found = solve(body=examples.BODY, platforms=[library.platform.slug])
    assert found["body"] == {"name": "A body on the bench", "slug": None, "url": None}
    (one,) = found["platforms"]
    assert one["matches"]
    assert all("body_mount" not in match["configuration"]["parts"] for match in one["matches"])


def test_a_body_of_a_scale_that_no_platform_has_gets_an_empty_answer(library):
    assert solve(body={"scale": 43})["platforms"] == []


def test_a_catalogue_of_ones_own_is_solved_by_itself(library):
    found = solve(**SOLVE)["platforms"]
    (one,) = found
    assert one["platform"] == {"name": "A chassis of one's own", "slug": None, "url": None}
    assert one["combinations"] == 4 * 4 * 3
    assert one["matches"][0]["fits"]
    assert all(part["url"] is None for part in one["matches"][0]["configuration"]["parts"].values())
    bought = {purchase["part"]["part"] for purchase in one["matches"][0]["to_buy"]}
    assert bought.isdisjoint(SOLVE["owned"])


def test_a_catalogue_s_pair_rules_hold():
    content = copy.deepcopy(SOLVE)
    content["limit"] = 200
    everything = {shape(match) for match in solve(**content)["platforms"][0]["matches"]}
    content["catalogue"]["pairs"] = {"never": [["front end", "wheel +0"]]}
    allowed = {shape(match) for match in solve(**content)["platforms"][0]["matches"]}
    assert allowed == {car for car in everything if ("front_wheel", "wheel +0") not in car}
    assert allowed < everything
    content["catalogue"]["pairs"] = {"only_with": [{"part": "rear axle", "partners": ["wheel +1"]}]}
    allowed = {shape(match) for match in solve(**content)["platforms"][0]["matches"]}
    assert allowed == {car for car in everything if ("rear_wheel", "wheel +1") in car}


def test_a_catalogue_without_some_kind_names_the_gap():
    content = copy.deepcopy(SOLVE)
    del content["catalogue"]["tyres"]
    (one,) = solve(**content)["platforms"]
    assert (one["gaps"], one["combinations"], one["matches"]) == (["front_tyre", "rear_tyre"], 0, [])


def test_platforms_and_a_catalogue_are_not_both_taken(library):
    assert "not both" in pointed(post("solve", SOLVE | {"platforms": [library.platform.slug]}))["#/catalogue"]


def test_names_that_are_nobody_s_are_pointed_at(library):
    found = pointed(
        post("solve", {"body": library.body.slug, "platforms": [library.platform.slug, "feather"]})
    )
    assert list(found) == ["#/platforms/1"]
    found = pointed(post("solve", {"body": library.body.slug, "owned": [library.wide.slug, "feather"]}))
    assert list(found) == ["#/owned/1"]
    assert list(pointed(post("solve", SOLVE | {"owned": [library.wide.slug]}))) == ["#/owned/0"]


# How much work may be asked for


def _large(wheels=0, tyres=0, plates=0, never=()):
    content = copy.deepcopy(SOLVE)
    catalogue = content["catalogue"]

    def more(name, count, **figures):
        model = catalogue[name][0]
        for number in range(count):
            dimensions = model["dimensions"] | {key: value + number / 1000 for key, value in figures.items()}
            catalogue[name].append(model | {"id": f"{name} {number}", "dimensions": dimensions})

    more("wheels", wheels, rim_width=8.5)
    more("tyres", tyres, tyre_diameter=22)
    more("plates", plates, chain_length=17)
    catalogue["pairs"] = {"never": [list(pair) for pair in never]}
    return content


@pytest.mark.parametrize(
    "content",
    [
        _large(wheels=490, tyres=490),
        _large(tyres=490, plates=490),
        _large(wheels=100, plates=100, never=[(f"wheels {n}", f"plates {n}") for n in range(100)]),
    ],
    ids=["candidates", "rear arches", "pair rules"],
)
def test_a_catalogue_beyond_all_measure_is_refused_before_any_work(content, monkeypatch):
    monkeypatch.setattr(computing, "solve", lambda *_, **__: pytest.fail("the search was started"))
    problem = refused(post("solve", content), 400, "too-many-combinations")
    assert "at most" in problem["detail"]
    assert "fewer" in problem["detail"]


def test_a_large_catalogue_within_the_limit_is_solved():
    content = _large(wheels=150, tyres=30, plates=40)
    assert MOST_CANDIDATES / 20 < 154 * 31 * 2 < MOST_CANDIDATES
    (one,) = solve(**content)["platforms"]
    assert one["combinations"] == (154 * 31) ** 2 * 41 * 3
    assert one["matches"]


# Nothing is kept, and little is asked


def _rows() -> dict[str, int]:
    return {model._meta.label: model._default_manager.count() for model in apps.get_models()}


def test_nothing_that_is_posted_is_kept(library):
    before = _rows()
    solve(body=library.body.slug)
    solve(**SOLVE)
    assert _rows() == before


def test_a_catalogue_of_ones_own_asks_the_database_nothing(django_assert_num_queries):
    with django_assert_num_queries(0):
        solve(**SOLVE)


def test_a_solution_takes_a_constant_number_of_queries(library, django_assert_num_queries):
    for many in (0, 4):
        for _ in range(many):
            full_catalogue()
        with django_assert_num_queries(9):
            solve(body=library.body.slug, owned=[library.wide.slug])


def test_a_solution_that_was_kept_asks_for_the_body_and_the_mark_alone(library, django_assert_num_queries):
    anew = solve(body=library.body.slug)
    with django_assert_num_queries(4):
        assert solve(body=library.body.slug) == anew
    # Another question has another answer.
    assert len(solve(body=library.body.slug, limit=1)["platforms"][0]["matches"]) == 1
    spread = post("solve", {"body": library.body.slug}, Accept="application/json; indent=2")
    assert b"\n  " in spread.content
    assert spread.json() == anew


def test_no_solution_outlives_a_change(library):
    body, platform, wide = library.body, library.platform, library.wide
    wheel = library.wheels[Decimal("0")]

    def of(model, **given):
        return model.objects.filter(**given)

    changes = [
        lambda: of(Body, pk=body.pk).update(name="Stilt Saloon"),
        lambda: of(Body, pk=body.pk).update(designated_front_width=Decimal("63.2")),
        lambda: of(BodyDimension, body=body, quantity="rear_arch_width").update(value=F("value") + 0.1),
        lambda: of(BodyDimension, body=body, quantity="front_arch_height").delete(),
        lambda: BodyPart.objects.create(body=body, part=library.mounts[0], rule=BodyPart.Rule.FOULS),
        lambda: of(BodyPart, body=body, part=library.mounts[0]).delete(),
        lambda: of(Platform, pk=platform.pk).update(steer_min=Decimal("12")),
        lambda: of(MountingPosition, platform=platform).update(shift=F("shift") + 0.1),
        lambda: of(Part, pk=wide.pk).update(name="Stilt arms", price=None),
        lambda: of(PartDimension, part=wide, quantity="hub_width").update(value=F("value") + 0.1),
        lambda: PartPair.objects.create(part=wide, other=wheel, rule=PartPair.Rule.NEVER),
        lambda: of(PartPair, part=wide).delete(),
        lambda: of(Fitment, part=wheel).delete(),
        lambda: PartFactory(tyre=True, figures={"tyre_diameter": 22.5}, fits=platform),
        lambda: PlatformFactory(scale=28),
    ]
    seen = [solve(body=body.slug)]
    for number, change in enumerate(changes):
        change()
        kept = [solve(body=body.slug), solve(body=body.slug)]
        caches["pages"].clear()
        anew = solve(body=body.slug)
        assert kept == [anew, anew]
        seen.append(anew)
        assert seen[-1] != seen[-2], f"change {number} changes nothing that is shown"
