"""The named dimensions of bodies and parts: what each is called, its unit, and what a sane value is.

One catalogue serves the models' choices and constraints, the forms, the importer, the API and the
words on the pages, so that a dimension is described in one place only. The bounds are limits of
plausibility for cars of 1:8 to 1:43, common practice, no source; a value outside them is a slip of
the keyboard, not a car.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fitcalc.said import said


class Unit(StrEnum):
    """Unit of a quantity, as printed behind the number."""

    MM = "mm"
    DEGREE = "°"
    GRAM = "g"
    NONE = ""
    RPM_PER_VOLT = "rpm/V"
    NEWTON_PER_MM = "N/mm"
    VOLT = "V"
    KM_PER_HOUR = "km/h"


class PartKind(StrEnum):
    """Kind of part; one kind can serve one or two slots of a configuration."""

    FRONT_SUSPENSION = "front_suspension"
    REAR_AXLE = "rear_axle"
    MOTOR_MOUNT = "motor_mount"
    PLATE = "plate"
    WHEEL = "wheel"
    TYRE = "tyre"
    SPACER = "spacer"
    FRONT_BODY_MOUNT = "front_body_mount"
    REAR_BODY_MOUNT = "rear_body_mount"
    MOTOR = "motor"
    PINION = "pinion"
    SPUR = "spur"
    SPRING = "spring"

    @property
    def label(self) -> str:
        """Name in words: ``front suspension``."""
        return _KIND_LABELS[self.value]


_KIND_LABELS = {
    "front_suspension": said("front suspension"),
    "rear_axle": said("rear axle"),
    "motor_mount": said("motor mount"),
    "plate": said("plate"),
    "wheel": said("wheel"),
    "tyre": said("tyre"),
    "spacer": said("spacer"),
    "front_body_mount": said("front body mount"),
    "rear_body_mount": said("rear body mount"),
    "motor": said("motor"),
    "pinion": said("pinion"),
    "spur": said("spur"),
    "spring": said("spring"),
}


@dataclass(frozen=True, slots=True)
class DimensionKind:
    """One named dimension.

    ``low`` and ``high`` bound a plausible value (in ``unit``, both included); ``meaning`` is the
    line that a reader gets when asking what the word means.
    """

    key: str
    label: str
    unit: Unit
    low: float
    high: float
    meaning: str

    @property
    def signed(self) -> bool:
        """True where a negative value has a meaning (an offset, a chain's contribution)."""
        return self.low < 0


def _catalogue(*kinds: DimensionKind) -> dict[str, DimensionKind]:
    return {kind.key: kind for kind in kinds}


BODY_DIMENSIONS: dict[str, DimensionKind] = _catalogue(
    DimensionKind(
        "wheelbase",
        said("Wheelbase"),
        Unit.MM,
        40,
        420,
        said(
            "Distance from front to rear wheel centres that puts both wheels in the middle of their arches."
        ),
    ),
    DimensionKind(
        "front_arch_width",
        said("Front width, arch to arch"),
        Unit.MM,
        25,
        320,
        said("Outside of the left front arch to outside of the right one."),
    ),
    DimensionKind(
        "rear_arch_width",
        said("Rear width, arch to arch"),
        Unit.MM,
        25,
        320,
        said("Outside of the left rear arch to outside of the right one."),
    ),
    DimensionKind(
        "front_arch_radius",
        said("Front arch opening radius"),
        Unit.MM,
        5,
        90,
        said("Radius of the opening in the side of the body round the front wheel."),
    ),
    DimensionKind(
        "rear_arch_radius",
        said("Rear arch opening radius"),
        Unit.MM,
        5,
        90,
        said("Radius of the opening in the side of the body round the rear wheel."),
    ),
    DimensionKind(
        "front_arch_height",
        said("Front arch height"),
        Unit.MM,
        5,
        120,
        said(
            "From the wheel's centre, with the body seated on its mounts, up to the top of the front opening."
        ),
    ),
    DimensionKind(
        "rear_arch_height",
        said("Rear arch height"),
        Unit.MM,
        5,
        120,
        said(
            "From the wheel's centre, with the body seated on its mounts, up to the top of the rear opening."
        ),
    ),
    DimensionKind(
        "nose_reach",
        said("Front hub to nose"),
        Unit.MM,
        5,
        150,
        said(
            "From the front wheel's centre forward to the nose: what the body's own front mount must reach."
        ),
    ),
    DimensionKind(
        "mass", said("Mass"), Unit.GRAM, 1, 1000, said("The painted body with its mounts, no chassis.")
    ),
)

PART_DIMENSIONS: dict[str, DimensionKind] = _catalogue(
    DimensionKind(
        "hub_width",
        said("Hub width"),
        Unit.MM,
        10,
        250,
        said("Between the faces of the two hubs that the wheels' inner rim edges are measured from."),
    ),
    DimensionKind(
        "kingpin_spacing",
        said("Kingpin spacing"),
        Unit.MM,
        5,
        240,
        said("Between the two kingpins, the axes that the front wheels steer about."),
    ),
    DimensionKind(
        "arm_length",
        said("Arm length"),
        Unit.MM,
        2,
        120,
        said("From the arm's inner pivot out to the kingpin: the lever that the wheel rises on."),
    ),
    DimensionKind(
        "bump_travel",
        said("Bump travel"),
        Unit.MM,
        0,
        30,
        said("How far the suspension rises from its standing height to its stop, at the kingpin or axle."),
    ),
    DimensionKind(
        "steer_limit",
        said("Steering stop"),
        Unit.DEGREE,
        5,
        60,
        said("Steer angle at which the linkage itself stops, either way."),
    ),
    DimensionKind(
        "chain_length",
        said("Wheelbase share"),
        Unit.MM,
        -80,
        420,
        said("What this part adds to the wheelbase, from the platform's datum."),
    ),
    DimensionKind(
        "offset",
        said("Wheel offset"),
        Unit.MM,
        -20,
        30,
        said("Rim's inner edge outward of the hub's face, a side; zero when they are level."),
    ),
    DimensionKind(
        "rim_width", said("Rim width"), Unit.MM, 3, 90, said("Inner edge to outer edge of the rim.")
    ),
    DimensionKind(
        "rim_diameter", said("Rim diameter"), Unit.MM, 8, 120, said("Where the tyre sits on the rim.")
    ),
    DimensionKind(
        "tyre_diameter", said("Tyre diameter"), Unit.MM, 10, 160, said("Outside of the mounted tyre.")
    ),
    DimensionKind(
        "tyre_width", said("Tyre width"), Unit.MM, 3, 90, said("Side to side of the mounted tyre.")
    ),
    DimensionKind(
        "thickness",
        said("Thickness"),
        Unit.MM,
        0.05,
        10,
        said("A hub spacer moves the wheel outward by this, a side."),
    ),
    DimensionKind(
        "reach",
        said("Reach"),
        Unit.MM,
        5,
        150,
        said("From the front wheel's centre forward to where the mount holds the nose."),
    ),
    DimensionKind("teeth", said("Teeth"), Unit.NONE, 5, 150, said("Number of teeth.")),
    DimensionKind("module", said("Module"), Unit.MM, 0.1, 2, said("Pitch diameter over teeth.")),
    DimensionKind(
        "speed_constant", said("Speed constant"), Unit.RPM_PER_VOLT, 100, 30000, said("Unloaded, a volt.")
    ),
    DimensionKind("can_diameter", said("Can diameter"), Unit.MM, 5, 60, said("Outside of the motor's can.")),
    DimensionKind(
        "spring_rate", said("Spring rate"), Unit.NEWTON_PER_MM, 0.001, 20, said("Force a mm of compression.")
    ),
)

CAR_DIMENSIONS: dict[str, DimensionKind] = _catalogue(
    DimensionKind(
        "front_width", said("Front width"), Unit.MM, 25, 320, said("Over the outsides of the front wheels.")
    ),
    DimensionKind(
        "rear_width", said("Rear width"), Unit.MM, 25, 320, said("Over the outsides of the rear wheels.")
    ),
    DimensionKind(
        "front_track",
        said("Front track"),
        Unit.MM,
        20,
        310,
        said("Between the middles of the two front tyres."),
    ),
    DimensionKind(
        "rear_track", said("Rear track"), Unit.MM, 20, 310, said("Between the middles of the two rear tyres.")
    ),
    DimensionKind(
        "wheelbase",
        said("Wheelbase"),
        Unit.MM,
        40,
        420,
        said("Between the front and the rear wheel centres, wheels straight ahead, mean of both sides."),
    ),
    DimensionKind(
        "front_tyre_diameter",
        said("Front tyre diameter"),
        Unit.MM,
        10,
        160,
        said("Outside of the mounted tyre, front."),
    ),
    DimensionKind(
        "rear_tyre_diameter",
        said("Rear tyre diameter"),
        Unit.MM,
        10,
        160,
        said("Outside of the mounted tyre, rear."),
    ),
    DimensionKind(
        "ground_clearance",
        said("Ground clearance"),
        Unit.MM,
        0,
        60,
        said("Flat surface to the lowest point of the car, ready to run."),
    ),
    DimensionKind(
        "rollout", said("Rollout"), Unit.MM, 1, 500, said("How far the car rolls for one turn of the motor.")
    ),
    DimensionKind(
        "mass", said("Mass"), Unit.GRAM, 20, 5000, said("The car ready to run, with body and battery.")
    ),
)
"""What is measured on a whole car; the first seven follow from its configuration."""

REQUIRED: dict[PartKind, tuple[str, ...]] = {
    PartKind.FRONT_SUSPENSION: ("hub_width", "kingpin_spacing"),
    PartKind.REAR_AXLE: ("hub_width",),
    PartKind.MOTOR_MOUNT: ("chain_length",),
    PartKind.PLATE: ("chain_length",),
    PartKind.WHEEL: ("offset", "rim_width"),
    PartKind.TYRE: ("tyre_diameter", "tyre_width"),
    PartKind.SPACER: ("thickness",),
    PartKind.FRONT_BODY_MOUNT: ("reach",),
    PartKind.REAR_BODY_MOUNT: (),
    PartKind.MOTOR: ("speed_constant",),
    PartKind.PINION: ("teeth", "module"),
    PartKind.SPUR: ("teeth", "module"),
    PartKind.SPRING: ("spring_rate",),
}
"""The dimensions without which a part of the kind cannot take part in the calculation."""

OPTIONAL: dict[PartKind, tuple[str, ...]] = {
    PartKind.FRONT_SUSPENSION: ("arm_length", "bump_travel", "steer_limit"),
    PartKind.REAR_AXLE: ("bump_travel",),
    PartKind.WHEEL: ("rim_diameter",),
    PartKind.TYRE: ("rim_diameter",),
    PartKind.MOTOR: ("can_diameter",),
}


def dimensions_of(kind: PartKind) -> tuple[str, ...]:
    """Keys of all dimensions that a part of ``kind`` may carry, the required ones first."""
    return REQUIRED[kind] + OPTIONAL.get(kind, ())
