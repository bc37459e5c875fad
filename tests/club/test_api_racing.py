"""Rulebooks and the check of a car through the API: directors write drafts, everybody reads what holds."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from club.garage import stock
from club.models import Clause, RaceClass, RulebookEdition
from club.racing.editions import today
from setups.models import Setup
from tests.club.checked_cars import a_setup, at_least, at_most, edition_of
from tests.factories import (
    EditionFactory,
    MemberFactory,
    PartFactory,
    RaceClassFactory,
    full_catalogue,
    published,
)
from tests.setups.asking import Caller, get, pointed, refused
from tests.setups.test_api_schema import hold

pytestmark = pytest.mark.django_db

WIDTH = {
    "number": "2.1",
    "wording": "Over the front wheels at most 56 mm.",
    "kind": "limit",
    "quantity": "front_width",
    "high": 56,
    "rule": "guarded_acceptance",
}
LOOKED_AT = {"number": "5.1", "wording": "A number that can be read.", "kind": "required"}


@pytest.fixture
def director():
    return Caller(MemberFactory(race_director=True))


@pytest.fixture
def anybody():
    return Caller()


@pytest.fixture
def shop():
    return full_catalogue()


def a_draft(director, **changes):
    """The address of a new edition of a new class, with one clause."""
    race_class = director.post("race-classes/", {"name": "Club twelfth"})
    assert race_class.status_code == 201, race_class.content
    said = {"name": "Winter", "valid_from": (today() + timedelta(days=9)).isoformat()}
    made = director.post(race_class.json()["editions"], said | changes)
    assert made.status_code == 201, made.content
    written = director.post(made["Location"] + "clauses/", WIDTH)
    assert written.status_code == 201, written.content
    return made["Location"]


# Writing


def test_a_director_writes_an_edition_and_publishes_it(director, anybody):
    path = a_draft(director)
    part = PartFactory(wheel=True)
    wheels = {
        "number": "3.1",
        "wording": "These wheels only.",
        "kind": "list",
        "thing": "wheel",
        "allows": True,
        "items": [part.slug],
    }
    made = director.post(path + "clauses/", wheels)
    hold(made, "post")
    assert made.json()["items"] == [part.slug]
    assert (made.json()["quantity"], made.json()["factor"], made.json()["allows"]) == (None, None, True)
    seen = director.get(path)
    hold(seen, "get")
    assert [one["number"] for one in seen.json()["clauses"]] == ["2.1", "3.1"]
    assert seen.json()["state"] == "draft"
    refused(anybody.get(path), 404, "not-found")
    moved = director.post(made["Location"] + "move/", {"up": True}, If_Match=seen["ETag"])
    assert [one["number"] for one in moved.json()["clauses"]] == ["3.1", "2.1"]
    refused(director.post(path + "publish/", If_Match=seen["ETag"]), 412, "precondition-failed")
    out = director.post(path + "publish/", If_Match=moved["ETag"])
    hold(out, "post")
    assert (out.status_code, out.json()["state"]) == (200, "coming")
    assert anybody.get(path).json() == out.json()


def test_a_published_edition_refuses_every_write_with_a_sentence(director):
    path = a_draft(director)
    clause = director.get(path).json()["clauses"][0]["id"]
    assert director.post(path + "publish/", If_Match=director.etag(path)).status_code == 200
    before = director.get(path).json()
    edition = {"name": "Other", "valid_from": "2040-01-01"}
    for method, below, sent in (
        ("PUT", "", edition),
        ("DELETE", "", None),
        ("POST", "publish/", None),
        ("POST", "clauses/", WIDTH | {"number": "9"}),
        ("PUT", f"clauses/{clause}/", WIDTH),
        ("DELETE", f"clauses/{clause}/", None),
        ("POST", f"clauses/{clause}/move/", {"up": True}),
    ):
        problem = refused(director(method, path + below, sent, If_Match="*"), 409, "conflict")
        assert "copy it" in problem["detail"], method + below
    assert director.get(path).json() == before


def test_nobodys_change_to_a_draft_is_lost(director):
    path = a_draft(director)
    clause = f"{path}clauses/{director.get(path).json()['clauses'][0]['id']}/"
    old = director.etag(path)
    refused(director.put(clause, WIDTH), 428, "precondition-required")
    written = director.put(clause, WIDTH | {"high": 57.125}, If_Match=director.etag(clause))
    hold(written, "put")
    assert (written.json()["high"], director.get(clause).json()) == (57.125, written.json())
    said = {"name": "Spring", "valid_from": "2040-01-01"}
    refused(director.put(path, said), 428, "precondition-required")
    refused(director.put(path, said, If_Match=old), 412, "precondition-failed")
    assert director.put(path, said, If_Match=director.etag(path)).json()["name"] == "Spring"
    assert director.delete(clause, If_Match=written["ETag"]).status_code == 204
    refused(director.delete(path, If_Match=old), 412, "precondition-failed")
    assert director.delete(path, If_Match=director.etag(path)).status_code == 204
    assert not RulebookEdition.objects.exists()


def test_what_is_sent_twice_with_one_key_is_written_once(director):
    path = a_draft(director)
    sent = WIDTH | {"number": "2.2"}
    first = director.post(path + "clauses/", sent, Idempotency_Key="a-clause")
    again = director.post(path + "clauses/", sent, Idempotency_Key="a-clause")
    assert (first.status_code, again.json()) == (201, first.json())
    assert Clause.objects.count() == 2
    refused(director.post(path + "clauses/", WIDTH, Idempotency_Key="a-clause"), 422, "key-used")


def test_a_clause_that_cannot_be_is_refused_at_its_place(director):
    address = a_draft(director) + "clauses/"

    def said(**changes):
        return pointed(director.post(address, WIDTH | {"number": "7"} | changes))

    assert "between" in said(high=4000)["#/high"]
    assert "least" in said(low=60, high=50)["#/low"].lower()
    assert "leave it out" in said(thing="wheel")["#/thing"]
    assert "leave it out" in said(items=["x"])["#/items"]
    assert said(high=56.12345)["#/high"].startswith("Three figures")
    assert "Known are" in said(colour="red")["#/colour"]
    assert said(low="55")["#/low"].startswith("Give a number")
    listed = said(kind="list", quantity=None, high=None, rule=None, thing="wheel", items=["no-such"])
    assert "no wheel" in listed["#/items/0"]
    refused(director.post(address, WIDTH), 409, "conflict")
    assert Clause.objects.count() == 1


def test_two_editions_of_a_class_never_begin_on_one_day(director):
    path = a_draft(director)
    row = RulebookEdition.objects.get()
    editions = path.rsplit("/", 2)[0] + "/"
    same = {"name": "Other", "valid_from": row.valid_from.isoformat()}
    assert "another date" in refused(director.post(editions, same), 409, "conflict")["detail"]
    copy = {"name": "Next", "valid_from": "2040-01-01", "copy": row.pk}
    made = director.post(editions, copy)
    assert [one["number"] for one in made.json()["clauses"]] == ["2.1"]
    assert "no edition" in pointed(director.post(editions, copy | {"copy": 10**9}))["#/copy"]


def test_what_an_edition_changed_is_told_clause_by_clause(director):
    race_class = RaceClassFactory()
    edition_of(at_most("front_width", 56, number="1"), race_class=race_class)
    later = edition_of(
        at_most("front_width", 55, number="1"),
        at_least("mass", 160, number="2"),
        race_class=race_class,
        valid_from=today(),
    )
    answer = get(f"race-classes/{race_class.slug}/editions/{later.pk}/changes/")
    hold(answer, "get")
    told = [(one["what"], one["fields_changed"]) for one in answer.json()]
    assert told == [("changed", ["limits"]), ("added", [])]


def test_which_edition_holds_on_a_day_is_told():
    race_class = RaceClassFactory()
    past = edition_of(at_most("width", 60), race_class=race_class, valid_from=today() - timedelta(days=99))
    now = edition_of(at_most("width", 60), race_class=race_class, valid_from=today())
    path = f"race-classes/{race_class.slug}/"
    assert get(path).json()["holds_today"] == now.pk
    states = {one["number"]: one["state"] for one in get(path + "editions/").json()["results"]}
    assert states == {past.pk: "past", now.pk: "holds"}
    on = today() - timedelta(days=1)
    found = get(f"{path}editions/?on={on}").json()["results"]
    assert [one["number"] for one in found] == [past.pk]
    refused(get(f"{path}editions/?on=yesterday"), 400, "invalid-parameter")


# The check


def of(answer, number):
    """The ruling on a clause in the first check of an answer."""
    assert answer.status_code == 200, answer.content
    return next(one for one in answer.json()["checks"][0]["rulings"] if one["number"] == number)


def test_a_setup_is_held_against_every_class_that_holds_today(anybody, shop):
    setup = a_setup(shop, tuning={"mass": 150})
    legal = edition_of(at_most("front_width", 60))
    not_legal = edition_of(at_least("mass", 160))
    nothing_holds = RaceClassFactory()
    answer = anybody.get(f"setups/{setup.pk}/legality/")
    hold(answer, "get")
    passes = {one["edition"]["number"]: one["passes"] for one in answer.json()["checks"]}
    assert passes == {legal.pk: True, not_legal.pk: False}
    assert answer.json()["without"] == [nothing_holds.slug]
    one = anybody.get(f"setups/{setup.pk}/legality/?race_class={not_legal.race_class.slug}&revision=1")
    ruling = one.json()["checks"][0]["rulings"][0]
    assert (ruling["verdict"], ruling["margin"], ruling["source"]) == ("does_not_comply", -10, "computed")
    posted = anybody.post("legality/", {"car": {"setup": setup.pk}})
    hold(posted, "post")
    assert posted.json()["checks"] == answer.json()["checks"]
    early = today() - timedelta(days=1000)
    where = f"setups/{setup.pk}/legality/?race_class={legal.race_class.slug}&on={early}"
    assert "another day" in refused(anybody.get(where), 409, "conflict")["detail"]
    refused(anybody.get(f"setups/{setup.pk}/legality/?revision=0"), 400, "invalid-parameter")


def test_what_is_measured_and_seen_counts_and_nothing_is_stored(anybody, shop):
    setup = a_setup(shop)
    edition = edition_of(
        at_most("front_width", 56, number="1"),
        at_least("mass", 160, number="2"),
        {"number": "3", "seen": True},
    )
    before = Setup.objects.count(), Clause.objects.count()
    asked = {"car": {"setup": setup.pk}, "edition": edition.pk}
    bare = anybody.post("legality/", asked)
    assert bare.json()["checks"][0]["passes"] is None
    assert of(bare, "2")["verdict"] == of(bare, "3")["verdict"] == "not_checked"
    measured = {"front_width": {"value": 56.5, "uncertainty": 0.05}, "mass": {"value": 162, "tolerance": 1}}
    full = anybody.post("legality/", asked | {"measured": measured, "seen": {"3": True}})
    hold(full, "post")
    assert full.json()["checks"][0]["counts"] == {
        "complies": 2,
        "not_checked": 0,
        "too_close": 0,
        "does_not_comply": 1,
    }
    assert (of(full, "1")["source"], of(full, "1")["disagrees"]) == ("measured", True)
    assert of(full, "1")["change"] == -0.5
    assert "no clause" in pointed(anybody.post("legality/", asked | {"seen": {"9": True}}))["#/seen/9"]
    assert (
        "one rulebook"
        in pointed(anybody.post("legality/", {"car": {"setup": setup.pk}, "seen": {"3": True}}))["#/seen"]
    )
    assert before == (Setup.objects.count(), Clause.objects.count())


def test_a_car_and_clauses_of_ones_own_are_judged(anybody, shop):
    setup = a_setup(shop)
    row = setup.current
    car = {
        "platform": shop.platform.slug,
        "position": row.position.name,
        "parts": {slot.slot: slot.part.slug for slot in row.slots.all() if slot.slot != "body_mount"},
    }
    wheel = shop.wheels[Decimal(0)]
    clauses = [
        WIDTH | {"high": 54},
        {
            "number": "3",
            "wording": "Not these wheels.",
            "kind": "list",
            "thing": "wheel",
            "allows": False,
            "items": [wheel.slug],
        },
        LOOKED_AT,
    ]
    sent = {"car": car, "body": shop.body.slug, "clauses": clauses, "seen": {"5.1": True}}
    answer = anybody.post("legality/", sent)
    hold(answer, "post")
    assert of(answer, "2.1")["verdict"] == "does_not_comply"
    assert [one["slug"] for one in of(answer, "3")["culprits"]] == [wheel.slug]
    assert of(answer, "5.1")["source"] == "seen"
    assert answer.json()["checks"][0]["edition"] is None
    assert not RaceClass.objects.exists()
    twice = pointed(anybody.post("legality/", sent | {"clauses": [LOOKED_AT, LOOKED_AT], "seen": {}}))
    assert "number" in twice["#/clauses/1/number"]
    wrong = pointed(anybody.post("legality/", sent | {"car": car | {"position": "nowhere"}}))
    assert list(wrong) == ["#/car/position"]
    fitted = pointed(anybody.post("legality/", sent | {"fitted": {"motor": ["no-such"]}}))
    assert list(fitted) == ["#/fitted/motor/0"]


def test_what_would_make_a_setup_legal_starts_from_what_the_caller_owns(shop):
    setup = a_setup(shop, front_tyre=shop.tyres[1], rear_tyre=shop.tyres[1])
    edition = edition_of(
        at_most("front_tyre_diameter", 23), at_most("rear_tyre_diameter", 23), at_least("mass", 160)
    )
    sent = {"car": {"setup": setup.pk}, "edition": edition.pk, "mend": True}
    sent["measured"] = {"mass": {"value": 150, "uncertainty": 0.2}}
    answer = Caller().post("legality/", sent)
    hold(answer, "post")
    mending = answer.json()["mending"]
    assert [(one["slot"], one["now"]["part"], one["buy"]) for one in mending["steps"]] == [
        ("front_tyre", shop.tyres[0].slug, True),
        ("rear_tyre", shop.tyres[0].slug, True),
    ]
    assert [one["change"] for one in mending["by_hand"]] == [10]
    stock.add(setup.author, shop.tyres[0], 4)
    owned = Caller(setup.author).post("legality/", sent).json()["mending"]
    assert [one["buy"] for one in owned["steps"]] == [False, False]
    assert "posted setup" in pointed(Caller().post("legality/", {**sent, "edition": None}))["#/mend"]


def test_a_draft_is_there_for_directors_only(director, anybody, shop):
    setup = a_setup(shop)
    draft = EditionFactory()
    sent = {"car": {"setup": setup.pk}, "edition": draft.pk}
    assert "may see" in pointed(anybody.post("legality/", sent))["#/edition"]
    assert director.post("legality/", sent).status_code == 200
    path = f"race-classes/{draft.race_class.slug}/editions/"
    assert get(path).json()["results"] == []
    assert len(director.get(path).json()["results"]) == 1
    reads = Caller(MemberFactory(race_director=True), "read")
    assert reads.get(f"{path}{draft.pk}/").json()["state"] == "draft"
    refused(reads.post(f"{path}{draft.pk}/clauses/", WIDTH), 403, "insufficient-scope")


def queries(act):
    with CaptureQueriesContext(connection) as found:
        answer = act()
    assert answer.status_code == 200, answer.content
    return len(found)


def test_lists_and_checks_ask_a_constant_number_of_questions(shop):
    setup = a_setup(shop)
    race_class = RaceClassFactory()

    def more(times):
        for _ in range(times):
            edition = EditionFactory(race_class=race_class, valid_from=RulebookDay.next())
            Clause.objects.create(
                edition=edition, place=1, number="1", wording="Wide.", kind="limit", quantity="width", high=70
            )
            published(edition)
            edition_of(at_most("width", 70), {"wheels": True, "items": [shop.wheels[Decimal(0)]]})

    addresses = ("race-classes/", f"race-classes/{race_class.slug}/editions/", f"setups/{setup.pk}/legality/")
    more(1)
    few = [queries(lambda path=path: get(path)) for path in addresses]
    more(5)
    assert few == [queries(lambda path=path: get(path)) for path in addresses]


class RulebookDay:
    """Another day each time, all of them past."""

    days = 0

    @classmethod
    def next(cls):
        cls.days += 1
        return today() - timedelta(days=cls.days)
