"""What goes with what on the four platforms: pairs, published wheelbases, sets as supplied."""

from __future__ import annotations

from fitcalc.parts import Axle, Layout, Slot
from setups.demo.parts import front_slug, mount_slug, plate_slug, rear_slug, tyre_slug, wheel_slug
from setups.demo.plans import (
    ConfigurationPlan,
    FrontEnd,
    KnownPlan,
    Mount,
    PairPlan,
    PlateSpec,
    PlatformPlan,
    RearEnd,
    TyreSpec,
)


def stations(platform: PlatformPlan) -> list[tuple[Mount, PlateSpec, str, float]]:
    """Every mount, plate and position that go together, with the wheelbase they add up to, mm."""
    return [
        (mount, plate, position, round(platform.datum + mount.share + plate.share + shift, 3))
        for mount in platform.mounts
        for plate in platform.plates
        if plate.layout is mount.layout
        for position, shift in platform.positions
    ]


_NEVER = {
    ("Dunlin", "mid-motor mount, long", "wide"): "The mount's arms foul the wide axle's bearing carriers.",
    ("Fieldfare", "mid-motor pod, long", "narrow"): "The pod's side links need the standard axle or wider.",
}
"""Platform, mount and rear axle that must not meet, and why."""


def clash(platform: PlatformPlan, mount: Mount, rear: RearEnd) -> str:
    """Why ``mount`` and ``rear`` must not meet; empty where they may."""
    return _NEVER.get((platform.short, mount.label, rear.label), "")


def pairs_of(platforms: tuple[PlatformPlan, ...]) -> tuple[PairPlan, ...]:
    """Which plates go with which mounts, and what must not meet."""
    pairs = []
    for platform in platforms:
        for plate in platform.plates:
            pairs += [
                PairPlan(
                    plate_slug(platform, plate),
                    mount_slug(platform, mount),
                    "only_with",
                    "The plate's holes match this layout's mounts.",
                )
                for mount in platform.mounts
                if mount.layout is plate.layout
            ]
    pairs += [
        PairPlan(mount_slug(platform, mount), rear_slug(platform, rear.label), "never", reason)
        for platform in platforms
        for mount in platform.mounts
        for rear in platform.rears
        if (reason := clash(platform, mount, rear))
    ]
    return tuple(pairs)


_MISPRINT = ("thrale-corncrake", 4, 1.4)
"""The one published wheelbase that is wrong: platform, place in the table, how much too long (mm)."""


def known_of(platforms: tuple[PlatformPlan, ...]) -> tuple[KnownPlan, ...]:
    """Every fourth wheelbase that a platform reaches, as its maker published it; one is a misprint."""
    known = []
    for platform in platforms:
        published = [
            s for s in stations(platform) if "carbon" not in s[1].label and "thick" not in s[1].label
        ][::4]
        for place, (mount, plate, position, wheelbase) in enumerate(published):
            misprint = _MISPRINT[2] if (platform.slug, place) == _MISPRINT[:2] else 0.0
            known.append(
                KnownPlan(
                    platform.slug,
                    mount_slug(platform, mount),
                    plate_slug(platform, plate),
                    position,
                    round(wheelbase + misprint, 1),
                    0.2,
                    "leaflet, first printing" if misprint else f"{platform.maker}, table in the manual",
                )
            )
    return tuple(known)


def slots_of(
    platform: PlatformPlan,
    tyres: list[TyreSpec],
    front: FrontEnd,
    front_offset: float,
    rear: str,
    rear_offset: float,
    mount: Mount,
    plate: PlateSpec,
) -> dict[Slot, str]:
    """A full set of the platform's own parts, on the front and the rear of ``tyres``."""
    front_tyre, rear_tyre = tyres
    return {
        Slot.FRONT_SUSPENSION: front_slug(platform, front),
        Slot.FRONT_WHEEL: wheel_slug(platform.short, Axle.FRONT, front_offset, platform.front_rim),
        Slot.FRONT_TYRE: tyre_slug(front_tyre, front_tyre.compounds[0]),
        Slot.REAR_AXLE: rear_slug(platform, rear),
        Slot.REAR_WHEEL: wheel_slug(platform.short, Axle.REAR, rear_offset, platform.rear_rim),
        Slot.REAR_TYRE: tyre_slug(rear_tyre, rear_tyre.compounds[0]),
        Slot.MOTOR_MOUNT: mount_slug(platform, mount),
        Slot.PLATE: plate_slug(platform, plate),
    }


def supplied_of(platforms: tuple[PlatformPlan, ...]) -> tuple[ConfigurationPlan, ...]:
    """Two sets a platform as the maker supplies them, one a layout."""
    sets = []
    for platform in platforms:
        offsets = platform.offset_values()
        middle = [platform.tyres_of(axle)[1] for axle in Axle]
        for layout, words in ((Layout.REAR_MOTOR, "rear motor"), (Layout.MID_MOTOR, "mid motor")):
            mount = next(mount for mount in platform.mounts if mount.layout is layout)
            plate = next(plate for plate in platform.plates if plate.layout is layout)
            front = platform.fronts[0 if layout is Layout.REAR_MOTOR else -1]
            sets.append(
                ConfigurationPlan(
                    f"{platform.short} as supplied, {words}",
                    platform.slug,
                    platform.positions[1][0],
                    slots_of(platform, middle, front, offsets[2], "standard", offsets[2], mount, plate),
                )
            )
    return tuple(sets)
