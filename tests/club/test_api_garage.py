"""One's garage and the kit plan through the API: nobody else sees it, nobody's change is lost."""

from __future__ import annotations

from decimal import Decimal

import pytest

from club.models import Chassis, OwnedBody, OwnedPart
from tests.factories import BodyFactory, MemberFactory, PartFactory, full_catalogue
from tests.setups.asking import Caller, pointed, refused
from tests.setups.test_api_schema import hold

pytestmark = pytest.mark.django_db


@pytest.fixture
def member():
    return MemberFactory()


@pytest.fixture
def caller(member):
    return Caller(member)


@pytest.fixture
def library():
    return full_catalogue()


def chassis(library, **changes):
    """What is sent to build a chassis of the default parts."""
    parts = {
        "front_suspension": library.wide.slug,
        "front_wheel": library.wheels[Decimal(0)].slug,
        "rear_axle": library.rear_axle.slug,
    }
    return {
        "name": "Sunday car",
        "platform": library.platform.slug,
        "position": "middle",
        "parts": parts,
    } | changes


# Parts and bodies


def test_parts_are_counted_changed_and_removed(caller):
    part = PartFactory(wheel=True)
    made = caller.post("garage/parts/", {"part": part.slug, "count": 2})
    assert made.status_code == 201, made.content
    assert made.json() == {
        "url": made["Location"],
        "number": OwnedPart.objects.get().pk,
        "part": part.slug,
        "count": 2,
        "fitted": 0,
        "loose": 2,
        "offer": "none",
        "price": None,
    }
    assert caller.post("garage/parts/", {"part": part.slug, "count": 3}).json()["count"] == 5
    path = made["Location"]
    change = {"count": 4, "offer": "part_with", "price": 2.5}
    refused(caller.put(path, change), 428, "precondition-required")
    refused(caller.put(path, change, If_Match=made["ETag"]), 412, "precondition-failed")
    changed = caller.put(path, change, If_Match=caller.etag(path))
    assert (changed.status_code, changed.json()["price"], changed.json()["loose"]) == (200, 2.5, 4)
    assert caller.get(path).json() == changed.json()
    assert caller.get("garage/parts/?offer=part_with").json()["results"] == [changed.json()]
    refused(caller.delete(path, If_Match=made["ETag"]), 412, "precondition-failed")
    assert caller.delete(path, If_Match=changed["ETag"]).status_code == 204
    assert caller.get("garage/parts/").json()["results"] == []


def test_a_part_is_counted_once_for_one_key(caller):
    part = PartFactory(wheel=True)
    sent = {"part": part.slug, "count": 2}
    for _ in range(3):
        assert caller.post("garage/parts/", sent, Idempotency_Key="k").json()["count"] == 2
    assert OwnedPart.objects.get().count == 2


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"count": 0}, "#/count"),
        ({"count": 1000}, "#/count"),
        ({"count": "2"}, "#/count"),
        ({"offer": "sell"}, "#/offer"),
        ({"price": 3}, "#/price"),
        ({"offer": "part_with", "price": -1}, "#/price"),
        ({"offer": "part_with", "price": 0.123}, "#/price"),
        ({"colour": "red"}, "#/colour"),
    ],
)
def test_a_mistake_in_a_change_is_pointed_at_and_changes_nothing(caller, change, pointer):
    path = caller.post("garage/parts/", {"part": PartFactory(wheel=True).slug, "count": 2})["Location"]
    assert list(pointed(caller.put(path, {"count": 3} | change, If_Match="*"))) == [pointer]
    assert OwnedPart.objects.get().count == 2


def test_bodies_are_owned_once(caller):
    body = BodyFactory()
    made = caller.post("garage/bodies/", {"body": body.slug})
    assert made.status_code == 201
    assert caller.post("garage/bodies/", {"body": body.slug}).json() == made.json()
    assert OwnedBody.objects.count() == 1
    assert list(pointed(caller.post("garage/bodies/", {"body": "heron"}))) == ["#/body"]
    assert caller.get(f"garage/bodies/?body={body.slug}").json()["results"] == [made.json()]
    refused(caller.delete(made["Location"]), 428, "precondition-required")
    assert caller.delete(made["Location"], If_Match=made["ETag"]).status_code == 204


# Chassis


def test_a_chassis_is_built_rebuilt_and_taken_apart(member, caller, library):
    sent = chassis(library)
    made = caller.post("garage/chassis/", sent)
    assert made.status_code == 201, made.content
    assert {name: made.json()[name] for name in sent} == sent
    path = made["Location"]
    owned = {row["part"]: row for row in caller.get("garage/parts/").json()["results"]}
    wheel = owned[library.wheels[Decimal(0)].slug]
    assert (wheel["count"], wheel["fitted"], wheel["loose"]) == (2, 2, 0)
    problem = caller.delete(wheel["url"], If_Match="*")
    assert "stand on your chassis" in refused(problem, 409, "conflict")["detail"]
    other = chassis(library, position="long", parts={"front_suspension": library.narrow.slug})
    refused(caller.put(path, other), 428, "precondition-required")
    rebuilt = caller.put(path, other, If_Match=made["ETag"])
    assert rebuilt.status_code == 200, rebuilt.content
    assert rebuilt.json()["parts"] == {"front_suspension": library.narrow.slug}
    refused(caller.put(path, sent, If_Match=made["ETag"]), 412, "precondition-failed")
    assert caller.get(f"garage/chassis/?platform={library.platform.slug}").json()["results"] == [
        rebuilt.json()
    ]
    assert caller.delete(path, If_Match=rebuilt["ETag"]).status_code == 204
    assert not Chassis.objects.exists()
    assert member.owned_parts.count() == 4


def test_a_mistake_in_a_chassis_is_pointed_at_and_builds_nothing(caller, library):
    stranger = PartFactory(wheel=True)
    for change, pointer in (
        ({"platform": "heron"}, "#/platform"),
        ({"position": "heron"}, "#/position"),
        ({"name": ""}, "#/name"),
        ({"parts": {"front_wheel": "heron"}}, "#/parts/front_wheel"),
        ({"parts": {"front_wheel": stranger.slug}}, "#/parts/front_wheel"),
        ({"parts": {"front_wheel": library.wide.slug}}, "#/parts/front_wheel"),
        ({"parts": {"body_mount": library.body_mount.slug}}, "#/parts/body_mount"),
    ):
        assert list(pointed(caller.post("garage/chassis/", chassis(library, **change)))) == [pointer]
    assert not Chassis.objects.exists()
    assert caller.post("garage/chassis/", chassis(library)).status_code == 201
    again = pointed(caller.post("garage/chassis/", chassis(library)))
    assert "of this name already" in again["#/name"]


def test_anothers_garage_is_not_there(caller, library):
    path = caller.post("garage/chassis/", chassis(library))["Location"]
    part = caller.get("garage/parts/").json()["results"][0]["url"]
    other = Caller(MemberFactory())
    for theirs in (path, part):
        refused(other.get(theirs), 404, "not-found")
        refused(other.delete(theirs, If_Match="*"), 404, "not-found")
        refused(other.put(theirs, {}, If_Match="*"), 404, "not-found")
    for name in ("parts", "bodies", "chassis"):
        assert other.get(f"garage/{name}/").json()["results"] == []
    answer = caller.get("garage/parts/")
    assert set(answer["Cache-Control"].split(", ")) == {"private", "no-cache"}


@pytest.mark.parametrize("many", [1, 3])
def test_lists_take_as_many_queries_for_many_as_for_one(many, caller, library, django_assert_num_queries):
    for number in range(many):
        caller.post("garage/chassis/", chassis(library, name=f"Car {number}"))
        caller.post("garage/parts/", {"part": PartFactory(wheel=True).slug, "count": 1})
        caller.post("garage/bodies/", {"body": BodyFactory().slug})
    # One to know the member, then the rows and what they refer to; when it was used is noted once a minute.
    for name, queries in (("parts", 3), ("bodies", 2), ("chassis", 3)):
        with django_assert_num_queries(queries):
            assert len(caller.get(f"garage/{name}/").json()["results"]) >= many


# The kit plan


def test_a_kit_is_planned_from_what_is_owned_and_stores_nothing(member, caller, library):
    answer = caller.post("kit-plan", {"bodies": [library.body.slug]})
    assert answer.status_code == 200, answer.content
    plan = answer.json()
    assert (plan["complete"], plan["proven"], plan["use"]) == (True, True, "one_at_a_time")
    assert plan["cost"] == pytest.approx(sum(line["cost"] for line in plan["to_buy"]))
    assert plan["runs"][0]["body"]["slug"] == library.body.slug
    bought = {line["part"]["part"]: line["pieces"] for line in plan["to_buy"]}
    run = plan["runs"][0]["configuration"]["parts"]
    assert {part["part"] for part in run.values()} == set(bought)
    for slug, pieces in bought.items():
        caller.post("garage/parts/", {"part": slug, "count": pieces})
    owned = OwnedPart.objects.count()
    assert caller.post("kit-plan", {"bodies": [library.body.slug]}).json()["to_buy"] == []
    assert OwnedPart.objects.count() == owned
    hold(answer, "post")


def test_a_kit_borrows_what_others_offer(caller, library):
    lender = MemberFactory()
    OwnedPart.objects.create(member=lender, part=library.wide, count=1, offer="lend")
    OwnedPart.objects.create(member=lender, part=library.narrow, count=1, offer="lend")
    plan = caller.post("kit-plan", {"bodies": [library.body.slug], "borrow": True}).json()
    assert [(line["owner"]["username"], line["offer"], line["cost"]) for line in plan["to_take"]] == [
        (lender.username, "lend", 0.0)
    ]
    assert caller.post("kit-plan", {"bodies": [library.body.slug]}).json()["to_take"] == []


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"bodies": []}, "#/bodies"),
        ({"bodies": ["heron"]}, "#/bodies/0"),
        ({"bodies": ["heron"] * 9}, "#/bodies"),
        ({"use": "never"}, "#/use"),
        ({"borrow": "yes"}, "#/borrow"),
    ],
)
def test_a_mistake_in_what_a_kit_is_for_is_pointed_at(caller, library, change, pointer):
    assert list(pointed(caller.post("kit-plan", {"bodies": [library.body.slug]} | change))) == [pointer]


def test_every_answer_of_a_garage_is_as_described(caller, library):
    made = caller.post("garage/chassis/", chassis(library))
    part = caller.get("garage/parts/").json()["results"][0]["url"]
    body = caller.post("garage/bodies/", {"body": library.body.slug})
    answers = [
        *(made, body, caller.post("garage/parts/", {"part": library.wide.slug, "count": 1})),
        *(caller.get(f"garage/{name}/") for name in ("parts", "bodies", "chassis")),
        *(caller.get(path) for path in (part, body["Location"], made["Location"])),
        caller.put(part, {"count": 3, "offer": "lend"}, If_Match="*"),
        caller.put(made["Location"], chassis(library, parts={}), If_Match="*"),
        caller.put(part, {"count": 0}, If_Match="*"),
    ]
    assert [answer.status_code for answer in answers] == [201] * 3 + [200] * 8 + [400]
    for answer in answers:
        hold(answer, answer.wsgi_request.method.lower())
