"""What the calculation sees: a platform, its parts, a body, and a configuration of parts.

Plain frozen records, built by ``setups.translate`` from the database or by a test by hand. A
dimension that is not known is ``None``; the calculation then says what it cannot answer.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from operator import attrgetter
from typing import Any

from fitcalc.quantities import Quantity
from fitcalc.said import said

PartId = Hashable


class Axle(StrEnum):
    FRONT = "front"
    REAR = "rear"


class Layout(StrEnum):
    """Where the motor sits, which the body's floor must leave room for."""

    REAR_MOTOR = "rear"
    MID_MOTOR = "mid"


class Slot(StrEnum):
    """A place in a configuration that takes one part (a wheel's slot takes the pair)."""

    FRONT_SUSPENSION = "front_suspension"
    FRONT_WHEEL = "front_wheel"
    FRONT_TYRE = "front_tyre"
    FRONT_SPACER = "front_spacer"
    REAR_AXLE = "rear_axle"
    REAR_WHEEL = "rear_wheel"
    REAR_TYRE = "rear_tyre"
    REAR_SPACER = "rear_spacer"
    MOTOR_MOUNT = "motor_mount"
    PLATE = "plate"
    POSITION = "position"
    BODY_MOUNT = "body_mount"

    @property
    def label(self) -> str:
        """Name in words: ``front wheel``."""
        return _SLOT_LABELS[self.value]

    @property
    def pieces(self) -> int:
        """How many pieces of the part fill the slot: two wheels, two tyres, two spacers, else one."""
        return 2 if self in _PAIRED else 1


_SLOT_LABELS = {
    "front_suspension": said("front suspension"),
    "front_wheel": said("front wheel"),
    "front_tyre": said("front tyre"),
    "front_spacer": said("front spacer"),
    "rear_axle": said("rear axle"),
    "rear_wheel": said("rear wheel"),
    "rear_tyre": said("rear tyre"),
    "rear_spacer": said("rear spacer"),
    "motor_mount": said("motor mount"),
    "plate": said("plate"),
    "position": said("position"),
    "body_mount": said("body mount"),
}

_PAIRED = {
    Slot.FRONT_WHEEL,
    Slot.FRONT_TYRE,
    Slot.FRONT_SPACER,
    Slot.REAR_WHEEL,
    Slot.REAR_TYRE,
    Slot.REAR_SPACER,
}
OPTIONAL_SLOTS = frozenset({Slot.FRONT_SPACER, Slot.REAR_SPACER, Slot.BODY_MOUNT})
"""Slots that a configuration may leave empty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What every part has: identity, name, price of a pack (``None`` if not known) and pieces in it."""

    id: PartId
    name: str = ""
    price: float | None = None
    pack_size: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontSuspension(Part):
    hub_width: Quantity
    kingpin_spacing: Quantity
    arm_length: Quantity | None = None
    bump_travel: Quantity | None = None
    steer_limit: Quantity | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RearAxle(Part):
    hub_width: Quantity
    bump_travel: Quantity | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Wheel(Part):
    offset: Quantity
    rim_width: Quantity
    rim_diameter: Quantity | None = None
    axles: frozenset[Axle] = frozenset(Axle)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tyre(Part):
    diameter: Quantity
    width: Quantity
    rim_diameter: Quantity | None = None
    axles: frozenset[Axle] = frozenset(Axle)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spacer(Part):
    thickness: Quantity
    axles: frozenset[Axle] = frozenset(Axle)


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorMount(Part):
    chain_length: Quantity
    layout: Layout


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate(Part):
    chain_length: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyMount(Part):
    """Front body mount; ``bodies`` names the bodies that it is made for."""

    reach: Quantity
    bodies: frozenset[Hashable] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """A mounting position at the rear: ``shift`` is its share of the wheelbase."""

    id: PartId
    name: str
    shift: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Criteria:
    """What counts as a fit, mm and degrees. Defaults suit 1:28; common practice, no source.

    flush_band       a wheel within ± this of the arch is flush
    inset_limit      how far inside the arch a wheel may stand before the body looks wrong
    centring_limit   how far a wheel may stand off the middle of its arch, fore or aft
    arch_clearance   gap that must stay between tyre and opening
    steer_min        steer angle each way that the car must reach
    confidence       probability from which a verdict is called clear
    """

    flush_band: float = 0.5
    inset_limit: float = 1.5
    centring_limit: float = 1.0
    arch_clearance: float = 0.5
    steer_min: float = 20.0
    confidence: float = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class OffsetGrid:
    """The wheel offsets sold for a platform, mm: from ``low`` to ``high`` in ``step``."""

    low: float
    high: float
    step: float

    def holds(self, offset: float) -> bool:
        """True if ``offset`` is one of the grid's values."""
        steps = (offset - self.low) / self.step
        return self.low - 1e-6 <= offset <= self.high + 1e-6 and abs(steps - round(steps)) < 1e-6

    def values(self) -> list[float]:
        """All offsets of the grid, rising."""
        count = round((self.high - self.low) / self.step)
        return [round(self.low + i * self.step, 6) for i in range(count + 1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Platform:
    """One chassis family. ``datum``: front axle to the face that the motor mount's share starts from."""

    id: PartId
    name: str
    scale: int
    datum: Quantity
    offsets: OffsetGrid
    front_rim_width: Quantity
    chassis_front_width: Quantity | None = None
    criteria: Criteria = field(default_factory=Criteria)


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """A body and what it needs; ``None`` where not known.

    Arch widths are arch to arch over the outside; heights are from the wheel's centre to the top of
    the opening; ``nose_reach`` is front hub to nose. ``layouts`` is ``None`` where nobody has tried.
    ``wheelbase_predicted`` is set when the wheelbase is scaled from the full-size car.
    """

    id: PartId
    name: str
    scale: int
    layouts: frozenset[Layout] | None = None
    wheelbase: Quantity | None = None
    wheelbase_predicted: bool = False
    front_arch_width: Quantity | None = None
    rear_arch_width: Quantity | None = None
    front_arch_radius: Quantity | None = None
    rear_arch_radius: Quantity | None = None
    front_arch_height: Quantity | None = None
    rear_arch_height: Quantity | None = None
    nose_reach: Quantity | None = None
    mass: Quantity | None = None
    designated_front_width: float | None = None
    designated_front_offset: float | None = None
    designated_rear_offset: float | None = None
    fouled_by: frozenset[PartId] = frozenset()

    def dimension(self, name: str, axle: Axle) -> Quantity | None:
        """The arch dimension ``name`` ("arch_width", "arch_radius", "arch_height") at ``axle``."""
        value: Quantity | None = getattr(self, f"{axle.value}_{name}")
        return value


@dataclass(frozen=True, slots=True, kw_only=True)
class Configuration:
    """One part for each slot and a mounting position. ``None`` only in OPTIONAL_SLOTS."""

    platform: Platform
    front_suspension: FrontSuspension
    front_wheel: Wheel
    front_tyre: Tyre
    rear_axle: RearAxle
    rear_wheel: Wheel
    rear_tyre: Tyre
    motor_mount: MotorMount
    plate: Plate
    position: Position
    front_spacer: Spacer | None = None
    rear_spacer: Spacer | None = None
    body_mount: BodyMount | None = None

    def part(self, slot: Slot) -> Any:
        """The part (or the position) in ``slot``, or ``None``."""
        return getattr(self, slot.value)

    def parts(self) -> Iterator[tuple[Slot, Part]]:
        """Each filled slot with its part; the position is not a part and is left out."""
        for slot, part in zip(_PART_SLOTS, _parts_in(self), strict=True):
            if part is not None:
                yield slot, part


_PART_SLOTS = tuple(slot for slot in Slot if slot is not Slot.POSITION)
_parts_in = attrgetter(*(slot.value for slot in _PART_SLOTS))


@dataclass(frozen=True, slots=True, kw_only=True)
class PairRules:
    """Which parts go together.

    ``only_with[a]`` groups, per kind of partner, the ids of which one must be there if ``a`` is and
    that kind's slot is filled. ``never`` holds unordered pairs that must not meet.
    """

    only_with: dict[PartId, tuple[frozenset[PartId], ...]] = field(default_factory=dict)
    never: frozenset[frozenset[PartId]] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Catalogue:
    """Everything sold for one platform, one tuple a kind."""

    platform: Platform
    front_suspensions: tuple[FrontSuspension, ...] = ()
    rear_axles: tuple[RearAxle, ...] = ()
    wheels: tuple[Wheel, ...] = ()
    tyres: tuple[Tyre, ...] = ()
    spacers: tuple[Spacer, ...] = ()
    motor_mounts: tuple[MotorMount, ...] = ()
    plates: tuple[Plate, ...] = ()
    positions: tuple[Position, ...] = ()
    body_mounts: tuple[BodyMount, ...] = ()
    pairs: PairRules = field(default_factory=PairRules)
