"""Does this configuration fit under this body? Every rule, over one configuration or a whole catalogue.

The slots fall into three groups that the rules keep apart: the front end (suspension, wheel, tyre,
spacer), the rear end (axle, wheel, tyre, spacer) and the wheelbase chain (mount, plate, position). Each
group is computed over arrays of candidates; only the rear arch couples two of them (the chain centres
the wheel, the tyre fills the arch). ``evaluate`` runs the same code with one candidate, so a single
answer and a search never disagree.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fitcalc import clearance, steering, wheel
from fitcalc.chain import WheelbaseChain, chain_of
from fitcalc.dimensions import Unit
from fitcalc.findings import Check, Checks, Finding, Rule, Verdict
from fitcalc.pairs import clashes
from fitcalc.parts import (
    Axle,
    Body,
    BodyMount,
    Configuration,
    FrontSuspension,
    MotorMount,
    PairRules,
    Part,
    Plate,
    Platform,
    Position,
    RearAxle,
    Spacer,
    Tyre,
    Wheel,
)
from fitcalc.quantities import Quantity, exact, linear_sum, propagate
from fitcalc.remedies import analytic

UNPLACED = Quantity.from_tolerance(0.0, 0.5)
"""Where a body sits fore and aft when its mount is not known: in place, give or take half a millimetre."""
RIM_DIAMETER_PLAY = 0.5
"""A tyre sits on a rim whose diameter is within this of the tyre's own, mm; common practice, no source."""
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


@dataclass(frozen=True, slots=True)
class Geometry:
    """Everything geometric that follows from a configuration (and a body), each with its doubt.

    Widths, tracks, lengths and clearances in mm, steer angles in degrees; ``None`` where a dimension that
    it hangs on is not known. Centring is fore-and-aft: ``front_centring`` is how far the body sits forward
    of its place, ``rear_centring`` how far the rear wheel stands forward of the middle of its arch.
    """

    front_width: Quantity
    rear_width: Quantity
    front_track: Quantity
    rear_track: Quantity
    scrub_radius: Quantity
    kingpin_spacing: Quantity
    wheelbase: Quantity
    chain: WheelbaseChain
    front_centring: Quantity
    rear_centring: Quantity | None
    front_flush: Quantity | None
    rear_flush: Quantity | None
    front_arch_clearance: Quantity | None
    rear_arch_clearance: Quantity | None
    front_wheel_travel: Quantity | None
    rear_wheel_travel: Quantity | None
    lock_inward: Quantity
    lock_outward: Quantity
    front_tyre_diameter: Quantity
    front_tyre_width: Quantity
    rear_tyre_diameter: Quantity
    rear_tyre_width: Quantity
    body_width: float | None
    front_overhang: float | None

    @property
    def turn(self) -> steering.Turn | None:
        """The tightest turn inside both locks, by Ackermann; ``None`` where the wheels cannot steer."""
        if min(self.lock_inward.value, self.lock_outward.value) <= 0:
            return None
        return steering.turn(
            self.wheelbase.value,
            self.kingpin_spacing.value,
            self.scrub_radius.value,
            self.lock_inward.value,
            self.lock_outward.value,
            self.body_width,
            self.front_overhang,
        )


    @property
    def turning_circle(self) -> float | None:
        """Diameter, mm, of the circle that the middle of the outer front tyre rolls on at full lock."""
        turn = self.turn
        return None if turn is None else 2.0 * float(turn.outer_wheel_radius)


@dataclass(frozen=True, slots=True)
class FitReport:
    """A configuration under a body: the findings, worst news not sorted, and the geometry behind them."""

    configuration: Configuration
    body: Body
    findings: tuple[Finding, ...]
    geometry: Geometry

    @property
    def verdict(self) -> Verdict:
        """The gravest of the findings' verdicts."""
        return max((finding.verdict for finding in self.findings), key=lambda verdict: verdict.gravity)

    @property
    def fits(self) -> bool:
        """True if every rule holds nominally."""
        return all(finding.holds for finding in self.findings)

    @property
    def failing(self) -> tuple[Finding, ...]:
        """The findings that do not hold."""
        return tuple(finding for finding in self.findings if not finding.holds)

    def finding(self, rule: Rule, axle: Axle | None = None) -> Finding | None:
        """The finding of ``rule`` (at ``axle``), if there is one."""
        return next((f for f in self.findings if f.rule is rule and f.axle is axle), None)


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
            required_word=f"{grid.low:+g} to {grid.high:+g} in {grid.step:g}",
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
    return Check(
        Rule.ARCH,
        axle,
        found=propagate(clearance.arch_clearance, radius, tyre_diameter, centring),
        low=platform.criteria.arch_clearance,
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


def assemble(
    configurations: Sequence[Configuration],
    body: Body,
    placing: Placing,
    front: tuple[EndGroup, Any],
    rear: tuple[EndGroup, Any],
    chain: tuple[ChainGroup, Any],
    rear_arch: tuple[Check, Any],
) -> list[FitReport]:
    """The reports of n configurations, taken out of their groups at the given integer arrays of n."""
    (f, fi), (r, ri), (c, ci), (a, ai) = front, rear, chain, rear_arch
    assert f.scrub_radius is not None
    assert f.kingpin_spacing is not None
    assert f.lock_inward is not None
    assert f.lock_outward is not None
    findings = zip(
        *(check.findings(ci) for check in c.checks.checks),
        placing.check.findings(np.zeros(len(ci), dtype=int)),
        *(check.findings(fi) for check in f.checks.checks),
        *(check.findings(ri) for check in r.checks.checks),
        a.findings(ai),
        strict=True,
    )
    widths = [q.value for q in (body.front_arch_width, body.rear_arch_width) if q is not None]
    geometry: Iterable[tuple[Any, ...]] = zip(
        f.width.rows(fi),
        r.width.rows(ri),
        f.track.rows(fi),
        r.track.rows(ri),
        f.scrub_radius.rows(fi),
        f.kingpin_spacing.rows(fi),
        c.wheelbase.rows(ci),
        [chain_of(k.platform, k.motor_mount, k.plate, k.position) for k in configurations],
        placing.centring.rows(fi),
        _rows(c.centring, ci),
        _rows(f.flush, fi),
        _rows(r.flush, ri),
        _rows(f.arch_clearance, fi),
        _rows(a.found, ai),
        f.wheel_travel.rows(fi),
        r.wheel_travel.rows(ri),
        f.lock_inward.rows(fi),
        f.lock_outward.rows(fi),
        f.tyre_diameter.rows(fi),
        f.tyre_width.rows(fi),
        r.tyre_diameter.rows(ri),
        r.tyre_width.rows(ri),
        strict=True,
    )
    overhang: Any = None if body.nose_reach is None else body.nose_reach.value
    width: Any = max(widths) if widths else None
    return [
        FitReport(
            configuration,
            body,
            tuple(f if f.holds and not f.missing else analytic(f, configuration, body) for f in row),
            Geometry(*(*figures, width, overhang)),
        )
        for configuration, row, figures in zip(configurations, findings, geometry, strict=True)
    ]


def _rows(quantity: Quantity | None, index: Any) -> Sequence[Quantity | None]:
    return [None] * len(index) if quantity is None else quantity.rows(index)


def tyre_sits_on(tyre: Tyre, rim: Wheel) -> bool:
    """True unless both rim diameters are known and differ by more than RIM_DIAMETER_PLAY."""
    if tyre.rim_diameter is None or rim.rim_diameter is None:
        return True
    return bool(abs(tyre.rim_diameter.value - rim.rim_diameter.value) <= RIM_DIAMETER_PLAY)


def pair_conflicts(configuration: Configuration, pairs: PairRules) -> list[Finding]:
    """A failed finding for each two parts of the configuration that do not go together."""
    names = {part.id: part.name for _, part in configuration.parts()}
    filled = {slot: part.id for slot, part in configuration.parts()}
    found = [
        (names[part], "its own partner" if other is None else names[other])
        for part, other in clashes(filled, pairs)
    ]
    for axle in Axle:
        rim = getattr(configuration, f"{axle.value}_wheel")
        tyre = getattr(configuration, f"{axle.value}_tyre")
        spacer = getattr(configuration, f"{axle.value}_spacer")
        if not tyre_sits_on(tyre, rim):
            found.append((tyre.name, rim.name))
        for part in (rim, tyre, spacer):
            if part is not None and axle not in part.axles:
                found.append((part.name, f"the {axle.value} axle"))
    return [
        Finding(Rule.PAIRS, None, Verdict.FAILS, False, found_word=first, required_word=second)
        for first, second in dict.fromkeys(found)
    ]


def evaluate(configuration: Configuration, body: Body, pairs: PairRules | None = None) -> FitReport:
    """Every rule for one configuration under one body.

    Never raises for missing dimensions: what hangs on them is found UNKNOWN. ``pairs`` adds the
    library's rules about which parts go together.
    """
    platform = configuration.platform
    placing = placing_of(platform, body, configuration.body_mount)
    front = front_group(
        platform,
        body,
        placing,
        [configuration.front_suspension],
        [configuration.front_wheel],
        [configuration.front_tyre],
        [configuration.front_spacer],
    )
    rear = rear_group(
        platform,
        body,
        [configuration.rear_axle],
        [configuration.rear_wheel],
        [configuration.rear_tyre],
        [configuration.rear_spacer],
    )
    chain = chain_group(
        platform, body, placing, [configuration.motor_mount], [configuration.plate], [configuration.position]
    )
    arch = rear_arch_check(body, platform, rear.tyre_diameter, chain.centring)
    one = np.zeros(1, dtype=int)
    (report,) = assemble([configuration], body, placing, (front, one), (rear, one), (chain, one), (arch, one))
    clashes = tuple(pair_conflicts(configuration, pairs or PairRules()))
    return replace(report, findings=report.findings + clashes)
