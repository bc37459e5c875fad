"""What is sold for the four platforms: packs of every kind but front body mounts."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass, field
from decimal import Decimal

from django.utils.text import slugify

from fitcalc.dimensions import PartKind
from fitcalc.parts import Axle, Layout
from fitcalc.wheel import hub_width_from_across, track
from setups.demo.names import (
    BRACK_TYRES,
    MARRAM_GEARS,
    NETTLE_MOTORS,
    NUMBER_PREFIX,
    SEDGE_WHEELS,
)
from setups.demo.plans import (
    Figure,
    FrontEnd,
    Mount,
    PartPlan,
    PlateSpec,
    PlatformPlan,
    TyreSpec,
    decimal,
)

SPINNING = (
    "Keep fingers, hair and sleeves clear of the motor and gears while the battery is connected, and follow "
    "the motor maker's instructions."
)


@dataclass
class Shelf:
    """Collects parts, numbering them maker by maker, and prices each from its own stream of the seed."""

    random_seed: int
    parts: list[PartPlan] = field(default_factory=list)
    counted: Counter[str] = field(default_factory=Counter)

    def add(
        self,
        kind: PartKind,
        name: str,
        maker: str,
        platforms: tuple[PlatformPlan, ...],
        price: float,
        figures: dict[str, Figure],
        *,
        slug: str = "",
        pack_size: int = 1,
        mass: float | None = None,
        axle: Axle | None = None,
        layout: Layout | None = None,
        description: str = "",
    ) -> str:
        """Puts a part on the shelf and returns its slug."""
        self.counted[maker] += 1
        slug = slug or _slug(name)
        self.parts.append(
            PartPlan(
                slug=slug,
                kind=kind,
                name=name,
                maker=maker,
                number=f"{NUMBER_PREFIX[maker]}-{2000 + 7 * self.counted[maker]}",
                platforms=tuple(platform.slug for platform in platforms),
                price=self.price(slug, price),
                pack_size=pack_size,
                mass=None if mass is None else decimal(mass, 2),
                axle=axle or "",
                layout=layout or "",
                description=description,
                figures=figures,
            )
        )
        return slug

    def price(self, slug: str, about: float) -> Decimal:
        """Within a sixteenth of ``about``, ending in ten cents."""
        spread = random.Random(f"{self.random_seed}:price:{slug}").uniform(-0.06, 0.06)
        return Decimal(f"{about * (1 + spread):.1f}0")


def _slug(words: str) -> str:
    """``words`` as an address in which a decimal point stays visible."""
    return slugify(words.replace(".", "-").replace("/", "-"))


def front_slug(platform: PlatformPlan, front: FrontEnd) -> str:
    return slugify(f"{platform.short} front suspension {front.label}")


def mount_slug(platform: PlatformPlan, mount: Mount) -> str:
    return slugify(f"{platform.short} {mount.label}")


def plate_slug(platform: PlatformPlan, plate: PlateSpec) -> str:
    return slugify(f"{platform.short} {plate.label}")


def rear_slug(platform: PlatformPlan, label: str) -> str:
    return slugify(f"{platform.short} rear axle {label}")


def tyre_slug(tyre: TyreSpec, compound: str) -> str:
    return _slug(f"{tyre.axle} tyre {tyre.diameter:g} {tyre.pattern} {compound}")


def signed(offset: float) -> str:
    """As offsets are printed: +2.5, −1.5, 0."""
    return f"{offset:+g}".replace("-", "−") if offset else "0"


def wheel_slug(prefix: str, axle: Axle, offset: float, rim: float) -> str:
    sign = "minus" if offset < 0 else "plus"
    where = f"{sign} {abs(offset):g}" if offset else "0"
    return _slug(f"{prefix} {axle} wheel {rim:g} wide offset {where}")


def hub_width(platform: PlatformPlan, front: FrontEnd) -> float:
    return round(hub_width_from_across(front.across, platform.front_rim), 3)


def kingpin_spacing(platform: PlatformPlan, front: FrontEnd) -> float:
    zero_track = track(hub_width(platform, front), 0.0, platform.front_rim)
    return round(zero_track - 2 * front.scrub, 3)


def _chassis_parts(shelf: Shelf, platform: PlatformPlan) -> None:
    here, maker, short = (platform,), platform.maker, platform.short
    for front in platform.fronts:
        across = f"{front.across:g} mm across on zero-offset wheels"
        shelf.add(
            PartKind.FRONT_SUSPENSION,
            f"{short} front suspension, {front.label}",
            maker,
            here,
            front.price,
            {
                "hub_width": Figure.stated(hub_width(platform, front), 0.08 * platform.fine),
                "kingpin_spacing": Figure.stated(kingpin_spacing(platform, front), 0.08 * platform.fine),
                "arm_length": Figure.stated(front.arm, 0.1),
                "bump_travel": Figure.agreed(front.travel, 0.08),
                "steer_limit": Figure.measured(front.stop, 0.6),
            },
            mass=9.0 * platform.fine**2,
            description=f"{across[0].upper()}{across[1:]}. Arms, knuckles and kingpins for both sides.",
        )
    for rear in platform.rears:
        shelf.add(
            PartKind.REAR_AXLE,
            f"{short} rear axle, {rear.label}",
            maker,
            here,
            rear.price,
            {
                "hub_width": Figure.stated(rear.hub, 0.08 * platform.fine),
                "bump_travel": Figure.agreed(rear.travel, 0.08),
            },
            mass=6.5 * platform.fine**2,
            description="Axle with hubs and differential outputs; shim its hubs with spacers, not washers.",
        )
    for mount in platform.mounts:
        where = "behind the axle" if mount.layout is Layout.REAR_MOTOR else "ahead of the axle"
        shelf.add(
            PartKind.MOTOR_MOUNT,
            f"{short} {mount.label}",
            maker,
            here,
            mount.price,
            {"chain_length": Figure.stated(mount.share, 0.06 * platform.fine)},
            layout=mount.layout,
            mass=14.0 * platform.fine**2,
            description=f"Carries the motor {where}. Takes only its own layout's plates. {SPINNING}",
        )
    for plate in platform.plates:
        shelf.add(
            PartKind.PLATE,
            f"{short} {plate.label}",
            maker,
            here,
            plate.price,
            {"chain_length": Figure.stated(plate.share, 0.05)},
            mass=2.2 * platform.fine**2,
            description="Joins the mount to the main chassis and flexes for the rear suspension."
            + (f" Sets the axle {plate.share:g} mm further back." if plate.share else ""),
        )
    for label, height in (("low", 0), ("tall", 4)):
        shelf.add(
            PartKind.REAR_BODY_MOUNT,
            f"{short} rear body mount, {label}",
            maker,
            here,
            4.5 * platform.fine,
            {},
            description="Two posts with clips."
            + (f" {height} mm taller, for bodies with a high tail." if height else ""),
        )
    for place, rates in (("front", (0.18, 0.26, 0.36)), ("rear", (0.22, 0.31, 0.42))):
        for name, rate in zip(("soft", "medium", "hard"), rates, strict=True):
            stiffer = round(rate * platform.fine**2, 3)
            shelf.add(
                PartKind.SPRING,
                f"{short} {place} springs, {name}",
                maker,
                here,
                3.4 * platform.fine,
                {"spring_rate": Figure.stated(stiffer, round(0.05 * stiffer, 3))},
                pack_size=2,
                axle=Axle(place),
                description="A pair, matched by the maker; change both sides together.",
            )


def _wheel(
    shelf: Shelf,
    prefix: str,
    maker: str,
    platforms: tuple[PlatformPlan, ...],
    axle: Axle,
    offset: float,
    rim: float,
    pack: int,
    price: float,
) -> None:
    first = platforms[0]
    shelf.add(
        PartKind.WHEEL,
        f"{prefix} {axle} wheels, {rim:g} mm wide, offset {signed(offset)}",
        maker,
        platforms,
        price,
        {
            "offset": Figure.stated(offset, 0.05 * first.fine),
            "rim_width": Figure.stated(rim, 0.05 * first.fine),
            "rim_diameter": Figure.stated(first.rim_diameter, 0.1),
        },
        slug=wheel_slug(prefix, axle, offset, rim),
        pack_size=pack,
        axle=axle,
        mass=1.1 * first.fine**2,
        description=f"{pack} wheels. "
        + (
            f"The rim's inner edge stands {abs(offset):g} mm "
            f"{'outside' if offset > 0 else 'inside'} the hub's face."
            if offset
            else "The rim's inner edge is level with the hub's face."
        ),
    )


def _wheels(shelf: Shelf, platforms: tuple[PlatformPlan, ...]) -> None:
    for platform in platforms:
        for axle, rim in ((Axle.FRONT, platform.front_rim), (Axle.REAR, platform.rear_rim)):
            for offset in platform.offset_values():
                _wheel(
                    shelf,
                    platform.short,
                    platform.maker,
                    (platform,),
                    axle,
                    offset,
                    rim,
                    2,
                    platform.wheel_price,
                )
    small = tuple(platform for platform in platforms if platform.scale == 28)
    shared = sorted(set.intersection(*(set(platform.offset_values()) for platform in small)))
    for axle, rim in ((Axle.FRONT, small[0].front_rim), (Axle.REAR, small[0].rear_rim)):
        for offset in shared:
            _wheel(shelf, "Sedgecombe", SEDGE_WHEELS, small, axle, offset, rim, 4, 1.7 * small[0].wheel_price)


def _tyres(shelf: Shelf, platforms: tuple[PlatformPlan, ...]) -> None:
    for tyre in dict.fromkeys(tyre for platform in platforms for tyre in platform.tyres):
        fits = tuple(platform for platform in platforms if tyre in platform.tyres)
        for compound in tyre.compounds:
            shelf.add(
                PartKind.TYRE,
                f"{tyre.axle} tyres, {tyre.diameter:g} mm {tyre.pattern}, {compound}".capitalize(),
                BRACK_TYRES,
                fits,
                tyre.price,
                {
                    "tyre_diameter": Figure.stated(tyre.diameter, 0.15 * fits[0].fine),
                    "tyre_width": Figure.stated(tyre.width, 0.15 * fits[0].fine),
                    "rim_diameter": Figure.stated(fits[0].rim_diameter, 0.1),
                },
                slug=tyre_slug(tyre, compound),
                pack_size=2,
                axle=tyre.axle,
                mass=0.9 * fits[0].fine ** 2,
                description="A pair. True new tyres before measuring; wear takes the diameter down in use.",
            )


def _sundries(shelf: Shelf, platforms: tuple[PlatformPlan, ...]) -> None:
    """Spacers, motors and gears, sold for every platform of a scale."""
    for scale in dict.fromkeys(platform.scale for platform in platforms):
        fits = tuple(platform for platform in platforms if platform.scale == scale)
        first = fits[0]
        for thickness in first.spacers:
            shelf.add(
                PartKind.SPACER,
                f"Hub spacers 1:{scale}, {thickness:g} mm",
                SEDGE_WHEELS,
                fits,
                2.4 * first.fine,
                {"thickness": Figure.stated(thickness, 0.02)},
                pack_size=4,
                description="One goes behind each wheel of an axle and moves it outward by its thickness.",
            )
        motors = {
            28: ((3600, 12.0), (5200, 12.0), (7400, 12.0), (8600, 14.0), (9800, 14.0)),
            24: ((3100, 16.0), (4300, 16.0), (5500, 16.0)),
            12: ((2300, 28.0), (3400, 28.0), (4700, 28.0)),
        }[scale]
        for kv, can in motors:
            shelf.add(
                PartKind.MOTOR,
                f"Nettlespark {can:g} mm motor, {kv} rpm/V",
                NETTLE_MOTORS,
                fits,
                19.0 * first.fine,
                {
                    "speed_constant": Figure(kv, tolerance=0.05 * kv, source="maker's sheet, unloaded"),
                    "can_diameter": Figure.stated(can, 0.1),
                },
                mass=0.14 * can**2,
                description=f"Brushless, sensored. {SPINNING}",
            )
        module = {28: 0.3, 24: 0.4, 12: 0.5}[scale]
        gears = {
            28: (range(8, 15), (42, 44, 46)),
            24: (range(9, 16), (48, 50, 53)),
            12: (range(18, 27), (70, 74, 78, 82)),
        }[scale]
        for kind, counts, price in ((PartKind.PINION, gears[0], 3.6), (PartKind.SPUR, gears[1], 4.8)):
            for teeth in counts:
                shelf.add(
                    kind,
                    f"{kind.label.capitalize()} {teeth} teeth, module {module:g}",
                    MARRAM_GEARS,
                    fits,
                    price * first.fine**0.5,
                    {"teeth": Figure(teeth, tolerance=0.0), "module": Figure(module, tolerance=0.0)},
                    description="Set the mesh with the battery disconnected: a sheet of paper between the "
                    "teeth, then take it out.",
                )


def parts_of(platforms: tuple[PlatformPlan, ...], random_seed: int) -> tuple[PartPlan, ...]:
    """Everything on sale for ``platforms``; the front body mounts come with the bodies."""
    shelf = Shelf(random_seed)
    for platform in platforms:
        _chassis_parts(shelf, platform)
    _wheels(shelf, platforms)
    _tyres(shelf, platforms)
    _sundries(shelf, platforms)
    return tuple(shelf.parts)
