"""The rules over whole catalogues: front end, rear end and wheelbase chain, each over arrays of candidates.

The slots fall into three groups that the rules keep apart: the front end (suspension, wheel, tyre,
spacer), the rear end (axle, wheel, tyre, spacer) and the chain (mount, plate, position). Only the rear
arch couples two of them: the chain centres the wheel, the tyre fills the arch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fitcalc import clearance, wheel
from fitcalc.dimensions import Unit
from fitcalc.findings import Check, Checks, Rule
from fitcalc.parts import (
    Axle,
    Body,
    BodyMount,
    FrontSuspension,
    MotorMount,
    Part,
    Plate,
    Platform,
    Position,
    RearAxle,
    Spacer,
    Tyre,
    Wheel,
)
from fitcalc.quantities import Quantity, exact, linear_sum, probability_within, propagate
from fitcalc.said import Said

UNPLACED = Quantity.from_tolerance(0.0, 0.5)
"""Where a body sits fore and aft when its mount is not known: in place, give or take half a millimetre."""
_WIDE_OPEN = exact(1000.0)


@dataclass(frozen=True, slots=True)
class Column:
    """One dimension of n candidates, and where it is known."""

    quantity: Quantity
    known: Any

    @classmethod
    def of(
        cls,
        parts: Sequence[Part | Position | None],
        attribute: str,
        stand_in: float = 0.0,
        unit: Unit = Unit.MM,
    ) -> Column:
        """``attribute`` of each part; a part that is ``None`` or lacks it counts as ``stand_in`` exactly."""
        found = [None if part is None else getattr(part, attribute) for part in parts]
        return cls(
            Quantity(
                np.array([stand_in if q is None else q.value for q in found], dtype=float),
                np.array([0.0 if q is None else q.u for q in found], dtype=float),
                unit,
                np.array([0.0 if q is None else q.limit for q in found], dtype=float),
            ),
            np.array([q is not None for q in found], dtype=bool),
        )

    def take(self, index: Any) -> Column:
        return Column(self.quantity.take(index), self.known[index])

    def rows(self, index: Any) -> list[Quantity | None]:
        """One quantity for each entry of ``index``, ``None`` where not known."""
        known = self.known[index].tolist()
        return [q if k else None for q, k in zip(self.quantity.rows(index), known, strict=True)]


@dataclass(frozen=True, slots=True)
class Placing:
    """How far forward of its place the front mount holds the body, and what is said of it."""

    centring: Quantity
    check: Check


@dataclass(frozen=True, slots=True)
class EndGroup:
    """Front or rear end over n candidates: its checks and the geometry behind them."""

    checks: Checks
    width: Quantity
    track: Quantity
    flush: Quantity | None
    tyre_diameter: Quantity
    tyre_width: Quantity
    wheel_travel: Column
    arch_clearance: Quantity | None = None
    scrub_radius: Quantity | None = None
    kingpin_spacing: Quantity | None = None
    lock_inward: Quantity | None = None
    lock_outward: Quantity | None = None
    steer_limit: Column | None = None


@dataclass(frozen=True, slots=True)
class ChainGroup:
    """Wheelbase chain over n candidates."""

    checks: Checks
    wheelbase: Quantity
    centring: Quantity | None


def across_of(platform: Platform, suspension: FrontSuspension) -> float:
    """The trade's width of a front end: across its wheels at zero offset, with the platform's rim, mm."""
    across: float = wheel.across_from_hub_width(suspension.hub_width.value, platform.front_rim_width.value)
    return across


def placing_of(platform: Platform, body: Body, mount: BodyMount | None) -> Placing:
    """Where the front mount puts the body, and whether that is where it belongs."""
    limit = platform.criteria.centring_limit
    met = mount is None or not mount.bodies or body.id in mount.bodies
    missing = tuple(
        name for name, value in (("body_mount", mount), ("nose_reach", body.nose_reach)) if value is None
    )
    centring = UNPLACED
    if mount is not None and body.nose_reach is not None:
        centring = linear_sum((1.0, mount.reach), (-1.0, body.nose_reach))
    check = Check(
        Rule.BODY_MOUNT,
        found=centring,
        low=-limit,
        high=limit,
        met=met,
        known=not missing,
        missing=missing,
        required_word=body.name,
        found_word="" if mount is None else mount.name,
        confidence=platform.criteria.confidence,
    )
    return Placing(centring, check)


def _end_rules(
    platform: Platform,
    body: Body,
    axle: Axle,
    width: Quantity,
    offset: Quantity,
    tyre_diameter: Quantity,
    travel: Column,
) -> tuple[list[Check], Quantity | None]:
    """The rules that both ends share: offset on the grid, flushness, the arch in bump."""
    criteria = platform.criteria
    grid = platform.offsets
    steps = (offset.value - grid.low) / grid.step
    on_grid = (
        (offset.value >= grid.low - 1e-6)
        & (offset.value <= grid.high + 1e-6)
        & (np.abs(steps - np.round(steps)) < 1e-6)
    )
    checks = [
        Check(
            Rule.OFFSET_GRID,
            axle,
            met=on_grid,
            required_word=Said(
                "{low:+g} to {high:+g} in {step:g}", low=grid.low, high=grid.high, step=grid.step
            ),
            confidence=criteria.confidence,
        )
    ]
    flush = None
    arch_width = body.dimension("arch_width", axle)
    if arch_width is None:
        checks.append(Check(Rule.FLUSH, axle, known=False, missing=(f"{axle.value}_arch_width",)))
    else:
        flush = propagate(clearance.flushness, width, arch_width)
        checks.append(
            Check(
                Rule.FLUSH,
                axle,
                found=flush,
                low=-criteria.inset_limit,
                high=criteria.flush_band,
                confidence=criteria.confidence,
            )
        )
    arch_height = body.dimension("arch_height", axle)
    if arch_height is None:
        checks.append(Check(Rule.BUMP, axle, known=False, missing=(f"{axle.value}_arch_height",)))
    else:
        checks.append(
            Check(
                Rule.BUMP,
                axle,
                found=propagate(clearance.bump_clearance, arch_height, tyre_diameter, travel.quantity),
                low=0.0,
                known=travel.known,
                missing=("bump_travel",),
                confidence=criteria.confidence,
            )
        )
    return checks, flush


def _arch_check(
    body: Body, platform: Platform, axle: Axle, tyre_diameter: Quantity, centring: Quantity | None
) -> Check:
    radius = body.dimension("arch_radius", axle)
    missing: tuple[str, ...] = () if radius is not None else (f"{axle.value}_arch_radius",)
    if centring is None:
        missing += ("wheelbase",)
    if radius is None or centring is None:
        return Check(Rule.ARCH, axle, known=False, missing=missing)
    least = platform.criteria.arch_clearance
    room = linear_sum((1.0, radius), (-0.5, tyre_diameter), (-1.0, exact(least)))
    return Check(
        Rule.ARCH,
        axle,
        found=propagate(clearance.arch_clearance, radius, tyre_diameter, centring),
        low=least,
        chance=probability_within(centring, room),
        confidence=platform.criteria.confidence,
    )


def rear_arch_check(
    body: Body, platform: Platform, tyre_diameter: Quantity, centring: Quantity | None
) -> Check:
    """The rear tyre in its arch, which takes a rear end and a chain together."""
    return _arch_check(body, platform, Axle.REAR, tyre_diameter, centring)


Index = tuple[Any, ...]
"""For each slot of a group, an integer array that picks the candidates' parts."""


def _one_each(count: int) -> Index:
    return tuple(np.zeros(1, dtype=int) for _ in range(count))


def front_group(
    platform: Platform,
    body: Body,
    placing: Placing,
    suspensions: Sequence[FrontSuspension],
    wheels: Sequence[Wheel],
    tyres: Sequence[Tyre],
    spacers: Sequence[Spacer | None],
    index: Index | None = None,
) -> EndGroup:
    """The front end over the candidates that ``index`` picks from the four lists (without it, the first)."""
    i, j, t, s = index or _one_each(4)
    hub_width = Column.of(suspensions, "hub_width").quantity.take(i)
    kingpin_spacing = Column.of(suspensions, "kingpin_spacing").quantity.take(i)
    arm = Column.of(suspensions, "arm_length", stand_in=1e6).take(i)
    bump = Column.of(suspensions, "bump_travel").take(i)
    stop = Column.of(suspensions, "steer_limit", stand_in=90.0, unit=Unit.DEGREE).take(i)
    offset = Column.of(wheels, "offset").quantity.take(j)
    rim_width = Column.of(wheels, "rim_width").quantity.take(j)
    diameter = Column.of(tyres, "diameter").quantity.take(t)
    tyre_width = Column.of(tyres, "width").quantity.take(t)
    spacer = Column.of(spacers, "thickness").quantity.take(s)
    criteria = platform.criteria

    def scrub_of(h: Any, o: Any, w: Any, sp: Any, k: Any) -> Any:
        return wheel.scrub_radius(wheel.track(h, o, w, sp), k)

    def travel_of(b: Any, a: Any, h: Any, o: Any, w: Any, sp: Any, k: Any) -> Any:
        return clearance.wheel_travel(b, a, scrub_of(h, o, w, sp, k))

    radius = body.front_arch_radius or _WIDE_OPEN
    chassis = platform.chassis_front_width or exact(-1000.0)

    def locks_of(h: Any, o: Any, w: Any, sp: Any, k: Any, d: Any, tw: Any, r: Any, c: Any, ch: Any) -> Any:
        return np.stack(clearance.lock_limits(d, tw, scrub_of(h, o, w, sp, k), r, c, (k - ch) / 2.0))

    base = (hub_width, offset, rim_width, spacer, kingpin_spacing)
    lock_inputs = (*base, diameter, tyre_width, radius, placing.centring, chassis)
    both = propagate(locks_of, *lock_inputs, unit=Unit.DEGREE)
    inward, outward = (_smaller(both.take(way), stop.quantity) for way in (0, 1))

    width = propagate(wheel.overall_width, hub_width, offset, rim_width, spacer)
    travel = Column(propagate(travel_of, bump.quantity, arm.quantity, *base), bump.known)
    rules, flush = _end_rules(platform, body, Axle.FRONT, width, offset, diameter, travel)
    arch = _arch_check(body, platform, Axle.FRONT, diameter, placing.centring)
    lock = Check(
        Rule.LOCK,
        Axle.FRONT,
        found=_smaller(inward, outward),
        low=criteria.steer_min,
        known=body.front_arch_radius is not None,
        missing=("front_arch_radius",),
        confidence=criteria.confidence,
    )
    return EndGroup(
        checks=Checks(len(i), (*rules, arch, lock)),
        width=width,
        track=propagate(wheel.track, hub_width, offset, rim_width, spacer),
        flush=flush,
        tyre_diameter=diameter,
        tyre_width=tyre_width,
        wheel_travel=travel,
        arch_clearance=arch.found,
        scrub_radius=propagate(scrub_of, *base),
        kingpin_spacing=kingpin_spacing,
        lock_inward=inward,
        lock_outward=outward,
        steer_limit=stop,
    )


def _smaller(a: Quantity, b: Quantity) -> Quantity:
    """Elementwise the quantity with the smaller value, doubt and all."""
    first = a.value <= b.value
    return Quantity(
        np.where(first, a.value, b.value),
        np.where(first, a.u, b.u),
        a.unit,
        np.where(first, a.limit, b.limit),
    )


def rear_group(
    platform: Platform,
    body: Body,
    axles: Sequence[RearAxle],
    wheels: Sequence[Wheel],
    tyres: Sequence[Tyre],
    spacers: Sequence[Spacer | None],
    index: Index | None = None,
) -> EndGroup:
    """The rear end over the candidates that ``index`` picks from the four lists (without it, the first)."""
    i, j, t, s = index or _one_each(4)
    hub_width = Column.of(axles, "hub_width").quantity.take(i)
    travel = Column.of(axles, "bump_travel").take(i)
    offset = Column.of(wheels, "offset").quantity.take(j)
    rim_width = Column.of(wheels, "rim_width").quantity.take(j)
    diameter = Column.of(tyres, "diameter").quantity.take(t)
    tyre_width = Column.of(tyres, "width").quantity.take(t)
    spacer = Column.of(spacers, "thickness").quantity.take(s)
    width = propagate(wheel.overall_width, hub_width, offset, rim_width, spacer)
    rules, flush = _end_rules(platform, body, Axle.REAR, width, offset, diameter, travel)
    return EndGroup(
        checks=Checks(len(i), tuple(rules)),
        width=width,
        track=propagate(wheel.track, hub_width, offset, rim_width, spacer),
        flush=flush,
        tyre_diameter=diameter,
        tyre_width=tyre_width,
        wheel_travel=travel,
    )


def chain_group(
    platform: Platform,
    body: Body,
    placing: Placing,
    mounts: Sequence[MotorMount],
    plates: Sequence[Plate],
    positions: Sequence[Position],
    index: Index | None = None,
) -> ChainGroup:
    """The wheelbase chain over the candidates that ``index`` picks from the three lists."""
    m, p, q = index or _one_each(3)
    criteria = platform.criteria
    wheelbase = linear_sum(
        (1.0, Column.of(mounts, "chain_length").quantity.take(m)),
        (1.0, Column.of(plates, "chain_length").quantity.take(p)),
        (1.0, Column.of(positions, "shift").quantity.take(q)),
        (1.0, platform.datum),
    )
    checks = [
        Check(
            Rule.SCALE,
            met=body.scale == platform.scale,
            required_word=f"1:{body.scale}",
            found_word=f"1:{platform.scale}",
        )
    ]
    allowed = np.array([body.layouts is None or mount.layout in body.layouts for mount in mounts], dtype=bool)
    checks.append(
        Check(
            Rule.LAYOUT,
            met=allowed[m],
            known=body.layouts is not None,
            missing=("layouts",),
            required_word=" or ".join(sorted(layout.value for layout in body.layouts or ())),
        )
    )
    mounts_foul, plates_foul = (
        np.array([part.id in body.fouled_by for part in parts], dtype=bool) for parts in (mounts, plates)
    )
    checks.append(Check(Rule.FLOOR, met=~(mounts_foul[m] | plates_foul[p])))
    centring = None
    if body.wheelbase is None:
        checks.append(Check(Rule.WHEELBASE, known=False, missing=("wheelbase",)))
    else:
        centring = propagate(clearance.rear_centring, wheelbase, body.wheelbase, placing.centring)
        checks.append(
            Check(
                Rule.WHEELBASE,
                found=centring,
                low=-criteria.centring_limit,
                high=criteria.centring_limit,
                confidence=criteria.confidence,
            )
        )
    return ChainGroup(Checks(len(m), tuple(checks)), wheelbase, centring)
