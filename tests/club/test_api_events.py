"""Race days through the API: entry lists, the check of all of them, inspections, and the record."""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from club.models import Entry, Event, Inspection
from tests.club.race_days import DAY, race_day
from tests.factories import EditionFactory, MemberFactory, SetupFactory, published
from tests.setups.asking import Caller, pointed, refused
from tests.setups.test_api_schema import hold

pytestmark = pytest.mark.django_db


@pytest.fixture
def day():
    return race_day()


@pytest.fixture
def director(day):
    return Caller(day.director)


@pytest.fixture
def member():
    return Caller(MemberFactory())


def where(day, below=""):
    return f"events/{day.event.slug}/{below}"


# Events


def test_a_director_makes_an_event_and_changes_it(day, director):
    pinned = EditionFactory(race_class=day.race_class, valid_from=DAY + timedelta(days=40))
    pinned.clauses.create(place=1, number="1", wording="Wide.", kind="limit", quantity="width", high=60)
    published(pinned, day.director)
    said = {"name": "Late Round", "date": DAY.isoformat(), "classes": [{"race_class": day.race_class.slug}]}
    made = director.post("events/", said)
    hold(made, "post")
    assert made.status_code == 201, made.content
    holding = {"race_class": day.race_class.slug, "pinned": None, "edition": day.edition.pk}
    assert made.json()["classes"] == [holding]
    path = made["Location"]
    change = said | {
        "is_public": False,
        "classes": [{"race_class": day.race_class.slug, "pinned": pinned.pk}],
    }
    refused(director.put(path, change), 428, "precondition-required")
    done = director.put(path, change, If_Match=made["ETag"])
    hold(done, "put")
    assert done.json()["classes"][0]["edition"] == pinned.pk
    refused(director.put(path, said, If_Match=made["ETag"]), 412, "precondition-failed")
    refused(Caller(MemberFactory()).get(path), 404, "not-found")
    wrong = said | {"classes": [{"race_class": day.race_class.slug, "pinned": 10**9}, {"race_class": "none"}]}
    assert list(pointed(director.post("events/", wrong))) == ["#/classes/1/race_class"]
    wrong["classes"].pop()
    assert "published" in pointed(director.post("events/", wrong))["#/classes/0/pinned"]


def test_a_class_with_entries_stays_in_its_event(day, director):
    day.enter()
    path = where(day)
    sent = {"name": "Spring Round", "date": DAY.isoformat(), "classes": []}
    refused(director.put(path, sent, If_Match=director.etag(path)), 400, "invalid-content")
    assert day.event.classes.count() == 1


# Entries


def test_a_car_is_entered_changed_checked_in_and_withdrawn(day, director, member):
    setup = SetupFactory()
    made = director.post(where(day, "entries/"), {"driver": "Ada", "setup": setup.pk})
    hold(made, "post")
    assert made.status_code == 201, made.content
    assert (made.json()["race_number"], made.json()["body"]) == (1, setup.body.slug)
    path = made["Location"]
    change = {"race_number": 12, "driver": "Ada B.", "setup": setup.pk}
    assert "#/why" in pointed(director.put(path, change, If_Match=made["ETag"]))
    late = director.put(path, change | {"why": "Misspelt."}, If_Match=made["ETag"])
    hold(late, "put")
    assert (late.json()["race_number"], late.json()["driver"]) == (12, "Ada B.")
    refused(director.put(path, change, If_Match=made["ETag"]), 412, "precondition-failed")
    refused(director.post(path + "check-in/", {}), 428, "precondition-required")
    here = director.post(path + "check-in/", {}, If_Match=late["ETag"])
    hold(here, "post")
    assert here.json()["checked_in_by"]["username"] == day.director.username
    shown = member.get(where(day, "entries/?checked_in=true&race_number=12"))
    hold(shown, "get")
    assert shown.json()["results"] == [here.json()]
    assert member.get(where(day, "entries/?checked_in=false")).json()["results"] == []
    out = director.post(path + "withdraw/", {"why": "A broken arm."}, If_Match=here["ETag"])
    assert (out.json()["withdrawn"], out.json()["checked_in_at"]) == (True, None)
    said = refused(director.post(path + "check-in/", {}, If_Match=out["ETag"]), 409, "conflict")["detail"]
    assert "put it back" in said
    log = member.get(path + "log/")
    hold(log, "get")
    assert [one["why"] for one in log.json()] == [
        "Entered",
        "Misspelt.",
        "Checked in",
        "Withdrawn: A broken arm.",
    ]
    changed = {"what": "driver", "before": "Ada", "after": "Ada B."}
    assert changed in log.json()[1]["changes"]


def test_the_revision_that_was_entered_stays_when_the_setup_is_named_again(day, director):
    entry = day.enter_setup(7)
    path = where(day, f"entries/{entry.pk}/")
    sent = {"race_number": 7, "driver": "Ada", "setup": entry.revision.setup_id}
    same = director.put(path, sent, If_Match=director.etag(path))
    assert (same.status_code, same.json()["revision"]) == (200, entry.revision.number)
    assert entry.log.count() == 1


def test_what_cannot_be_entered_is_refused_at_its_place(day, director):
    day.enter(7)

    def said(**given):
        return pointed(director.post(where(day, "entries/"), {"driver": "Bo"} | given))

    assert "7 is Ada" in said(race_number=7)["#/race_number"]
    assert "not raced" in said(race_class="none")["#/race_class"]
    assert "No member" in said(member="nobody-here")["#/member"]
    assert "No posted setup" in said(setup=10**9)["#/setup"]
    assert "library has no body" in said(body="no-such")["#/body"]
    assert "who drives" in said(driver="")["#/driver"]
    assert Entry.objects.count() == 1


def test_a_car_is_entered_once_for_one_key(day, director):
    sent = {"driver": "Ada"}
    first = director.post(where(day, "entries/"), sent, Idempotency_Key="car")
    again = director.post(where(day, "entries/"), sent, Idempotency_Key="car")
    assert (first.json(), Entry.objects.count()) == (again.json(), 1)


def test_a_list_is_tried_before_it_is_entered(day, director):
    text = "number,driver\n3,Ada\n4,Bo\n"
    path = where(day, "entry-list/")
    tried = director.post(path, {"text": text})
    hold(tried, "post")
    assert (tried.json()["loadable"], tried.json()["entered"], Entry.objects.count()) == (True, 0, 0)
    bad = director.post(path, {"text": text + "4,Cy\n", "load": True})
    assert (bad.json()["entered"], bad.json()["problems"][0]["line"]) == (0, 4)
    done = director.post(path, {"text": text, "load": True})
    assert (done.json()["entered"], Entry.objects.count()) == (2, 2)


# The check


def test_a_whole_list_is_checked_problems_first(day, member):
    wide, fine = day.enter_setup(3), day.enter_setup(4)
    day.enter(5, "Cy")
    day.find(wide, "2.1", "56.40")
    for number, reading in (("2.1", "54.50"), ("2.2", "54.50")):
        day.find(fine, number, reading)
    day.find(fine, "3.1", "165", instrument="scale")
    day.find(fine, "5.1", seen=True)
    answer = member.get(where(day, "check/"))
    hold(answer, "get")
    (one,) = answer.json()
    assert one["edition"]["number"] == day.edition.pk
    order = [(row["entry"]["race_number"], row["verdict"], row["passes"]) for row in one["standings"]]
    assert order == [
        (3, "does_not_comply", False),
        (5, "not_checked", None),
        (4, "complies", True),
    ]
    assert one["counts"] == {"complies": 1, "not_checked": 1, "too_close": 0, "does_not_comply": 1}
    worst = one["standings"][0]["problems"][0]
    assert (worst["number"], worst["verdict"], worst["passes"]) == ("2.1", "does_not_comply", False)
    assert one["standings"][2]["problems"] == []
    car = member.get(where(day, f"entries/{wide.pk}/check/"))
    hold(car, "get")
    ruling = car.json()["rulings"][0]
    assert (ruling["number"], ruling["source"], ruling["value"]["value"]) == ("2.1", "measured", 56.4)
    assert ruling["computed"]["value"] == 55
    refused(member.get(where(day, "check/?race_class=none")), 404, "not-found")


def test_lists_and_the_check_ask_a_constant_number_of_questions(day, director):
    def count():
        found = []
        for below in ("entries/", "check/", "inspections/", "record/"):
            with CaptureQueriesContext(connection) as asked:
                answer = director.get(where(day, below))
            assert answer.status_code == 200, answer.content
            found.append(len(asked))
        return found

    def more(numbers):
        for number in numbers:
            day.find(day.enter_setup(number, member=MemberFactory()), "2.1", "54.8")

    more([1])
    count()
    few = count()
    more(range(2, 8))
    assert count() == few


# Inspections


def finding(day, entry, number="2.1", **given):
    said = {
        "key": str(uuid4()),
        "entry": entry.pk,
        "clause": day.clause(number).pk,
        "stage": "before",
        "reading": 54.8,
        "instrument": "calliper",
    }
    return said | given


def test_a_finding_is_put_on_record_once_however_often_it_is_sent(day, director):
    entry = day.enter_setup(7)
    path = where(day, "inspections/")
    sent = finding(day, entry)
    made = director.post(path, sent)
    hold(made, "post")
    assert (made.status_code, made.json()["known"]) == (201, False)
    (one,) = made.json()["inspections"]
    assert (one["value"], one["verdict"], one["passes"], one["computed"]) == (54.8, "complies", True, 55)
    single = director.get(made["Location"])
    assert (single.json(), single["ETag"]) == (one, made["ETag"])
    again = director.post(path, sent)
    hold(again, "post")
    assert (again.status_code, again.json()) == (200, {"known": True, "inspections": [one]})
    second = director.post(path, finding(day, entry, reading=55.0)).json()["inspections"][0]
    assert (second["value"], second["readings"]) == (54.9, ["54.8", "55"])
    assert Inspection.objects.count() == 2
    other = day.enter(8, "Bo")
    assert "another car" in pointed(director.post(path, sent | {"entry": other.pk}))["#"]


def test_a_record_is_never_changed_but_corrected_by_another(day, director):
    entry = day.enter_setup(7)
    path = where(day, "inspections/")
    first = director.post(path, finding(day, entry, reading=45.8))
    number = first.json()["inspections"][0]["number"]
    for method in ("PUT", "PATCH", "DELETE"):
        refused(director(method, first["Location"], finding(day, entry)), 405, "method-not-allowed")
    right = finding(day, entry, corrects=number)
    assert "what was wrong" in pointed(director.post(path, right))["#"]
    right["reason"] = "A digit turned about."
    done = director.post(path, right)
    (one,) = done.json()["inspections"]
    assert (done.status_code, one["corrects"], one["value"]) == (201, number, 54.8)
    assert director.post(path, right).json()["known"] is True
    late = finding(day, entry, corrects=number, reason="Once more.")
    assert f"Record {one['number']}" in refused(director.post(path, late), 409, "conflict")["detail"]
    assert Inspection.objects.count() == 2


def test_a_finding_that_cannot_be_is_refused(day, director):
    entry = day.enter_setup(7)

    def said(**given):
        return pointed(director.post(where(day, "inspections/"), finding(day, entry) | given))

    assert "Choose what" in said(instrument=None)["#"]
    assert "between" in said(reading=5)["#"]
    assert "not of the edition" in said(clause=10**9)["#/clause"]
    assert "no entry" in said(entry=10**9)["#/entry"]
    assert "#/stage" in said(stage="during")
    assert "#/run" in said(run=0)
    assert "yes or no" in said(clause=day.clause("5.1").pk)["#"]
    assert "no record" in said(corrects=5, reason="Wrong.")["#/corrects"]
    later = EditionFactory(race_class=day.race_class, valid_from=DAY + timedelta(days=9))
    clause = later.clauses.create(
        place=1, number="1", wording="Wide.", kind="limit", quantity="width", high=60
    )
    published(later, day.director)
    assert "not of the edition" in said(clause=clause.pk)["#/clause"]
    assert not Inspection.objects.exists()


# The record


def test_the_record_is_taken_away_whole(day, director):
    driver = MemberFactory()
    entry = day.enter_setup(7, member=driver)
    day.find(entry, "2.1", "55.05")
    day.find(entry, "5.1", seen=True)
    answer = director.get(where(day, "record/"))
    hold(answer, "get")
    lines = answer.json()["inspections"]
    assert [(one["clause"], one["verdict"], one["verdict_again"]) for one in lines] == [
        ("2.1", "too_close", "too_close"),
        ("5.1", "complies", "complies"),
    ]
    assert answer.json()["entries"][0]["log"][0]["why"] == "Entered"
    table = director.get(where(day, "record.csv"))
    assert table["Content-Type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(table.content.decode("utf-8-sig"))))
    assert [row["record"] for row in rows] == [one["record"] for one in lines]
    own = Caller(driver).get(where(day, f"entries/{entry.pk}/record/"))
    hold(own, "get")
    assert own.json() == lines
    other = Caller(MemberFactory())
    refused(other.get(where(day, f"entries/{entry.pk}/record/")), 403, "forbidden")
    refused(other.get(where(day, "record.csv")), 403, "forbidden")


def test_an_event_that_is_not_public_is_there_for_directors_and_the_entered(day, director, member):
    driver = MemberFactory()
    entry = day.enter(7, member=driver)
    Event.objects.update(is_public=False)
    for below in ("", "entries/", f"entries/{entry.pk}/", "check/", f"entries/{entry.pk}/log/"):
        refused(member.get(where(day, below)), 404, "not-found")
        assert Caller(driver).get(where(day, below)).status_code == 200
        assert director.get(where(day, below)).status_code == 200
    assert member.get("events/").json()["results"] == []
    refused(Caller().get("events/"), 401, "unauthenticated")
