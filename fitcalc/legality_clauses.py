"""The clauses of a rulebook and what is known of a car, as plain records that ``fitcalc.legality`` judges."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from math import isfinite

from fitcalc.dimensions import CAR_DIMENSIONS, DimensionKind, Unit
from fitcalc.legality_rules import DecisionRule
from fitcalc.quantities import Quantity
from fitcalc.said import Said, said

_MORE = (
    DimensionKind(
        "width",
        said("Overall width"),
        Unit.MM,
        25,
        320,
        said("Over the wheels, front or rear, the wider one."),
    ),
    DimensionKind(
        "length", said("Overall length"), Unit.MM, 60, 700, said("Over everything, body and bumper included.")
    ),
    DimensionKind(
        "body_width",
        said("Width of the body"),
        Unit.MM,
        25,
        320,
        said("Over the body at its widest, no wheels."),
    ),
    DimensionKind(
        "front_offset",
        said("Front wheel offset"),
        Unit.MM,
        -20,
        30,
        said("Rim's inner edge outward of the hub's face, a side."),
    ),
    DimensionKind(
        "rear_offset",
        said("Rear wheel offset"),
        Unit.MM,
        -20,
        30,
        said("Rim's inner edge outward of the hub's face, a side."),
    ),
    DimensionKind(
        "front_tyre_width",
        said("Front tyre width"),
        Unit.MM,
        3,
        90,
        said("Side to side of the mounted tyre, front."),
    ),
    DimensionKind(
        "rear_tyre_width",
        said("Rear tyre width"),
        Unit.MM,
        3,
        90,
        said("Side to side of the mounted tyre, rear."),
    ),
    DimensionKind(
        "body_mass",
        said("Mass of the body"),
        Unit.GRAM,
        1,
        1000,
        said("The painted body with its mounts, no chassis."),
    ),
    DimensionKind(
        "cells",
        said("Cells in series"),
        Unit.NONE,
        1,
        20,
        said("Cells of the drive battery, one after another."),
    ),
    DimensionKind(
        "battery_voltage",
        said("Battery voltage"),
        Unit.VOLT,
        0.5,
        80,
        said("At the battery's plug, no load, as it goes to the start."),
    ),
)

CLASS_QUANTITIES: dict[str, DimensionKind] = CAR_DIMENSIONS | {kind.key: kind for kind in _MORE}
"""What a clause can limit: what is measured on any car, and what only a rulebook asks for."""

BODY = "body"
"""The kind of a listing or a required thing that is about bodies; else the kind is that of a part."""


class LegalityError(ValueError):
    """A clause or a car that nothing can be judged by; the text says what to do."""


class ClassVerdict(StrEnum):
    """What can be said of a car under a clause, or a rulebook."""

    COMPLIES = "complies"
    NOT_CHECKED = "not_checked"
    TOO_CLOSE = "too_close"
    DOES_NOT_COMPLY = "does_not_comply"

    @property
    def gravity(self) -> int:
        """Higher is worse news."""
        return VERDICTS.index(self)


VERDICTS = tuple(ClassVerdict)


class Source(StrEnum):
    """Where what was judged comes from: the configuration, a measurement, or an inspector's own eyes."""

    COMPUTED = "computed"
    MEASURED = "measured"
    SEEN = "seen"


@dataclass(frozen=True, slots=True, kw_only=True)
class Clause:
    """What every clause has: identity, its number in the rulebook, and its wording."""

    id: Hashable
    number: str = ""
    wording: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit(Clause):
    """At least ``low``, at most ``high`` or between, of a quantity of CLASS_QUANTITIES, in its unit.

    ``factor`` is r of the guard band w = r U. Raises LegalityError for what is no limit.
    """

    quantity: str
    low: float | None = None
    high: float | None = None
    rule: DecisionRule = DecisionRule.SIMPLE
    factor: float = 1.0

    def __post_init__(self) -> None:
        if self.quantity not in CLASS_QUANTITIES:
            raise LegalityError(
                Said(
                    "nothing called {quantity} is measured on a car; choose from the list",
                    quantity=repr(self.quantity),
                )
            )
        ends = [end for end in (self.low, self.high) if end is not None]
        if not ends:
            raise LegalityError(said("a limit needs a least value, a greatest value or both; give one"))
        if not all(isfinite(figure) for figure in (*ends, self.factor)) or self.factor < 0.0:
            raise LegalityError(
                said("limits and guard factor are finite numbers, and the factor is not below zero")
            )
        if self.low is not None and self.high is not None and self.low > self.high:
            raise LegalityError(said("the least value is above the greatest; change the two over"))

    @property
    def unit(self) -> Unit:
        return CLASS_QUANTITIES[self.quantity].unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing(Clause):
    """Of a ``kind`` (``BODY`` or a part's kind), only those of ``ids`` may be on the car, or none of them."""

    kind: str
    ids: frozenset[Hashable]
    allows: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Required(Clause):
    """Something that must be on the car: one of ``ids`` of a ``kind``, any of that kind where there are no
    ids, or, without a kind, what the wording says, which only an inspector can see."""

    kind: str = ""
    ids: frozenset[Hashable] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Car:
    """What is known of a car.

    ``computed`` and ``measured``: key of CLASS_QUANTITIES -> value with doubt. ``fitted``: kind -> ids of
    what is on it; a kind that is not there is not known, an empty set says that there is none. ``seen``: what
    an inspector answered to a clause (by its id) that no figure decides; that counts before ``fitted``.
    """

    computed: Mapping[str, Quantity] = field(default_factory=dict)
    measured: Mapping[str, Quantity] = field(default_factory=dict)
    fitted: Mapping[str, frozenset[Hashable]] = field(default_factory=dict)
    seen: Mapping[Hashable, bool] = field(default_factory=dict)
