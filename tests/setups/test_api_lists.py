"""Reading the library through the API: lists, filters, pages, sparse fields, ETags, few queries."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from decimal import Decimal

import pytest
from rest_framework.renderers import JSONRenderer

from fitcalc.dimensions import PartKind
from fitcalc.findings import Rule
from fitcalc.parts import Slot
from setups import models
from setups.api.rendering import Json
from setups.api.serializers import ConfigurationSerializer, MakerSerializer, PlatformSerializer
from setups.models import Body, BodyPart, PartPair
from tests.factories import (
    BodyFactory,
    ConfigurationFactory,
    KnownWheelbaseFactory,
    MakerFactory,
    PartFactory,
    PlatformFactory,
    full_catalogue,
)
from tests.setups.asking import get, names, program, refused

pytestmark = pytest.mark.django_db

LISTS = ("bodies", "parts", "platforms", "makers", "configurations")


def test_the_contents_name_every_list_and_each_address_answers():
    contents = get("").json()
    assert set(LISTS) < set(contents)
    for name in contents:
        open_to_all = name in (*LISTS, "setups", "measurements", "disputes", "schema", "docs", "problems")
        known = (200,) if open_to_all else (200, 401, 405)
        assert program().get(contents[name]).status_code in known, name
    for name in ("fit", "solve", "compare"):
        assert program().get(contents[name]).status_code == 405, name
    for name in ("drafts", "garage-parts", "garage-bodies", "garage-chassis", "kit-plan"):
        assert program().get(contents[name]).status_code == 401, name


# What is written


def test_a_body_comes_with_its_dimensions_their_doubt_and_their_source():
    body = BodyFactory(
        name="Siskin", designated_front_width=Decimal("59.4"), figures={"mass": None, "wheelbase": "92.5"}
    )
    row = body.dimensions.get(quantity="wheelbase")
    row.tolerance, row.uncertainty, row.basis, row.source = None, Decimal("0.05"), "measured", "callipers"
    row.save()
    written = get(f"bodies/{body.slug}/").json()
    assert written["dimensions"]["wheelbase"] == {
        "value": 92.5,
        "unit": "mm",
        "tolerance": None,
        "uncertainty": 0.05,
        "u": 0.05,
        "basis": "measured",
        "source": "callipers",
    }
    assert written["dimensions"]["nose_reach"]["u"] == pytest.approx(0.1 / 3**0.5, abs=1e-6)
    assert "mass" not in written["dimensions"]
    assert written["layouts"] == {"rear": True, "mid": False}
    assert written["designated"] == {"front_width": 59.4, "front_offset": None, "rear_offset": None}


def test_a_body_names_the_parts_made_for_it_and_those_that_foul_it():
    catalogue = full_catalogue()
    BodyPart.objects.create(
        body=catalogue.body, part=catalogue.mid_mount, rule=BodyPart.Rule.FOULS, reason="touches the seats"
    )
    rules = get(f"bodies/{catalogue.body.slug}/").json()["part_rules"]
    assert {(rule["rule"], rule["part"], rule["reason"]) for rule in rules} == {
        ("made_for", catalogue.body_mount.slug, ""),
        ("fouls", catalogue.mid_mount.slug, "touches the seats"),
    }


def test_a_part_comes_with_its_pack_its_platforms_and_what_goes_with_it():
    one, other = PlatformFactory(), PlatformFactory()
    plate = PartFactory(plate=True, fits=[one, other], price=Decimal("7.20"), pack_size=3)
    mount, spring = PartFactory(motor_mount=True), PartFactory(spring=True)
    PartPair.objects.create(part=mount, other=plate, rule=PartPair.Rule.ONLY_WITH, reason="holes")
    PartPair.objects.create(part=plate, other=spring, rule=PartPair.Rule.NEVER)
    written = get(f"parts/{plate.slug}/").json()
    assert written["pack"] == {"pieces": 3, "price": 7.2}
    assert written["platforms"] == sorted([one.slug, other.slug])
    assert {(pair["rule"], pair["part"], pair["reason"]) for pair in written["pairs"]} == {
        ("needed_by", mount.slug, "holes"),
        ("never", spring.slug, ""),
    }
    assert get(f"parts/{mount.slug}/").json()["pairs"][0]["rule"] == "only_with"
    assert get(f"parts/{spring.slug}/").json()["pairs"][0] == {
        "rule": "never",
        "part": plate.slug,
        "reason": "",
    }


def test_a_platform_comes_with_positions_published_wheelbases_and_criteria():
    platform = PlatformFactory(positions={"near": -2, "far": 2})
    known = KnownWheelbaseFactory(platform=platform, position=platform.positions.get(name="far"))
    written = get(f"platforms/{platform.slug}/").json()
    assert written["positions"] == [
        {"name": "near", "shift": {"value": -2.0, "tolerance": 0.05}},
        {"name": "far", "shift": {"value": 2.0, "tolerance": 0.05}},
    ]
    assert written["known_wheelbases"] == [
        {
            "motor_mount": known.motor_mount.slug,
            "plate": known.plate.slug,
            "position": "far",
            "wheelbase": {"value": 92.0, "tolerance": 0.2},
            "source": "",
        }
    ]
    assert written["criteria"]["flush_band"] == 0.5
    assert written["offsets"] == {"min": -1.0, "max": 3.0, "step": 0.5}


def test_a_configuration_names_the_part_in_each_slot():
    configuration = ConfigurationFactory()
    written = get(f"configurations/{configuration.pk}/").json()
    assert written["parts"] == {slot.slot: slot.part.slug for slot in configuration.slots.all()}
    assert (written["position"], written["body"]) == ("middle", None)


@pytest.mark.parametrize("name", LISTS)
def test_a_list_and_its_single_things_agree(name):
    _fill(1)
    for row in get(f"{name}/").json()["results"]:
        assert program().get(row["url"]).json() == row


# Filters


def test_bodies_are_found_by_text_scale_maker_wheelbase_layout_and_front_width():
    maker = MakerFactory(name="Plover Bodies")
    BodyFactory(
        name="Alpha", maker=maker, scale=28, figures={"wheelbase": "90"}, designated_front_width=Decimal(55)
    )
    BodyFactory(
        name="Beta", scale=24, figures={"wheelbase": "102"}, takes_rear_motor=False, takes_mid_motor=True
    )
    BodyFactory(
        name="Gamma", scale=28, figures={"wheelbase": None}, takes_rear_motor=None, takes_mid_motor=None
    )
    assert names("bodies/?q=plover+alp") == ["Alpha"]
    assert names("bodies/?scale=24") == ["Beta"]
    assert names(f"bodies/?maker={maker.slug}") == ["Alpha"]
    assert names("bodies/?wheelbase_min=90") == ["Alpha", "Beta"]
    assert names("bodies/?wheelbase_max=101.9") == ["Alpha"]
    assert names("bodies/?wheelbase_min=90.1&wheelbase_max=101") == []
    assert names("bodies/?layout=mid") == ["Beta"]
    assert names("bodies/?front_width=55") == ["Alpha"]
    assert names("bodies/?scale=28&layout=rear") == ["Alpha"]


def test_parts_are_found_by_text_kind_platform_axle_layout_offset_and_body():
    catalogue = full_catalogue()
    other = PartFactory(wheel=True, name="Far wheel", figures={"offset": "8"}, axle="rear")
    wheels = [part.name for part in catalogue.wheels.values()]
    on_platform = f"parts/?platform={catalogue.platform.slug}"
    assert names("parts/?q=far") == ["Far wheel"]
    assert names("parts/?kind=wheel") == [*wheels, "Far wheel"]
    assert names(f"{on_platform}&kind=wheel") == wheels
    assert names("parts/?kind=wheel&offset_min=2.5") == [catalogue.wheels[Decimal("2.5")].name, "Far wheel"]
    assert names("parts/?offset_max=0") == [catalogue.wheels[Decimal(0)].name]
    assert names("parts/?layout=mid") == [catalogue.mid_mount.name]
    assert names(f"parts/?maker={other.maker.slug}") == ["Far wheel"]
    assert names(f"parts/?body={catalogue.body.slug}") == [catalogue.body_mount.name]
    front, rear = names(f"{on_platform}&axle=front"), names(f"{on_platform}&axle=rear")
    assert set(wheels) <= set(front) & set(rear)
    assert catalogue.wide.name in front
    assert catalogue.wide.name not in rear
    assert catalogue.rear_axle.name in rear
    assert catalogue.rear_axle.name not in front
    assert "Far wheel" in names("parts/?axle=rear")
    assert "Far wheel" not in names("parts/?axle=front")


def test_platforms_makers_and_configurations_are_found_too():
    platform = PlatformFactory(name="Whimbrel", scale=24, drive="all")
    body = BodyFactory(scale=24)
    ConfigurationFactory(name="Raced", platform=platform, body=body)
    ConfigurationFactory(name="Bare")
    assert names("platforms/?scale=24&drive=all&q=whim") == ["Whimbrel"]
    assert names(f"platforms/?maker={platform.maker.slug}") == ["Whimbrel"]
    assert names(f"makers/?q={platform.maker.name}") == [platform.maker.name]
    assert names(f"configurations/?platform={platform.slug}") == ["Raced"]
    assert names(f"configurations/?body={body.slug}") == ["Raced"]
    assert names("configurations/?q=bar") == ["Bare"]


@pytest.mark.parametrize("name", LISTS)
def test_a_misspelt_parameter_is_refused_with_the_ones_that_there_are(name):
    problem = refused(get(f"{name}/?scael=28"), 400, "unknown-parameter")
    assert problem["errors"][0]["parameter"] == "scael"
    for known in ("cursor", "fields", "page_size", "q"):
        assert known in problem["detail"]


@pytest.mark.parametrize("path", ["", "bodies/siskin/", "configurations/1/"])
def test_a_filter_where_there_is_nothing_to_filter_is_refused(path):
    BodyFactory(slug="siskin")
    refused(get(f"{path}?scale=28"), 400, "unknown-parameter")


@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ("wheelbase_min=nan", "wheelbase_min"),
        ("wheelbase_min=Infinity", "wheelbase_min"),
        ("wheelbase_min=1e400", "wheelbase_min"),
        ("wheelbase_max=-5", "wheelbase_max"),
        ("wheelbase_max=wide", "wheelbase_max"),
        ("scale=2.5", "scale"),
        ("scale=99999999999999999999", "scale"),
        ("layout=sideways", "layout"),
        ("maker=nobody", "maker"),
        ("maker=" + "x" * 5000, "maker"),
        ("q=" + "x" * 101, "q"),
        ("front_width=0", "front_width"),
        ("scale=28&scale=24", "scale"),
        ("page_size=0", "page_size"),
        ("page_size=201", "page_size"),
        ("page_size=ten", "page_size"),
        ("page_size=%C2%B2", "page_size"),
        ("cursor=nonsense", "cursor"),
        ("cursor=cD1hYmM%3D", "cursor"),
        ("cursor=cD05OTk5OTk5OTk5OTk5OTk5OTk5OTk5OQ%3D%3D", "cursor"),
        ("fields=", "fields"),
        ("fields=name,colour", "fields"),
    ],
)
def test_a_parameter_that_cannot_be_is_refused_by_name(query, parameter):
    BodyFactory()
    problem = refused(get(f"bodies/?{query}"), 400, "invalid-parameter")
    assert {error["parameter"] for error in problem["errors"]} == {parameter}


def test_an_unknown_field_is_refused_with_the_ones_that_there_are():
    problem = refused(get("bodies/?fields=name,colour"), 400, "invalid-parameter")
    for known in ("'colour'", "dimensions", "scale", "slug"):
        assert known in problem["detail"]


# Sparse fields and pages


def test_sparse_fields_leave_the_rest_out():
    body = BodyFactory(name="Siskin")
    assert get("bodies/?fields=name,scale").json()["results"] == [{"name": "Siskin", "scale": 28}]
    assert get(f"bodies/{body.slug}/?fields=layouts").json() == {"layouts": {"rear": True, "mid": False}}


def test_sparse_fields_do_not_read_what_they_do_not_write(django_assert_num_queries):
    _fill(3)
    with django_assert_num_queries(1):
        assert get("bodies/?fields=name,slug").status_code == 200
    with django_assert_num_queries(2):
        assert get("parts/?fields=name,dimensions").status_code == 200


def test_the_pages_of_a_list_hold_each_thing_once_there_and_back():
    made = [BodyFactory().name for _ in range(7)]
    seen, address = [], "/api/v1/bodies/?page_size=3&scale=28"
    back = None
    while address:
        page = program().get(address).json()
        seen += [row["name"] for row in page["results"]]
        address, back = page["next"], page["previous"]
    assert seen == made
    assert [row["name"] for row in program().get(back).json()["results"]] == made[3:6]


def test_a_page_does_not_move_when_something_is_added_before_it():
    for _ in range(4):
        BodyFactory()
    following = get("bodies/?page_size=2").json()["next"]
    before = program().get(following).json()["results"]
    Body.objects.order_by("pk").first().delete()
    assert program().get(following).json()["results"] == before


# ETags and caches


@pytest.mark.parametrize("name", LISTS)
def test_an_answer_that_has_not_changed_is_not_sent_again(name):
    _fill(1)
    first = get(f"{name}/")
    again = program().get(f"/api/v1/{name}/", headers={"If-None-Match": first["ETag"]})
    assert again.status_code == 304
    assert again.content == b""
    assert again["ETag"] == first["ETag"]


def test_an_answer_that_has_changed_is_sent_whole():
    body = BodyFactory(name="Siskin")
    path = f"/api/v1/bodies/{body.slug}/"
    first = program().get(path)
    body.name = "Siskin II"
    body.save()
    again = program().get(path, headers={"If-None-Match": first["ETag"]})
    assert again.status_code == 200
    assert again.json()["name"] == "Siskin II"
    assert again["ETag"] != first["ETag"]


def test_a_cache_may_keep_what_is_the_same_for_everybody_if_it_asks_again():
    answer = get("makers/")
    assert set(answer["Cache-Control"].split(", ")) == {"public", "no-cache"}
    assert "Cookie" not in answer.get("Vary", "")
    assert not answer.cookies


def test_a_caller_who_only_wants_the_head_gets_it():
    BodyFactory()
    answer = program().head("/api/v1/bodies/")
    assert (answer.status_code, answer.content) == (200, b"")
    assert answer["Content-Type"] == "application/json"


WRITTEN = {
    "makers": (models.Maker, MakerSerializer),
    "platforms": (models.Platform, PlatformSerializer),
    "configurations": (models.Configuration, ConfigurationSerializer),
}


@pytest.mark.parametrize("name", WRITTEN)
def test_rows_are_written_as_their_serializer_writes_them(name):
    KnownWheelbaseFactory()
    ConfigurationFactory(body=BodyFactory())
    ConfigurationFactory()
    model, serializer = WRITTEN[name]
    rows = get(f"{name}/").json()["results"]
    assert len(rows) == model.objects.count() > 0
    assert rows == serializer(model.objects.order_by("pk"), many=True).data


def test_an_answer_is_the_json_that_django_rest_framework_writes():
    content = {
        "name": "Kå“t \u2028",
        "beyond": 2**70,
        "at": datetime(2026, 5, 1, 12, tzinfo=UTC),
        "price": Decimal("4.50"),
        "rule": Rule.FLUSH,
        Slot.PLATE: [0.1, 1e-7, None, True],
    }
    for part in ({name: content[name]} for name in content):
        assert json.loads(Json().render(part)) == json.loads(JSONRenderer().render(part))
    assert json.loads(Json().render(content)) == json.loads(JSONRenderer().render(content))
    assert Json().render(None) == b""
    MakerFactory()
    spread = get("makers/", Accept="application/json; indent=2")
    assert b"\n  " in spread.content
    assert spread.json() == get("makers/").json()


# Queries

QUERIES = {"bodies": 3, "parts": 4, "platforms": 3, "makers": 1, "configurations": 2}


@pytest.mark.parametrize("name", LISTS)
@pytest.mark.parametrize("many", [1, 9])
def test_a_list_takes_as_many_queries_for_many_as_for_one(name, many, django_assert_num_queries):
    _fill(many)
    with django_assert_num_queries(QUERIES[name]):
        answer = get(f"{name}/?page_size=200")
    assert len(answer.json()["results"]) >= many


def _fill(many: int) -> None:
    """``many`` of everything, each with everything that belongs to it."""
    for _ in range(many):
        catalogue = full_catalogue()
        mount, plate = catalogue.mounts[0], catalogue.plates[0]
        KnownWheelbaseFactory(platform=catalogue.platform, motor_mount=mount, plate=plate)
        PartPair.objects.create(part=mount, other=plate, rule=PartPair.Rule.ONLY_WITH)
        PartPair.objects.create(part=plate, other=catalogue.rear_axle, rule=PartPair.Rule.NEVER)
        ConfigurationFactory(platform=catalogue.platform, body=catalogue.body)


def test_every_kind_of_part_can_be_read():
    made = {PartFactory(kind=kind.value).kind for kind in PartKind}
    assert {row["kind"] for row in get("parts/").json()["results"]} == made
