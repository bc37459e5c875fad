"""The records that a club is planned in before any of it is stored. Lengths in mm, angles in degrees."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from fitcalc.dimensions import PartKind
from fitcalc.parts import Axle, Layout, Slot
from setups.models.dimension import Basis


def decimal(value: float, places: int = 3) -> Decimal:
    """``value`` as a decimal of at most ``places`` digits behind the point."""
    return Decimal(str(round(value, places)))


@dataclass(frozen=True, slots=True)
class Figure:
    """One dimension with its doubt: a maker's tolerance or a measurement's standard uncertainty."""

    value: float
    tolerance: float | None = None
    uncertainty: float | None = None
    basis: Basis = Basis.MAKER
    source: str = "maker's sheet"

    @classmethod
    def stated(cls, value: float, tolerance: float) -> Figure:
        """As a maker prints it."""
        return cls(value, tolerance=tolerance)

    @classmethod
    def agreed(cls, value: float, uncertainty: float) -> Figure:
        """As three members found it."""
        return cls(value, None, uncertainty, Basis.AGREED, "three members' callipers")

    @classmethod
    def measured(cls, value: float, uncertainty: float) -> Figure:
        """As one member found it."""
        return cls(value, None, uncertainty, Basis.MEASURED, "one member's calliper, five readings")


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontEnd:
    """``across`` is over zero-offset wheels; the kingpins stand ``scrub`` inside such a wheel's centre."""

    label: str
    across: float
    scrub: float
    arm: float
    travel: float
    stop: float
    price: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RearEnd:
    label: str
    hub: float
    travel: float
    price: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Mount:
    label: str
    layout: Layout
    share: float
    price: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateSpec:
    label: str
    layout: Layout
    share: float
    price: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TyreSpec:
    """``compounds`` are sold side by side, all of one size."""

    axle: Axle
    diameter: float
    width: float
    pattern: str
    compounds: tuple[str, ...]
    price: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlatformPlan:
    """One invented chassis family and the geometry of what is sold for it."""

    slug: str
    name: str
    short: str
    maker: str
    scale: int
    drive: str
    description: str
    source: str
    datum: float
    datum_tolerance: float
    chassis_front_width: float
    front_rim: float
    rear_rim: float
    rim_diameter: float
    offsets: tuple[float, float, float]
    flush_band: float
    inset_limit: float
    centring_limit: float
    arch_clearance: float
    steer_min: float
    positions: tuple[tuple[str, float], ...]
    fronts: tuple[FrontEnd, ...]
    rears: tuple[RearEnd, ...]
    mounts: tuple[Mount, ...]
    plates: tuple[PlateSpec, ...]
    tyres: tuple[TyreSpec, ...]
    spacers: tuple[float, ...]
    wheel_price: float

    @property
    def fine(self) -> float:
        """Scales a figure that suits 1:28 to this platform's size."""
        return 28.0 / self.scale

    def offset_values(self) -> list[float]:
        """The wheel offsets sold, rising."""
        low, high, step = self.offsets
        return [round(low + i * step, 2) for i in range(round((high - low) / step) + 1)]

    def tyres_of(self, axle: Axle) -> list[TyreSpec]:
        return [tyre for tyre in self.tyres if tyre.axle is axle]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartPlan:
    slug: str
    kind: PartKind
    name: str
    maker: str
    number: str
    platforms: tuple[str, ...]
    price: Decimal
    pack_size: int = 1
    mass: Decimal | None = None
    axle: str = ""
    layout: str = ""
    description: str = ""
    figures: dict[str, Figure] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class PairPlan:
    part: str
    other: str
    rule: str
    reason: str


@dataclass(frozen=True, slots=True)
class KnownPlan:
    platform: str
    mount: str
    plate: str
    position: str
    wheelbase: float
    tolerance: float
    source: str


@dataclass(frozen=True, slots=True)
class ConfigurationPlan:
    name: str
    platform: str
    position: str
    slots: dict[Slot, str]
    body: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyPlan:
    slug: str
    name: str
    maker: str
    number: str
    scale: int
    material: str
    price: Decimal
    car: str = ""
    car_wheelbase: Decimal | None = None
    takes_rear_motor: bool | None = None
    takes_mid_motor: bool | None = None
    front_width: Decimal | None = None
    front_offset: Decimal | None = None
    rear_offset: Decimal | None = None
    description: str = ""
    figures: dict[str, Figure] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class BodyPartPlan:
    body: str
    part: str
    rule: str
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shells:
    """The bodies, the front mounts made for them, and what fouls them."""

    bodies: tuple[BodyPlan, ...]
    mounts: tuple[PartPlan, ...]
    body_parts: tuple[BodyPartPlan, ...]
    configurations: tuple[ConfigurationPlan, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Club:
    """Everything that is loaded, members apart."""

    platforms: tuple[PlatformPlan, ...]
    parts: tuple[PartPlan, ...]
    pairs: tuple[PairPlan, ...]
    known_wheelbases: tuple[KnownPlan, ...]
    configurations: tuple[ConfigurationPlan, ...]
    bodies: tuple[BodyPlan, ...]
    body_parts: tuple[BodyPartPlan, ...]

    @property
    def makers(self) -> list[str]:
        """Every maker that makes something here, by name in order of the alphabet."""
        things: Iterable[PlatformPlan | PartPlan | BodyPlan] = (*self.platforms, *self.parts, *self.bodies)
        return sorted({thing.maker for thing in things})
