"""Limits that governing bodies have published for electric track cars, and cars just inside and just outside.

Sources, from memory of editions of the last years; the current handbook decides and may differ:

* International Federation of Model Auto Racing (IFMAR), electric track rules, and the Members' Handbook of
  the European Federation of Radio Operated Model Automobiles (EFRA), appendix for electric cars: 1:12 track
  car and 1:10 touring car.
* British Radio Car Association (BRCA), GT12 construction rules, as clubs that race to them print them.
* Charging limit of 4.20 V a lithium-polymer cell: BRCA electric board rules.
"""

from __future__ import annotations

import pytest

from fitcalc.dimensions import Unit
from fitcalc.legality import CLASS_QUANTITIES, Car, ClassVerdict, DecisionRule, Limit, judge_all
from fitcalc.quantities import Quantity

BOOKS = {
    "IFMAR and EFRA, 1:12 track": {
        "width": (None, 172.0),
        "mass": (730.0, None),
        "cells": (1.0, 1.0),
        "battery_voltage": (None, 4.20),
    },
    "IFMAR and EFRA, 1:10 touring": {
        "width": (None, 190.0),
        "wheelbase": (250.0, 270.0),
        "mass": (1350.0, None),
        "ground_clearance": (5.0, None),
        "battery_voltage": (None, 8.40),
    },
    "BRCA, GT12": {
        "mass": (950.0, None),
        "ground_clearance": (3.0, None),
        "front_tyre_diameter": (None, 60.0),
        "rear_tyre_diameter": (None, 60.0),
        "front_tyre_width": (20.0, 26.0),
        "rear_tyre_width": (20.0, 26.0),
    },
}
STEP = {Unit.MM: 0.1, Unit.GRAM: 1.0, Unit.VOLT: 0.02, Unit.NONE: 1.0}
"""How far just inside and just outside is; what is counted differs by one."""
EDGES = [
    (book, key, end)
    for book, limits in BOOKS.items()
    for key, limit in limits.items()
    for end in (0, 1)
    if limit[end] is not None
]


def clauses(book: str, rule: DecisionRule = DecisionRule.SIMPLE) -> list[Limit]:
    return [
        Limit(id=key, quantity=key, low=low, high=high, rule=rule) for key, (low, high) in BOOKS[book].items()
    ]


def figures(book: str) -> dict[str, float]:
    """A car in the middle of everything."""
    middle = {}
    for key, (low, high) in BOOKS[book].items():
        step = STEP[CLASS_QUANTITIES[key].unit]
        middle[key] = (
            high - 10 * step if low is None else low + 10 * step if high is None else (low + high) / 2
        )
    return middle


def car(values: dict[str, float], share: float = 0.25) -> Car:
    """Measured with a standard uncertainty of ``share`` of a step; cells are counted."""
    units = {key: CLASS_QUANTITIES[key].unit for key in values}
    return Car(
        measured={
            key: Quantity(value, 0.0 if units[key] is Unit.NONE else share * STEP[units[key]], units[key])
            for key, value in values.items()
        }
    )


@pytest.mark.parametrize("book", BOOKS)
@pytest.mark.parametrize("rule", DecisionRule)
def test_a_car_in_the_middle_is_legal_by_every_rule(book, rule):
    assert judge_all(clauses(book, rule), [car(figures(book))]).legal == [True]


@pytest.mark.parametrize(("book", "key", "end"), EDGES)
def test_a_car_just_inside_is_legal_and_just_outside_is_not(book, key, end):
    limit, step = BOOKS[book][key][end], STEP[CLASS_QUANTITIES[key].unit]
    outward = step if end else -step
    counted = CLASS_QUANTITIES[key].unit is Unit.NONE
    inside = figures(book) | {key: limit if counted else limit - outward}
    outside = figures(book) | {key: limit + outward}
    rulings = judge_all(clauses(book), [car(inside), car(outside)])
    assert rulings.legal == [True, False]
    wrong = [ruling.clause.id for ruling in rulings.of(1) if ruling.passes is False]
    assert wrong == [key]


@pytest.mark.parametrize(("book", "key", "end"), [edge for edge in EDGES if edge[1] != "cells"])
def test_a_poor_instrument_makes_just_inside_and_just_outside_too_close_to_call(book, key, end):
    limit, step = BOOKS[book][key][end], STEP[CLASS_QUANTITIES[key].unit]
    outward = step if end else -step
    cars = [car(figures(book) | {key: limit + way * outward}, share=1.0) for way in (-1, 1)]
    column = list(BOOKS[book]).index(key)
    hard = judge_all(clauses(book, DecisionRule.GUARDED_ACCEPTANCE), cars)
    mild = judge_all(clauses(book, DecisionRule.GUARDED_REJECTION), cars)
    assert hard.ruling(0, column).verdict is ClassVerdict.TOO_CLOSE
    assert hard.legal == [False, False]
    assert mild.ruling(1, column).verdict is ClassVerdict.TOO_CLOSE
    assert mild.legal == [True, True]
