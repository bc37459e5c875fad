"""The kinds of file that there are, and the columns of bodies and of parts."""

from __future__ import annotations

from fitcalc.dimensions import BODY_DIMENSIONS, PART_DIMENSIONS, Unit
from fitcalc.said import said
from setups.imports import cells, fields
from setups.imports.columns import Column, Kind
from setups.imports.fields import (
    between,
    choosing,
    line_of_text,
    lines_of_text,
    number_in,
    of_dimension,
    of_field,
    plain_number,
    plainly,
)
from setups.imports.posted_kinds import PASTS, POSTED
from setups.imports.record_kinds import RECORDS
from setups.models import Body, BodyDimension, Part, PartDimension
from setups.models.dimension import Basis

_MAKER = line_of_text(
    "maker",
    said("Who makes it. A maker that the library does not hold is added."),
    said("text of up to 80 characters"),
    required=True,
    aliases=("manufacturer", "brand", "made by"),
    says_unknown=False,
)
_BASIS = choosing(
    "basis",
    said("What all figures of the row rest on; the maker's figures if it is left out."),
    Basis.choices,
)
_SOURCE = line_of_text(
    "source", said("Where all figures of the row come from."), said("text of up to 200 characters")
)


_CALLED = {"body": said("What the body is called."), "part": said("What the part is called.")}
_NUMBER = {
    "body": said("The maker's number. A body is found again by it, else by maker and name."),
    "part": said("The maker's number. A part is found again by it, else by maker and name."),
}


def _common(model: type[Body] | type[Part], thing: str) -> list[Column]:
    return [
        of_field(model, "name", _CALLED[thing], required=True, says_unknown=False, aliases=(thing,)),
        _MAKER,
        of_field(
            model,
            "part_number",
            _NUMBER[thing],
            aliases=("number", "part no", "item number", "item no", "article number", "sku"),
        ),
        of_field(
            model,
            "slug",
            said(
                "Its address in the library, if it has one: the last part of its page's link. "
                "Made from maker and name if it is left out."
            ),
            aliases=("address",),
        ),
    ]


_OFFSET = PART_DIMENSIONS["offset"]
_DESIGNATED = {
    "front": said(
        "The front wheel offset that the maker states: rim's inner edge outward of the hub's face."
    ),
    "rear": said("The rear wheel offset that the maker states: rim's inner edge outward of the hub's face."),
}


def _designated_offset(axle: str) -> Column:
    return of_field(
        Body,
        f"designated_{axle}_offset",
        _DESIGNATED[axle],
        between(plainly(_OFFSET.low), plainly(_OFFSET.high), Unit.MM),
        plain_number(Unit.MM, _OFFSET.low, _OFFSET.high),
        unit=Unit.MM,
        aliases=(f"{axle} offset",),
    )


_POSITIVE = 0.001
_BODY_COLUMNS = (
    *_common(Body, "body"),
    of_field(
        Body,
        "scale",
        said("Its scale, 1:N."),
        said("1:28 or 28"),
        lambda text, style: cells.scale(text),
        required=True,
    ),
    of_field(Body, "material", said("What it is made of; polycarbonate if it is left out.")),
    of_field(Body, "price", said("Price in the club's currency."), "number", fields.price),
    of_field(Body, "full_size_car", said("The car that it is drawn after."), aliases=("car", "full size")),
    of_field(
        Body,
        "full_size_wheelbase",
        said("The full-size car's wheelbase: it predicts the body's where nobody has measured that."),
        number_in(Unit.MM),
        plain_number(Unit.MM, _POSITIVE, None),
        unit=Unit.MM,
    ),
    of_field(
        Body, "takes_rear_motor", said("Whether its floor takes a rear motor."), aliases=("rear motor",)
    ),
    of_field(Body, "takes_mid_motor", said("Whether its floor takes a mid motor."), aliases=("mid motor",)),
    of_field(
        Body,
        "designated_front_width",
        "The front end that the maker states: its width across on zero-offset wheels.",
        number_in(Unit.MM),
        plain_number(Unit.MM, _POSITIVE, None),
        unit=Unit.MM,
        aliases=("front end", "front end width"),
    ),
    _designated_offset("front"),
    _designated_offset("rear"),
    of_field(Body, "description", said("Anything else."), aliases=("notes", "remarks")),
    of_field(Body, "added", said("When it came into the library; now if it is left out."), restores=True),
    *(column for kind in BODY_DIMENSIONS.values() for column in of_dimension(kind)),
    _BASIS,
    _SOURCE,
)

_PART_COLUMNS = (
    of_field(Part, "kind", said("What kind of part it is."), required=True, aliases=("type", "part kind")),
    *_common(Part, "part"),
    of_field(
        Part,
        "axle",
        said("For wheels, tyres and spacers: the axle that it goes on. Either axle if it is left out."),
        said("front, rear or either"),
        fields.axle,
    ),
    of_field(Part, "layout", said("For motor mounts, and needed there: where the motor sits.")),
    of_field(Part, "price", said("Price of the pack in the club's currency."), "number", fields.price),
    of_field(
        Part,
        "pack_size",
        said("Pieces in a pack; 1 if it is left out."),
        said("number, whole"),
        fields.count,
        aliases=("pack", "pieces"),
    ),
    of_field(
        Part,
        "mass",
        said("Mass of one piece."),
        number_in(Unit.GRAM),
        plain_number(Unit.GRAM, _POSITIVE, None),
        unit=Unit.GRAM,
        aliases=("weight",),
    ),
    of_field(Part, "description", said("Anything else."), aliases=("notes", "remarks")),
    lines_of_text(
        "platforms",
        said("The platforms that it fits, by name or address; those on record stay."),
        said("names, parted by |"),
        aliases=("platform", "fits"),
    ),
    lines_of_text(
        "made_for",
        said("For body mounts: the bodies that it is made for, by name or address; those on record stay."),
        said("names, parted by |"),
        aliases=("for body", "for bodies"),
    ),
    *(column for kind in PART_DIMENSIONS.values() for column in of_dimension(kind)),
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

BODIES = Kind(
    "bodies",
    "body",
    Body,
    _BODY_COLUMNS,
    _BODY_EXAMPLE,
    dimension_model=BodyDimension,
    owner="body",
    catalogue=BODY_DIMENSIONS,
)
PARTS = Kind(
    "parts",
    "part",
    Part,
    _PART_COLUMNS,
    _PART_EXAMPLE,
    dimension_model=PartDimension,
    owner="part",
    catalogue=PART_DIMENSIONS,
)
KINDS: dict[str, Kind] = {kind.key: kind for kind in (BODIES, PARTS, *POSTED, *RECORDS, *PASTS)}
"""Every kind of file; those that most members have to do with stand first."""

LOAD_ORDER = (
    "members",
    "makers",
    "classes",
    "platforms",
    "positions",
    "parts",
    "part-rules",
    "bodies",
    "body-rules",
    "wheelbases",
    "configurations",
    "stated-figures",
    "setups",
    "measurements",
    "disputes",
    "record",
)
"""A whole library is loaded in this order: what is named comes before what names it."""
assert set(LOAD_ORDER) == set(KINDS)
