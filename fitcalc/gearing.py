"""Pinion and spur: whether they mesh, whether the motor mount's slot takes them, and the gearing they give.

Lengths in mm, floats or arrays that broadcast; functions of plain numbers, so that ``quantities.propagate``
carries the doubt of a worn tyre or a slot. Straight spur gears without profile shift, which is what the
scale uses (common practice, no source): the pitch circles touch at the standard centre distance.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor

import numpy as np

from fitcalc.dimensions import Unit
from fitcalc.quantities import MM_PER_INCH, Quantity, Real, exact, propagate
from fitcalc.said import Said, said

SAME_MODULE = 0.003
"""Relative difference up to which two modules are the same one, rounded: 0.53 is 48 pitch (0.5292), while
0.40 is not 64 pitch (0.3969)."""

LOAD_FACTOR = Quantity.from_tolerance(0.85, 0.10, Unit.NONE)
"""Share of its no-load speed that a motor keeps at the car's top speed; common practice, no source."""


class GearingError(ValueError):
    """Gears that cannot run together, or figures that are no gear's."""


@dataclass(frozen=True, slots=True)
class Gear:
    """A spur gear: number of teeth, and module in mm."""

    teeth: int
    module: float

    def __post_init__(self) -> None:
        if self.teeth < 1 or not self.module > 0.0:
            raise GearingError(
                said("a gear has at least one tooth and a module above zero; check both figures")
            )

    def __str__(self) -> str:
        return self.words

    @property
    def words(self) -> Said:
        """The gear in words: ``9 teeth of module 0.3969 (64 pitch)``."""
        return Said(
            "{teeth} teeth of module {module:.4g} ({pitch:.4g} pitch)",
            teeth=self.teeth,
            module=self.module,
            pitch=pitch_from_module(self.module),
        )


@dataclass(frozen=True, slots=True)
class Reach:
    """Whether a motor mount's slot reaches a centre distance.

    ``margin`` is to the nearer end of the slot, positive inside; ``probability`` that the distance lies
    between the ends, all three being doubtful.
    """

    needed: Quantity
    low: Quantity
    high: Quantity
    margin: Quantity
    reaches: bool
    probability: float


def module_from_pitch(pitch: Real) -> Real:
    """Module, mm, of a diametral pitch P, teeth per inch of pitch diameter: m = 25.4 / P, exact.

    Machinery's Handbook, 31st ed., p. 2299, gives the table. Raises GearingError unless above zero.
    """
    return MM_PER_INCH / _positive(pitch, said("a diametral pitch"))


def pitch_from_module(module: Real) -> Real:
    """Diametral pitch of a module m, mm: P = 25.4 / m. Raises GearingError unless above zero."""
    return MM_PER_INCH / _positive(module, said("a module"))


def pitch_diameter(module: Real, teeth: Real) -> Real:
    """Pitch diameter: d = m z."""
    return module * teeth


def centre_distance(module: Real, pinion: Real, spur: Real) -> Real:
    """Between the two shafts: a = m (z1 + z2) / 2. ``pinion`` and ``spur`` are numbers of teeth."""
    return module * (pinion + spur) / 2.0


def meshing_module(pinion: Gear, spur: Gear) -> float:
    """The module that both gears have, the spur's figure.

    Raises GearingError for gears of different modules, which do not run together; ``SAME_MODULE`` tells
    when they are.
    """
    if abs(pinion.module - spur.module) > SAME_MODULE * spur.module:
        raise GearingError(
            Said(
                "a pinion with {pinion} does not mesh with a spur with {spur}; fit two gears of one module",
                pinion=pinion.words,
                spur=spur.words,
            )
        )
    return spur.module


def ratio(pinion: Real, spur: Real, internal: Real = 1.0) -> Real:
    """Turns of the motor for one of the wheels: i = z2 / z1 * internal.

    ``pinion`` and ``spur`` are numbers of teeth; ``internal`` is the ratio of what follows the spur, 1 where
    it sits on the axle. Raises GearingError for a pinion without teeth.
    """
    return spur / _positive(pinion, said("a pinion's number of teeth")) * internal


def rollout(tyre_diameter: Real, ratio: Real) -> Real:
    """How far the car rolls for one turn of the motor, mm: pi D / i. Raises GearingError unless i > 0."""
    return np.pi * tyre_diameter / _positive(ratio, said("a ratio"))


def speed(speed_constant: Real, voltage: Real, rollout: Real, load_factor: Real) -> Real:
    """Speed in km/h of a motor of ``speed_constant`` kv, rpm/V: kv U c * rollout, mm per turn; an estimate.

    ``load_factor`` c is the share of the no-load speed that is left, see ``LOAD_FACTOR``.
    """
    mm_per_minute = speed_constant * voltage * load_factor * rollout
    return mm_per_minute * 60.0 / 1e6


def rollout_of(tyre_diameter: Quantity, ratio: float) -> Quantity:
    """``rollout`` with the doubt of the tyre's diameter; the ratio is of whole teeth, so exact."""
    return propagate(rollout, tyre_diameter, exact(ratio, Unit.NONE))


def estimated_speed(
    speed_constant: Quantity, voltage: Quantity, rollout: Quantity, load_factor: Quantity = LOAD_FACTOR
) -> Quantity:
    """``speed`` in km/h with its doubt, most of it the load factor's: an estimate, to be shown as one."""
    return propagate(speed, speed_constant, voltage, rollout, load_factor, unit=Unit.KM_PER_HOUR)


def slot_reach(needed: Quantity, low: Quantity, high: Quantity) -> Reach:
    """Whether a slot from ``low`` to ``high``, mm between shafts, takes the centre distance ``needed``.

    Raises GearingError if the slot's ends are the wrong way round.
    """
    if low.value > high.value:
        raise GearingError(
            said("a slot's nearest centre distance is above its farthest; change the two over")
        )
    margins = (needed - low, high - needed)
    probability = sum(margin.probability_between(0.0, None) for margin in margins) - 1.0
    margin = min(margins, key=lambda margin: float(margin.value))
    return Reach(needed, low, high, margin, bool(margin.value >= -1e-9), max(probability, 0.0))


def pinions_in_reach(module: float, spur: int, low: float, high: float) -> range:
    """Numbers of pinion teeth that mesh with ``spur`` teeth somewhere in a slot from ``low`` to ``high``, mm.

    Solved from the centre distance: 2 a / m - z2, whole teeth; empty if there is none.
    """
    per_tooth = _positive(module, said("a module")) / 2.0
    fewest = max(ceil(low / per_tooth - spur - 1e-9), 1)
    return range(fewest, max(floor(high / per_tooth - spur + 1e-9) + 1, fewest))


def _positive(figure: Real, name: str) -> Real:
    if not np.all(np.asarray(figure) > 0.0):
        raise GearingError(Said("{figure} is above zero; check the figure", figure=Said(name)))
    return figure
