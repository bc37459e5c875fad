"""Random platforms, bodies and pair rules for the checks of the solver; all figures drawn, none real."""

from __future__ import annotations

import random
from dataclasses import replace

from fitcalc.dimensions import Unit
from fitcalc.parts import (
    Axle,
    Body,
    BodyMount,
    Catalogue,
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
    Spacer,
    Tyre,
    Wheel,
)
from fitcalc.quantities import Quantity, exact

RIM = 8.0


def q(value: float, tolerance: float = 0.1) -> Quantity:
    return Quantity.from_tolerance(round(value, 2), tolerance)


def random_catalogue(
    rng: random.Random,
    *,
    fronts: int = 3,
    wheels: int = 5,
    tyres: int = 2,
    spacers: int = 1,
    mounts: int = 4,
    plates: int = 3,
    positions: int = 3,
    pair_rules: bool = True,
    criteria: Criteria | None = None,
) -> Catalogue:
    """A catalogue of the asked sizes; ids are strings, prices whole, some of them not known."""
    grid = OffsetGrid(low=-1.0, high=3.0, step=0.5)
    platform = Platform(
        id="p",
        name="random",
        scale=28,
        datum=q(20.0),
        offsets=grid,
        front_rim_width=exact(RIM),
        chassis_front_width=exact(round(rng.uniform(14, 22), 1)),
        criteria=criteria or Criteria(steer_min=rng.choice([0.0, 15.0, 22.0])),
    )

    def price() -> float | None:
        return None if rng.random() < 0.1 else float(rng.randint(2, 30))

    def some(chance: float, value: Quantity) -> Quantity | None:
        return value if rng.random() < chance else None

    front = tuple(
        FrontSuspension(
            id=f"f{i}",
            name=f"front {i}",
            price=price(),
            hub_width=q(rng.choice([30.0, 32.5, 35.0, 37.5])),
            kingpin_spacing=q(rng.choice([26.0, 28.0, 31.0])),
            arm_length=some(0.8, q(rng.choice([9.0, 11.0]))),
            bump_travel=some(0.8, q(rng.choice([1.0, 1.5, 2.5]))),
            steer_limit=some(0.7, Quantity(rng.choice([24.0, 28.0, 32.0]), 0.3, Unit.DEGREE)),
        )
        for i in range(fronts)
    )
    rims = tuple(
        Wheel(
            id=f"w{i}",
            name=f"wheel {i}",
            price=price(),
            pack_size=rng.choice([2, 4]),
            offset=q(rng.choice(grid.values()), 0.05),
            rim_width=q(rng.choice([8.0, 8.5, 11.0]), 0.05),
            rim_diameter=some(0.7, q(rng.choice([20.0, 20.5, 21.5]))),
            axles=rng.choice([frozenset(Axle), frozenset([Axle.FRONT]), frozenset([Axle.REAR])]),
        )
        for i in range(wheels)
    )
    rubber = tuple(
        Tyre(
            id=f"t{i}",
            name=f"tyre {i}",
            price=price(),
            pack_size=2,
            diameter=q(rng.choice([23.0, 24.0, 25.5]), 0.2),
            width=q(rng.choice([8.5, 11.0]), 0.2),
            rim_diameter=some(0.7, q(rng.choice([20.0, 21.5]))),
        )
        for i in range(tyres)
    )
    spacing = tuple(
        Spacer(id=f"s{i}", name=f"spacer {i}", price=price(), pack_size=2, thickness=q(0.25 * (i + 1), 0.02))
        for i in range(spacers)
    )
    motor = tuple(
        MotorMount(
            id=f"m{i}",
            name=f"mount {i}",
            price=price(),
            chain_length=q(rng.choice([60.0, 64.0, 72.0, 72.4])),
            layout=rng.choice(list(Layout)),
        )
        for i in range(mounts)
    )
    plate = tuple(
        Plate(id=f"l{i}", name=f"plate {i}", price=price(), chain_length=q(rng.choice([0.0, 2.0, 4.0])))
        for i in range(plates)
    )
    holes = tuple(
        Position(id=("position", i), name=f"hole {i}", shift=q(2.0 * i, 0.05)) for i in range(positions)
    )
    pairs = PairRules()
    if pair_rules:
        only_with = {
            one.id: (frozenset(m.id for m in rng.sample(motor, k=rng.randint(1, mounts))),)
            for one in plate
            if rng.random() < 0.5
        }
        pool = [*front, *rims, *rubber, *motor, *plate]
        never = frozenset(
            frozenset((a.id, b.id)) for a, b in (rng.sample(pool, 2) for _ in range(rng.randint(0, 3)))
        )
        pairs = PairRules(only_with=only_with, never=never)
    return Catalogue(
        platform=platform,
        front_suspensions=front,
        rear_axles=(RearAxle(id="a0", name="axle", price=price(), hub_width=q(31.0), bump_travel=q(1.5)),),
        wheels=rims,
        tyres=rubber,
        spacers=spacing,
        motor_mounts=motor,
        plates=plate,
        positions=holes,
        body_mounts=tuple(
            BodyMount(
                id=f"b{i}", name=f"nose {i}", price=price(), reach=q(24.0 + 0.4 * i), bodies=frozenset(["b"])
            )
            for i in range(rng.randint(0, 2))
        ),
        pairs=pairs,
    )


def random_body(rng: random.Random, *, complete: bool = False) -> Body:
    """A body that some of a random catalogue's configurations should fit, dimensions missing at times."""

    def some(value: Quantity) -> Quantity | None:
        return value if complete or rng.random() < 0.93 else None

    stated = rng.random() < 0.7
    return Body(
        id="b",
        name="body",
        scale=28,
        layouts=rng.choice(
            [None, frozenset(Layout), frozenset([Layout.REAR_MOTOR]), frozenset([Layout.MID_MOTOR])]
        ),
        wheelbase=some(q(rng.choice([84.0, 86.0, 88.0, 92.0, 96.0, 98.0]), 0.3)),
        front_arch_width=some(q(rng.uniform(47.0, 60.0), 0.3)),
        rear_arch_width=some(q(rng.uniform(47.0, 60.0), 0.3)),
        front_arch_radius=some(q(rng.uniform(12.5, 15.5), 0.2)),
        rear_arch_radius=some(q(rng.uniform(12.5, 15.5), 0.2)),
        front_arch_height=some(q(rng.uniform(13.5, 17.0), 0.2)),
        rear_arch_height=some(q(rng.uniform(13.5, 17.0), 0.2)),
        nose_reach=some(q(24.0, 0.3)),
        designated_front_width=rng.choice([46.0, 48.5, 51.0]) if stated else None,
        designated_front_offset=rng.choice([0.0, 0.5, 1.0]) if stated else None,
        designated_rear_offset=rng.choice([0.0, 0.5, 1.0]) if stated else None,
        fouled_by=frozenset(["m0"]) if rng.random() < 0.2 else frozenset(),
    )


def body_meant_for(rng: random.Random, catalogue: Catalogue, *, complete: bool = False) -> Body:
    """A random body reshaped round a configuration drawn from the catalogue: something mostly fits."""

    def pick(parts, axle):
        return rng.choice([part for part in parts if axle in part.axles] or list(parts))

    body = random_body(rng, complete=complete)
    shape = {}
    for axle, end in (
        (Axle.FRONT, rng.choice(catalogue.front_suspensions)),
        (Axle.REAR, catalogue.rear_axles[0]),
    ):
        rim, tyre = pick(catalogue.wheels, axle), pick(catalogue.tyres, axle)
        width = end.hub_width.value + 2 * (rim.offset.value + rim.rim_width.value)
        shape[f"{axle}_arch_width"] = q(width + rng.uniform(-0.6, 2.0), 0.2)
        room = rng.uniform(2.5, 6.5) if axle is Axle.FRONT else rng.uniform(0.8, 3.5)
        shape[f"{axle}_arch_radius"] = q(tyre.diameter.value / 2 + room, 0.2)
        shape[f"{axle}_arch_height"] = q(tyre.diameter.value / 2 + rng.uniform(1.5, 5.0), 0.2)
    mount, plate, hole = (
        rng.choice(x) for x in (catalogue.motor_mounts, catalogue.plates, catalogue.positions)
    )
    length = (
        catalogue.platform.datum.value
        + mount.chain_length.value
        + plate.chain_length.value
        + hole.shift.value
    )
    shape["wheelbase"] = q(length + rng.choice([-0.8, -0.3, 0.0, 0.4, 1.0]), 0.3)
    known = {name: value for name, value in shape.items() if getattr(body, name) is not None}
    return replace(body, **known)
