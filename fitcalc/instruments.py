"""What a dimension is measured with, and the doubt that an instrument leaves.

The standard doubt has two parts: what the display or the graduation rounds away, rectangular over one step,
u = step / sqrt(12) (JCGM 100:2008, 4.3.7 and F.2.2.1; from memory), and the spread of an ordinary hand on a
painted shell or a small part (common practice, no source). They add as u² = u_step² + u_hand² (JCGM 100,
5.1.2). The steps are those of what lies on a workbench: common practice, no source.
"""

from __future__ import annotations

from enum import StrEnum
from math import hypot, sqrt
from typing import NamedTuple

from fitcalc.dimensions import Unit
from fitcalc.said import said


class Instrument(StrEnum):
    """What a member measures with."""

    CALLIPER = "calliper"
    GAUGE_BLOCK = "gauge_block"
    RULER = "ruler"
    SCALE = "scale"
    OTHER = "other"

    @property
    def label(self) -> str:
        """Name in words: ``gauge block``."""
        return _LABELS[self.value]


_LABELS = {
    "calliper": said("calliper"),
    "gauge_block": said("gauge block"),
    "ruler": said("ruler"),
    "scale": said("scale"),
    "other": said("another instrument"),
}


class _Habit(NamedTuple):
    """The unit that an instrument shows, its step and an ordinary hand's spread, both in that unit."""

    unit: Unit
    step: float
    spread: float


_HABITS = {
    Instrument.CALLIPER: _Habit(Unit.MM, 0.01, 0.05),
    Instrument.GAUGE_BLOCK: _Habit(Unit.MM, 0.05, 0.02),
    Instrument.RULER: _Habit(Unit.MM, 0.5, 0.25),
    Instrument.SCALE: _Habit(Unit.GRAM, 0.1, 0.1),
}

LEAST_DOUBT = 0.001
"""No doubt is kept below this, in any unit: the library stores three decimals."""

DESIGNATED = frozenset({"offset", "teeth", "module"})
"""Dimensions that are a name on the packet: counted, or on the platform's grid. No reading replaces them."""


def instruments_for(unit: Unit) -> tuple[Instrument, ...]:
    """The instruments that show ``unit``; another one, with a doubt of its own, is always among them."""
    return (*(one for one, habit in _HABITS.items() if habit.unit is unit), Instrument.OTHER)


def standard_doubt(instrument: Instrument) -> float | None:
    """Standard uncertainty of one careful reading, in the instrument's unit; ``None`` if it is not known."""
    habit = _HABITS.get(instrument)
    return None if habit is None else hypot(habit.step / sqrt(12), habit.spread)


def least_doubt(instrument: Instrument) -> float:
    """What the step alone leaves: no reading with the instrument is surer than this."""
    habit = _HABITS.get(instrument)
    return LEAST_DOUBT if habit is None else max(LEAST_DOUBT, habit.step / sqrt(12))
