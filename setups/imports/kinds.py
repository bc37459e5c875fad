"""The columns of bodies and of parts, generated from the models' fields and the catalogue of dimensions."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import models

from fitcalc.dimensions import BODY_DIMENSIONS, PART_DIMENSIONS, DimensionKind, PartKind, Unit, dimensions_of
from setups.imports import cells
from setups.imports.cells import CellError, Style
from setups.imports.columns import Column, Kind
from setups.models import Body, BodyDimension, Part, PartDimension
from setups.models.dimension import Basis
from setups.printing import MINUS

# Readers


def _figure(unit: Unit) -> Callable[[str, Style], Any]:
    return lambda text, style: cells.number(text, style, unit)


def _doubt(unit: Unit) -> Callable[[str, Style], Any]:
    return lambda text, style: cells.tolerance(text, style, unit)


def _plain_number(unit: Unit, low: float | None, high: float | None) -> Callable[[str, Style], Decimal]:
    def read(text: str, style: Style) -> Decimal:
        value, doubt = cells.number(text, style, unit)
        if doubt is not None:
            raise CellError(
                "This column takes a figure without a tolerance: take out what stands from the ± on."
            )
        if (low is not None and value < low) or (high is not None and value > high):
            limits = f"at least {low:g}" if high is None else f"between {low:g} and {high:g}"
            raise CellError(
                f"It must be {limits} {unit.value}".rstrip() + ": check the unit and the decimal point."
            )
        return value

    return read


def _price(text: str, style: Style) -> Decimal:
    value = cells.money(text, style, settings.CURRENCY)
    if value < 0:
        raise CellError("A price cannot be negative.")
    return value


def _count(text: str, style: Style) -> int:
    value = cells.whole(text, style)
    if not 1 <= value <= 10_000:
        raise CellError("It must be between 1 and 10,000.")
    return value


def _axle(text: str, style: Style) -> str:
    if cells.plain(text).casefold() in ("either", "both", "either axle"):
        return ""
    return cells.choice(text, {"front": "front", "rear": "rear", "either": "either"})


# Columns


def _of_field(
    model: type[models.Model],
    name: str,
    meaning: str,
    takes: str = "",
    read: Callable[[str, Style], Any] | None = None,
    **more: Any,
) -> Column:
    field = model._meta.get_field(name)
    if field.choices and read is None:
        labels = {value: str(label) for value, label in field.choices}
        return Column(
            name,
            _label(name),
            meaning,
            f"one of: {', '.join(labels.values())}",
            lambda text, style: cells.choice(text, labels),
            **more,
        )
    if isinstance(field, models.BooleanField):
        return Column(
            name, _label(name), meaning, "yes or no", lambda text, style: cells.yes_or_no(text), **more
        )
    if read is not None:
        return Column(name, _label(name), meaning, takes, read, **more)
    if isinstance(field, models.TextField):
        return Column(name, _label(name), meaning, "text", lambda text, style: cells.text_of(text), **more)
    limit = f"text of up to {field.max_length} characters"
    return Column(
        name, _label(name), meaning, takes or limit, lambda text, style: cells.line_of(text), **more
    )


def _plainly(value: float) -> str:
    return f"{value:g}".replace("-", MINUS)


def _label(key: str) -> str:
    return key.replace("_", " ").capitalize()


_OTHER_NAMES = {"mass": ("weight",)}


def _of_dimension(kind: DimensionKind) -> list[Column]:
    unit = kind.unit
    limits = f"number from {_plainly(kind.low)} to {_plainly(kind.high)} {unit.value}".rstrip()
    lower = kind.label[0].lower() + kind.label[1:]
    if unit is Unit.NONE:
        return [
            Column(
                kind.key, kind.label, kind.meaning, limits, _figure(unit), dimension=kind.key, role="value"
            )
        ]
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
            f"{kind.label} tolerance",
            f"Half-width of the maker's tolerance of the {lower}.",
            f"number, {unit.value}",
            _doubt(unit),
            role="tolerance",
            **common,
        ),
        Column(
            f"{kind.key}_uncertainty",
            f"{kind.label} uncertainty",
            f"Standard uncertainty of a measured {lower}, instead of a tolerance.",
            f"number, {unit.value}",
            _doubt(unit),
            role="uncertainty",
            **common,
        ),
        Column(
            f"{kind.key}_source",
            f"{kind.label} source",
            f"Where this {lower} comes from.",
            "text of up to 200 characters",
            lambda text, style: cells.line_of(text),
            dimension=kind.key,
            role="source",
        ),
    ]


_MAKER = Column(
    "maker",
    "Maker",
    "Who makes it. A maker that the library does not hold is added.",
    "text of up to 80 characters",
    lambda text, style: cells.line_of(text),
    required=True,
    aliases=("manufacturer", "brand", "made by"),
    says_unknown=False,
)
_BASIS = Column(
    "basis",
    "Basis",
    "What all figures of the row rest on; the maker's figures if it is left out.",
    f"one of: {', '.join(str(label) for label in Basis.labels)}",
    lambda text, style: cells.choice(text, dict(Basis.choices)),
)
_SOURCE = Column(
    "source",
    "Source",
    "Where all figures of the row come from.",
    "text of up to 200 characters",
    lambda text, style: cells.line_of(text),
)


def _common(model: type[models.Model], thing: str) -> list[Column]:
    return [
        _of_field(
            model, "name", f"What the {thing} is called.", required=True, says_unknown=False, aliases=(thing,)
        ),
        _MAKER,
        _of_field(
            model,
            "part_number",
            f"The maker's number. A {thing} is found again by it, else by maker and name.",
            aliases=("number", "part no", "item number", "item no", "article number", "sku"),
        ),
        _of_field(
            model,
            "slug",
            "Its address in the library, if it has one: the last part of its page's link. Made from maker "
            "and name if it is left out.",
            aliases=("address",),
        ),
    ]


_OFFSET = PART_DIMENSIONS["offset"]


def _designated_offset(axle: str) -> Column:
    return _of_field(
        Body,
        f"designated_{axle}_offset",
        f"The {axle} wheel offset that the maker states: rim's inner edge outward of the hub's face.",
        f"number from {_plainly(_OFFSET.low)} to {_plainly(_OFFSET.high)} mm",
        _plain_number(Unit.MM, _OFFSET.low, _OFFSET.high),
        unit=Unit.MM,
        aliases=(f"{axle} offset",),
    )


_POSITIVE = 0.001
_BODY_COLUMNS = (
    *_common(Body, "body"),
    _of_field(
        Body, "scale", "Its scale, 1:N.", "1:28 or 28", lambda text, style: cells.scale(text), required=True
    ),
    _of_field(Body, "material", "What it is made of; polycarbonate if it is left out."),
    _of_field(Body, "price", "Price in the club's currency.", "number", _price),
    _of_field(Body, "full_size_car", "The car that it is drawn after.", aliases=("car", "full size")),
    _of_field(
        Body,
        "full_size_wheelbase",
        "The full-size car's wheelbase: it predicts the body's where nobody has measured that.",
        "number, mm",
        _plain_number(Unit.MM, _POSITIVE, None),
        unit=Unit.MM,
    ),
    _of_field(Body, "takes_rear_motor", "Whether its floor takes a rear motor.", aliases=("rear motor",)),
    _of_field(Body, "takes_mid_motor", "Whether its floor takes a mid motor.", aliases=("mid motor",)),
    _of_field(
        Body,
        "designated_front_width",
        "The front end that the maker states: its width across on zero-offset wheels.",
        "number, mm",
        _plain_number(Unit.MM, _POSITIVE, None),
        unit=Unit.MM,
        aliases=("front end", "front end width"),
    ),
    _designated_offset("front"),
    _designated_offset("rear"),
    _of_field(Body, "description", "Anything else.", aliases=("notes", "remarks")),
    *(column for kind in BODY_DIMENSIONS.values() for column in _of_dimension(kind)),
    _BASIS,
    _SOURCE,
)

_PART_COLUMNS = (
    _of_field(Part, "kind", "What kind of part it is.", required=True, aliases=("type", "part kind")),
    *_common(Part, "part"),
    _of_field(
        Part,
        "axle",
        "For wheels, tyres and spacers: the axle that it goes on. Either axle if it is left out.",
        "front, rear or either",
        _axle,
    ),
    _of_field(Part, "layout", "For motor mounts, and needed there: where the motor sits."),
    _of_field(Part, "price", "Price of the pack in the club's currency.", "number", _price),
    _of_field(
        Part,
        "pack_size",
        "Pieces in a pack; 1 if it is left out.",
        "number, whole",
        _count,
        aliases=("pack", "pieces"),
    ),
    _of_field(
        Part,
        "mass",
        "Mass of one piece.",
        "number, g",
        _plain_number(Unit.GRAM, _POSITIVE, None),
        unit=Unit.GRAM,
        aliases=("weight",),
    ),
    _of_field(Part, "description", "Anything else.", aliases=("notes", "remarks")),
    Column(
        "platforms",
        "Platforms",
        "The platforms that it fits, by name or address; those on record stay.",
        "names, parted by |",
        lambda text, style: cells.text_of(text),
        aliases=("platform", "fits"),
    ),
    Column(
        "made_for",
        "Made for",
        "For body mounts: the bodies that it is made for, by name or address; those on record stay.",
        "names, parted by |",
        lambda text, style: cells.text_of(text),
        aliases=("for body", "for bodies"),
    ),
    *(column for kind in PART_DIMENSIONS.values() for column in _of_dimension(kind)),
    _BASIS,
    _SOURCE,
)

_BODY_EXAMPLE = {
    "name": "Sandpiper Saloon",
    "maker": "Example Shells",
    "scale": "1:28",
    "takes_rear_motor": "yes",
    "takes_mid_motor": "no",
    "designated_front_width": "60",
    "designated_front_offset": "0.5",
    "designated_rear_offset": "1",
    "wheelbase": "94.5",
    "wheelbase_tolerance": "0.2",
    "front_arch_width": "61 ± 0.2",
}
_PART_EXAMPLE = {
    "kind": "wheel",
    "name": "Example wheel, offset +1.5",
    "maker": "Example Wheels",
    "axle": "front",
    "price": "6.50",
    "pack_size": "2",
    "offset": "1.5",
    "rim_width": "8 ± 0.1",
}

KINDS: dict[str, Kind] = {
    "bodies": Kind(
        "bodies", "body", Body, BodyDimension, "body", BODY_DIMENSIONS, _BODY_COLUMNS, _BODY_EXAMPLE
    ),
    "parts": Kind(
        "parts", "part", Part, PartDimension, "part", PART_DIMENSIONS, _PART_COLUMNS, _PART_EXAMPLE
    ),
}


def kinds_with(dimension: str) -> list[PartKind]:
    """The kinds of part that have ``dimension``."""
    return [kind for kind in PartKind if dimension in dimensions_of(kind)]
