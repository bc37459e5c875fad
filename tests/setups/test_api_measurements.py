"""Measuring through the API: bodies, parts and cars, what that settles, and how a dispute over it ends."""

from __future__ import annotations

from typing import Any

import pytest

from setups.models import Dispute, Measurement, Setup
from setups.services import verifying
from tests.factories import BodyFactory, MemberFactory, PartFactory, SetupFactory, reading_for
from tests.setups.asking import Caller, get, pointed, refused

pytestmark = pytest.mark.django_db

WIDTHS = {"front_width": 55.0, "rear_width": 55.0, "wheelbase": 92.0}


@pytest.fixture
def member():
    return MemberFactory()


@pytest.fixture
def caller(member):
    return Caller(member)


def reading(of: dict[str, Any], quantity: str, value: Any, **more: Any) -> dict[str, Any]:
    return {"of": of, "quantity": quantity, "value": value, "instrument": "calliper"} | more


def measured(setup: Setup, quantity: str, value: float, caller: Caller | None = None) -> Any:
    """The answer to a reading of the setup's car by a new member, or by ``caller``."""
    sent = reading({"setup": setup.pk}, quantity, value)
    return (caller or Caller(MemberFactory())).post("measurements/", sent)


def verdict_of(setup: Setup) -> tuple[str, str]:
    written = get(f"setups/{setup.pk}/").json()
    return written["state"], get(f"setups/{setup.pk}/standing/").json()["verification"]


# Readings


def test_a_reading_of_a_body_is_kept_and_settled_with_the_others(member, caller):
    body = BodyFactory(figures={"wheelbase": None})
    sent = reading(
        {"body": body.slug}, "wheelbase", 92.5, uncertainty=0.05, note="twice", measured_on="2026-05-01"
    )
    answer = caller.post("measurements/", sent)
    assert answer.status_code == 201, answer.content
    made = answer.json()
    effect = made.pop("effect")
    assert get(answer["Location"].removeprefix("/api/v1/")).json() == made
    assert answer["ETag"] == caller.etag(answer["Location"])
    assert made["of"] == {"body": body.slug, "part": None, "setup": None, "revision": None}
    assert (made["value"], made["u"], made["unit"], made["counts"]) == (92.5, 0.05, "mm", True)
    assert (made["member"]["username"], made["measured_on"], made["note"]) == (
        member.username,
        "2026-05-01",
        "twice",
    )
    assert (effect["before"], effect["after"]["value"]) == (None, 92.5)
    assert get(f"bodies/{body.slug}/").json()["dimensions"]["wheelbase"]["value"] == 92.5


def test_a_reading_tells_which_setups_it_turns():
    setup = SetupFactory()
    body = setup.body
    for value in (50.0, 50.02):
        sent = reading({"body": body.slug}, "front_arch_width", value)
        answer = Caller(MemberFactory()).post("measurements/", sent)
    effect = answer.json()["effect"]
    assert effect["before"]["value"] == 55.0
    assert effect["after"]["value"] == pytest.approx(50.01, abs=0.001)
    assert effect["setups"] == [
        {
            "setup": setup.pk,
            "verdict_before": "fits",
            "verdict_after": "fails",
            "state_before": "posted",
            "state_after": "posted",
        }
    ]


def test_a_reading_of_a_part_takes_the_instruments_doubt(caller):
    part = PartFactory(tyre=True)
    made = caller.post("measurements/", reading({"part": part.slug}, "tyre_diameter", 22.1)).json()
    assert made["uncertainty"] is None
    assert made["u"] == pytest.approx(0.0501, abs=1e-3)


@pytest.mark.parametrize(
    ("change", "pointer", "said"),
    [
        ({"of": {}}, "#/of", "one of them"),
        ({"of": {"body": "heron"}}, "#/of/body", "/api/v1/bodies/"),
        ({"of": {"part": "heron"}}, "#/of/part", "/api/v1/parts/"),
        ({"of": {"setup": 99}}, "#/of/setup", "/api/v1/setups/"),
        ({"of": {"body": "shell", "part": "x"}}, "#/of", "one of them"),
        ({"of": {"body": "shell", "revision": 1}}, "#/of/revision", "leave it out"),
        ({"quantity": "hub_width"}, "#/quantity", "wheelbase, front_arch_width"),
        ({"quantity": "beauty"}, "#/quantity", "beauty"),
        ({"value": 920}, "#/value", "between 40 and 420"),
        ({"value": "92"}, "#/value", "number"),
        ({"value": 92.12345}, "#/value", "three decimals"),
        ({"instrument": "scale"}, "#/instrument", "choose another"),
        ({"instrument": "thumb"}, "#/instrument", "thumb"),
        ({"instrument": "other"}, "#/uncertainty", "Give a doubt"),
        ({"uncertainty": 0.0001}, "#/uncertainty", "three decimals"),
        ({"uncertainty": 0.001}, "#/uncertainty", "at least"),
        ({"measured_on": "yesterday"}, "#/measured_on", "format"),
        ({"measured_on": "2999-01-01"}, "#/measured_on", "lies ahead"),
        ({"colour": "red"}, "#/colour", "Known are"),
    ],
)
def test_a_mistake_in_a_reading_is_pointed_at_and_nothing_is_stored(caller, change, pointer, said):
    BodyFactory(slug="shell")
    found = pointed(caller.post("measurements/", reading({"body": "shell"}, "wheelbase", 92) | change))
    assert list(found) == [pointer]
    assert said in found[pointer]
    assert not Measurement.objects.exists()


def test_ones_own_reading_is_withdrawn_and_stays_to_be_seen(caller):
    body = BodyFactory(figures={"wheelbase": None})
    made = caller.post("measurements/", reading({"body": body.slug}, "wheelbase", 92.5))
    path = made["Location"]
    refused(caller.post(f"{path}withdraw/"), 428, "precondition-required")
    refused(Caller(MemberFactory()).post(f"{path}withdraw/", If_Match="*"), 403, "forbidden")
    answer = caller.post(f"{path}withdraw/", If_Match=made["ETag"])
    assert answer.status_code == 200, answer.content
    assert (answer.json()["withdrawn"], answer.json()["counts"]) == (True, False)
    assert answer.json()["effect"]["after"] is None
    assert "wheelbase" not in get(f"bodies/{body.slug}/").json()["dimensions"]
    refused(caller.post(f"{path}withdraw/", If_Match=made["ETag"]), 412, "precondition-failed")
    refused(caller.post(f"{path}withdraw/", If_Match="*"), 409, "conflict")
    assert [one["number"] for one in get("measurements/?counts=false").json()["results"]] == [
        answer.json()["number"]
    ]
    assert get("measurements/?counts=true").json()["results"] == []


# Cars


def test_a_setup_is_verified_when_two_members_bear_it_out():
    setup = SetupFactory()
    answers = [
        measured(setup, quantity, value, caller)
        for caller in (Caller(MemberFactory()), Caller(MemberFactory()))
        for quantity, value in WIDTHS.items()
    ]
    assert {answer.status_code for answer in answers} == {201}
    assert [bool(answer.json()["effect"]["setups"]) for answer in answers] == [False] * 5 + [True]
    turn = answers[-1].json()["effect"]["setups"][0]
    assert (turn["state_before"], turn["state_after"]) == ("posted", "verified")
    standing = get(f"setups/{setup.pk}/standing/").json()
    assert (standing["state"], standing["verification"], standing["confirmations"]) == (
        "verified",
        "verified",
        2,
    )
    (width,) = (one for one in standing["tested"] if one["quantity"] == "front_width")
    assert width["required"]
    assert width["wanted"] == 0
    assert width["computed"]["value"] == 55.0
    assert width["settled"]["agreement"] == "agreed"
    assert [abs(one["en"]) <= 1 and one["agrees"] for one in width["held"]] == [True, True]
    assert standing["report"]["verdict"] == "fits"


def test_the_authors_own_readings_are_shown_and_do_not_count():
    setup = SetupFactory()
    measured(setup, "front_width", 55.0, Caller(setup.author))
    standing = get(f"setups/{setup.pk}/standing/").json()
    (width,) = (one for one in standing["tested"] if one["quantity"] == "front_width")
    assert (width["held"], width["wanted"]) == ([], 2)
    assert width["by_author"][0]["member"]["username"] == setup.author.username


def test_a_car_that_was_revised_since_is_measured_anew():
    setup = SetupFactory()
    path = f"setups/{setup.pk}/revisions/"
    sent = {name: get(f"{path}1/").json()[name] for name in ("name", "body", "platform", "position", "parts")}
    assert Caller(setup.author).post(path, sent | {"notes": "new"}, If_Match="*").status_code == 201
    sent = reading({"setup": setup.pk, "revision": 1}, "front_width", 55.0)
    assert (
        "revised since"
        in refused(Caller(MemberFactory()).post("measurements/", sent), 409, "conflict")["detail"]
    )
    sent["of"]["revision"] = 9
    assert list(pointed(Caller(MemberFactory()).post("measurements/", sent))) == ["#/of/revision"]


# Disputes


@pytest.fixture
def disputed():
    """A setup whose front width another member measured far off."""
    setup = SetupFactory()
    assert measured(setup, "front_width", 58.0).json()["effect"]["setups"][0]["state_after"] == "disputed"
    return setup


def test_a_dispute_is_settled_by_a_steward_with_a_reason(disputed):
    (row,) = get("disputes/?open=true").json()["results"]
    assert (row["setup"], row["outcome"], row["measurement"]["value"]) == (disputed.pk, None, 58.0)
    assert get(row["url"].removeprefix("/api/v1/")).json() == row
    steward = Caller(MemberFactory(steward=True), "read steward")
    path, etag = f"{row['url']}settle/", steward.etag(row["url"])
    sent = {"outcome": "set_aside", "reason": "Measured over the tyres."}
    refused(steward.post(path, sent), 428, "precondition-required")
    refused(steward.post(path, sent, If_Match='"old"'), 412, "precondition-failed")
    assert list(pointed(steward.post(path, sent | {"reason": ""}, If_Match=etag))) == ["#/reason"]
    assert list(pointed(steward.post(path, sent | {"outcome": "withdrawn"}, If_Match=etag))) == ["#/outcome"]
    answer = steward.post(path, sent, If_Match=etag)
    assert answer.status_code == 200, answer.content
    assert (answer.json()["outcome"], answer.json()["reason"]) == ("set_aside", "Measured over the tyres.")
    assert answer.json()["measurement"]["set_aside"]
    assert verdict_of(disputed) == ("posted", "unproven")
    assert get("disputes/?open=true").json()["results"] == []
    assert len(get(f"disputes/?open=false&setup={disputed.pk}").json()["results"]) == 1
    refused(steward.post(path, sent, If_Match=etag), 412, "precondition-failed")
    refused(steward.post(path, sent, If_Match="*"), 409, "conflict")


def test_nobody_settles_what_is_their_own(disputed):
    dispute = Dispute.objects.get()
    disputed.author.role = "steward"
    disputed.author.save()
    sent = {"outcome": "set_aside", "reason": "It is right."}
    author = Caller(disputed.author, "read write steward")
    assert (
        "your own"
        in refused(author.post(f"disputes/{dispute.pk}/settle/", sent, If_Match="*"), 403, "forbidden")[
            "detail"
        ]
    )
    assert Dispute.objects.get().is_open


# Lists


def test_readings_are_found_by_what_they_are_of_and_by_whom(member, caller):
    setup = SetupFactory()
    part = PartFactory(tyre=True)
    caller.post("measurements/", reading({"body": setup.body.slug}, "wheelbase", 92))
    caller.post("measurements/", reading({"part": part.slug}, "tyre_width", 8.5))
    measured(setup, "front_width", 55.0)

    def found(query: str) -> list[str]:
        return [row["quantity"] for row in get(f"measurements/?{query}").json()["results"]]

    assert found(f"body={setup.body.slug}") == ["wheelbase"]
    assert found(f"part={part.slug}") == ["tyre_width"]
    assert found(f"setup={setup.pk}") == ["front_width"]
    assert found("quantity=tyre_width") == ["tyre_width"]
    assert found(f"member={member.username}") == ["wheelbase", "tyre_width"]
    refused(get("measurements/?body=heron"), 400, "invalid-parameter")


@pytest.mark.parametrize("many", [1, 3])
def test_lists_take_as_many_queries_for_many_as_for_one(many, django_assert_num_queries):
    for _ in range(many):
        setup = SetupFactory()
        verifying.add(reading_for(setup, "front_width", 58))
    for path in ("measurements/", "disputes/"):
        with django_assert_num_queries(1):
            assert len(get(path).json()["results"]) == many


@pytest.mark.parametrize("path", ["measurements/7/", "disputes/7/", "measurements/99999999999999999999/"])
def test_what_there_is_not_is_a_problem(caller, path):
    refused(get(path), 404, "not-found")
    act = "withdraw" if path.startswith("m") else "settle"
    steward = Caller(MemberFactory(steward=True), "read write steward")
    refused(steward.post(f"{path}{act}/", {}, If_Match="*"), 404, "not-found")


def test_standing_takes_as_many_queries_for_many_readings_as_for_one(django_assert_max_num_queries):
    setup = SetupFactory()
    for _ in range(4):
        measured(setup, "front_width", 55.0)
    with django_assert_max_num_queries(18):
        assert get(f"setups/{setup.pk}/standing/").status_code == 200


# Side by side


def test_setups_and_configurations_are_compared(member):
    first = SetupFactory(tuning={"caster": 4.0, "motor": "stock"})
    other = SetupFactory(tuning={"caster": 4.0})
    answer = Caller().post("compare", {"cars": [{"setup": first.pk}, {"setup": other.pk, "revision": 1}]})
    assert answer.status_code == 200, answer.content
    found = answer.json()
    assert [car["setup"] for car in found["cars"]] == [first.pk, other.pk]
    assert found["body"]["slug"] == first.body.slug
    parts = {row["slot"]: row for row in found["parts"]}
    assert not parts["front_wheel"]["same"]
    assert parts["front_spacer"] == {"slot": "front_spacer", "same": True, "parts": [None, None]}
    settings = {row["setting"]: row for row in found["settings"]}
    assert settings["caster"] == {"setting": "caster", "same": True, "values": [4.0, 4.0]}
    assert settings["motor"] == {"setting": "motor", "same": False, "values": ["stock", None]}
    (width,) = (row for row in found["effects"] if row["label"] == "Front width")
    assert width["same"]
    assert [value["value"] for value in width["values"]] == [55.0, 55.0]


@pytest.mark.parametrize(
    ("cars", "pointer"),
    [
        ([{"setup": 99}, {"setup": 98}], "#/cars/0/setup"),
        ([{"setup": 1, "wing": 2}, 1], "#/cars/0/wing"),
        ([99, 98], "#/cars/0/configuration"),
        ([1], "#/cars"),
        ([1] * 7, "#/cars"),
        ("all", "#/cars"),
    ],
)
def test_cars_that_there_are_not_are_pointed_at(cars, pointer):
    assert pointer in pointed(Caller().post("compare", {"cars": cars}))
