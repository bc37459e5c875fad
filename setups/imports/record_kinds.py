"""The columns of what bodies and parts hang on: platforms, what goes with what, members' names.

A row of these is found again by a few of its columns (``found_by``) and holds the fields of its model; the
columns in ``refers`` name other rows of the library.
"""

from __future__ import annotations

from typing import Any

from django.contrib.auth import get_user_model

from fitcalc.dimensions import BODY_DIMENSIONS, PART_DIMENSIONS, PartKind, Unit
from fitcalc.parts import Slot
from fitcalc.said import said
from setups.imports import cells, fields
from setups.imports.columns import Column, Kind
from setups.imports.fields import choosing, naming, of_field
from setups.models import (
    BodyPart,
    Configuration,
    KnownWheelbase,
    Maker,
    MountingPosition,
    PartPair,
    Platform,
    Setup,
    StatedFigure,
)
from setups.models.configuration import SLOT_CHOICES
from setups.translate import SLOT_KINDS

PART = said("part: its address, maker / number, or number or name if no other has it")
BODY = said("body: its address, maker / number, or name if no other has it")
PLATFORM = said("platform, by name or address")
POSITION = said("mounting position of the platform, by name")
RaceClass: Any = Setup._meta.get_field("race_class").related_model
_OF_PLATFORM = naming("platform", PLATFORM, said("The platform."), required=True)
SLOTS: dict[str, str] = {value: str(label) for value, label in SLOT_CHOICES}


_FITTED = {
    PartKind.FRONT_SUSPENSION: said("The front suspension that is fitted there."),
    PartKind.WHEEL: said("The wheel that is fitted there."),
    PartKind.TYRE: said("The tyre that is fitted there."),
    PartKind.SPACER: said("The spacer that is fitted there."),
    PartKind.REAR_AXLE: said("The rear axle that is fitted there."),
    PartKind.MOTOR_MOUNT: said("The motor mount that is fitted there."),
    PartKind.PLATE: said("The plate that is fitted there."),
    PartKind.FRONT_BODY_MOUNT: said("The front body mount that is fitted there."),
}


def slot_columns(**more: Any) -> tuple[Column, ...]:
    """A column a slot, naming the part in it."""
    return tuple(
        naming(
            slot,
            PART,
            _FITTED[SLOT_KINDS[Slot(slot)]],
            label=label.capitalize(),
            **more,
        )
        for slot, label in SLOTS.items()
    )


def _name(model: Any, meaning: str, key: str = "name") -> Column:
    return of_field(model, key, meaning, required=True, says_unknown=False)


def _slug(model: Any, meaning: str = said("Its address: the last part of its page's link.")) -> Column:
    return of_field(model, "slug", meaning, required=True, aliases=("address",))


def _plain(model: Any, names: dict[str, str], **more: Any) -> tuple[Column, ...]:
    return tuple(of_field(model, name, meaning, **more) for name, meaning in names.items())


_IN_MM = {"unit": Unit.MM}
_PLATFORM_LENGTHS = {
    "datum_tolerance": said("Half-width of the datum's tolerance; 0 if it is left out."),
    "chassis_front_width": said("Width of the chassis between the front wheels, for the steering lock."),
    "flush_band": said("So far a wheel may stand in or out and counts as flush."),
    "inset_limit": said("So far a wheel may stand in."),
    "centring_limit": said("So far an axle may be out of the middle of its arch."),
    "arch_clearance": said("So much room a tyre needs in its arch."),
}
_PLATFORM_LENGTHS_NEEDED = {
    "datum": said("From the front axle's centre to where a motor mount's share of the wheelbase starts."),
    "front_rim_width": said("The rim that a front end's width across on zero-offset wheels is stated with."),
    "offset_min": said("Smallest wheel offset sold for it."),
    "offset_max": said("Largest wheel offset sold for it."),
    "offset_step": said("Step between the offsets sold for it."),
}

MEMBERS = Kind(
    "members",
    "member",
    get_user_model(),
    (
        _name(get_user_model(), "The name that a member signs in with.", "username"),
        of_field(get_user_model(), "display_name", "The name that the pages show.", says_unknown=False),
    ),
    found_by=("username",),
    whole=True,
)
MAKERS = Kind(
    "makers",
    "maker",
    Maker,
    (
        _name(Maker, said("What the maker is called.")),
        _slug(Maker, said("The name as it stands in addresses.")),
    ),
    {"name": "Example Shells", "slug": "example-shells"},
    found_by=("name",),
)
CLASSES = Kind(
    "classes",
    "race class",
    RaceClass,
    (
        _slug(RaceClass),
        _name(RaceClass, said("What the class is called.")),
        of_field(RaceClass, "description", said("Anything else.")),
    ),
    {"slug": "example-open", "name": "Example open"},
    found_by=("slug",),
)
PLATFORMS = Kind(
    "platforms",
    "platform",
    Platform,
    (
        _slug(Platform),
        _name(Platform, said("What the platform is called.")),
        naming("maker", said("maker, by name"), said("Who makes it; load the makers first."), required=True),
        of_field(
            Platform,
            "scale",
            said("Its scale, 1:N."),
            said("1:28 or 28"),
            lambda text, _: cells.scale(text),
            required=True,
        ),
        of_field(Platform, "drive", said("Which wheels are driven; the rear ones if it is left out.")),
        *_plain(Platform, _PLATFORM_LENGTHS_NEEDED, required=True, **_IN_MM),
        *_plain(Platform, _PLATFORM_LENGTHS, **_IN_MM),
        of_field(
            Platform, "steer_min", said("Steering lock that it should have at the least."), unit=Unit.DEGREE
        ),
        of_field(Platform, "source", said("Where the figures come from.")),
        of_field(Platform, "description", said("Anything else.")),
    ),
    {
        "slug": "example-chassis",
        "name": "Example chassis",
        "maker": "Example Shells",
        "scale": "1:28",
        "datum": "30",
        "front_rim_width": "8.5",
        "offset_min": "-1",
        "offset_max": "3",
        "offset_step": "0.5",
    },
    found_by=("slug",),
    refers={"maker": "maker"},
)
POSITIONS = Kind(
    "positions",
    "mounting position",
    MountingPosition,
    (
        _OF_PLATFORM,
        _name(MountingPosition, said("What the hole or notch is called.")),
        of_field(MountingPosition, "order", said("Where it stands in the list.")),
        of_field(MountingPosition, "shift", said("Its share of the wheelbase."), required=True, **_IN_MM),
        of_field(
            MountingPosition, "tolerance", said("Half-width of its tolerance; 0 if it is left out."), **_IN_MM
        ),
    ),
    {"platform": "example-chassis", "name": "middle", "order": "2", "shift": "0", "tolerance": "0.05"},
    found_by=("platform", "name"),
    refers={"platform": "platform"},
)
PART_PAIRS = Kind(
    "part-rules",
    "rule of two parts",
    PartPair,
    (
        naming("part", PART, said("The part that the rule is about."), required=True),
        naming("other", PART, said("The part that it needs, or must not meet."), required=True),
        of_field(PartPair, "rule", said("What the rule is."), required=True),
        of_field(PartPair, "reason", said("Why.")),
    ),
    {"part": "Example Shells / ES-1", "other": "Example Shells / ES-2", "rule": "only with"},
    found_by=("part", "other"),
    refers={"part": "part", "other": "part"},
)
BODY_PARTS = Kind(
    "body-rules",
    "rule of a body and a part",
    BodyPart,
    (
        naming("body", BODY, said("The body."), required=True),
        naming("part", PART, said("The part that is made for it, or fouls it."), required=True),
        of_field(BodyPart, "rule", said("What the rule is."), required=True),
        of_field(BodyPart, "reason", said("Why.")),
    ),
    {"body": "Sandpiper Saloon", "part": "Example Shells / ES-1", "rule": "made for this body"},
    found_by=("body", "part"),
    refers={"body": "body", "part": "part"},
)
WHEELBASES = Kind(
    "wheelbases",
    "published wheelbase",
    KnownWheelbase,
    (
        _OF_PLATFORM,
        naming("motor_mount", PART, said("The motor mount."), required=True),
        naming("plate", PART, said("The suspension plate."), required=True),
        naming("position", POSITION, said("The mounting position."), required=True),
        of_field(
            KnownWheelbase,
            "wheelbase",
            said("The wheelbase that they give together."),
            required=True,
            **_IN_MM,
        ),
        of_field(
            KnownWheelbase,
            "tolerance",
            said("Half-width of its tolerance; 0.2 if it is left out."),
            **_IN_MM,
        ),
        of_field(KnownWheelbase, "source", said("Where the figure comes from.")),
    ),
    {
        "platform": "example-chassis",
        "motor_mount": "Example Shells / ES-3",
        "plate": "Example Shells / ES-4",
        "position": "middle",
        "wheelbase": "92",
    },
    found_by=("platform", "motor_mount", "plate", "position"),
    refers={"platform": "platform", "motor_mount": "part", "plate": "part", "position": "position"},
)
CONFIGURATIONS = Kind(
    "configurations",
    "configuration",
    Configuration,
    (
        _OF_PLATFORM,
        _name(Configuration, said("What it is called.")),
        naming("position", POSITION, said("The mounting position."), required=True),
        naming("body", BODY, said("The body that it is meant for, if it is for one.")),
        *slot_columns(),
    ),
    {"platform": "example-chassis", "name": "as supplied", "position": "middle"},
    found_by=("platform", "name"),
    refers={"platform": "platform", "position": "position", "body": "body"} | dict.fromkeys(SLOTS, "part"),
)
STATED_FIGURES = Kind(
    "stated-figures",
    "stated figure",
    StatedFigure,
    (
        naming("body", BODY, said("The body that it is of.")),
        naming("part", PART, said("The part that it is of, if it is not of a body.")),
        choosing(
            "quantity",
            said("The dimension."),
            [(kind.key, kind.label) for kind in (BODY_DIMENSIONS | PART_DIMENSIONS).values()],
            required=True,
        ),
        of_field(
            StatedFigure,
            "value",
            said("What stood there before members measured."),
            "number",
            fields.plain_number(Unit.NONE, None, None),
            required=True,
        ),
        of_field(StatedFigure, "tolerance", said("Half-width of the maker's tolerance.")),
        of_field(StatedFigure, "uncertainty", said("Standard uncertainty, instead of a tolerance.")),
        of_field(StatedFigure, "basis", said("What it rests on; the maker's figure if it is left out.")),
        of_field(StatedFigure, "source", said("Where it comes from.")),
    ),
    {"body": "Sandpiper Saloon", "quantity": "wheelbase", "value": "94.5", "tolerance": "0.2"},
    found_by=("body", "part", "quantity"),
    refers={"body": "body", "part": "part"},
)

RECORDS = (
    PLATFORMS,
    POSITIONS,
    WHEELBASES,
    CONFIGURATIONS,
    PART_PAIRS,
    BODY_PARTS,
    STATED_FIGURES,
    MAKERS,
    CLASSES,
    MEMBERS,
)
