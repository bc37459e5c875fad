"""Columns made of the models' fields and of the catalogue of dimensions, and their readers."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import models

from fitcalc.dimensions import DimensionKind, Unit
from fitcalc.said import Said, Within, said
from setups.imports import cells
from setups.imports.cells import CellError, Style
from setups.imports.columns import Column, Text
from setups.models.dimension import Basis
from setups.printing import MINUS


def _figure(unit: Unit) -> Callable[[str, Style], Any]:
    return lambda text, style: cells.number(text, style, unit)


def _doubt(unit: Unit) -> Callable[[str, Style], Any]:
    return lambda text, style: cells.tolerance(text, style, unit)


def plain_number(unit: Unit, low: float | None, high: float | None) -> Callable[[str, Style], Decimal]:
    def read(text: str, style: Style) -> Decimal:
        value, doubt = cells.number(text, style, unit)
        if doubt is not None:
            raise CellError(
                Said("This column takes a figure without a tolerance: take out what stands from the ± on.")
            )
        if (low is not None and value < low) or (high is not None and value > high):
            raise CellError(_outside(unit, low, high))
        return value

    return read


def _outside(unit: Unit, low: float | None, high: float | None) -> Said:
    if high is None and unit.value:
        return Said(
            "It must be at least {low:g} {unit}: check the unit and the decimal point.",
            low=float(low or 0),
            unit=unit.value,
        )
    if high is None:
        return Said("It must be at least {low:g}: check the unit and the decimal point.", low=float(low or 0))
    limits = {"low": float(low or 0), "high": float(high)}
    if unit.value:
        return Said(
            "It must be between {low:g} and {high:g} {unit}: check the unit and the decimal point.",
            **limits,
            unit=unit.value,
        )
    return Said("It must be between {low:g} and {high:g}: check the unit and the decimal point.", **limits)


def reading(text: str, style: Style) -> tuple[Decimal, Decimal | None]:
    """A figure without a unit of its own, with the doubt behind its ±."""
    return cells.number(text, style)


def price(text: str, style: Style) -> Decimal:
    value = cells.money(text, style, settings.CURRENCY)
    if value < 0:
        raise CellError(Said("A price cannot be negative."))
    return value


def count(text: str, style: Style) -> int:
    value = cells.whole(text, style)
    if not 1 <= value <= 10_000:
        raise CellError(Said("It must be between 1 and 10,000."))
    return value


def axle(text: str, style: Style) -> str:
    if cells.plain(text).casefold() in ("either", "both", "either axle"):
        return ""
    return cells.choice(text, {"front": "front", "rear": "rear", "either": "either"})


def of_field(
    model: type[models.Model],
    name: str,
    meaning: str,
    takes: str = "",
    read: Callable[[str, Style], Any] | None = None,
    **more: Any,
) -> Column:
    """The column of a field; what it takes and how it is read follow from the field if not given."""
    field: Any = model._meta.get_field(name)
    if read is not None:
        return Column(name, label_of(name), meaning, takes, read, **more)
    if field.choices:
        return choosing(name, meaning, field.choices, **more)
    if isinstance(field, models.BooleanField):
        return Column(
            name, label_of(name), meaning, said("yes or no"), lambda text, _: cells.yes_or_no(text), **more
        )
    if isinstance(field, models.DecimalField):
        unit = more.get("unit", Unit.NONE)
        takes = takes or number_in(unit)
        return Column(name, label_of(name), meaning, takes, plain_number(unit, None, None), **more)
    if isinstance(field, models.IntegerField):
        return Column(name, label_of(name), meaning, takes or said("number, whole"), cells.whole, **more)
    if isinstance(field, models.DateTimeField):
        takes = takes or said("time, such as 2026-05-31 14:05")
        return Column(name, label_of(name), meaning, takes, lambda text, _: cells.moment(text), **more)
    if isinstance(field, models.DateField):
        takes = takes or said("day, such as 2026-05-31")
        return Column(name, label_of(name), meaning, takes, lambda text, _: cells.day(text), **more)
    if isinstance(field, models.TextField):
        return lines_of_text(name, meaning, **more)
    takes = takes or Said("text of up to {most} characters", most=field.max_length)
    return line_of_text(name, meaning, takes, **more)


def choosing(name: str, meaning: str, choices: Any, **more: Any) -> Column:
    """A column of one of ``choices``, by value or label."""
    labels = {value: str(label) for value, label in choices}
    takes = Said("one of: {choices}", choices=", ".join(labels.values()))  # as a file has them
    label = more.pop("label", "") or label_of(name)
    return Column(name, label, meaning, takes, lambda text, _: cells.choice(text, labels), **more)


def line_of_text(name: str, meaning: str, takes: str = said("text"), **more: Any) -> Column:
    """A column of text in one line."""
    label = more.pop("label", "") or label_of(name)
    return Column(name, label, meaning, takes, lambda text, _: cells.line_of(text), text=Text.LINE, **more)


def lines_of_text(name: str, meaning: str, takes: str = said("text"), **more: Any) -> Column:
    """A column of text that may have several lines, or of several names."""
    return Column(
        name, label_of(name), meaning, takes, lambda text, _: cells.text_of(text), text=Text.LINES, **more
    )


def naming(name: str, what: str, meaning: str, **more: Any) -> Column:
    """A column that names another row of the library: a body, a part and so on."""
    return line_of_text(name, meaning, what, **more)


def plainly(value: float) -> str:
    return f"{value:g}".replace("-", MINUS)


def number_in(unit: Unit | str) -> str:
    """What a cell of a number in ``unit`` may hold."""
    return Said("number, {unit}", unit=str(unit)) if unit else said("number")


def between(low: str, high: str, unit: Unit) -> str:
    """What a cell of a number may hold."""
    if not unit.value:
        return Said("number from {low} to {high}", low=low, high=high)
    return Said("number from {low} to {high} {unit}", low=low, high=high, unit=unit.value)


def label_of(key: str) -> str:
    return key.replace("_", " ").capitalize()


LABELS = (
    said("Name"),
    said("Part number"),
    said("Slug"),
    said("Material"),
    said("Full size car"),
    said("Full size wheelbase"),
    said("Takes rear motor"),
    said("Takes mid motor"),
    said("Designated front width"),
    said("Designated front offset"),
    said("Designated rear offset"),
    said("Added"),
    said("Basis"),
    said("Source"),
    said("Layout"),
    said("Pack size"),
    said("Setup"),
    said("Posted at"),
    said("Started from"),
    said("Position"),
    said("Front suspension"),
    said("Front wheel"),
    said("Front tyre"),
    said("Front spacer"),
    said("Rear axle"),
    said("Rear wheel"),
    said("Rear tyre"),
    said("Rear spacer"),
    said("Motor mount"),
    said("Body mount"),
    said("Motor"),
    said("Quantity"),
    said("Uncertainty"),
    said("Measured on"),
    said("Drive"),
    said("Datum"),
    said("Front rim width"),
    said("Offset min"),
    said("Offset max"),
    said("Offset step"),
    said("Datum tolerance"),
    said("Chassis front width"),
    said("Flush band"),
    said("Inset limit"),
    said("Centring limit"),
    said("Steer min"),
    said("Shift"),
    said("Tolerance"),
    said("Other"),
    said("Reason"),
    said("Opened at"),
    said("Outcome"),
    said("Settled by"),
    said("Settled at"),
    said("At"),
    said("Action"),
)
"""What ``label_of`` makes of keys, marked so that they are gathered for translation."""
_OTHER_NAMES = {"mass": ("weight",)}


def of_dimension(kind: DimensionKind) -> list[Column]:
    """The columns of one dimension: its value, its doubt, what it rests on, where it comes from."""
    unit = kind.unit
    limits = between(plainly(kind.low), plainly(kind.high), unit)
    label, lower = Said(kind.label), Within(kind.label)
    common = {"unit": unit, "dimension": kind.key}
    return [
        Column(
            kind.key,
            kind.label,
            kind.meaning,
            limits,
            _figure(unit),
            role="value",
            aliases=_OTHER_NAMES.get(kind.key, ()),
            **common,
        ),
        Column(
            f"{kind.key}_tolerance",
            Said("{label} tolerance", label=label),
            Said("Half-width of the maker's tolerance of the {dimension}.", dimension=lower),
            number_in(unit),
            _doubt(unit),
            role="tolerance",
            **common,
        ),
        Column(
            f"{kind.key}_uncertainty",
            Said("{label} uncertainty", label=label),
            Said("Standard uncertainty of a measured {dimension}, instead of a tolerance.", dimension=lower),
            number_in(unit),
            _doubt(unit),
            role="uncertainty",
            **common,
        ),
        choosing(
            f"{kind.key}_basis",
            Said(
                "What this {dimension} rests on, if not on what the row's other figures do.", dimension=lower
            ),
            Basis.choices,
            label=Said("{label} basis", label=label),
            dimension=kind.key,
            role="basis",
            restores=True,
        ),
        line_of_text(
            f"{kind.key}_source",
            Said("Where this {dimension} comes from.", dimension=lower),
            said("text of up to 200 characters"),
            label=Said("{label} source", label=label),
            dimension=kind.key,
            role="source",
        ),
    ]
