"""Speed of checking a whole entry list: 1,000 cars against 30 clauses, under a second of computing.

The computing is from rows that are read to every car's verdict: the cars from their parts, all clauses on all
of them, and the order of the page. What the database takes is measured beside it, not within.
"""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from club.models import Entry
from club.racing.events.events import rulebooks_of
from club.racing.events.standing import check_event, entries_with_cars, judged, standings
from fitcalc.legality import CLASS_QUANTITIES, Car, DecisionRule, Limit, judge_all
from fitcalc.quantities import Quantity
from tests.club.race_days import race_day
from tests.factories import SetupFactory

pytestmark = [pytest.mark.django_db, pytest.mark.benchmark]

CARS, CLAUSES, SECOND = 1000, 30, 1.0
SETUPS = 25
_COMPUTED = ("front_width", "rear_width", "front_track", "rear_track", "wheelbase", "rear_tyre_diameter")


def rules() -> list[dict]:
    """Thirty limits, each of the three decision rules, on what is computed and what is measured."""
    keys = [*_COMPUTED, "mass", "ground_clearance", "width", "front_offset"]
    found = []
    for i in range(CLAUSES):
        key = keys[i % len(keys)]
        kind = CLASS_QUANTITIES[key]
        rule = list(DecisionRule)[i % 3].value
        found.append(
            {"number": f"{i + 1}", "quantity": key, "high": kind.high, "low": kind.low, "rule": rule}
        )
    return found


@pytest.fixture
def event():
    day = race_day(*rules())
    setups = [SetupFactory() for _ in range(SETUPS)]
    Entry.objects.bulk_create(
        Entry(
            event=day.event,
            race_class=day.race_class,
            number=number + 1,
            driver=f"Driver {number}",
            revision=setups[number % SETUPS].current,
        )
        for number in range(CARS)
    )
    return day.event


def test_an_entry_list_of_1000_cars_is_checked_within_a_second_of_computing(event, benchmark):
    entries = list(entries_with_cars(event.entries.all()).order_by("number"))
    books = rulebooks_of(event)

    def check() -> int:
        found = standings(entries, books)
        found.sort(key=lambda one: (one.urgency, one.entry.number))
        return sum(len(one.rulings.verdicts[one.place]) for one in found)

    assert benchmark(check) == CARS * CLAUSES
    assert benchmark.stats["max"] < SECOND


def test_a_page_of_the_check_asks_a_constant_number_of_queries(event, benchmark):
    def check() -> int:
        with CaptureQueriesContext(connection) as queries:
            (listed,) = check_event(event)
        assert len(listed.standings) == CARS
        return len(queries)

    assert benchmark.pedantic(check, rounds=3, warmup_rounds=1) < 20


def test_1000_cars_that_all_differ_are_judged_within_a_second(benchmark):
    clauses = [
        Limit(
            id=i,
            quantity=key,
            low=CLASS_QUANTITIES[key].low,
            high=CLASS_QUANTITIES[key].high,
            rule=list(DecisionRule)[i % 3],
        )
        for i, key in enumerate(key for _ in range(CLAUSES // 6) for key in _COMPUTED)
    ]
    cars = [
        Car(
            computed={key: Quantity(60.0 + i % 37, 0.1) for key in _COMPUTED},
            measured={"wheelbase": Quantity(92.0 + i % 5, 0.05)} if i % 3 else {},
        )
        for i in range(CARS)
    ]
    assert len(benchmark(lambda: judge_all(clauses, cars).worst)) == CARS
    assert benchmark.stats["max"] < SECOND


def test_the_cars_of_a_list_are_all_judged_in_one_sweep(event):
    """A car that is judged alone stands as it does in the list."""
    entries = list(entries_with_cars(event.entries.all()).order_by("number")[:3])
    books = rulebooks_of(event)
    together = standings(entries, books)
    for entry, one in zip(entries, together, strict=True):
        (alone,) = judged([entry], [one.car], books)
        assert alone.verdict is one.verdict
