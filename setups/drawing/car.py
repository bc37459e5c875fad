"""The figures that a drawing needs, taken out of a fit report; ``None`` where nobody knows.

Frame after ISO 8855 with the front axle's centre as origin: x forward, y to the left, mm.
"""

from __future__ import annotations

from dataclasses import dataclass

from fitcalc.chain import WheelbaseChain
from fitcalc.findings import Rule, Verdict
from fitcalc.fit import FitReport
from fitcalc.parts import Axle
from fitcalc.quantities import Quantity


@dataclass(frozen=True, slots=True)
class End:
    """One axle: its wheels, and the arches over them. ``arch_x`` is the middle of the arch opening."""

    axle: Axle
    x: float
    width: Quantity
    track: Quantity
    hub_width: float
    rim_start: float
    rim_width: float
    rim_diameter: float | None
    spacer: float
    tyre_diameter: float
    tyre_width: float
    arch_x: float | None
    arch_width: Quantity | None
    arch_radius: float | None
    arch_height: float | None
    flush: Quantity | None
    flush_verdict: Verdict
    clearance: Quantity | None
    clearance_verdict: Verdict
    travel: float | None
    bump: Quantity | None
    bump_verdict: Verdict

    @property
    def face(self) -> float:
        """Centreline to the wheel's outer face."""
        return float(self.width.value) / 2

    @property
    def arch_face(self) -> float | None:
        """Centreline to the outside of the arch."""
        return None if self.arch_width is None else float(self.arch_width.value) / 2


@dataclass(frozen=True, slots=True)
class Car:
    """A configuration under a body, in the numbers that are drawn."""

    platform: str
    body: str
    scale: int
    front: End
    rear: End
    wheelbase: Quantity
    body_wheelbase: Quantity | None
    wheelbase_predicted: bool
    chain: WheelbaseChain
    front_centring: Quantity
    front_centring_known: bool
    rear_centring: Quantity | None
    wheelbase_verdict: Verdict
    mount_verdict: Verdict
    kingpin_spacing: float
    arm_length: float | None
    chassis_width: float | None
    datum: float
    nose_reach: float | None
    lock_inward: Quantity
    lock_outward: Quantity
    lock_verdict: Verdict
    verdict: Verdict

    @property
    def ends(self) -> tuple[End, End]:
        return self.front, self.rear

    @property
    def nose_x(self) -> float:
        """The nose, or where one would be on a body of which that is not known."""
        if self.nose_reach is not None:
            return float(self.front_centring.value) + self.nose_reach
        return 1.15 * self.front.tyre_diameter

    @property
    def tail_x(self) -> float:
        """The tail, which nobody measures: as far behind the rear arch as looks right."""
        middle = self.rear.x if self.rear.arch_x is None else self.rear.arch_x
        return middle - max(0.95 * self.rear.tyre_diameter, 1.2 * (self.rear.arch_radius or 0.0))


def car_of(report: FitReport) -> Car:
    """The car of a report."""
    configuration, body, geometry = report.configuration, report.body, report.geometry
    front_centring = float(geometry.front_centring.value)
    mount = configuration.body_mount

    def verdict(rule: Rule, axle: Axle | None = None) -> Verdict:
        finding = report.finding(rule, axle)
        return Verdict.UNKNOWN if finding is None else finding.verdict

    def end(axle: Axle) -> End:
        name = axle.value
        wheel, spacer = getattr(configuration, f"{name}_wheel"), getattr(configuration, f"{name}_spacer")
        front = axle is Axle.FRONT
        hub = configuration.front_suspension if front else configuration.rear_axle
        spaced = 0.0 if spacer is None else float(spacer.thickness.value)
        arch_x: float | None = front_centring
        if not front:
            arch_x = None if body.wheelbase is None else front_centring - float(body.wheelbase.value)
        radius, height = body.dimension("arch_radius", axle), body.dimension("arch_height", axle)
        travel: Quantity | None = getattr(geometry, f"{name}_wheel_travel")
        bump = report.finding(Rule.BUMP, axle)
        return End(
            axle=axle,
            x=0.0 if front else -float(geometry.wheelbase.value),
            width=getattr(geometry, f"{name}_width"),
            track=getattr(geometry, f"{name}_track"),
            hub_width=float(hub.hub_width.value),
            rim_start=float(hub.hub_width.value) / 2 + float(wheel.offset.value) + spaced,
            rim_width=float(wheel.rim_width.value),
            rim_diameter=None if wheel.rim_diameter is None else float(wheel.rim_diameter.value),
            spacer=spaced,
            tyre_diameter=float(getattr(geometry, f"{name}_tyre_diameter").value),
            tyre_width=float(getattr(geometry, f"{name}_tyre_width").value),
            arch_x=arch_x,
            arch_width=body.dimension("arch_width", axle),
            arch_radius=None if radius is None else float(radius.value),
            arch_height=None if height is None else float(height.value),
            flush=getattr(geometry, f"{name}_flush"),
            flush_verdict=verdict(Rule.FLUSH, axle),
            clearance=getattr(geometry, f"{name}_arch_clearance"),
            clearance_verdict=verdict(Rule.ARCH, axle),
            travel=None if travel is None else float(travel.value),
            bump=None if bump is None else bump.found,
            bump_verdict=verdict(Rule.BUMP, axle),
        )

    suspension = configuration.front_suspension
    chassis = configuration.platform.chassis_front_width
    return Car(
        platform=configuration.platform.name,
        body=body.name,
        scale=body.scale,
        front=end(Axle.FRONT),
        rear=end(Axle.REAR),
        wheelbase=geometry.wheelbase,
        body_wheelbase=body.wheelbase,
        wheelbase_predicted=body.wheelbase_predicted,
        chain=geometry.chain,
        front_centring=geometry.front_centring,
        front_centring_known=mount is not None and body.nose_reach is not None,
        rear_centring=geometry.rear_centring,
        wheelbase_verdict=verdict(Rule.WHEELBASE),
        mount_verdict=verdict(Rule.BODY_MOUNT),
        kingpin_spacing=float(geometry.kingpin_spacing.value),
        arm_length=None if suspension.arm_length is None else float(suspension.arm_length.value),
        chassis_width=None if chassis is None else float(chassis.value),
        datum=float(configuration.platform.datum.value),
        nose_reach=None if body.nose_reach is None else float(body.nose_reach.value),
        lock_inward=geometry.lock_inward,
        lock_outward=geometry.lock_outward,
        lock_verdict=verdict(Rule.LOCK, Axle.FRONT),
        verdict=report.verdict,
    )


def car_drawn(one: FitReport | Car) -> Car:
    """The car of a report, or one that was taken out of its report before, for several drawings."""
    return one if isinstance(one, Car) else car_of(one)
