"""Facts of the trade at 1:28: common practice, no source.

Widths across, offsets and wheelbases below are the trade's; the parts, their names and every other figure
are invented so that those come out.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitcalc import clearance, wheel
from fitcalc.chain import chain_of
from fitcalc.findings import Action, Rule, Verdict
from fitcalc.fit import FitReport, evaluate
from fitcalc.parts import (
    Axle,
    Body,
    BodyMount,
    Catalogue,
    Configuration,
    Criteria,
    FrontSuspension,
    Layout,
    MotorMount,
    OffsetGrid,
    PairRules,
    Plate,
    Platform,
    Position,
    RearAxle,
    Slot,
    Tyre,
    Wheel,
)
from fitcalc.quantities import exact
from fitcalc.solver import Match, Solution, solve

RIM_WIDTH = 8.5
NARROW, WIDE = 48.0, 53.0
"""Width of a front end across its wheels at zero offset, mm."""
OFFSETS = OffsetGrid(low=-1.0, high=3.0, step=0.5)
TYRE_DIAMETER, TYRE_WIDTH = 24.0, 8.0
ARCH_RADIUS = 14.0
CHASSIS_WIDTH = 24.0
BUMP, ARM = 1.5, 12.0
OUTBOARD = 0.5
"""Kingpin outboard of the hub's face, a side, inside the rim: either front end has the same upright."""


def hub_width(across: float) -> float:
    return wheel.hub_width_from_across(across, RIM_WIDTH)


def kingpins(across: float) -> float:
    return hub_width(across) + 2.0 * OUTBOARD


def flush(across: float, offset: float, arch_width: float) -> float:
    return clearance.flushness(wheel.overall_width(hub_width(across), offset, RIM_WIDTH), arch_width)


def scrub(across: float, offset: float) -> float:
    return wheel.scrub_radius(wheel.track(hub_width(across), offset, RIM_WIDTH), kingpins(across))


def locks(across: float, offset: float, arch_radius: float = ARCH_RADIUS) -> tuple[float, float]:
    gap = (kingpins(across) - CHASSIS_WIDTH) / 2.0
    return clearance.lock_limits(TYRE_DIAMETER, TYRE_WIDTH, scrub(across, offset), arch_radius, 0.0, gap)


def travel(across: float, offset: float) -> float:
    return clearance.wheel_travel(BUMP, ARM, scrub(across, offset))


@pytest.mark.parametrize("across", [NARROW, WIDE])
def test_a_front_end_is_as_wide_as_it_is_called_on_zero_offset_wheels(across):
    assert wheel.overall_width(hub_width(across), 0.0, RIM_WIDTH) == across


def test_a_body_made_for_the_wide_front_is_flush_on_it_with_zero_offset():
    assert flush(WIDE, 0.0, WIDE) == 0.0


def test_a_body_made_for_the_wide_front_is_inset_on_the_narrow_one():
    assert flush(NARROW, 0.0, WIDE) == -2.5


def test_a_body_made_for_the_narrow_front_has_the_wide_one_standing_proud():
    assert flush(WIDE, 0.0, NARROW) == 2.5


def test_two_and_a_half_offset_adds_two_and_a_half_a_side():
    assert flush(NARROW, 2.5, WIDE) == 0.0
    assert wheel.overall_width(hub_width(NARROW), 2.5, RIM_WIDTH) - NARROW == 5.0


def test_offsets_are_sold_in_half_millimetres_from_minus_one_to_three():
    assert OFFSETS.values() == [-1.0, -0.5, 0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0]
    assert OFFSETS.holds(2.5)
    assert not OFFSETS.holds(2.25)
    assert not OFFSETS.holds(3.5)


def test_no_offset_sold_makes_the_wide_front_flush_under_a_narrow_body():
    needed = wheel.offset_for_width(hub_width(WIDE), NARROW, RIM_WIDTH)
    assert needed == -2.5
    assert not OFFSETS.holds(needed)


def test_on_zero_offset_wheels_both_fronts_have_the_same_scrub():
    assert scrub(NARROW, 0.0) == scrub(WIDE, 0.0)


def test_the_narrow_front_on_more_offset_is_as_wide_but_not_the_same_car():
    assert flush(NARROW, 2.5, WIDE) == flush(WIDE, 0.0, WIDE)
    assert scrub(NARROW, 2.5) == scrub(WIDE, 0.0) + 2.5
    assert travel(NARROW, 2.5) > travel(WIDE, 0.0) > BUMP
    for narrow, wide in zip(locks(NARROW, 2.5), locks(WIDE, 0.0), strict=True):
        assert 0.0 < narrow < wide < 90.0


def test_where_the_chassis_stops_the_wheel_the_narrow_front_also_has_less_lock():
    roomy = 40.0
    for narrow, wide in zip(locks(NARROW, 2.5, roomy), locks(WIDE, 0.0, roomy), strict=True):
        assert 0.0 < narrow < wide < 90.0


def test_from_zero_every_step_of_offset_costs_lock_and_adds_travel():
    offsets = np.array([offset for offset in OFFSETS.values() if offset >= 0.0])
    for limits in locks(WIDE, offsets):
        assert (np.diff(limits) < -0.5).all()
    assert (np.diff(travel(WIDE, offsets)) > 0.0).all()


PLATFORM = Platform(
    id="platform",
    name="Sandpiper",
    scale=28,
    datum=exact(60.0),
    offsets=OFFSETS,
    front_rim_width=exact(RIM_WIDTH),
    chassis_front_width=exact(CHASSIS_WIDTH),
    criteria=Criteria(steer_min=10.0),
)
REAR_MOUNT = MotorMount(id="m1", name="Hindmost", chain_length=exact(21.0), layout=Layout.REAR_MOTOR)
MID_MOUNT = MotorMount(id="m2", name="Midships", chain_length=exact(32.0), layout=Layout.MID_MOTOR)
REAR_PLATE = Plate(id="p1", name="Plate for Hindmost", chain_length=exact(5.0))
MID_PLATE = Plate(id="p2", name="Plate for Midships", chain_length=exact(6.0))
POSITIONS = [
    Position(id=("position", i), name=name, shift=exact(4.0 * i))
    for i, name in enumerate(("shortest", "middle", "longest"))
]


def reach(mount: MotorMount, plate: Plate) -> list[float]:
    return [chain_of(PLATFORM, mount, plate, position).length.value for position in POSITIONS]


def test_a_rear_motor_mount_with_its_own_plate_reaches_86_90_and_94():
    assert reach(REAR_MOUNT, REAR_PLATE) == [86.0, 90.0, 94.0]


def test_a_mid_motor_mount_with_its_own_plate_reaches_98_102_and_106():
    assert reach(MID_MOUNT, MID_PLATE) == [98.0, 102.0, 106.0]


def test_90_comes_from_the_middle_position_and_98_from_the_shortest():
    rear = dict(zip((p.name for p in POSITIONS), reach(REAR_MOUNT, REAR_PLATE), strict=True))
    mid = dict(zip((p.name for p in POSITIONS), reach(MID_MOUNT, MID_PLATE), strict=True))
    assert [name for name, length in rear.items() if length == 90.0] == ["middle"]
    assert [name for name, length in mid.items() if length == 98.0] == ["shortest"]


def test_a_neighbouring_position_puts_the_rear_wheel_4_mm_off_its_arch():
    lengths = np.array(reach(REAR_MOUNT, REAR_PLATE))
    assert clearance.rear_centring(lengths, 90.0).tolist() == [4.0, 0.0, -4.0]


# The same facts asked of the solver


def front(name: str, across: float) -> FrontSuspension:
    return FrontSuspension(
        id=name,
        name=name,
        hub_width=exact(hub_width(across)),
        kingpin_spacing=exact(kingpins(across)),
        arm_length=exact(ARM),
        bump_travel=exact(BUMP),
    )


FRONTS = {NARROW: front("narrow", NARROW), WIDE: front("wide", WIDE)}
WHEELS = {
    offset: Wheel(id=f"wheel {offset:+}", offset=exact(offset), rim_width=exact(RIM_WIDTH))
    for offset in OFFSETS.values()
}
TYRE = Tyre(id="tyre", diameter=exact(TYRE_DIAMETER), width=exact(TYRE_WIDTH))
AXLES = {
    across: RearAxle(id=f"axle {across}", hub_width=exact(hub_width(across)), bump_travel=exact(BUMP))
    for across in (NARROW, WIDE)
}
NOSES = {name: BodyMount(id=name, reach=exact(25.0), bodies=frozenset({name})) for name in ("body", "other")}
CATALOGUE = Catalogue(
    platform=PLATFORM,
    front_suspensions=tuple(FRONTS.values()),
    rear_axles=tuple(AXLES.values()),
    wheels=tuple(WHEELS.values()),
    tyres=(TYRE,),
    motor_mounts=(REAR_MOUNT, MID_MOUNT),
    plates=(REAR_PLATE, MID_PLATE),
    positions=tuple(POSITIONS),
    body_mounts=tuple(NOSES.values()),
    pairs=PairRules(
        only_with={"p1": (frozenset({"m1"}),), "p2": (frozenset({"m2"}),)},
    ),
)


def made_for(across: float, **changed) -> Body:
    """A body round a front end ``across`` mm wide on zero-offset wheels front and rear."""
    fields = {
        "id": "body",
        "name": "Sandpiper saloon",
        "scale": 28,
        "layouts": frozenset(Layout),
        "wheelbase": exact(90.0),
        "front_arch_width": exact(across),
        "rear_arch_width": exact(across),
        "front_arch_radius": exact(ARCH_RADIUS),
        "rear_arch_radius": exact(ARCH_RADIUS),
        "front_arch_height": exact(16.0),
        "rear_arch_height": exact(16.0),
        "nose_reach": exact(25.0),
        "designated_front_width": across,
        "designated_front_offset": 0.0,
        "designated_rear_offset": 0.0,
    }
    return Body(**(fields | changed))


def solved(body: Body, catalogue: Catalogue = CATALOGUE) -> Solution:
    return solve(catalogue, body, limit=5000, distinct=False)


def on(across: float, solution: Solution) -> list[Match]:
    return [m for m in solution.matches if m.report.configuration.front_suspension is FRONTS[across]]


def judged(across: float, offset: float, body: Body) -> FitReport:
    return evaluate(
        Configuration(
            platform=PLATFORM,
            front_suspension=FRONTS[across],
            front_wheel=WHEELS[offset],
            front_tyre=TYRE,
            rear_axle=AXLES[body.designated_front_width],
            rear_wheel=WHEELS[0.0],
            rear_tyre=TYRE,
            motor_mount=REAR_MOUNT,
            plate=REAR_PLATE,
            position=POSITIONS[1],
            body_mount=NOSES["body"],
        ),
        body,
        CATALOGUE.pairs,
    )


@pytest.mark.parametrize("across", [NARROW, WIDE])
def test_a_body_is_answered_with_the_front_it_is_made_for_on_zero_offset_flush(across):
    best = solved(made_for(across)).matches[0]
    chosen, geometry = best.report.configuration, best.report.geometry
    assert best.report.verdict is Verdict.FITS
    assert best.designated
    assert chosen.front_suspension is FRONTS[across]
    assert (chosen.front_wheel.offset.value, chosen.rear_wheel.offset.value) == (0.0, 0.0)
    assert (geometry.front_flush.value, geometry.rear_flush.value) == (0.0, 0.0)
    assert chosen.body_mount is NOSES["body"]


def test_the_narrow_front_on_more_offset_is_listed_behind_with_more_scrub_less_lock_and_more_travel():
    solution = solved(made_for(WIDE))
    best = solution.matches[0].report
    equal = next(m for m in on(NARROW, solution) if m.report.geometry.front_flush.value == 0.0)
    assert equal.report.configuration.front_wheel.offset.value == 2.5
    assert equal.report.fits
    assert solution.matches.index(equal) > max(
        n for n, match in enumerate(solution.matches) if match.designated
    )
    was, now = best.geometry, equal.report.geometry
    assert now.front_width.value == was.front_width.value == WIDE
    assert now.scrub_radius.value == was.scrub_radius.value + 2.5
    assert now.lock_inward.value < was.lock_inward.value
    assert now.lock_outward.value < was.lock_outward.value
    assert now.front_wheel_travel.value > was.front_wheel_travel.value
    assert now.turning_circle > was.turning_circle


def test_no_wide_front_fits_a_narrow_body_and_on_zero_offset_it_stands_two_and_a_half_proud():
    body = made_for(NARROW)
    assert on(NARROW, solved(body))
    assert on(WIDE, solved(body)) == []
    report = judged(WIDE, 0.0, body)
    (finding,) = report.failing
    assert (finding.rule, finding.axle, finding.found.value) == (Rule.FLUSH, Axle.FRONT, 2.5)
    (remedy,) = finding.remedies
    assert (remedy.action, remedy.slot, remedy.figure, remedy.sold) == (
        Action.NEEDS,
        Slot.FRONT_WHEEL,
        -2.5,
        False,
    )


def test_a_wide_body_on_the_narrow_front_is_inset_and_mended_by_two_and_a_half_offset():
    (finding,) = judged(NARROW, 0.0, made_for(WIDE)).failing
    assert (finding.rule, finding.found.value) == (Rule.FLUSH, -2.5)
    (remedy,) = finding.remedies
    assert (remedy.slot, remedy.figure, remedy.sold) == (Slot.FRONT_WHEEL, 2.5, True)
    assert judged(NARROW, 2.5, made_for(WIDE)).fits


REACHED = {
    86.0: (REAR_MOUNT, "shortest"),
    90.0: (REAR_MOUNT, "middle"),
    94.0: (REAR_MOUNT, "longest"),
    98.0: (MID_MOUNT, "shortest"),
    102.0: (MID_MOUNT, "middle"),
    106.0: (MID_MOUNT, "longest"),
}


@pytest.mark.parametrize("wheelbase", list(REACHED))
def test_each_wheelbase_comes_from_one_mount_with_its_own_plate_at_one_position(wheelbase):
    solution = solved(made_for(WIDE, wheelbase=exact(wheelbase)))
    chains = {
        (c.motor_mount.id, c.plate.id, c.position.name)
        for c in (match.report.configuration for match in solution.matches)
    }
    mount, position = REACHED[wheelbase]
    plate = REAR_PLATE if mount is REAR_MOUNT else MID_PLATE
    assert chains == {(mount.id, plate.id, position)}
    assert solution.matches[0].report.geometry.wheelbase.value == wheelbase


def test_no_other_wheelbase_can_be_reached():
    every = solved(made_for(WIDE, wheelbase=None))
    assert {match.report.geometry.wheelbase.value for match in every.matches} == set(REACHED)


@pytest.mark.parametrize("wheelbase", [84.0, 88.0, 92.0, 96.0, 100.0, 104.0, 108.0])
def test_between_the_steps_the_rear_wheel_stands_two_millimetres_off_its_arch(wheelbase):
    solution = solved(made_for(WIDE, wheelbase=exact(wheelbase)))
    assert solution.matches == ()
    nearest = solution.near_misses[0].report.failing
    assert {finding.rule for finding in nearest} <= {Rule.WHEELBASE, Rule.ARCH}
    assert {abs(f.found.value) for f in nearest if f.rule is Rule.WHEELBASE} == {2.0}


def test_a_body_with_room_for_a_rear_motor_only_never_has_a_mid_motor_under_it():
    body = made_for(WIDE, layouts=frozenset({Layout.REAR_MOTOR}), wheelbase=exact(98.0))
    solution = solved(body)
    assert solution.matches == ()
    assert {
        finding.rule
        for miss in solution.near_misses
        if miss.report.configuration.motor_mount is MID_MOUNT
        for finding in miss.report.failing
    } >= {Rule.LAYOUT}
    short = solved(made_for(WIDE, layouts=frozenset({Layout.REAR_MOTOR}), wheelbase=exact(94.0)))
    assert {m.report.configuration.motor_mount for m in short.matches} == {REAR_MOUNT}


def test_another_bodys_front_mount_is_not_made_for_this_one():
    assert {m.report.configuration.body_mount for m in solved(made_for(WIDE)).matches} == {NOSES["body"]}
