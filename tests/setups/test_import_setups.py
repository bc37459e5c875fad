"""Setups and measurements from a file: own ones, other members', and what is wrong by line and column."""

from __future__ import annotations

import csv
import io
import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from setups.exports.sources import rows_of
from setups.exports.writing import Format, written
from setups.imports.kinds import KINDS
from setups.imports.load import load
from setups.imports.plan import Plan, plan_of
from setups.imports.planned import By, operator
from setups.models import BodyDimension, Measurement, Revision, Setup
from setups.services import posting, verifying
from setups.services.cars import content_of
from tests.factories import BodyFactory, MemberFactory, SetupFactory, reading_for

pytestmark = pytest.mark.django_db


def _rows(what: str = "setups") -> list[dict[str, Any]]:
    return [
        json.loads(line)
        for line in "".join(written(KINDS[what], rows_of(KINDS[what]), Format.JSONL)).splitlines()
    ]


def _lines(*rows: dict[str, Any]) -> str:
    return "".join(json.dumps(row) + "\n" for row in rows)


def _plan(text: str, by: By, what: str = "setups") -> Plan:
    return plan_of(KINDS[what], text, by=by)


def _problems(plan: Plan) -> list[tuple[int, str, str]]:
    return [(one.line, one.column, one.message) for row in plan.wrong for one in row.problems]


def _load(text: str, by: By, what: str = "setups") -> list[int]:
    plan, loaded = load(KINDS[what], text, _plan(text, by, what).fingerprint, by)
    assert loaded is not None, (plan.problems, _problems(plan))
    return loaded.new


@pytest.fixture
def posted() -> Setup:
    """A setup of two revisions."""
    setup = SetupFactory(author=MemberFactory(username="ode"), name="Tuesday", tuning={"front_camber": -1.5})
    content = content_of(setup.current)
    changed = type(content)(**{**_fields(content), "notes": "Softer.\nBetter.", "what_changed": "grease"})
    posting.post(changed, setup.author, setup)
    setup.refresh_from_db()
    return setup


def _fields(content: Any) -> dict[str, Any]:
    return {name: getattr(content, name) for name in content.__dataclass_fields__}


def _own(member: Any) -> By:
    return By(member)


def _librarian() -> By:
    return By(MemberFactory(librarian=True), keeps_library=True)


# Setups


def test_a_member_posts_own_setups_as_new_ones_dated_now(posted: Setup) -> None:
    member = MemberFactory()
    rows = [row | {"setup": "mine", "author": member.username} for row in _rows()]
    before = timezone.now()
    keys = _load(_lines(*rows), _own(member))
    first, second = Revision.objects.filter(pk__in=keys).order_by("number")
    assert (first.setup_id, first.number, second.number) == (second.setup_id, 1, 2)
    assert first.setup_id != posted.pk
    assert second.setup.author == member
    assert second.posted_at >= before
    assert (second.notes, second.what_changed, second.tuning) == (
        "Softer.\nBetter.",
        "grease",
        {"front_camber": -1.5},
    )
    assert {row.slot: row.part_id for row in second.slots.all()} == {
        row.slot: row.part_id for row in posted.current.slots.all()
    }
    assert second.setup.state == "posted"


def test_a_part_may_be_named_by_maker_and_number(posted: Setup) -> None:
    wheel = posted.current.slots.get(slot="front_wheel").part
    wheel.part_number = "W/12"
    wheel.save()
    (row, _) = _rows()
    row |= {"setup": "new", "front_wheel": f"{wheel.maker.name} / W/12"}
    (key,) = _load(_lines(row), _own(posted.author))
    assert Revision.objects.get(pk=key).slots.get(slot="front_wheel").part == wheel


def test_only_who_keeps_the_library_posts_for_others(posted: Setup) -> None:
    rows = [row | {"setup": "x"} for row in _rows()]
    plan = _plan(_lines(*rows), _own(MemberFactory()))
    assert _problems(plan)[0] == (
        1,
        "author",
        "You may post your own setups only: leave it empty, or write your username.",
    )
    assert not plan.loadable
    keys = _load(_lines(*rows), _librarian())
    assert Revision.objects.get(pk=keys[0]).author == posted.author


def test_a_visitor_is_asked_to_sign_in() -> None:
    plan = _plan(_lines({"name": "x", "body": "b", "platform": "p", "position": "q"}), By())
    assert "sign in first" in plan.problems[0].message


def test_what_is_restored_keeps_its_number_dates_origin_and_withdrawal(posted: Setup) -> None:
    other = SetupFactory(author=posted.author)
    Setup.objects.filter(pk=other.pk).update(started_from=posted.current)
    posting.withdraw(posted, posted.author, "sold the car")
    rows = _rows()
    dates = list(Revision.objects.order_by("pk").values_list("posted_at", flat=True))
    Setup.objects.all().delete()
    text = _lines(*rows)
    _load(text, _librarian())
    restored = Setup.objects.get(pk=posted.pk)
    assert (restored.state, restored.author, restored.revisions.count()) == ("withdrawn", posted.author, 2)
    assert list(Revision.objects.order_by("pk").values_list("posted_at", flat=True)) == dates
    assert Setup.objects.get(pk=other.pk).started_from == restored.current
    assert _rows() == rows
    assert not _plan(text, _librarian()).to_load
    assert SetupFactory().pk > other.pk


def test_what_is_posted_never_changes(posted: Setup) -> None:
    first, second = _rows()
    problems = _problems(_plan(_lines(first | {"circuit": "Elsewhere"}, second), _librarian()))
    assert [(line, column) for line, column, _ in problems] == [(1, "circuit")]
    assert "what is posted never changes" in problems[0][2]


def test_a_number_that_is_another_members_setup_is_refused(posted: Setup) -> None:
    MemberFactory(username="fen")
    (row, _) = _rows()
    problems = _problems(_plan(_lines(row | {"author": "fen"}), _librarian()))
    assert problems[0][:2] == (1, "setup")
    assert f"Number {posted.pk} is another setup here" in problems[0][2]


def test_a_further_revision_of_a_setup_on_record_is_added(posted: Setup) -> None:
    first, second = _rows()
    (key,) = _load(_lines(first, second, second | {"revision": 3, "result": "first"}), _librarian())
    posted.refresh_from_db()
    assert (posted.current_id, posted.current.number, posted.current.result) == (key, 3, "first")


@pytest.mark.parametrize(
    ("given", "line", "column", "said"),
    [
        ({"front_camber": -40}, 1, "front_camber", "between -15 and 15"),
        ({"platform": "Chasis"}, 1, "platform", "There is no platform “Chasis”"),
        ({"position": "shortest"}, 1, "position", "it has short, middle, long"),
        ({"front_wheel": "nothing"}, 1, "front_wheel", "There is no part “nothing”"),
        ({"revision": 3}, 1, "revision", "here must be the first"),
        ({"author": "nobody"}, 1, "author", "There is no member “nobody”"),
        ({"posted_at": "2999-01-01 10:00"}, 1, "posted_at", "It lies ahead"),
        ({"posted_at": "yesterday"}, 1, "posted_at", "write it as 2026-05-31 14:05"),
        ({"best_lap": "fast"}, 1, "best_lap", "is not a number"),
        ({"best_lap": 1e30}, 1, "best_lap", "less than 10,000 seconds"),
        ({"started_from": "somewhere"}, 1, "started_from", "write setup/revision"),
        ({"motor": "m" * 81}, 1, "motor", "80 letters"),
        ({"name": "n" * 121}, 1, "name", "may have 120"),
        ({"surface": "ice"}, 1, "surface", "none of these"),
        ({"weight_fl": 40}, 1, "", ""),
    ],
)
def test_what_a_setup_cannot_be_names_line_key_and_what_to_do(
    posted: Setup, given: dict[str, Any], line: int, column: str, said: str
) -> None:
    row = _rows()[0] | {"setup": "x"} | given
    problems = _problems(_plan(_lines(row), _librarian()))
    if not column:  # what is put back may be older than a rule of what is said together
        assert problems == []
        return
    assert problems[0][:2] == (line, column)
    assert said in problems[0][2]


def test_a_car_without_a_part_that_it_needs_is_refused(posted: Setup) -> None:
    row = _rows()[0] | {"setup": "x", "rear_axle": None}
    assert "rear axle" in _problems(_plan(_lines(row), _own(posted.author)))[0][2]


def test_a_wheel_is_not_a_plate(posted: Setup) -> None:
    row = _rows()[0]
    row |= {"setup": "x", "plate": row["front_wheel"]}
    assert _problems(_plan(_lines(row), _librarian()))[0][1] == "plate"


def test_a_setup_that_does_not_fit_may_be_posted_and_the_check_says_so(posted: Setup) -> None:
    BodyDimension.objects.filter(body=posted.body, quantity="front_arch_width").update(value="40")
    plan = _plan(_lines(_rows()[0] | {"setup": "x"}), _own(posted.author))
    assert plan.loadable
    assert "it does not fit (flush)" in " ".join(plan.new[0].notes)


def test_one_wrong_revision_keeps_every_setup_out(client: Client, posted: Setup) -> None:
    client.force_login(posted.author)
    first, second = (row | {"setup": "x"} for row in _rows())
    text = _lines(first, second | {"body": "no such"})
    page = client.post("/imports/", {"kind": "setups", "text": text, "act": "check"})
    assert "1 row to correct" in page.content.decode()
    client.post(
        "/imports/", {"kind": "setups", "text": text, "act": "load", "seen": page.context["plan"].fingerprint}
    )
    assert Setup.objects.count() == 1


def test_a_member_loads_setups_on_the_page(client: Client, posted: Setup) -> None:
    client.force_login(posted.author)
    text = _lines(*(row | {"setup": "x", "name": "Wednesday"} for row in _rows()))
    page = client.post("/imports/", {"kind": "setups", "text": text, "act": "check"})
    assert ">Load 2</button>" in page.content.decode()
    data = {"kind": "setups", "text": text, "act": "load", "seen": page.context["plan"].fingerprint}
    assert client.post("/imports/", data)["Location"] == "/imports/loaded/"
    assert "2 new and 0 changed revisions" in client.get("/imports/loaded/").content.decode()
    assert Setup.objects.get(name="Wednesday").author == posted.author


def test_the_number_of_queries_does_not_grow_with_the_setups(posted: Setup) -> None:
    row, by = _rows()[0], _own(posted.author)
    few = _lines(*(row | {"setup": f"s{n}"} for n in range(2)))
    many = _lines(*(row | {"setup": f"s{n}"} for n in range(40)))
    with CaptureQueriesContext(connection) as of_few:
        _plan(few, by)
    with CaptureQueriesContext(connection) as of_many:
        _plan(many, by)
    assert len(of_many) == len(of_few) <= 25
    with CaptureQueriesContext(connection) as loading:
        _load(many, by)
    assert len(loading) <= 90


def test_the_record_of_a_setup_that_was_here_before_is_never_changed_by_a_file(posted: Setup) -> None:
    posting.withdraw(posted, posted.author, "sold the car")
    rows = _rows("record")
    assert [row["action"] for row in rows] == ["posted", "revised", "withdrawn"]
    assert len(plan_of(KINDS["record"], _lines(*rows), by=operator()).unchanged) == 3
    changed = _lines(*rows[:2], rows[2] | {"reason": "lent the car"})
    plan = plan_of(KINDS["record"], changed, by=operator())
    assert [(line, column) for line, column, _ in _problems(plan)] == [(3, "setup")]
    assert "never changed by a file" in plan.wrong[0].problems[0].message


# Measurements

HEAD = "body,setup,quantity,value,instrument,member\n"


def test_own_measurements_settle_the_dimension() -> None:
    body, member = BodyFactory(slug="plover", figures={"nose_reach": None}), MemberFactory()
    _load(HEAD + "plover,,nose_reach,31.2 ± 0.1,calliper,\n", _own(member), "measurements")
    row = body.dimensions.get(quantity="nose_reach")
    assert (float(row.value), row.source) == (31.2, "a member's measurement")
    assert Measurement.objects.get().member == member


def test_measurements_of_a_car_verify_the_setup(posted: Setup) -> None:
    for number in range(2):
        member = MemberFactory()
        standing = verifying.standing_of(posted)
        asked = [
            one.quantity
            for one in standing.verification.tested
            if one.quantity in ("front_width", "rear_width", "wheelbase")
        ]
        computed = {one: float(getattr(standing.report.geometry, one).value) for one in asked}
        rows = "".join(f",{posted.pk},{one},{value:.2f},calliper,\n" for one, value in computed.items())
        _load(HEAD + rows, _own(member), "measurements")
        assert number or Setup.objects.get(pk=posted.pk).state == "posted"
    assert Setup.objects.get(pk=posted.pk).state == "verified"


def test_the_same_measurements_again_change_nothing_and_twice_the_same_reading_is_two() -> None:
    BodyFactory(slug="plover")
    by = _own(MemberFactory())
    text = HEAD + 2 * "plover,,wheelbase,92.1,calliper,\n"
    assert len(_load(text, by, "measurements")) == 2
    plan = _plan(text, by, "measurements")
    assert (len(plan.unchanged), plan.to_load) == (2, 0)
    assert len(_plan(text + "plover,,wheelbase,92.1,calliper,\n", by, "measurements").new) == 1


def test_a_librarian_loads_what_others_measured_withdrew_and_had_set_aside() -> None:
    BodyFactory(slug="plover")
    MemberFactory(username="fen")
    text = (
        "body,quantity,value,instrument,member,measured_on,withdrawn,set_aside,added\n"
        "plover,wheelbase,92.1,calliper,fen,2025-04-01,yes,no,2025-04-02 18:00\n"
    )
    _load(text, _librarian(), "measurements")
    one = Measurement.objects.get()
    assert (one.withdrawn, one.set_aside, one.member.username) == (True, False, "fen")
    assert (one.measured_on.isoformat(), one.added) == ("2025-04-01", datetime(2025, 4, 2, 18, tzinfo=UTC))
    plan = _plan(text.replace(",yes,no,", ",no,yes,"), _librarian(), "measurements")
    assert [(change.what, change.after) for change in plan.changed[0].changes] == [
        ("Withdrawn", "no"),
        ("Set aside", "yes"),
    ]


def test_nobody_loads_other_members_measurements_of_their_own_car() -> None:
    author = MemberFactory(librarian=True)
    setup = SetupFactory(author=author)
    MemberFactory(username="fen")
    text = HEAD + f",{setup.pk},wheelbase,92,calliper,fen\n"
    problems = _problems(_plan(text, By(author, keeps_library=True), "measurements"))
    assert problems[0][:2] == (2, "setup")
    assert "is your own" in problems[0][2]
    assert _plan(text, _librarian(), "measurements").loadable


@pytest.mark.parametrize(
    ("row", "column", "said"),
    [
        ("plover,,wheelbase,92.1,calliper,fen", "member", "You may load your own measurements only"),
        ("plover,1,wheelbase,92.1,calliper,", "body", "one of them"),
        (",,wheelbase,92.1,calliper,", "body", "Name what was measured"),
        (",999,wheelbase,92.1,calliper,", "setup", "There is no setup 999"),
        ("plover,,wheelbase,921,calliper,", "value", "between 40 and 420"),
        ("plover,,wheelbase,92.1,scale,", "instrument", "does not show mm"),
        ("plover,,wheelbase,92.1,other,", "", "Give a doubt"),
        ("plover,,hub_width,43,calliper,", "quantity", "A body has no such dimension"),
        ("plover,,wheelbase,92.12345,calliper,", "value", "three decimals"),
        ("plover,,wheelbase,1" + "0" * 40 + ",calliper,", "value", "between 40 and 420"),
        ("plower,,wheelbase,92,calliper,", "body", "There is no body “plower”"),
    ],
)
def test_what_a_measurement_cannot_be_names_line_and_column(row: str, column: str, said: str) -> None:
    BodyFactory(slug="plover")
    MemberFactory(username="fen")
    problems = _problems(_plan(f"{HEAD}{row}\n", _own(MemberFactory()), "measurements"))
    assert problems[0][:2] == (2, column)
    assert said in problems[0][2]


def test_a_day_ahead_and_more_readings_than_count_are_refused() -> None:
    BodyFactory(slug="plover")
    by = _own(MemberFactory())
    ahead = (timezone.localdate() + timedelta(days=2)).isoformat()
    text = f"body,quantity,value,instrument,measured_on\nplover,wheelbase,92,calliper,{ahead}\n"
    assert _problems(_plan(text, by, "measurements"))[0][1] == "measured_on"
    many = HEAD + "".join(f"plover,,wheelbase,92.{n:02},calliper,\n" for n in range(21))
    assert [line for line, _, _ in _problems(_plan(many, by, "measurements"))] == [22]


def test_a_reading_of_an_earlier_revision_is_for_who_restores(posted: Setup) -> None:
    reading = reading_for(posted, "wheelbase", "92")
    reading.revision = posted.revisions.get(number=1)
    reading.save()
    (row,) = _rows("measurements")
    assert (row["setup"], row["revision"]) == (posted.pk, 1)
    Measurement.objects.all().delete()
    problems = _problems(_plan(_lines(row), _own(reading.member), "measurements"))
    assert "has been revised since" in problems[0][2]
    _load(_lines(row), _librarian(), "measurements")
    assert _rows("measurements") == [row]


def test_csv_and_json_lines_say_the_same_of_a_setup(posted: Setup) -> None:
    text = "".join(written(KINDS["setups"], rows_of(KINDS["setups"]), Format.CSV))
    rows = list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline="")))
    assert [{key: value for key, value in row.items() if value} for row in rows] == [
        {key: str(value) for key, value in row.items()} for row in _rows()
    ]
    assert not _plan(text.removeprefix("\ufeff").replace("\r\n", "\n"), _librarian()).to_load
