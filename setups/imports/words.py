"""How a dry run shows what is on record and what would be, and how a value compares with what is kept."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.db import models

from fitcalc.said import Said
from setups.imports.columns import Kind
from setups.imports.given import Given
from setups.printing import MINUS

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
    return f"{MINUS if value < 0 else '+' if value else ''}{abs(value):g}"


def shown(value: Any) -> str:
    """A value as a dry run shows it; empty for none."""
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return number(value)
    return str(value)


def together(messages: list[str]) -> str:
    """Several sentences as one text. One alone stays what it is, and can be told in another language."""
    return messages[0] if len(messages) == 1 else " ".join(messages)


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


def number(value: Decimal) -> str:
    """``value`` without needless noughts, with a true minus."""
    return f"{value.normalize():f}".replace("-", MINUS)
