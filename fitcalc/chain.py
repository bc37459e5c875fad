"""The wheelbase as a chain of contributions from the fixed front axle to the rear one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from fitcalc import quantities
from fitcalc.parts import MotorMount, PartId, Plate, Platform, Position, Slot
from fitcalc.quantities import Quantity, Real, linear_sum


@dataclass(frozen=True, slots=True)
class Contribution:
    """One link: what it is called, the slot that it fills (``None`` for the platform's datum), its mm."""

    name: str
    slot: Slot | None
    quantity: Quantity


@dataclass(frozen=True, slots=True)
class WheelbaseChain:
    """Links from the front axle backwards; their sum is the wheelbase, L = Σ contributions."""

    contributions: tuple[Contribution, ...]

    def _terms(self) -> list[tuple[float, Quantity]]:
        return [(1.0, contribution.quantity) for contribution in self.contributions]

    @property
    def length(self) -> Quantity:
        """The wheelbase, mm, its links independent (JCGM 100, 5.1.2)."""
        return linear_sum(*self._terms())

    @property
    def worst_case(self) -> Real:
        """Half-width, mm, if every link were off by its limit the same way: Σ limit_i."""
        return quantities.worst_case(*self._terms())

    @property
    def root_sum_square(self) -> Real:
        """Half-width, mm, of the statistical stack: sqrt(Σ limit_i²)."""
        return quantities.root_sum_square(*self._terms())


def chain_of(platform: Platform, motor_mount: MotorMount, plate: Plate, position: Position) -> WheelbaseChain:
    """The chain of these parts on ``platform``, front to rear."""
    return WheelbaseChain(
        (
            Contribution(platform.name, None, platform.datum),
            Contribution(motor_mount.name, Slot.MOTOR_MOUNT, motor_mount.chain_length),
            Contribution(plate.name, Slot.PLATE, plate.chain_length),
            Contribution(position.name, Slot.POSITION, position.shift),
        )
    )


@dataclass(frozen=True, slots=True)
class KnownWheelbase:
    """A wheelbase published or measured for one mount, plate and position, by their ids."""

    motor_mount: PartId
    plate: PartId
    position: PartId
    wheelbase: Quantity


class Agreement(NamedTuple):
    """``difference`` is chain less known, mm; ``agrees`` if it is within both tolerances together."""

    difference: Quantity
    agrees: bool


def conflicts(chain: WheelbaseChain, known: KnownWheelbase) -> Agreement:
    """Compare a chain with the known wheelbase of the same parts.

    They agree if |difference| is at most the sum of the worst-case half-widths of both, which the
    difference carries as its ``limit``; beyond that no part within its tolerance explains it.
    """
    difference = chain.length - known.wheelbase
    # The slack keeps two figures that stand exactly on their limits in agreement.
    return Agreement(difference, bool(abs(difference.value) <= difference.limit + 1e-9))
