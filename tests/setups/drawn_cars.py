"""Cars to draw, built by hand: figures in mm at 1:28, scaled to the scale asked for; all invented."""

from __future__ import annotations

from typing import Any

from fitcalc.dimensions import Unit
from fitcalc.fit import FitReport, evaluate
from fitcalc.parts import (
    Body,
    BodyMount,
    Configuration,
    FrontSuspension,
    Layout,
    MotorMount,
    OffsetGrid,
    Plate,
    Platform,
    Position,
    RearAxle,
    Spacer,
    Tyre,
    Wheel,
)
from fitcalc.quantities import Quantity


def drawn_car(
    scale: int = 28,
    front_arch: float = 62.2,
    rear_arch: float = 66.0,
    needs: float = 90.9,
    plate: float = 1.3,
    position: float = 2.6,
    reach: float = 30.0,
    doubt: float = 0.05,
    names: tuple[str, str, str, str] = ("Harrier Seven", "Long mount", "Stepped plate", "second"),
    unknown: tuple[str, ...] = (),
    **body: Any,
) -> FitReport:
    """A car whose front is 62.4 over the wheels, its rear 66.0, its wheelbase 90.9, all times 28 / scale.

    ``names`` are those of platform, mount, plate and position; ``unknown`` names body dimensions that
    nobody has measured.
    """
    k = 28 / scale

    def mm(value: float, tolerance: float = doubt) -> Quantity:
        return Quantity.from_tolerance(value * k, tolerance * k)

    platform = Platform(
        id=1,
        name=names[0],
        scale=scale,
        datum=mm(44.15),
        offsets=OffsetGrid(low=-8 * k, high=8 * k, step=0.5 * k),
        front_rim_width=mm(7.8),
        chassis_front_width=mm(31.0),
    )
    configuration = Configuration(
        platform=platform,
        front_suspension=FrontSuspension(
            id=1,
            hub_width=mm(43.8),
            kingpin_spacing=mm(46.0),
            arm_length=mm(13.4),
            bump_travel=mm(1.6),
            steer_limit=Quantity(28.0, 0.3, Unit.DEGREE),
        ),
        front_wheel=Wheel(id=2, offset=mm(1.0), rim_width=mm(7.8), rim_diameter=mm(19.4)),
        front_tyre=Tyre(id=3, diameter=mm(23.4), width=mm(8.4)),
        front_spacer=Spacer(id=4, thickness=mm(0.5)),
        rear_axle=RearAxle(id=5, hub_width=mm(42.2), bump_travel=mm(1.4)),
        rear_wheel=Wheel(id=6, offset=mm(1.5), rim_width=mm(10.4), rim_diameter=mm(19.4)),
        rear_tyre=Tyre(id=7, diameter=mm(24.3), width=mm(11.0)),
        motor_mount=MotorMount(id=8, name=names[1], chain_length=mm(42.85), layout=Layout.REAR_MOTOR),
        plate=Plate(id=9, name=names[2], chain_length=mm(plate)),
        position=Position(id=("position", 1), name=names[3], shift=mm(position)),
        body_mount=BodyMount(id=10, reach=mm(reach)),
    )
    figures: dict[str, Any] = {
        "layouts": frozenset(Layout),
        "wheelbase": mm(needs),
        "front_arch_width": mm(front_arch),
        "rear_arch_width": mm(rear_arch),
        "front_arch_radius": mm(14.2),
        "rear_arch_radius": mm(14.4),
        "front_arch_height": mm(14.6),
        "rear_arch_height": mm(14.8),
        "nose_reach": mm(30.0),
    }
    figures |= dict.fromkeys(unknown)
    shown = Body(id=1, name="Lapwing Coupé", scale=scale, **{**figures, **body})
    return evaluate(configuration, shown)
