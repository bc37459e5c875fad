"""Counts that were kept are those that counting anew would give, after every kind of change."""

from __future__ import annotations

import pytest
from django.core.cache import cache
from django.db import connection, transaction
from django.http import QueryDict

from setups import marks
from setups.models import Body, BodyDimension, Fitment, Maker, Mark, Part, PartDimension, PartPair, Setup
from setups.services import counting
from setups.services.search import Search
from setups.services.search_setups import SetupSearch
from tests.factories import (
    BodyFactory,
    MakerFactory,
    MountingPositionFactory,
    PartFactory,
    PlatformFactory,
    SetupFactory,
)

pytestmark = pytest.mark.django_db

QUERIES = ("", "q=stilt", "scale=28", "q=stilt&scale=28")


@pytest.fixture(autouse=True)
def all_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(counting, "WORTH_KEEPING", 0.0)


def told(search: type[Search] | type[SetupSearch], query: str) -> tuple:
    found = search(QueryDict(query))
    names = [str(row) for row in found.ordered()[0:24]]
    return found.total, names, [(one.key, one.options) for one in found.facets]


def agree(search: type[Search] | type[SetupSearch]) -> list[tuple]:
    """What is told of each query with what is kept, which is what is told with nothing kept."""
    kept = [told(search, query) for query in QUERIES]
    cache.clear()
    assert kept == [told(search, query) for query in QUERIES]
    return kept


def test_no_count_of_bodies_outlives_a_change():
    first = BodyFactory(name="Stilt Saloon", figures={"wheelbase": "94"})
    other = MakerFactory()
    seen = [agree(Search)]

    def new() -> None:
        BodyFactory(name="Stilt Estate", scale=24)

    changes = [
        new,
        lambda: Body.objects.filter(pk=first.pk).update(name="Stilt Coupé"),
        lambda: Body.objects.bulk_update([Body(pk=first.pk, scale=24)], ["scale"]),
        lambda: BodyDimension.objects.filter(body=first, quantity="wheelbase").update(value="101"),
        lambda: BodyDimension.objects.filter(body=first, quantity="wheelbase").delete(),
        lambda: Body.objects.filter(pk=first.pk).update(maker=other),
        lambda: Maker.objects.filter(pk=other.pk).update(name="Another name"),
        lambda: Body.objects.get(pk=first.pk).delete(),
    ]
    for change in changes:
        change()
        seen.append(agree(Search))
        assert seen[-1] != seen[-2]


def test_no_count_of_setups_outlives_a_change():
    setup = SetupFactory(name="Stilt in the rain")
    seen = [agree(SetupSearch)]
    changes = [
        lambda: SetupFactory(name="Stilt in the dry"),
        lambda: Setup.objects.filter(pk=setup.pk).update(circuit="The long one"),
        lambda: Setup.objects.filter(pk=setup.pk).update(state="verified"),
        lambda: Setup.objects.filter(pk=setup.pk).update(words="avocet"),
        lambda: Setup.objects.filter(pk=setup.pk).update(state="withdrawn"),
    ]
    for change in changes:
        change()
        seen.append(agree(SetupSearch))
        assert seen[-1] != seen[-2]


def test_what_is_taken_back_is_counted_as_before_and_never_told_to_others():
    BodyFactory(name="Stilt Saloon")
    before, mark = agree(Search), marks.mark_of(marks.BODIES)
    with transaction.atomic():
        BodyFactory(name="Stilt Estate")
        within = marks.mark_of(marks.BODIES)
        assert agree(Search) != before
        transaction.set_rollback(True)
    assert marks.mark_of(marks.BODIES) == mark != within
    BodyFactory(name="Stilt Coupé")
    assert marks.mark_of(marks.BODIES) not in (mark, within)
    assert "Stilt Coupé" in str(agree(Search))


def test_a_count_that_is_kept_asks_for_its_mark_alone(django_assert_num_queries):
    BodyFactory()
    found = Search(QueryDict(""))
    assert found.counts
    again = Search(QueryDict(""))
    with django_assert_num_queries(1):
        assert again.counts == found.counts


def test_what_is_quick_to_count_is_not_kept(monkeypatch):
    monkeypatch.setattr(counting, "WORTH_KEEPING", 60.0)
    BodyFactory()
    mark = marks.mark_of(marks.BODIES)
    assert mark
    assert Search(QueryDict("")).counts
    assert not [key for key in getattr(cache, "_cache", {}) if "counts:" in key]


def test_the_mark_of_the_catalogue_moves_with_all_that_solving_reads():
    position = MountingPositionFactory()
    wheel = PartFactory(wheel=True, fits=position.platform)
    pair = PartPair.objects.create(part=wheel, other=PartFactory(tyre=True), rule="never")
    changes = [
        lambda: PlatformFactory(),
        lambda: position.delete(),
        lambda: Part.objects.filter(pk=wheel.pk).update(price="3.00"),
        lambda: PartDimension.objects.filter(part=wheel, quantity="offset").update(value="2"),
        lambda: Fitment.objects.filter(part=wheel).delete(),
        lambda: pair.delete(),
        lambda: Maker.objects.filter(pk=wheel.maker_id).update(name="Another name"),
        lambda: wheel.delete(),
    ]
    seen = [marks.mark_of(marks.CATALOGUE)]
    for change in changes:
        change()
        seen.append(marks.mark_of(marks.CATALOGUE))
    assert len(set(seen)) == len(changes) + 1
    BodyFactory()
    stands = marks.mark_of(marks.CATALOGUE)
    Body.objects.update(name="Stilt Saloon")
    assert marks.mark_of(marks.CATALOGUE) == stands


def test_marks_do_not_pile_up():
    body = BodyFactory()
    seen = set()
    for number in range(3 * marks.KEPT):
        Body.objects.filter(pk=body.pk).update(name=f"Stilt {number}")
        seen.add(marks.mark_of(marks.BODIES))
    assert len(seen) == 3 * marks.KEPT
    assert Mark.objects.filter(of=marks.BODIES).count() <= 2 * marks.KEPT


def test_pages_far_from_the_first_are_those_of_one_long_list(monkeypatch):
    monkeypatch.setattr("setups.services.search_setups._NEAR", 2)
    for number in range(9):
        SetupFactory(name=f"Stilt {number}")
    search = SetupSearch(QueryDict(""))
    whole = list(Setup.objects.listed().order_by("-state", "-confirmations", "-posted_at", "-pk"))
    for start in range(10):
        assert search.slice_of(start, start + 3) == whole[start : start + 3]


@pytest.mark.skipif(connection.vendor != "postgresql", reason="trigrams are PostgreSQL's")
def test_words_of_a_body_are_looked_for_in_the_index():
    BodyFactory()
    with connection.cursor() as cursor:
        # With one row every way costs the same; an index of words is read as a bitmap.
        cursor.execute("SET LOCAL enable_seqscan = off")
        cursor.execute("SET LOCAL enable_indexscan = off")
    plan = Body.objects.matching("stilt").explain()
    assert "body_words" in plan
