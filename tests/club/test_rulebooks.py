"""Rulebooks: dated editions, clauses, and that what is published never changes."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction

from club.models import Clause, ClauseItem, RaceClass, RulebookEdition
from club.racing import editions
from club.racing.cars import clause_of
from club.racing.editions import EditionError, compare, holds_on, publish, start
from fitcalc.legality import DecisionRule, Limit, Listing, Required
from tests.factories import (
    BodyFactory,
    ClauseFactory,
    EditionFactory,
    MemberFactory,
    PartFactory,
    RaceClassFactory,
    published,
)

pytestmark = pytest.mark.django_db

SPRING, AUTUMN, WINTER = date(2031, 3, 1), date(2031, 9, 1), date(2031, 12, 1)
DAY = timedelta(days=1)


def an_edition(race_class=None, valid_from=SPRING, **given) -> RulebookEdition:
    """Published, with one clause."""
    edition = EditionFactory(race_class=race_class or RaceClassFactory(), valid_from=valid_from, **given)
    ClauseFactory(edition=edition)
    return published(edition)


def refused():
    return pytest.raises(IntegrityError, match="published_edition_never_changes")


# Which edition holds


def test_the_edition_that_holds_is_the_latest_that_has_begun():
    race_class = RaceClassFactory()
    spring = an_edition(race_class, SPRING)
    autumn = an_edition(race_class, AUTUMN)
    assert holds_on(race_class, SPRING - DAY) is None
    assert holds_on(race_class, SPRING) == spring
    assert holds_on(race_class, AUTUMN - DAY) == spring
    assert holds_on(race_class, AUTUMN) == autumn


def test_a_draft_holds_on_no_day():
    race_class = RaceClassFactory()
    spring = an_edition(race_class, SPRING)
    EditionFactory(race_class=race_class, valid_from=AUTUMN)
    assert holds_on(race_class, WINTER) == spring


def test_every_class_has_its_own_edition_on_a_day_in_one_query(django_assert_num_queries):
    one, other = RaceClassFactory(), RaceClassFactory()
    held = [an_edition(one, SPRING), an_edition(other, AUTUMN)]
    an_edition(one, WINTER)
    EditionFactory()
    with django_assert_num_queries(1):
        assert set(RulebookEdition.objects.holding(AUTUMN)) == set(held)


def test_no_two_editions_of_a_class_begin_on_one_day():
    race_class = RaceClassFactory()
    an_edition(race_class, SPRING)
    with pytest.raises(EditionError, match="choose another date"):
        start(race_class, "another", SPRING)
    with pytest.raises(IntegrityError), transaction.atomic():
        EditionFactory(race_class=race_class, valid_from=SPRING)
    start(RaceClassFactory(), "of another class", SPRING)


def test_an_edition_is_not_published_to_hold_from_a_day_that_is_over():
    edition = EditionFactory(valid_from=SPRING)
    ClauseFactory(edition=edition)
    with pytest.raises(EditionError, match="which is over"):
        publish(edition, MemberFactory(race_director=True), on=SPRING + DAY)
    assert not RulebookEdition.objects.get().is_published


def test_an_edition_without_clauses_is_not_published():
    with pytest.raises(EditionError, match="no clause yet"):
        published(EditionFactory())


@pytest.mark.parametrize("who", [{}, {"steward": True}, {"librarian": True}])
def test_only_a_race_director_publishes(who):
    edition = EditionFactory(valid_from=SPRING)
    ClauseFactory(edition=edition)
    with pytest.raises(PermissionError):
        publish(edition, MemberFactory(**who), on=SPRING)
    publish(edition, MemberFactory(is_superuser=True), on=SPRING)
    assert edition.is_published


# What is published never changes


def test_no_service_changes_a_published_edition():
    edition = an_edition()
    clause = edition.clauses.get()
    for act in (
        lambda: editions.change(edition, "other", WINTER, ""),
        lambda: editions.save_clause(Clause(edition=edition, number="9", wording="New.", kind="required")),
        lambda: editions.save_clause(clause),
        lambda: editions.remove_clause(clause),
        lambda: editions.move(clause, up=True),
        lambda: editions.discard(edition),
        lambda: published(edition),
    ):
        with pytest.raises(EditionError, match="never changes"):
            act()
    assert edition.clauses.get() == clause


def test_the_database_refuses_to_change_a_published_edition():
    edition = an_edition()
    for change in ({"valid_from": WINTER}, {"published_at": None, "published_by": None}, {"note": "x"}):
        with refused(), transaction.atomic():
            RulebookEdition.objects.filter(pk=edition.pk).update(**change)


def test_the_database_refuses_to_change_the_clauses_of_a_published_edition():
    part = PartFactory(wheel=True)
    edition, draft = EditionFactory(), EditionFactory()
    clause = ClauseFactory(edition=edition, wheels=True, items=[part])
    elsewhere = ClauseFactory(edition=draft)
    published(edition)
    for act in (
        lambda: Clause.objects.filter(pk=clause.pk).update(high=Decimal(99)),
        lambda: Clause.objects.filter(pk=clause.pk).update(edition=draft),
        lambda: Clause.objects.filter(pk=elsewhere.pk).update(edition=edition),
        lambda: ClauseFactory(edition=edition),
        lambda: clause.items.all().delete(),
        lambda: ClauseItem.objects.filter(clause=clause).update(clause=elsewhere),
        lambda: ClauseItem.objects.create(clause=clause, part=PartFactory(wheel=True)),
        lambda: Clause.objects.get(pk=clause.pk).delete(),
        lambda: RulebookEdition.objects.get(pk=edition.pk).delete(),
    ):
        with refused(), transaction.atomic():
            act()
    assert edition.clauses.get().items.get().part == part


def test_a_draft_can_be_changed_and_discarded():
    draft = EditionFactory(valid_from=SPRING)
    clause = ClauseFactory(edition=draft, wheels=True, items=[PartFactory(wheel=True)])
    editions.change(draft, "spring", AUTUMN, "a note")
    clause.wording = "Other wheels."
    editions.save_clause(clause, [])
    assert (draft.name, draft.valid_from, draft.clauses.get().items.count()) == ("spring", AUTUMN, 0)
    editions.discard(draft)
    assert not RulebookEdition.objects.exists()


def test_a_part_that_a_rulebook_names_stays_in_the_library():
    part = PartFactory(wheel=True)
    ClauseFactory(wheels=True, items=[part])
    with pytest.raises(IntegrityError), transaction.atomic():
        part.delete()


# Writing clauses


def test_a_new_clause_comes_last_and_can_be_moved():
    draft = EditionFactory()
    for number in ("1", "2", "3"):
        editions.save_clause(Clause(edition=draft, number=number, wording="A bumper.", kind="required"))

    def order() -> str:
        return "".join(clause.number for clause in editions.clauses_of(draft))

    first, _, last = editions.clauses_of(draft)
    assert order() == "123"
    editions.move(last, up=True)
    assert order() == "132"
    editions.move(first, up=False)
    assert order() == "312"
    editions.move(draft.clauses.get(number="3"), up=True)
    assert order() == "312"


def test_a_number_is_taken_once_in_an_edition():
    clause = ClauseFactory(number="4.1")
    with pytest.raises(EditionError, match=r"4\.1 is taken"):
        editions.save_clause(
            Clause(edition=clause.edition, number="4.1", wording="A bumper.", kind="required")
        )
    assert clause.edition.clauses.count() == 1


def test_a_list_of_wheels_names_no_tyre_and_no_body():
    clause = ClauseFactory(wheels=True)
    for stranger in (PartFactory(tyre=True), BodyFactory()):
        with pytest.raises(EditionError, match="is no wheel"):
            editions.save_clause(clause, [stranger])


@pytest.mark.parametrize(
    "wrong",
    [
        {"kind": "limit", "quantity": "front_width"},
        {"kind": "limit", "quantity": "colour", "high": 5},
        {"kind": "limit", "quantity": "front_width", "low": 60, "high": 50},
        {"kind": "limit", "quantity": "front_width", "high": 50, "thing": "wheel"},
        {"kind": "list", "thing": ""},
        {"kind": "list", "thing": "wheel", "low": 3},
        {"kind": "required", "thing": "sandwich"},
        {"kind": "required", "number": ""},
        {"kind": "required", "wording": ""},
        {"kind": "required", "rule": "coin"},
        {"kind": "required", "factor": -1},
        {"kind": "prayer"},
    ],
)
def test_the_database_keeps_no_clause_that_cannot_be_judged(wrong):
    draft = EditionFactory()
    with pytest.raises(IntegrityError), transaction.atomic():
        Clause.objects.create(**{"edition": draft, "place": 1, "number": "1", "wording": "x"} | wrong)


def test_an_item_names_one_thing():
    clause = ClauseFactory(wheels=True)
    for wrong in ({}, {"part": PartFactory(wheel=True), "body": BodyFactory()}):
        with pytest.raises(IntegrityError), transaction.atomic():
            ClauseItem.objects.create(clause=clause, **wrong)


def test_a_clause_names_a_thing_once():
    wheel, body = PartFactory(wheel=True), BodyFactory()
    clause = ClauseFactory(wheels=True, items=[wheel, body])
    for again in ({"part": wheel}, {"body": body}):
        with pytest.raises(IntegrityError), transaction.atomic():
            ClauseItem.objects.create(clause=clause, **again)


@pytest.mark.parametrize("wrong", [{"name": ""}, {"published_at": datetime(2031, 1, 1, tzinfo=UTC)}])
def test_an_edition_has_a_name_and_a_publisher(wrong):
    with pytest.raises(IntegrityError), transaction.atomic():
        EditionFactory(**wrong)


def test_a_name_is_taken_once_in_a_class():
    draft = EditionFactory()
    with pytest.raises(EditionError, match="choose another name"):
        start(draft.race_class, draft.name, WINTER)
    with pytest.raises(IntegrityError), transaction.atomic():
        EditionFactory(race_class=draft.race_class, name=draft.name)


def test_a_row_is_judged_as_it_is_written():
    wheel, body = PartFactory(wheel=True), BodyFactory()
    draft = EditionFactory()
    limit = ClauseFactory(
        edition=draft, number="1", low=50, high=None, rule="guarded_rejection", factor=Decimal("0.5")
    )
    listing = ClauseFactory(edition=draft, number="2", wheels=True, items=[wheel], allows=False)
    bodies = ClauseFactory(edition=draft, number="3", wheels=True, thing="body", items=[body])
    seen = ClauseFactory(edition=draft, number="4", seen=True)
    found = [clause_of(row) for row in editions.clauses_of(draft)]
    common = [
        {"id": row.pk, "number": row.number, "wording": row.wording} for row in (limit, listing, bodies, seen)
    ]
    assert found == [
        Limit(**common[0], quantity="front_width", low=50.0, rule=DecisionRule.GUARDED_REJECTION, factor=0.5),
        Listing(**common[1], kind="wheel", ids=frozenset({wheel.pk}), allows=False),
        Listing(**common[2], kind="body", ids=frozenset({body.pk})),
        Required(**common[3]),
    ]


# Copying and comparing


def full_draft() -> RulebookEdition:
    draft = EditionFactory(valid_from=SPRING)
    ClauseFactory(edition=draft, number="1", place=1)
    ClauseFactory(edition=draft, number="2", place=2, wheels=True, items=[PartFactory(wheel=True)])
    ClauseFactory(edition=draft, number="3", place=3, seen=True)
    return draft


def test_a_copy_is_a_draft_that_says_the_same():
    edition = published(full_draft())
    copy = start(edition.race_class, "autumn", AUTUMN, after=edition)
    assert not copy.is_published
    assert [change.what for change in compare(edition, copy)] == ["same"] * 3
    editions.remove_clause(copy.clauses.get(number="1"))
    assert edition.clauses.count() == 3


def test_a_comparison_tells_what_was_added_removed_changed_and_renumbered():
    edition = full_draft()
    copy = start(edition.race_class, "autumn", AUTUMN, after=edition)
    first = copy.clauses.get(number="1")
    first.high, first.wording = Decimal("57"), "Wider now."
    editions.save_clause(first)
    editions.save_clause(copy.clauses.get(number="2"), [PartFactory(wheel=True)])
    third = copy.clauses.get(number="3")
    third.number = "7"
    editions.save_clause(third)
    editions.save_clause(Clause(edition=copy, number="8", wording="A bumper.", kind="required"))
    changes = compare(edition, copy)
    assert [(one.what, one.fields) for one in changes] == [
        ("changed", ("wording", "limits")),
        ("changed", ("items",)),
        ("changed", ("number",)),
        ("added", ()),
    ]
    assert [one.what for one in compare(copy, edition)] == ["changed", "changed", "changed", "removed"]


def test_a_class_needs_a_name_that_makes_an_address():
    assert editions.add_class("Hall Saloons").slug == "hall-saloons"
    for name in ("Hall saloons", "???", "New"):
        with pytest.raises(EditionError):
            editions.add_class(name)
    assert RaceClass.objects.count() == 1


def test_the_guards_stand_on_every_table_of_a_rulebook():
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal")
        else:
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        standing = " ".join(name for (name,) in cursor.fetchall())
    for name in ("edition_unchanging", "clause_out_of_published", "item_out_of_published"):
        assert name in standing
