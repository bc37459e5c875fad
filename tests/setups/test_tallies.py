"""What the tallies tell of setups is what counting gives, after every kind of change and among several."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.cache import cache
from django.core.management import call_command
from django.db import connection, transaction
from django.http import QueryDict

from setups import tallies
from setups.models import Setup, Tally, TallyChange
from setups.services.search_setups import SetupSearch
from setups.services.tallied import NAMED
from tests.factories import BodyFactory, MemberFactory, PlatformFactory, RaceClassFactory, SetupFactory
from tests.faults.racing import at_once

pytestmark = pytest.mark.django_db
postgresql = pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite has one writer at a time")


class Anew(SetupSearch):
    """The same search, which counts everything."""

    by_tallies = False

    def scopes(self, key: str) -> None:
        return None


def told(search: type[SetupSearch], query: str) -> tuple:
    cache.clear()
    found = search(QueryDict(query))
    return found.total, {one.key: [(o.value, o.label, o.count) for o in one.options] for one in found.facets}


def asked() -> list[str]:
    """Nothing, each value that a facet has, and pairs of them."""
    _, facets = told(Anew, "")
    values = [f"{key}={value}" for key, options in facets.items() for value, *_ in options]
    pairs = [f"{one}&{other}" for one, other in zip(values, values[3:] + values[:3], strict=True)]
    return ["", *values, *pairs, "state=verified&state=posted", "scale=28&scale=12&state=posted"]


def agree() -> tuple:
    """What is told of everything, which is what counting gives; so is all that can be asked beside it."""
    for query in asked():
        assert told(SetupSearch, query) == told(Anew, query), query
    return told(SetupSearch, "")


def some() -> list[Setup]:
    """Setups that have something in common and something not."""
    narrow, wide = PlatformFactory(), PlatformFactory(scale=12)
    author, race_class = MemberFactory(), RaceClassFactory()
    first = SetupFactory(author=author, surface="carpet", circuit="The long one")
    Setup.objects.filter(pk=first.pk).update(race_class=race_class)
    made = [first, SetupFactory(author=author, surface="carpet"), SetupFactory(circuit="The long one")]
    Setup.objects.filter(pk=made[1].pk).update(platform=narrow, state="verified", rear_offset=None)
    Setup.objects.filter(pk=made[2].pk).update(platform=wide, front_width=Decimal("61.5"), body=first.body)
    return made


def test_tallies_are_as_counted_after_every_kind_of_change():
    first, second, third = some()
    body, race_class, author = BodyFactory(), RaceClassFactory(), MemberFactory()

    def row(setup: Setup):
        return Setup.objects.filter(pk=setup.pk)

    def bulk() -> None:
        setups = list(Setup.objects.all())
        for setup in setups:
            setup.circuit = "The short one"
        Setup.objects.bulk_update(setups, ["circuit"])

    def saved() -> None:
        second.refresh_from_db()
        second.surface = "wood"
        second.save()

    seen = [agree()]
    for change in (
        lambda: SetupFactory(),
        lambda: row(first).update(state="disputed"),
        lambda: row(first).update(body=body),
        lambda: row(third).update(race_class=race_class),
        lambda: row(first).update(race_class=None),
        lambda: row(third).update(author=author),
        lambda: row(third).update(front_width=Decimal("70.49")),
        lambda: row(third).update(front_offset=Decimal("2.5"), rear_offset=Decimal("-0.5")),
        lambda: row(third).update(wheelbase=None),
        lambda: Setup.objects.update(surface="asphalt"),
        bulk,
        saved,
        lambda: row(second).update(state="withdrawn"),
        lambda: row(second).update(state="posted"),
    ):
        change()
        seen.append(agree())
        assert seen[-1] != seen[-2]
    row(first).update(words="avocet", best_lap=Decimal("9.5"), posted_at=first.posted_at - timedelta(days=1))
    assert agree() == seen[-1]
    with transaction.atomic():
        Setup.objects.exclude(pk=first.pk)._raw_delete("default")
        assert agree()[0] == 1
        Setup.objects.update(current=None, posted_at=None, state="draft")
        assert agree()[0] == 0
        transaction.set_rollback(True)
    assert agree() == seen[-1]


def test_a_change_that_is_taken_back_was_never_counted():
    some()
    before = agree()
    with transaction.atomic():
        SetupFactory()
        Setup.objects.update(state="verified")
        assert agree() != before
        transaction.set_rollback(True)
    assert agree() == before


def test_a_draft_is_in_no_tally():
    Setup.objects.create(author=MemberFactory(), name="Not yet")
    assert not Tally.objects.exists()
    assert not TallyChange.objects.exists()


@postgresql
def test_changes_are_added_up_and_the_most_frequent_are_known_before_and_after(monkeypatch):
    authors = [MemberFactory() for _ in range(3)]
    for number, author in enumerate(authors):
        for _ in range(number + 1):
            SetupFactory(author=author)
    monkeypatch.setattr("setups.services.tallied.MOST_NAMED", 2)
    monkeypatch.setattr("setups.services.search_setups.MOST_NAMED", 2)
    assert TallyChange.objects.exists()
    agree()
    many = -(-tallies.MOST_CHANGES // TallyChange.objects.filter(facet__in=NAMED).count())
    for number in range(20 * many):
        Setup.objects.filter(author=authors[0]).update(circuit=f"Hall {number % 5}")
    assert Tally.objects.exists()
    assert TallyChange.objects.count() <= 2 * tallies.MOST_CHANGES
    agree()
    Setup.objects.filter(author=authors[2]).update(author=authors[0])
    agree()
    tallies.count_anew()
    assert not TallyChange.objects.exists()
    agree()


def test_what_is_changed_past_the_triggers_is_counted_by_who_does_it():
    some()
    tallies.remove("default")
    Setup.objects.update(state="verified")
    assert told(SetupSearch, "") != told(Anew, "")
    tallies.count_anew()
    agree()


def test_the_triggers_are_back_after_a_migration_and_what_they_missed_is_counted():
    some()
    tallies.remove("default")
    Setup.objects.update(state="verified")
    call_command("migrate", verbosity=0)
    agree()
    Setup.objects.update(state="posted")
    agree()


@postgresql
def test_a_migration_that_finds_the_triggers_counts_nothing_again(django_assert_num_queries):
    some()
    tallies.install("default")
    with django_assert_num_queries(4):
        tallies.install("default")


@pytest.mark.django_db(transaction=True)
def test_nobody_waits_and_nothing_is_lost_where_several_change_setups_at_once(monkeypatch):
    setups = [SetupFactory() for _ in range(4)]

    def change(setup: Setup) -> None:
        for number in range(12):
            with transaction.atomic():
                Setup.objects.filter(pk=setup.pk).update(
                    state="verified" if number % 2 else "posted", circuit=f"Hall {number % 3}"
                )

    assert at_once(*(lambda one=one: change(one) for one in setups)) == [None] * 4
    agree()


@postgresql
@pytest.mark.django_db(transaction=True)
def test_who_posts_does_not_wait_for_who_has_posted_and_not_finished(django_db_blocker):
    first, second = SetupFactory(), SetupFactory()
    for number in range(40):  # so that the next change is one that adds up
        Setup.objects.filter(pk=first.pk).update(circuit=f"Hall {number}")
        if TallyChange.objects.count() > tallies.MOST_CHANGES - 40:
            break

    def other() -> None:
        with connection.cursor() as cursor:
            cursor.execute("SET lock_timeout = '2s'")
        for number in range(40):
            Setup.objects.filter(pk=second.pk).update(circuit=f"Hall {number}")

    with transaction.atomic():
        for number in range(40):
            Setup.objects.filter(pk=first.pk).update(circuit=f"Hall {number}")
        assert at_once(other) == [None]
    agree()


@postgresql
@pytest.mark.django_db(transaction=True)
def test_a_table_that_is_emptied_has_no_tallies():
    SetupFactory()
    with connection.cursor() as cursor:
        cursor.execute("TRUNCATE setups_setup CASCADE")
    assert not Tally.objects.exists()
    assert not TallyChange.objects.exists()
