"""Which cars the demo's members build: under each body a handful of sets, most of them fitting.

Worked out from the plan by the formulas of ``fitcalc``, so that nothing has to be stored or solved first;
what the library then finds of them is its own affair.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from random import Random
from typing import TypeVar

from fitcalc.clearance import flushness, lock_limits, wheel_travel
from fitcalc.parts import Axle, Slot
from fitcalc.wheel import overall_width, scrub_radius, track
from setups.demo.parts import (
    front_slug,
    hub_width,
    kingpin_spacing,
    mount_slug,
    plate_slug,
    rear_slug,
    tyre_slug,
    wheel_slug,
)
from setups.demo.plans import (
    BodyPlan,
    Club,
    FrontEnd,
    Mount,
    PlateSpec,
    PlatformPlan,
    RearEnd,
    TyreSpec,
    decimal,
)
from setups.demo.sets import clash, stations

A_BODY = 6
"""So many cars are built under a body at the most, on each platform of its scale."""
_BOLD = 0.015
"""So many of the choices are a step beyond what fits: somebody tried."""
_SPARE = 0.2
"""What a member likes to have to spare, mm at 1:28."""
_SEVERAL = 3
"""The best so many of what fits are chosen among, and so many of what does not quite."""

T = TypeVar("T")
Ranked = Sequence[tuple[float, float, T]]
"""Choices as (mm beyond what fits, how far from the best place, the choice)."""


@dataclass(frozen=True, slots=True)
class Car:
    """One set of parts under one body, by their addresses."""

    body: str
    platform: PlatformPlan
    position: str
    slots: tuple[tuple[Slot, str], ...]

    @property
    def scale(self) -> int:
        return self.platform.scale


def cars_of(club: Club, random_seed: int) -> dict[str, list[Car]]:
    """The cars under each body that takes any, by the body's address; the same seed gives the same ones."""
    made_for = {row.body: row.part for row in club.body_parts if row.rule == "made_for"}
    fouled = {(row.body, row.part) for row in club.body_parts if row.rule == "fouls"}
    cars: dict[str, list[Car]] = {}
    for body in club.bodies:
        rng = Random(f"{random_seed}:cars:{body.slug}")
        found = [
            car
            for platform in club.platforms
            if platform.scale == body.scale
            for car in _cars(body, platform, fouled, made_for.get(body.slug), rng)
        ]
        if found:
            cars[body.slug] = list(dict.fromkeys(found))
    return cars


def _cars(
    body: BodyPlan, platform: PlatformPlan, fouled: set[tuple[str, str]], body_mount: str | None, rng: Random
) -> Iterator[Car]:
    chains = _chains(body, platform, fouled)
    fronts, rears = _fronts(body, platform), _rears(body, platform)
    for _ in range(A_BODY if chains else 0):
        mount, plate, position = _chosen(chains, rng)
        front, front_offset = _chosen(fronts, rng)
        rear, rear_offset = _chosen([one for one in rears if not clash(platform, mount, one[2][0])], rng)
        scrub = _scrub(platform, front, front_offset)
        tyres = (
            _chosen(_tyres(body, platform, Axle.FRONT, wheel_travel(front.travel, front.arm, scrub)), rng),
            _chosen(_tyres(body, platform, Axle.REAR, rear.travel), rng),
        )
        slots = {
            Slot.FRONT_SUSPENSION: front_slug(platform, front),
            Slot.FRONT_WHEEL: wheel_slug(platform.short, Axle.FRONT, front_offset, platform.front_rim),
            Slot.FRONT_TYRE: tyre_slug(tyres[0], rng.choice(tyres[0].compounds)),
            Slot.REAR_AXLE: rear_slug(platform, rear.label),
            Slot.REAR_WHEEL: wheel_slug(platform.short, Axle.REAR, rear_offset, platform.rear_rim),
            Slot.REAR_TYRE: tyre_slug(tyres[1], rng.choice(tyres[1].compounds)),
            Slot.MOTOR_MOUNT: mount_slug(platform, mount),
            Slot.PLATE: plate_slug(platform, plate),
        } | ({Slot.BODY_MOUNT: body_mount} if body_mount else {})
        yield Car(body.slug, platform, position, tuple(slots.items()))


def _chosen(ranked: Ranked[T], rng: Random) -> T:
    """One of the best that fit; now and then, or where nothing does, one of those that do not quite."""
    fitting = sorted((one for one in ranked if one[0] <= 0), key=lambda one: one[1])
    beyond = sorted((one for one in ranked if one[0] > 0), key=lambda one: one[0])
    bold = rng.random() < _BOLD
    among = (beyond if bold and beyond else fitting or beyond)[:_SEVERAL]
    return rng.choice(among)[2]


def _chains(
    body: BodyPlan, platform: PlatformPlan, fouled: set[tuple[str, str]]
) -> list[tuple[float, float, tuple[Mount, PlateSpec, str]]]:
    takes = {"rear": body.takes_rear_motor, "mid": body.takes_mid_motor}
    known = body.figures.get("wheelbase")
    ranked = []
    for mount, plate, position, length in stations(platform):
        if takes[mount.layout.value] is False or (body.slug, mount_slug(platform, mount)) in fouled:
            continue
        off = 0.0 if known is None else abs(length - known.value)
        ranked.append((off - platform.centring_limit + _spare(platform), off, (mount, plate, position)))
    return ranked


def _fronts(body: BodyPlan, platform: PlatformPlan) -> list[tuple[float, float, tuple[FrontEnd, float]]]:
    """Front ends with offsets: by flushness, and by the lock that the arch leaves the platform's own tyre."""
    ranked = []
    tyre = platform.tyres_of(Axle.FRONT)[0]
    arch = body.figures.get("front_arch_radius")
    for front in platform.fronts:
        for offset in platform.offset_values():
            wide = float(overall_width(hub_width(platform, front), offset, platform.front_rim))
            off, from_flush = _beyond(body, platform, Axle.FRONT, wide)
            if arch is not None:
                scrub = _scrub(platform, front, offset)
                lock = min(lock_limits(tyre.diameter, tyre.width, scrub, arch.value, 0.0, None))
                off = max(off, 0.1 * (platform.steer_min + 1 - float(lock)))
            stated = body.front_width == decimal(front.across, 2) and body.front_offset == decimal(offset, 2)
            ranked.append((off, -1.0 if stated else from_flush, (front, offset)))
    return ranked


def _rears(body: BodyPlan, platform: PlatformPlan) -> list[tuple[float, float, tuple[RearEnd, float]]]:
    return [
        (*_beyond(body, platform, Axle.REAR, float(overall_width(rear.hub, offset, platform.rear_rim))), one)
        for rear in platform.rears
        for offset in platform.offset_values()
        for one in [(rear, offset)]
    ]


def _beyond(body: BodyPlan, platform: PlatformPlan, axle: Axle, width: float) -> tuple[float, float]:
    """How far the wheels stand outside the band that passes for flush, and how far from flush, mm."""
    arch = body.figures.get(f"{axle.value}_arch_width")
    if arch is None:
        return 0.0, 0.0
    proud = float(flushness(width, arch.value))
    spare = _spare(platform)
    return max(proud - platform.flush_band, -platform.inset_limit - proud) + spare, abs(proud)


def _tyres(
    body: BodyPlan, platform: PlatformPlan, axle: Axle, travel: float
) -> list[tuple[float, float, TyreSpec]]:
    """The axle's tyres: by what they leave in the opening and over the top of the tyre in bump."""
    ranked = []
    opening = body.figures.get(f"{axle.value}_arch_radius")
    height = body.figures.get(f"{axle.value}_arch_height")
    for place, tyre in enumerate(platform.tyres_of(axle)):
        off = -1.0
        if opening is not None:
            off = tyre.diameter / 2 + platform.arch_clearance + 2 * _spare(platform) - opening.value
        if height is not None:
            off = max(off, tyre.diameter / 2 + travel + _spare(platform) - height.value)
        ranked.append((off, float(place), tyre))
    return ranked


def _spare(platform: PlatformPlan) -> float:
    return _SPARE * platform.fine


def _scrub(platform: PlatformPlan, front: FrontEnd, offset: float) -> float:
    wide = track(hub_width(platform, front), offset, platform.front_rim)
    return float(scrub_radius(wide, kingpin_spacing(platform, front)))
