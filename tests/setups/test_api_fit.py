"""A configuration and a body, by name or by figures: what ``/api/v1/fit`` computes; nothing is kept."""

from __future__ import annotations

import copy
from decimal import Decimal

import pytest
from django.apps import apps

from fitcalc.fit import evaluate
from setups.api import examples
from setups.models import BodyPart, PartPair
from setups.translate import body_of, configuration_of
from tests.factories import BodyFactory, ConfigurationFactory, PartFactory, PlatformFactory, full_catalogue
from tests.setups.asking import get, pointed, post

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


@pytest.fixture(autouse=True)
def unthrottled(settings):
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"DEFAULT_THROTTLE_RATES": {"computing": ""}}


@pytest.fixture
def library(db):
    return full_catalogue()


def car(library, **parts):
    """A configuration that fits the library's body, in names; ``parts`` puts others in."""
    slots = {
        "front_suspension": library.wide.slug,
        "front_wheel": library.wheels[Decimal(0)].slug,
        "front_tyre": library.tyres[0].slug,
        "rear_axle": library.rear_axle.slug,
        "rear_wheel": library.wheels[Decimal(1)].slug,
        "rear_tyre": library.tyres[0].slug,
        "motor_mount": library.mounts[0].slug,
        "plate": library.plates[0].slug,
        "body_mount": library.body_mount.slug,
    }
    return {"platform": library.platform.slug, "position": "middle", "parts": slots | parts}


def fit(configuration, body):
    answer = post("fit", {"configuration": configuration, "body": body})
    assert answer.status_code == 200, answer.content
    return answer.json()


def finding(report, rule, axle=None):
    return next(f for f in report["findings"] if (f["rule"], f["axle"]) == (rule, axle))


def test_a_car_that_fits_is_told_so_in_numbers(library):
    report = fit(car(library), library.body.slug)
    assert report["fits"] is True
    assert report["body"] == {
        "name": library.body.name,
        "slug": library.body.slug,
        "url": f"/api/v1/bodies/{library.body.slug}/",
    }
    assert report["platform"]["slug"] == library.platform.slug
    flush = finding(report, "flush", "front")
    assert flush["found"]["value"] == 0.0
    assert flush["found"]["unit"] == "mm"
    assert flush["found"]["u"] > 0
    assert (flush["low"], flush["high"], flush["margin"]) == (-1.5, 0.5, 0.5)
    assert 0.95 < flush["probability"] <= 1
    assert report["geometry"]["wheelbase"]["value"] == 92.0
    links = report["geometry"]["chain"]["contributions"]
    assert [(link["slot"], link["quantity"]["value"]) for link in links] == [
        (None, 30.0),
        ("motor_mount", 44.0),
        ("plate", 18.0),
        ("position", 0.0),
    ]


def test_the_answer_is_that_of_the_calculation(library):
    """The numbers of ``fitcalc`` for the same rows, to the millionth that the answer is rounded to."""
    stored = ConfigurationFactory(platform=library.platform)
    report = evaluate(configuration_of(stored), body_of(library.body))
    answer = fit(stored.pk, library.body.slug)
    assert answer["verdict"] == report.verdict.value
    for mine, theirs in zip(report.findings, answer["findings"], strict=True):
        assert (mine.rule.value, mine.verdict.value, mine.holds) == (
            theirs["rule"],
            theirs["verdict"],
            theirs["holds"],
        )
        if mine.found is not None:
            assert theirs["found"]["value"] == pytest.approx(float(mine.found.value), abs=1e-6)
            assert theirs["margin"] == pytest.approx(float(mine.margin), abs=1e-6)
            assert theirs["probability"] == pytest.approx(float(mine.probability), abs=1e-6)
    assert answer["geometry"]["turn"]["centre_radius"] == pytest.approx(
        float(report.geometry.turn.centre_radius), abs=1e-6
    )


def test_a_stored_configuration_can_be_posted_as_it_is_read(library):
    stored = ConfigurationFactory(platform=library.platform)
    read = get(f"configurations/{stored.pk}/").json()
    rebuilt = {name: read[name] for name in ("platform", "position", "parts")}
    assert fit(rebuilt, library.body.slug) == fit(stored.pk, library.body.slug)


def test_a_body_can_be_posted_by_the_figures_it_is_read_with(library):
    read = get(f"bodies/{library.body.slug}/").json()
    figures = {name: read[name] for name in ("name", "scale", "layouts", "designated")}
    figures["dimensions"] = {
        name: {key: row[key] for key in ("value", "unit", "tolerance", "uncertainty")}
        for name, row in read["dimensions"].items()
    }
    without_mount = car(library, body_mount=None)
    by_name, by_figures = fit(without_mount, library.body.slug), fit(without_mount, figures)
    assert by_figures["findings"] == by_name["findings"]
    assert by_figures["geometry"] == by_name["geometry"]
    assert by_figures["body"] == {"name": library.body.name, "slug": None, "url": None}


def test_a_wheel_that_stands_proud_comes_with_the_offset_that_it_needs(library):
    report = fit(car(library, rear_wheel=library.wheels[Decimal("2.5")].slug), library.body.slug)
    assert (report["fits"], report["verdict"]) == (False, "fails")
    flush = finding(report, "flush", "rear")
    assert flush["found"]["value"] == 1.5
    assert flush["margin"] == -1.0
    assert flush["remedies"] == [
        {
            "action": "needs",
            "slot": "rear_wheel",
            "part": None,
            "quantity": "offset",
            "figure": 1.0,
            "unit": "mm",
            "sold": True,
        }
    ]


def test_a_part_by_its_figures_stands_beside_parts_by_name(library):
    own = {
        "name": "turned on the lathe",
        "dimensions": {"offset": {"value": 2.5, "tolerance": 0}, "rim_width": 8.5},
    }
    report = fit(car(library, rear_wheel=own), library.body.slug)
    assert report["configuration"]["parts"]["rear_wheel"] == {
        "part": "rear_wheel",
        "name": "turned on the lathe",
        "url": None,
    }
    assert finding(report, "flush", "rear")["found"]["value"] == 1.5


def test_what_nobody_has_measured_is_unknown_and_not_a_mistake(library):
    report = fit(car(library, body_mount=None), {"scale": 28})
    assert report["verdict"] == "unknown"
    wheelbase = finding(report, "wheelbase")
    assert (wheelbase["verdict"], wheelbase["found"], wheelbase["probability"]) == ("unknown", None, None)
    assert wheelbase["missing"] == ["wheelbase"]
    assert wheelbase["remedies"][0]["action"] == "measure"
    assert report["geometry"]["rear_centring"] is None


def test_a_stated_doubt_decides_how_sure_the_answer_is(library):
    def chance(**doubt):
        body = {"scale": 28, "dimensions": {"rear_arch_width": {"value": 54.2, **doubt}}}
        return finding(fit(car(library), body), "flush", "rear")

    sure, doubtful = chance(uncertainty=0), chance(uncertainty=3)
    assert sure["found"]["value"] == doubtful["found"]["value"] == 0.4
    assert sure["probability"] > doubtful["probability"]
    assert doubtful["verdict"] == "close"


def test_a_wheelbase_can_be_predicted_from_the_full_size_car(library):
    report = fit(car(library), {"scale": 28, "full_size": {"wheelbase": 2576}})
    centring = finding(report, "wheelbase")["found"]
    assert centring["value"] == pytest.approx(0, abs=1e-6)
    assert centring["u"] > 1


def test_parts_that_must_not_meet_are_found_out(library):
    PartPair.objects.create(part=library.mounts[0], other=library.plates[0], rule=PartPair.Rule.NEVER)
    clash = finding(fit(car(library), library.body.slug), "pairs")
    assert clash["verdict"] == "fails"
    assert {clash["found_word"], clash["required_word"]} == {library.mounts[0].name, library.plates[0].name}


def test_a_part_that_goes_only_with_an_absent_partner_is_found_out(library):
    PartPair.objects.create(part=library.mounts[0], other=library.plates[1], rule=PartPair.Rule.ONLY_WITH)
    assert finding(fit(car(library), library.body.slug), "pairs")["found_word"] == library.mounts[0].name
    with_partner = fit(car(library, plate=library.plates[1].slug), library.body.slug)
    assert "pairs" not in {f["rule"] for f in with_partner["findings"]}


def test_a_mount_that_fouls_the_floor_is_found_out(library):
    BodyPart.objects.create(body=library.body, part=library.mounts[0], rule=BodyPart.Rule.FOULS)
    assert finding(fit(car(library), library.body.slug), "floor")["verdict"] == "fails"


def test_the_front_mount_of_another_body_is_found_out(library):
    other = full_catalogue(library.platform, BodyFactory(scale=28))
    report = fit(car(library, body_mount=other.body_mount.slug), library.body.slug)
    assert finding(report, "body_mount")["verdict"] == "fails"


# What cannot be put together


def test_a_part_that_there_is_not_is_pointed_at(library):
    found = pointed(post("fit", {"configuration": car(library, plate="feather"), "body": library.body.slug}))
    assert "No part has the slug 'feather'" in found["#/configuration/parts/plate"]
    assert "/api/v1/parts/?kind=plate" in found["#/configuration/parts/plate"]


def test_a_part_in_the_wrong_slot_is_pointed_at(library):
    wrong = car(library, plate=library.tyres[0].slug)
    found = pointed(post("fit", {"configuration": wrong, "body": library.body.slug}))
    assert "this slot takes a plate" in found["#/configuration/parts/plate"]


def test_a_part_that_is_not_sold_for_the_platform_is_pointed_at(library):
    stranger = PartFactory(plate=True, fits=PlatformFactory())
    wrong = car(library, plate=stranger.slug)
    found = pointed(post("fit", {"configuration": wrong, "body": library.body.slug}))
    assert f"not sold for {library.platform}" in found["#/configuration/parts/plate"]


def test_a_part_that_nobody_has_measured_is_pointed_at(library):
    vague = PartFactory(plate=True, fits=library.platform, figures={"chain_length": None})
    wrong = car(library, plate=vague.slug)
    found = pointed(post("fit", {"configuration": wrong, "body": library.body.slug}))
    assert "lacks a dimension" in found["#/configuration/parts/plate"]


def test_a_platform_or_position_that_there_is_not_is_pointed_at(library):
    for place, said in (
        ("platform", "No platform has the slug 'feather'"),
        ("position", "short, middle, long"),
    ):
        wrong = car(library) | {place: "feather"}
        found = pointed(post("fit", {"configuration": wrong, "body": library.body.slug}))
        assert said in found[f"#/configuration/{place}"]


def test_a_stored_configuration_with_an_empty_slot_says_which():
    stored = ConfigurationFactory(parts={"rear_tyre": None})
    found = pointed(post("fit", {"configuration": stored.pk, "body": BodyFactory().slug}))
    assert "rear tyre" in found["#/configuration"]


# Nothing is kept, and little is asked


def _rows() -> dict[str, int]:
    return {model._meta.label: model._default_manager.count() for model in apps.get_models()}


def test_nothing_that_is_posted_is_kept(library):
    before = _rows()
    fit(car(library), library.body.slug)
    fit(examples.FIT[0].value["configuration"], examples.BODY)
    assert _rows() == before


def test_figures_of_ones_own_ask_the_database_nothing(library, django_assert_num_queries):
    with django_assert_num_queries(0):
        fit(examples.CONFIGURATION, examples.BODY)


def test_a_car_by_names_takes_a_constant_number_of_queries(library, django_assert_num_queries):
    for many in (0, 5):
        for _ in range(many):
            full_catalogue(library.platform)
            part = PartFactory(plate=True, fits=library.platform)
            PartPair.objects.create(part=library.mounts[0], other=part, rule=PartPair.Rule.NEVER)
        with django_assert_num_queries(11):
            fit(car(library), library.body.slug)


def test_the_same_part_of_ones_own_at_both_ends_is_one_part():
    twice = copy.deepcopy(examples.CONFIGURATION)
    assert twice["parts"]["front_tyre"] == twice["parts"]["rear_tyre"]
    report = fit(twice, examples.BODY)
    assert {report["configuration"]["parts"][f"{axle}_tyre"]["part"] for axle in ("front", "rear")} == {
        "tyre"
    }
