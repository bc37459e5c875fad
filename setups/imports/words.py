"""How a dry run shows what is on record and what would be, and how a value compares with what is kept."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.db import models

from fitcalc.dimensions import Unit
from fitcalc.instruments import DESIGNATED
from fitcalc.said import Kept, Said, Sentences
from setups.imports.columns import Kind
from setups.imports.given import Given

NOISE = Decimal("0.000001")
"""A spreadsheet's 98.10000000001 is 98.1."""

LARGEST = Decimal(10) ** 15
"""What is larger is left as it is, to be refused: rounding it would need more digits than there are."""


def settled(model_field: Any, value: Any) -> Any:
    """``value`` as the field keeps it, so that it compares with what is on record."""
    if isinstance(model_field, models.DecimalField) and isinstance(value, Decimal) and abs(value) < LARGEST:
        rounded = value.quantize(Decimal(1).scaleb(-model_field.decimal_places))
        return rounded if abs(rounded - value) < NOISE else value
    return value


def signed(value: float) -> str:
    """``value`` with its sign."""
    return of_numbers("{value:+}", value=Kept(value))


def shown(value: Any, field: Any = None, unit: Unit = Unit.NONE) -> str:
    """A value as a dry run shows it; empty for none. What the library says is a ``Said``, what somebody named
    or typed is plain text.

    ``field`` is the model's, whose choices have words; ``unit`` the column's.
    """
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return Said("yes") if value else Said("no")
    if isinstance(value, Decimal):
        return of_numbers("{value}", value=kept(value, unit, "" if field is None else field.name))
    label = dict(getattr(field, "choices", None) or ()).get(value)
    return str(value) if label is None else Said(str(label))


def kept(value: Decimal, unit: Unit, name: str = "") -> Kept:
    """``value`` with its unit, to be told in the reader's; offsets and modules are in mm for everybody, and
    ``name`` is that of the column or dimension."""
    return Kept(float(value), unit.value, named=not DESIGNATED.isdisjoint(name.split("_")))


def of_numbers(pattern: str, **values: Any) -> Said:
    """What is made of figures and words alone, so that it has no translation of its own."""
    return Said(pattern, **values)


def together(messages: list[str]) -> str:
    """Several sentences as one text, each to be told in the reader's language."""
    return messages[0] if len(messages) == 1 else of_numbers("{all}", all=Sentences(messages))


def says_the_same(first: Given) -> Said:
    """What is noted of a row that repeats ``first``."""
    return Said("It says the same as line {line} and is left out.", line=first.line)


def says_otherwise(first: Given, kind: Kind) -> Said:
    """What is wrong with a row about the same thing as ``first`` that says otherwise."""
    return Said(
        "Line {line} is the same {thing} with other figures: keep one of them.",
        line=first.line,
        thing=Said(kind.one),
    )


def too_long(text: str, most: int) -> Said:
    """What is wrong with text that the library has no room for."""
    return Said("It has {length} characters and may have {most}: shorten it.", length=len(text), most=most)
