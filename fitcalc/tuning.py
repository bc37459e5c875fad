"""What a setup says besides its parts: the settings that a member turns, and the bounds that are sane.

The bounds only catch a slipped decimal point or a wrong unit (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fitcalc.dimensions import Unit
from fitcalc.said import Figure, Length, Said, said
from fitcalc.typed import plain

LONGEST_WORDS = 80
"""So many letters fit in a setting that is said in words."""


class Group(StrEnum):
    """Where on the car a setting is made."""

    FRONT = said("front end")
    REAR = said("rear end")
    TYRES = said("tyres")
    DRIVE = said("motor and gearing")
    WEIGHT = said("weight")


@dataclass(frozen=True, slots=True)
class TuningField:
    """One setting. ``low`` and ``high`` bound a number in ``unit``; both ``None``: it is said in words."""

    key: str
    label: str
    group: Group
    meaning: str
    unit: Unit = Unit.NONE
    low: float | None = None
    high: float | None = None
    decimals: int = 2

    @property
    def in_words(self) -> bool:
        """True for a setting that is said in words, not in a number."""
        return self.low is None


def _ends(
    key: str,
    front: str,
    rear: str,
    meaning: str,
    unit: Unit = Unit.NONE,
    low: float | None = None,
    high: float | None = None,
) -> tuple[TuningField, TuningField]:
    return (
        TuningField(f"front_{key}", front, Group.FRONT, meaning, unit, low, high),
        TuningField(f"rear_{key}", rear, Group.REAR, meaning, unit, low, high),
    )


_BOTH_ENDS = (
    *_ends(
        "camber",
        said("Camber, front"),
        said("Camber, rear"),
        said("Top of the wheel leaning outward is positive."),
        Unit.DEGREE,
        -15,
        15,
    ),
    *_ends(
        "toe",
        said("Toe, front"),
        said("Toe, rear"),
        said("Toe-in, a side, is positive."),
        Unit.DEGREE,
        -10,
        10,
    ),
    *_ends(
        "ride_height",
        said("Ride height, front"),
        said("Ride height, rear"),
        said("Flat surface to the chassis, ready to run."),
        Unit.MM,
        0,
        60,
    ),
    *_ends(
        "droop",
        said("Droop, front"),
        said("Droop, rear"),
        said("How far the suspension falls from its standing height."),
        Unit.MM,
        0,
        30,
    ),
    *_ends(
        "spring",
        said("Spring, front"),
        said("Spring, rear"),
        said("What the packet calls it: colour, rate or wire."),
    ),
    *_ends(
        "damping",
        said("Damping, front"),
        said("Damping, rear"),
        said("Grease, oil or friction plate, and how much of it."),
    ),
)

TUNING: dict[str, TuningField] = {
    field.key: field
    for field in (
        *(one for one in _BOTH_ENDS if one.group is Group.FRONT),
        TuningField(
            "caster",
            said("Caster"),
            Group.FRONT,
            said("Kingpin leaning back at the top."),
            Unit.DEGREE,
            -5,
            30,
        ),
        *(one for one in _BOTH_ENDS if one.group is Group.REAR),
        TuningField(
            "front_compound",
            said("Tyre compound, front"),
            Group.TYRES,
            said("As the packet says, with hardness."),
        ),
        TuningField(
            "rear_compound",
            said("Tyre compound, rear"),
            Group.TYRES,
            said("As the packet says, with hardness."),
        ),
        TuningField(
            "tyre_care", said("Tyre care"), Group.TYRES, said("Gluing, truing, cleaning; what and how long.")
        ),
        TuningField("motor", said("Motor"), Group.DRIVE, said("Kind and winding or speed constant.")),
        TuningField("pinion_teeth", said("Pinion"), Group.DRIVE, said("Teeth."), Unit.NONE, 5, 60, 0),
        TuningField("spur_teeth", said("Spur gear"), Group.DRIVE, said("Teeth."), Unit.NONE, 15, 150, 0),
        TuningField("differential", said("Differential"), Group.DRIVE, said("Kind and how tight.")),
        TuningField("battery", said("Battery"), Group.DRIVE, said("Kind, cells and capacity.")),
        TuningField(
            "electronics",
            said("Electronics"),
            Group.DRIVE,
            said("Speed control and servo, and their settings."),
        ),
        TuningField(
            "mass",
            said("Mass, ready to run"),
            Group.WEIGHT,
            said("With body and battery."),
            Unit.GRAM,
            20,
            5000,
            1,
        ),
        *(
            TuningField(
                f"weight_{key}",
                label,
                Group.WEIGHT,
                said("On four scales."),
                Unit.GRAM,
                0,
                2500,
                1,
            )
            for key, label in (
                ("fl", said("Weight on the front left wheel")),
                ("fr", said("Weight on the front right wheel")),
                ("rl", said("Weight on the rear left wheel")),
                ("rr", said("Weight on the rear right wheel")),
            )
        ),
    )
}
"""Every setting by its key, in the order in which a page shows them."""

CORNERS = ("weight_fl", "weight_fr", "weight_rl", "weight_rr")
"""The weights on the four wheels: three of them say nothing of the balance, so it is all or none."""


class TuningError(ValueError):
    """Settings that cannot be kept; ``wrong`` says what to do, by key."""

    def __init__(self, wrong: dict[str, str]) -> None:
        super().__init__("; ".join(wrong.values()))
        self.wrong = wrong


def read(typed: dict[str, str]) -> dict[str, float | str]:
    """The settings that were typed, empty ones left out, numbers as numbers.

    A comma will do for the decimal point. Raises TuningError naming each field that is not sane or
    not known, and each wheel that was not weighed where another was.
    """
    kept: dict[str, float | str] = {}
    wrong: dict[str, str] = {}
    for key, text in typed.items():
        field = TUNING.get(key)
        text = str(text).strip()
        if field is None:
            wrong[key] = Said(
                "“{key}” is no setting of the library: leave it out, or put it in the notes.",
                key=key if len(key) <= LONGEST_WORDS else f"{key[:LONGEST_WORDS]}…",
            )
        elif not text:
            continue
        elif field.in_words:
            if len(text) > LONGEST_WORDS:
                wrong[key] = Said(
                    "{label}: say it in {count} letters; the notes take more.",
                    label=Said(field.label),
                    count=LONGEST_WORDS,
                )
            kept[key] = text
        else:
            try:
                kept[key] = _number(field, text)
            except ValueError as error:
                wrong[key] = error.args[0]
    open_corners = [key for key in CORNERS if key not in kept and key not in wrong]
    if len(open_corners) < len(CORNERS):
        for key in open_corners:
            wrong[key] = Said(
                "{label}: weigh all four wheels, or leave all four out.", label=Said(TUNING[key].label)
            )
    if wrong:
        raise TuningError(wrong)
    return {key: kept[key] for key in TUNING if key in kept}


def _number(field: TuningField, text: str) -> float:
    """The number in ``text``; ValueError says what is asked."""
    assert field.low is not None
    assert field.high is not None
    typed = plain(text, field.unit)
    try:
        value = float(typed) if typed.isascii() and "_" not in typed else float("nan")
    except ValueError:
        value = float("nan")
    if not field.low <= value <= field.high:  # false for what is no number
        if value != value:
            example = Length(max(field.low, 1)) if field.unit is Unit.MM else max(field.low, 1)
            raise ValueError(
                Said("{label}: type a number, such as {example:g}.", label=Said(field.label), example=example)
            )
        raise ValueError(
            Said(
                "{label} must lie between {low:g} and {high}: check the unit.",
                label=Said(field.label),
                low=Length(field.low) if field.unit is Unit.MM else field.low,
                high=Figure(field.high, field.unit.value),
            )
        )
    return round(value, field.decimals)
