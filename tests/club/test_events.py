"""Events: who is entered with what, late changes, lists as CSV, and the check of all entries."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from club.models import Entry, EntryChange, Event, EventClass
from club.racing.events import entries, events
from club.racing.events.entries import EntryError
from club.racing.events.entry_list import load, plan_of
from club.racing.events.standing import check_event, standing_of
from fitcalc.legality import ClassVerdict
from tests.club.race_days import DAY, race_day
from tests.factories import (
    BodyFactory,
    ClauseFactory,
    EditionFactory,
    MemberFactory,
    PlatformFactory,
    SetupFactory,
    published,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def day(db):
    return race_day()


@pytest.fixture
def director(client, day):
    client.force_login(day.director)
    return client


def words(answer) -> str:
    return answer.content.decode()


def edition_from(day, on: date):
    edition = EditionFactory(race_class=day.race_class, valid_from=on)
    ClauseFactory(edition=edition, quantity="rear_width", high=Decimal("60"))
    return published(edition)


# Which rulebook holds


def test_the_edition_that_holds_on_the_day_is_used(day):
    newer = edition_from(day, date(2031, 4, 1))
    edition_from(day, date(2031, 6, 1))
    assert events.rulebooks_of(day.event)[day.race_class.pk].edition == newer


def test_a_pinned_edition_is_used_whatever_the_day(day):
    edition_from(day, date(2031, 4, 1))
    EventClass.objects.filter(event=day.event).update(pinned=day.edition)
    assert events.rulebooks_of(day.event)[day.race_class.pk].edition == day.edition


def test_before_the_first_edition_nothing_holds_and_nothing_passes(day):
    Event.objects.filter(pk=day.event.pk).update(date=date(2030, 1, 1))
    entry = day.enter_setup()
    standing = standing_of(entry)
    assert standing.rulebook is None
    assert standing.verdict is ClassVerdict.NOT_CHECKED
    assert standing.passes is None


@pytest.mark.parametrize("which", ["draft", "of another class"])
def test_no_draft_and_no_other_class_s_edition_can_be_pinned(day, which):
    wrong = EditionFactory(race_class=day.race_class) if which == "draft" else race_day().edition
    with pytest.raises(IntegrityError, match="pinned_edition"), transaction.atomic():
        EventClass.objects.filter(event=day.event).update(pinned=wrong)


# Entering


def test_a_number_is_given_once_and_the_next_free_one_is_offered(day):
    day.enter(7)
    with pytest.raises(EntryError, match="Number 7 is Ada's: choose another, such as 8"):
        day.enter(7, "Bo")
    assert day.event.entries.count() == 1


def test_a_car_is_entered_only_in_a_class_that_is_raced(day):
    other = race_day().race_class
    with pytest.raises(EntryError, match="is not raced at this event"):
        day.enter(race_class=other)
    with pytest.raises(IntegrityError, match="entry_class_not_raced"), transaction.atomic():
        Entry.objects.create(event=day.event, race_class=other, number=3, driver="Bo")


def test_a_late_change_says_what_it_was_who_changed_it_and_why(day):
    entry = day.enter_setup(7)
    assert entries.change(entry, {"number": 12}, day.director, "Painted on the shell")
    line = entry.log.last()
    assert (line.why, line.by, line.changes) == (
        "Painted on the shell",
        day.director,
        [["race number", "7", "12"]],
    )


def test_a_change_without_a_reason_is_not_made(day):
    entry = day.enter(7)
    with pytest.raises(EntryError, match="Say why"):
        entries.change(entry, {"number": 12}, day.director, " ")
    entry.refresh_from_db()
    assert entry.number == 7


def test_what_changes_nothing_is_not_logged(day):
    entry = day.enter(7)
    assert not entries.change(entry, {"number": 7}, day.director, "")
    assert entry.log.count() == 1


@pytest.mark.parametrize(
    ("constraint", "change"),
    [
        ("entry_number_on_a_shell", {"number": 0}),
        ("entry_number_on_a_shell", {"number": 10_000}),
        ("entry_has_driver", {"driver": ""}),
        ("entry_checked_in_by_somebody", {"checked_in_at": timezone.now()}),
    ],
)
def test_what_an_entry_can_never_be(day, constraint, change):
    day.enter_setup(7)
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        Entry.objects.update(**change)


def test_an_event_has_a_name_a_change_a_reason_and_a_car_is_said_once(day):
    entry = day.enter_setup(7)
    for constraint, write in (
        ("event_has_name", lambda: Event.objects.update(name="")),
        ("entry_change_has_reason", lambda: EntryChange.objects.create(entry=entry, by=day.director)),
        ("entry_car_said_once", lambda: Entry.objects.update(body=entry.revision.body)),
    ):
        with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
            write()


def test_a_class_is_not_taken_from_under_its_entries(day):
    day.enter(7)
    with pytest.raises(IntegrityError, match="class_has_entries"), transaction.atomic():
        EventClass.objects.filter(event=day.event).delete()


def test_the_log_of_an_entry_never_changes(day):
    entry = day.enter(7)
    for write in (
        lambda: EntryChange.objects.filter(entry=entry).update(why="Never mind"),
        lambda: EntryChange.objects.filter(entry=entry).delete(),
    ):
        with pytest.raises(IntegrityError, match="entry_log_never_changes"), transaction.atomic():
            write()


def test_checking_in_twice_is_checking_in_once(day):
    entry = day.enter(7)
    entries.check_in(entry, day.director)
    at = entry.checked_in_at
    entries.check_in(entry, day.director)
    assert entry.checked_in_at == at
    assert entry.log.filter(why="Checked in").count() == 1


def test_a_withdrawn_car_is_not_here_and_keeps_its_number(day):
    entry = day.enter(7)
    entries.check_in(entry, day.director)
    entries.withdraw(entry, day.director, "Servo")
    assert entry.checked_in_at is None
    with pytest.raises(EntryError, match="put it back first"):
        entries.check_in(entry, day.director)
    with pytest.raises(EntryError, match="Number 7"):
        day.enter(7, "Bo")
    assert check_event(day.event)[0].standings == []


def test_the_class_of_a_car_that_was_inspected_stays(day):
    other = race_day().race_class
    EventClass.objects.create(event=day.event, race_class=other)
    entry = day.enter_setup()
    day.find(entry, "3.1", "165", instrument="scale")
    with pytest.raises(EntryError, match="has been inspected"):
        entries.change(entry, {"race_class": other}, day.director, "Wrong class")


@pytest.mark.parametrize("act", ["enter", "change", "check_in", "withdraw"])
def test_only_race_directors_write_an_entry_list(day, act):
    entry, member = day.enter(7), MemberFactory(steward=True)
    acts = {
        "enter": lambda: entries.enter(day.event, {"number": 8}, member),
        "change": lambda: entries.change(entry, {"number": 8}, member, "So"),
        "check_in": lambda: entries.check_in(entry, member),
        "withdraw": lambda: entries.withdraw(entry, member, "So"),
    }
    with pytest.raises(PermissionError):
        acts[act]()


# The list as CSV


def test_a_list_is_entered_all_at_once(day):
    setup, member = SetupFactory(), MemberFactory(username="wren")
    body, platform = BodyFactory(name="Dunnock Coupé"), PlatformFactory(name="Long Wren")
    text = (
        "No.;Driver;Username;Setup;Shell;Chassis;Sponsor\n"
        f"3;Ada;;{setup.pk};;;nobody\n"
        f"4;;WREN;;{body.name.upper()};{platform.slug};\n"
    )
    plan = plan_of(day.event, text)
    assert plan.loadable
    assert plan.ignored == ["Sponsor"]
    assert not day.event.entries.exists()
    _, entered = load(day.event, text, day.director)
    assert entered == 2
    first, second = day.event.entries.order_by("number")
    assert (first.revision, first.race_class) == (setup.current, day.race_class)
    assert (second.driver, second.member, second.body, second.platform) == (
        str(member),
        member,
        body,
        platform,
    )


@pytest.mark.parametrize(
    ("row", "column", "said"),
    [
        ("0,Ada,,", "number", "from 1 to 9999"),
        ("x,Ada,,", "number", "from 1 to 9999"),
        ("7,Ada,,", "number", "Number 7 is Bo's already"),
        ("8,,,", "driver", "Say who drives it"),
        ("8,Ada,nobody-here,", "member", "No member is called"),
        ("8,Ada,,999999", "setup", "No posted setup has the number 999999"),
    ],
)
def test_one_wrong_row_is_told_by_line_and_column_and_nobody_is_entered(day, row, column, said):
    day.enter(7, "Bo")
    text = f"number,driver,member,setup\n9,Cy,,\n{row}\n"
    plan, entered = load(day.event, text, day.director)
    assert entered == 0
    assert day.event.entries.count() == 1
    (problem,) = plan.all_problems
    assert (problem.line, problem.column) == (3, column)
    assert said in problem.message


def test_a_number_that_stands_twice_in_a_list_is_told(day):
    plan = plan_of(day.event, "number,driver\n9,Ada\n10,Bo\n9,Cy\n")
    (problem,) = plan.all_problems
    assert (problem.line, problem.column) == (4, "number")
    assert "line 2 too" in problem.message


def test_a_misspelt_class_is_guessed_and_not_taken(day):
    plan = plan_of(day.event, f"number,driver,class\n9,Ada,{day.race_class.name}x\n")
    (problem,) = plan.all_problems
    assert f"did you mean {day.race_class.name}?" in problem.message


def test_loading_the_same_list_again_enters_nobody_twice(day):
    text = "number,driver\n9,Ada\n10,Bo\n"
    load(day.event, text, day.director)
    plan, entered = load(day.event, text, day.director)
    assert entered == 0
    assert not plan.wrong
    assert day.event.entries.count() == 2


@pytest.mark.parametrize(
    "text", ["", "hello", "driver\nAda\n", "number,number,driver\n1,2,Ada\n", "PK\x03\x04"]
)
def test_what_is_no_entry_list_is_refused_with_a_reason(director, day, text):
    answer = director.post(reverse("entry-list", args=[day.event.slug]), {"text": text, "act": "check"})
    assert answer.status_code in (200, 422)
    assert "error-summary" in words(answer)
    assert not day.event.entries.exists()


def test_a_list_is_checked_and_loaded_on_the_page(director, day):
    page = reverse("entry-list", args=[day.event.slug])
    text = "number,driver\n9,Ada\n"
    assert "1 car would be entered" in words(director.post(page, {"text": text, "act": "check"}))
    assert not day.event.entries.exists()
    answer = director.post(page, {"text": text, "act": "load"}, follow=True)
    assert "1 car is entered" in words(answer)
    assert day.event.entries.get().driver == "Ada"


# The check of all entries


def test_problems_come_first(day):
    day.enter_setup(1)
    day.find(day.enter_setup(2), "2.1", "56.4")
    day.enter(3, "Nobody knows the car")
    day.find(day.enter_setup(4), "2.1", "55.08")
    (listed,) = check_event(day.event)
    assert listed.standings[0].entry.number == 2
    verdicts = {one.entry.number: one.verdict for one in listed.standings}
    assert verdicts[2] is ClassVerdict.DOES_NOT_COMPLY
    assert verdicts[3] is ClassVerdict.NOT_CHECKED
    orders = [one.urgency for one in listed.standings]
    assert orders == sorted(orders)


def test_a_car_that_is_not_known_is_not_checked_and_never_passes(day):
    standing = standing_of(day.enter(3, "Nobody knows the car"))
    assert standing.passes is None
    assert standing.counts["not_checked"] == len(standing.rows)


def test_the_check_asks_as_many_queries_for_many_cars_as_for_few(day, director):
    def count() -> int:
        with CaptureQueriesContext(connection) as queries:
            director.get(reverse("event-check", args=[day.event.slug]))
        return len(queries)

    def enter(number: int) -> None:
        entry = day.enter_setup(number)
        day.find(entry, "2.1", "54.9")

    for number in (1, 2):
        enter(number)
    few = count()
    for number in range(3, 9):
        enter(number)
    assert count() == few


def test_the_entry_list_asks_as_many_queries_for_many_cars_as_for_few(day, director):
    def count() -> int:
        with CaptureQueriesContext(connection) as queries:
            director.get(day.event.get_absolute_url())
        return len(queries)

    for number in (1, 2):
        day.enter_setup(number)
    few = count()
    for number in range(3, 9):
        day.enter_setup(number)
    assert count() == few


# Pages


def test_a_director_makes_an_event_and_chooses_its_classes(director, day):
    later = edition_from(day, date(2031, 9, 1))
    form = {
        "name": "Night Round",
        "date": "2031-08-02",
        "venue": "Hall",
        "is_public": "on",
        f"race_{day.race_class.pk}": "on",
        f"pin_{day.race_class.pk}": str(later.pk),
    }
    answer = director.post(reverse("new-event"), form)
    made = Event.objects.get(name="Night Round")
    assert answer["Location"] == f"/events/{made.slug}/"
    assert made.slug == "night-round-2031"
    assert made.raced.get().pinned == later


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("name", "", "Give the event a name"),
        ("date", "soon", "year-month-day"),
        ("date", "0031-08-02", "year"),
    ],
)
def test_an_event_that_cannot_be_keeps_what_was_typed(director, field, typed, said):
    form = {"name": "Night Round", "date": "2031-08-02", "venue": "The old hall"} | {field: typed}
    answer = director.post(reverse("new-event"), form)
    assert answer.status_code == 422
    assert said in words(answer)
    assert "The old hall" in words(answer)


def test_a_class_with_entries_cannot_be_taken_from_an_event(director, day):
    day.enter(7)
    form = {"name": day.event.name, "date": "2031-05-10"}
    answer = director.post(reverse("edit-event", args=[day.event.slug]), form)
    assert "has 1 entry here" in words(answer)
    assert day.event.raced.count() == 1


def test_an_entry_is_typed_on_the_page_by_the_same_rules_as_a_list(director, day):
    page = reverse("new-entry", args=[day.event.slug])
    wrong = director.post(page, {"number": "7", "race_class": day.race_class.name, "setup": "999"})
    assert wrong.status_code == 422
    assert "No posted setup has the number 999" in words(wrong)
    assert "Say who drives it" in words(wrong)
    director.post(page, {"number": "7", "race_class": day.race_class.name, "driver": "Ada"})
    assert day.event.entries.get().driver == "Ada"


def test_an_entry_keeps_its_revision_when_something_else_is_changed(director, day):
    setup = SetupFactory()
    entry = day.enter_setup(7, setup)
    page = reverse("edit-entry", args=[day.event.slug, entry.pk])
    form = {
        "number": "8",
        "race_class": day.race_class.name,
        "driver": "Ada",
        "setup": str(setup.pk),
        "why": "Painted on",
    }
    director.post(page, form)
    entry.refresh_from_db()
    assert (entry.number, entry.revision) == (8, setup.current)


def test_a_form_that_changes_nothing_is_told_so_and_asks_for_no_reason(director, day):
    entry = day.enter_setup(7)
    page = reverse("edit-entry", args=[day.event.slug, entry.pk])
    opened = director.get(page).context["form"].initial

    answer = director.post(page, opened | {"why": ""}, follow=True)

    assert "nothing was changed" in answer.content.decode()


def test_members_see_a_public_event_and_only_directors_change_it(client, day):
    entry = day.enter(7)
    member = MemberFactory()
    client.force_login(member)
    slug = day.event.slug
    for name, args in (
        ("events", []),
        ("event", [slug]),
        ("event-check", [slug]),
        ("entry", [slug, entry.pk]),
    ):
        assert client.get(reverse(name, args=args)).status_code == 200, name
    for name, args in (
        ("new-event", []),
        ("edit-event", [slug]),
        ("new-entry", [slug]),
        ("entry-list", [slug]),
        ("event-sheets", [slug]),
        ("event-record", [slug]),
        ("event-record-csv", [slug]),
        ("edit-entry", [slug, entry.pk]),
        ("inspect", [slug, entry.pk]),
        ("entry-sheet", [slug, entry.pk]),
        ("entry-record", [slug, entry.pk]),
    ):
        assert client.get(reverse(name, args=args)).status_code == 403, name
    for name in ("check-in", "withdraw-entry", "send-record"):
        assert client.post(reverse(name, args=[slug, entry.pk]), {"why": "So"}).status_code == 403, name


def test_a_driver_sees_the_sheet_and_record_of_the_own_car(client, day):
    driver = MemberFactory()
    own, other = day.enter(7, member=driver), day.enter(8, "Bo")
    client.force_login(driver)
    for name in ("entry-sheet", "entry-record"):
        assert client.get(reverse(name, args=[day.event.slug, own.pk])).status_code == 200
        assert client.get(reverse(name, args=[day.event.slug, other.pk])).status_code == 403


def test_an_event_that_is_not_public_is_there_for_directors_and_those_entered(client, day):
    Event.objects.filter(pk=day.event.pk).update(is_public=False)
    driver = MemberFactory()
    day.enter(7, member=driver)
    for member, status in ((day.director, 200), (driver, 200), (MemberFactory(), 404)):
        client.force_login(member)
        assert client.get(day.event.get_absolute_url()).status_code == status
        assert (day.event.name in words(client.get("/events/"))) == (status == 200)


def test_a_visitor_signs_in_first(client, day):
    answer = client.get(day.event.get_absolute_url())
    assert answer.status_code == 302
    assert answer["Location"].startswith("/account/sign-in/")


def test_every_page_of_an_empty_event_answers(director):
    empty = Event.objects.create(name="Empty", slug="empty-2031", date=DAY)
    for name in (
        "event",
        "event-check",
        "edit-event",
        "new-entry",
        "entry-list",
        "event-sheets",
        "event-record",
    ):
        assert director.get(reverse(name, args=[empty.slug])).status_code == 200, name
    assert "No class is raced yet" in words(director.get(empty.get_absolute_url()))
