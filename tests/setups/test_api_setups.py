"""Setups through the API: posting, revisions, drafts, withdrawing, lists; and no lost update."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from club.models import RaceClass
from setups.models import BodyDimension, Revision, Setup
from setups.services import posting
from tests.factories import SetupFactory, content_for
from tests.setups.asking import Caller, content, get, names, pointed, refused, said_by

pytestmark = pytest.mark.django_db


@pytest.fixture
def caller(author):
    return Caller(author)


# Posting


def test_a_setup_that_is_posted_says_what_was_sent_and_is_computed(author, caller):
    race_class = RaceClass.objects.create(name="Stock", slug="stock")
    sent = content(
        race_class="stock",
        surface="carpet",
        circuit="Old mill hall",
        best_lap=9.84,
        result="second",
        notes="Pushes on the first lap.",
        tuning={"front_camber": -1.5, "mass": "168,5", "rear_spring": "soft", "caster": None},
        what_changed="everything",
    )
    answer = caller.post("setups/", sent)
    assert answer.status_code == 201, answer.content
    made = answer.json()
    setup = Setup.objects.get()
    assert answer["Location"] == f"/api/v1/setups/{setup.pk}/" == made["url"]
    assert made["author"] == {"username": author.username, "name": str(author)}
    assert (made["state"], made["verdict"], made["revision"]) == ("posted", "fits", 1)
    assert (made["front_width"], made["wheelbase"], made["best_lap"]) == (55.0, 92.0, 9.84)
    assert made["race_class"] == race_class.slug
    revision = get(f"setups/{setup.pk}/revisions/1/").json()
    assert revision["parts"] == sent["parts"]
    assert revision["tuning"] == {"front_camber": -1.5, "rear_spring": "soft", "mass": 168.5}
    for name in ("notes", "result", "circuit", "surface", "what_changed", "position"):
        assert revision[name] == sent[name]
    assert revision["geometry"]["front_width"]["value"] == 55.0
    assert {one["verdict"] for one in revision["findings"]} == {"fits"}


def test_what_is_posted_is_what_a_get_has(caller):
    answer = caller.post("setups/", content())
    read = get(answer["Location"].removeprefix("/api/v1/"))
    assert read.json() == answer.json()
    assert read["ETag"] == answer["ETag"]
    assert not read["ETag"].startswith("W/")


def test_a_setup_that_does_not_fit_is_posted_with_its_finding(caller):
    sent = content()
    BodyDimension.objects.filter(body__slug=sent["body"], quantity="front_arch_width").update(value=50)
    answer = caller.post("setups/", sent)
    assert (answer.status_code, answer.json()["verdict"]) == (201, "fails")


@pytest.mark.parametrize(
    ("change", "pointer", "said"),
    [
        ({"name": ""}, "#/name", "blank"),
        ({"body": "heron"}, "#/body", "/api/v1/bodies/"),
        ({"platform": "heron"}, "#/platform", "/api/v1/platforms/"),
        ({"position": "nowhere"}, "#/position", "short, middle, long"),
        ({"race_class": "heron"}, "#/race_class", "slug"),
        ({"surface": "ice"}, "#/surface", "ice"),
        ({"best_lap": "9.8"}, "#/best_lap", "number"),
        ({"best_lap": 0}, "#/best_lap", "between"),
        ({"tuning": {"wing": 3}}, "#/tuning/wing", "no setting"),
        ({"tuning": {"front_camber": 90}}, "#/tuning/front_camber", "between -15 and 15"),
        ({"tuning": {"front_camber": True}}, "#/tuning/front_camber", "number or text"),
        ({"tuning": []}, "#/tuning", "object"),
        ({"photos": [1]}, "#/photos/0", "no photo"),
        ({"colour": "red"}, "#/colour", "Known are"),
        ({"notes": "x" * 4001}, "#/notes", "4000"),
    ],
)
def test_a_mistake_in_a_setup_is_pointed_at_and_nothing_is_stored(caller, change, pointer, said):
    found = pointed(caller.post("setups/", content(**change)))
    assert list(found) == [pointer]
    assert said in found[pointer]
    assert not Setup.objects.exists()


def test_parts_that_do_not_go_there_are_pointed_at(caller):
    sent, other = content(), content()
    parts = sent["parts"]
    sent["parts"] = parts | {
        "front_wheel": "heron",
        "rear_wheel": None,
    }
    found = pointed(caller.post("setups/", sent))
    assert set(found) == {"#/parts/rear_wheel"}
    sent["parts"] = parts | {"front_wheel": "heron"}
    assert list(pointed(caller.post("setups/", sent))) == ["#/parts/front_wheel"]
    sent["parts"] = parts | {"front_wheel": parts["plate"], "rear_tyre": other["parts"]["rear_tyre"]}
    found = pointed(caller.post("setups/", sent))
    assert set(found) == {"#/parts/front_wheel", "#/parts/rear_tyre"}
    assert "does not go here" in found["#/parts/front_wheel"]
    assert "is not sold for" in found["#/parts/rear_tyre"]
    assert not Setup.objects.exists()


# Revisions, and no lost update


def test_a_revision_needs_the_etag_of_what_it_takes_the_place_of(author, caller):
    setup = SetupFactory(author=author)
    path = f"setups/{setup.pk}/revisions/"
    sent = said_by(setup) | {"notes": "More grip.", "what_changed": "notes"}
    refused(caller.post(path, sent), 428, "precondition-required")
    refused(caller.post(path, sent, If_Match='"old"'), 412, "precondition-failed")
    assert setup.revisions.count() == 1
    etag = caller.etag(f"setups/{setup.pk}/")
    refused(caller.post(path, sent, If_Match=f"W/{etag}"), 412, "precondition-failed")
    answer = caller.post(path, sent, If_Match=etag)
    assert answer.status_code == 201, answer.content
    assert answer["Location"] == f"/api/v1/{path}2/"
    assert get(f"{path}2/").json() == answer.json()
    assert answer.json()["notes"] == "More grip."
    again = caller.post(path, sent | {"notes": "Less grip."}, If_Match=etag)
    refused(again, 412, "precondition-failed")
    assert again["ETag"] == caller.etag(f"setups/{setup.pk}/") != etag
    assert setup.revisions.count() == 2


def test_a_revision_that_says_the_same_is_a_conflict(author, caller):
    setup = SetupFactory(author=author)
    answer = caller.post(f"setups/{setup.pk}/revisions/", said_by(setup), If_Match="*")
    assert "Nothing has changed" in refused(answer, 409, "conflict")["detail"]


def test_a_revision_keeps_the_photos_unless_it_says_otherwise(author, caller):
    setup = SetupFactory(author=author)
    photo = setup.photos.create(image="setups/aa/a.webp", width=4, height=3)
    setup.current.photos.add(photo)
    stranger = SetupFactory().photos.create(image="setups/bb/b.webp", width=4, height=3)
    path = f"setups/{setup.pk}/revisions/"
    sent = said_by(setup)
    assert caller.post(path, sent | {"notes": "a"}, If_Match="*").json()["photos"] == [photo.pk]
    assert caller.post(path, sent | {"notes": "b", "photos": []}, If_Match="*").json()["photos"] == []
    assert caller.post(path, sent | {"photos": [photo.pk]}, If_Match="*").json()["photos"] == [photo.pk]
    wrong = caller.post(path, sent | {"photos": [photo.pk, stranger.pk]}, If_Match="*")
    assert list(pointed(wrong)) == ["#/photos/1"]
    (listed,) = get(f"setups/{setup.pk}/photos/").json()
    assert listed["number"] == photo.pk
    assert listed["image"] == f"/setups/{setup.pk}/photos/{photo.pk}.webp"


def test_a_revision_says_what_it_changed(author, caller):
    setup = SetupFactory(author=author, notes="", tuning={"caster": 4.0})
    sent = said_by(setup) | {"notes": "More grip.", "tuning": {"caster": 6, "motor": "stock"}}
    caller.post(f"setups/{setup.pk}/revisions/", sent, If_Match="*")
    changes = get(f"setups/{setup.pk}/revisions/2/changes/").json()
    assert (changes["was"], changes["now"]) == (1, 2)
    assert {one["field"]: (one["was"], one["now"]) for one in changes["changes"]} == {
        "notes": (None, "More grip."),
        "tuning/caster": (4.0, 6.0),
        "tuning/motor": (None, "stock"),
    }
    first = get(f"setups/{setup.pk}/revisions/1/changes/").json()
    assert first["was"] is None
    assert {"name", "body", "parts/front_wheel"} <= {one["field"] for one in first["changes"]}
    back = get(f"setups/{setup.pk}/revisions/1/changes/?since=2").json()
    assert {one["field"] for one in back["changes"]} == {one["field"] for one in changes["changes"]}
    refused(get(f"setups/{setup.pk}/revisions/1/changes/?since=9"), 404, "not-found")
    refused(get(f"setups/{setup.pk}/revisions/1/changes/?since=x"), 400, "invalid-parameter")


# Withdrawing


def test_a_setup_is_withdrawn_and_put_back_with_a_reason(author, caller):
    setup = SetupFactory(author=author)
    path = f"setups/{setup.pk}/"
    reason = {"reason": "The chassis was bent."}
    refused(caller.post(f"{path}withdraw/", reason), 428, "precondition-required")
    etag = caller.etag(path)
    assert list(pointed(caller.post(f"{path}withdraw/", {"reason": " "}, If_Match=etag))) == ["#/reason"]
    answer = caller.post(f"{path}withdraw/", reason, If_Match=etag)
    assert (answer.status_code, answer.json()["state"]) == (200, "withdrawn")
    assert get("setups/").json()["results"] == []
    assert names("setups/?state=withdrawn") == [setup.name]
    assert get(path).json() == answer.json()
    refused(caller.post(f"{path}withdraw/", reason, If_Match="*"), 409, "conflict")
    refused(caller.post(f"{path}restore/", reason, If_Match=etag), 412, "precondition-failed")
    back = caller.post(f"{path}restore/", {"reason": "Straight again."}, If_Match=answer["ETag"])
    assert back.json()["state"] == "posted"
    record = get(f"{path}record/").json()
    assert [(one["action"], one["reason"]) for one in record[1:]] == [
        ("withdrawn", "The chassis was bent."),
        ("restored", "Straight again."),
    ]


# Lists


def test_setups_are_found_by_what_they_say(author):
    found = SetupFactory(
        author=author, name="Alpha", circuit="Old mill", surface="carpet", notes="glued tyres"
    )
    SetupFactory(name="Beta", surface="foam")
    Setup.objects.filter(pk=found.pk).update(confirmations=2, state="verified")
    for query in (
        "q=glued+alpha",
        f"author={author.username}",
        f"body={found.body.slug}",
        f"platform={found.platform.slug}",
        "surface=carpet",
        "circuit=Old+mill",
        "state=verified",
        "confirmations_min=2",
        f"verdict=fits&author={author.username}",
    ):
        assert names(f"setups/?{query}") == ["Alpha"], query
    assert names("setups/?front_width_min=54.9&front_width_max=55.1") == ["Beta", "Alpha"]
    assert names("setups/?wheelbase_max=91") == []
    assert names("setups/?rear_offset_min=1&front_offset_max=0") == ["Beta", "Alpha"]


@pytest.mark.parametrize(
    "query",
    [
        "author=nobody",
        "body=heron",
        "state=draft",
        "verdict=good",
        "wheelbase_min=x",
        "ordering=colour",
        "ordering=best_lap",
        "cursor=abc",
        "cursor=WyJwayIsMCwiMSIsMV0=",
        "race_class=x",
    ],
)
def test_a_parameter_of_the_list_that_cannot_be_is_refused(query):
    SetupFactory()
    assert (
        refused(get(f"setups/?{query}"), 400, "invalid-parameter")["errors"][0]["parameter"]
        == query.split("=")[0]
    )


@pytest.mark.parametrize(
    ("ordering", "columns"),
    [
        ("newest", ["-posted_at"]),
        ("oldest", ["posted_at"]),
        ("evidence", ["-state", "-confirmations", "-posted_at"]),
        ("best_lap", ["best_lap"]),
    ],
)
def test_the_pages_of_each_order_hold_each_setup_once_there_and_back(ordering, columns):
    first = SetupFactory(best_lap=Decimal("9.9"), circuit="Hall")
    said = content_for(body=first.body, platform=first.platform, circuit="Hall")
    for number in range(6):
        lap = None if number == 5 else Decimal(9 + number % 2)
        posting.post(_with(said, f"Car {number}", lap), first.author)
    Setup.objects.filter(name__in=["Car 1", "Car 3"]).update(confirmations=2)
    Setup.objects.filter(name__in=["Car 2", "Car 3", "Car 4"]).update(state="verified")
    wanted = Setup.objects.exclude(best_lap=None) if ordering == "best_lap" else Setup.objects.all()
    sign = "-" if columns[0].startswith("-") else ""
    wanted = [row.pk for row in wanted.order_by(*columns, f"{sign}pk")]
    seen, pages, address = [], [], f"/api/v1/setups/?page_size=2&circuit=Hall&ordering={ordering}"
    while address:
        page = Caller().get(address).json()
        pages.append([row["number"] for row in page["results"]])
        seen += pages[-1]
        address, back = page["next"], page["previous"]
    assert seen == wanted
    for earlier in reversed(pages[:-1]):
        page = Caller().get(back).json()
        assert [row["number"] for row in page["results"]] == earlier
        back = page["previous"]
    assert back is None


def _with(said: Any, name: str, lap: Decimal | None) -> Any:
    return replace(said, name=name, best_lap=lap)


@pytest.mark.parametrize("many", [1, 4])
def test_a_list_of_setups_takes_as_many_queries_for_many_as_for_one(many, django_assert_num_queries):
    first = SetupFactory()
    said = content_for(body=first.body, platform=first.platform)
    for number in range(many - 1):
        posting.post(_with(said, f"Car {number}", None), first.author)
    for path, queries in (
        ("setups/", 2),
        ("setups/?fields=name", 1),
        (f"setups/{first.pk}/revisions/", 4),
        (f"setups/{first.pk}/record/", 2),
    ):
        with django_assert_num_queries(queries):
            assert get(path).status_code == 200
    assert len(get("setups/").json()["results"]) == many


def test_a_list_and_its_single_things_agree():
    setup = SetupFactory()
    (row,) = get("setups/").json()["results"]
    assert get(f"setups/{setup.pk}/").json() == row
    (row,) = get(f"setups/{setup.pk}/revisions/").json()["results"]
    assert Caller().get(row["url"]).json() == row


def test_a_setup_that_has_not_changed_is_not_sent_again():
    setup = SetupFactory()
    for path in (f"setups/{setup.pk}/", f"setups/{setup.pk}/revisions/1/", f"setups/{setup.pk}/standing/"):
        first = get(path)
        again = get(path, **{"If-None-Match": first["ETag"]})
        assert (again.status_code, again.content) == (304, b"")
        assert "public" in first["Cache-Control"]
    assert Revision.objects.count() == 1


@pytest.mark.parametrize("number", ["0", "7", "99999999999999999999"])
@pytest.mark.parametrize(
    "rest", ["", "revisions/", "revisions/1/", "standing/", "record/", "photos/", "revisions/1/changes/"]
)
def test_a_setup_that_there_is_not_is_a_problem(number, rest):
    refused(get(f"setups/{number}/{rest}"), 404, "not-found")
