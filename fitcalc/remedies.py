"""What would mend a finding, from the geometry alone: the figure that the slot would need.

The solver adds which part of the library has it (``solver.swaps``).
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from fitcalc import wheel
from fitcalc.findings import Action, Finding, Remedy, Rule
from fitcalc.parts import Axle, Body, Configuration, Slot

_SLOTS = {
    Axle.FRONT: (Slot.FRONT_WHEEL, Slot.FRONT_TYRE, Slot.FRONT_SUSPENSION),
    Axle.REAR: (Slot.REAR_WHEEL, Slot.REAR_TYRE, Slot.REAR_AXLE),
}


def analytic(finding: Finding, configuration: Configuration, body: Body) -> Finding:
    """The finding with what would mend it; one that clearly holds comes back as it is."""
    if finding.missing:
        return replace(finding, remedies=_measure(finding.missing))
    if finding.holds:
        return finding
    remedy = _needed(finding, configuration, body)
    return finding if remedy is None else replace(finding, remedies=(remedy,))


@cache
def _measure(missing: tuple[str, ...]) -> tuple[Remedy, ...]:
    return tuple(Remedy(Action.MEASURE, quantity=name) for name in missing)


def _needed(finding: Finding, configuration: Configuration, body: Body) -> Remedy | None:
    if finding.found is None:
        return None
    if finding.rule is Rule.WHEELBASE and body.wheelbase is not None:
        # rear_centring = L_body - L - e; the chain must take up all of it.
        length = body.wheelbase.value - _mount_error(configuration, body)
        return Remedy(Action.NEEDS, Slot.MOTOR_MOUNT, quantity="wheelbase", figure=length)
    if finding.rule is Rule.BODY_MOUNT and body.nose_reach is not None:
        return Remedy(Action.NEEDS, Slot.BODY_MOUNT, quantity="reach", figure=body.nose_reach.value)
    if finding.axle is None or finding.margin is None:
        return None
    wheel_slot, tyre_slot, end_slot = _SLOTS[finding.axle]
    if finding.rule is Rule.FLUSH:
        return _offset_needed(finding, configuration, body, wheel_slot)
    if finding.rule is Rule.ARCH:
        tyre = configuration.part(tyre_slot)
        # Clearance falls by half of what the diameter gains; margin is negative here.
        diameter = tyre.diameter.value + 2.0 * finding.margin
        return Remedy(Action.NEEDS, tyre_slot, quantity="tyre_diameter", figure=diameter)
    if finding.rule is Rule.BUMP:
        end = configuration.part(end_slot)
        lever = _lever(configuration) if finding.axle is Axle.FRONT else 1.0
        travel = end.bump_travel.value + finding.margin / lever
        if travel < 0:
            return None
        return Remedy(Action.NEEDS, end_slot, quantity="bump_travel", figure=travel)
    return None


def _mount_error(configuration: Configuration, body: Body) -> float:
    if configuration.body_mount is None or body.nose_reach is None:
        return 0.0
    return float(configuration.body_mount.reach.value - body.nose_reach.value)


def _offset_needed(
    finding: Finding, configuration: Configuration, body: Body, wheel_slot: Slot
) -> Remedy | None:
    """The offset of the platform's grid that comes nearest to flush, or the exact one where none does."""
    assert finding.found is not None
    grid = configuration.platform.offsets
    exact = float(configuration.part(wheel_slot).offset.value - finding.found.value)
    nearest = min(grid.values(), key=lambda offset: (abs(offset - exact), offset))
    left = nearest - exact
    low, high = finding.low or 0.0, finding.high or 0.0
    if low <= left <= high:
        return Remedy(Action.NEEDS, wheel_slot, quantity="offset", figure=nearest)
    return Remedy(Action.NEEDS, wheel_slot, quantity="offset", figure=exact, sold=False)


def _lever(configuration: Configuration) -> float:
    suspension = configuration.front_suspension
    if suspension.arm_length is None:
        return 1.0
    spacer = configuration.front_spacer.thickness.value if configuration.front_spacer else 0.0
    rim = configuration.front_wheel
    track = wheel.track(suspension.hub_width.value, rim.offset.value, rim.rim_width.value, spacer)
    scrub = wheel.scrub_radius(track, suspension.kingpin_spacing.value)
    return float((suspension.arm_length.value + scrub) / suspension.arm_length.value)
