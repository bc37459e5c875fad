"""Facts of the trade at 1:28: common practice, no source.

Widths across, offsets and wheelbases below are the trade's; the parts, their names and every other figure
are invented so that those come out.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitcalc import clearance, wheel
from fitcalc.chain import chain_of
from fitcalc.parts import Layout, MotorMount, OffsetGrid, Plate, Platform, Position
from fitcalc.quantities import exact

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
