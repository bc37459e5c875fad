"""What a setup says besides its parts: the settings that a member turns, and the bounds that are sane.

The bounds only catch a slipped decimal point or a wrong unit (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fitcalc.dimensions import Unit

LONGEST_WORDS = 80
"""So many letters fit in a setting that is said in words."""


class Group(StrEnum):
    """Where on the car a setting is made."""

    FRONT = "front end"
    REAR = "rear end"
    TYRES = "tyres"
    DRIVE = "motor and gearing"
    WEIGHT = "weight"


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
    label: str,
    meaning: str,
    unit: Unit = Unit.NONE,
    low: float | None = None,
    high: float | None = None,
) -> tuple[TuningField, TuningField]:
    return (
        TuningField(f"front_{key}", f"{label}, front", Group.FRONT, meaning, unit, low, high),
        TuningField(f"rear_{key}", f"{label}, rear", Group.REAR, meaning, unit, low, high),
    )


_BOTH_ENDS = (
    *_ends("camber", "Camber", "Top of the wheel leaning outward is positive.", Unit.DEGREE, -15, 15),
    *_ends("toe", "Toe", "Toe-in, a side, is positive.", Unit.DEGREE, -10, 10),
    *_ends("ride_height", "Ride height", "Flat surface to the chassis, ready to run.", Unit.MM, 0, 60),
    *_ends("droop", "Droop", "How far the suspension falls from its standing height.", Unit.MM, 0, 30),
    *_ends("spring", "Spring", "What the packet calls it: colour, rate or wire."),
    *_ends("damping", "Damping", "Grease, oil or friction plate, and how much of it."),
)

TUNING: dict[str, TuningField] = {
    field.key: field
    for field in (
        *(one for one in _BOTH_ENDS if one.group is Group.FRONT),
        TuningField("caster", "Caster", Group.FRONT, "Kingpin leaning back at the top.", Unit.DEGREE, -5, 30),
        *(one for one in _BOTH_ENDS if one.group is Group.REAR),
        TuningField(
            "front_compound", "Tyre compound, front", Group.TYRES, "As the packet says, with hardness."
        ),
        TuningField(
            "rear_compound", "Tyre compound, rear", Group.TYRES, "As the packet says, with hardness."
        ),
        TuningField("tyre_care", "Tyre care", Group.TYRES, "Gluing, truing, cleaning; what and how long."),
        TuningField("motor", "Motor", Group.DRIVE, "Kind and winding or speed constant."),
        TuningField("pinion_teeth", "Pinion", Group.DRIVE, "Teeth.", Unit.NONE, 5, 60, 0),
        TuningField("spur_teeth", "Spur gear", Group.DRIVE, "Teeth.", Unit.NONE, 15, 150, 0),
        TuningField("differential", "Differential", Group.DRIVE, "Kind and how tight."),
        TuningField("battery", "Battery", Group.DRIVE, "Kind, cells and capacity."),
        TuningField(
            "electronics", "Electronics", Group.DRIVE, "Speed control and servo, and their settings."
        ),
        TuningField(
            "mass", "Mass, ready to run", Group.WEIGHT, "With body and battery.", Unit.GRAM, 20, 5000, 1
        ),
        *(
            TuningField(
                f"weight_{key}",
                f"Weight on the {label} wheel",
                Group.WEIGHT,
                "On four scales.",
                Unit.GRAM,
                0,
                2500,
                1,
            )
            for key, label in (
                ("fl", "front left"),
                ("fr", "front right"),
                ("rl", "rear left"),
                ("rr", "rear right"),
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
            wrong[key] = f"“{key}” is no setting of the library: leave it out, or put it in the notes."
        elif not text:
            continue
        elif field.in_words:
            if len(text) > LONGEST_WORDS:
                wrong[key] = f"{field.label}: say it in {LONGEST_WORDS} letters; the notes take more."
            kept[key] = text
        else:
            try:
                kept[key] = _number(field, text)
            except ValueError as error:
                wrong[key] = str(error)
    open_corners = [key for key in CORNERS if key not in kept and key not in wrong]
    if len(open_corners) < len(CORNERS):
        for key in open_corners:
            wrong[key] = f"{TUNING[key].label}: weigh all four wheels, or leave all four out."
    if wrong:
        raise TuningError(wrong)
    return {key: kept[key] for key in TUNING if key in kept}


def _number(field: TuningField, text: str) -> float:
    """The number in ``text``; ValueError says what is asked."""
    assert field.low is not None
    assert field.high is not None
    plain = text.replace(",", ".").replace("−", "-")
    unit = f" {field.unit.value}".rstrip()
    try:
        value = float(plain) if plain.isascii() and "_" not in plain else float("nan")
    except ValueError:
        value = float("nan")
    if not field.low <= value <= field.high:  # false for what is no number
        if value != value:
            raise ValueError(f"{field.label}: type a number, such as {max(field.low, 1):g}.")
        raise ValueError(
            f"{field.label} must lie between {field.low:g} and {field.high:g}{unit}: check the unit."
        )
    return round(value, field.decimals)
