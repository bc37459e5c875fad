"""Sixty bodies, each drawn round a set of parts that its maker had in mind.

A body's figures follow from that hidden set (front end, offsets, mount, plate, position) with the small
deviations that real shells have, so most bodies fit several sets, some just one, and some, twisted on
purpose, none at all by a known amount.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from decimal import Decimal

from django.utils.text import slugify

from fitcalc.clearance import lock_limits, wheel_travel
from fitcalc.dimensions import PartKind
from fitcalc.parts import Axle, Layout, Slot
from fitcalc.wheel import overall_width, scrub_radius, track
from setups.demo.names import CAR_WHEELBASES, MARLPIT, NUMBER_PREFIX, TITLES, TUSSOCK, Title, Twist
from setups.demo.parts import hub_width, kingpin_spacing, mount_slug
from setups.demo.plans import (
    BodyPartPlan,
    BodyPlan,
    ConfigurationPlan,
    Figure,
    FrontEnd,
    Mount,
    PartPlan,
    PlateSpec,
    PlatformPlan,
    RearEnd,
    Shells,
    TyreSpec,
    decimal,
)
from setups.demo.sets import clash, slots_of, stations

FOULED = {
    ("Stormcock Coupé", "dunlin-mid-motor-mount-long"): "The mount's top plate touches the seats.",
    ("Siskin Estate", "dunlin-mid-motor-mount-short"): "The motor's wires press on the load floor.",
    (
        "Brambling Touring",
        "dunlin-rear-motor-mount-short",
    ): "The mount's tail sits under the fuel cell moulding.",
    ("Dotterel Rally", "corncrake-mid-motor-mount-long"): "The mount's brace meets the spare wheel well.",
    ("Treecreeper Hill Climb", "corncrake-mid-motor-mount-short"): "The can touches the gearbox tunnel.",
    (
        "Wheatear Coupé",
        "whimbrel-mid-motor-mount-long",
    ): "The mount's posts stand where the rear bulkhead is.",
    ("Stormcock Silhouette", "fieldfare-mid-motor-pod-short"): "The pod's damper stands against the roof.",
    ("Redshank Spyder", "fieldfare-mid-motor-pod-long"): "The open cockpit has no room over the pod.",
}
"""Mounts that a floor has no room for, and why."""

RAISED = frozenset({"Stormcock Coupé", "Dotterel Rally", "Wheatear Coupé", "Fulmar High Downforce"})
"""Bodies that are sold as a set with a chassis, ready to run."""

MAKER_SAYS_NOTHING = frozenset(
    {
        "Flat Sixpence",
        "Hedgerow Wedge",
        "Millrace Special",
        "Turnstone Club Wedge",
        "Siskin Estate",
        "Guillemot Estate",
        "Linnet Club Racer",
    }
)
"""Bodies whose maker states neither a front end nor offsets."""

TRIM_SAFELY = (
    "Trim it to the maker's instructions, with eye protection on and every cut going away from yourself."
)
_MOULDED = "Moulded, so open its arches with a file, not scissors; wear eye protection and a dust mask."


@dataclass
class Draft:
    """A body on the drawing board: the set that it is drawn round, and its figures as they come."""

    title: Title
    platform: PlatformPlan
    rng: random.Random
    front: FrontEnd
    front_offset: float
    rear: RearEnd
    rear_offset: float
    mount: Mount
    plate: PlateSpec
    position: str
    chain: float
    low: bool = False
    figures: dict[str, float] = field(default_factory=dict)
    tight: frozenset[str] = frozenset()

    def tyre(self, axle: Axle) -> TyreSpec:
        """The tyre that the arches are cut for: the platform's low one or its middle one."""
        return self.platform.tyres_of(axle)[0 if self.low else 1]

    @property
    def scrub(self) -> float:
        """Scrub radius of the front wheel that the body is drawn round."""
        platform = self.platform
        wide = track(hub_width(platform, self.front), self.front_offset, platform.front_rim)
        return float(scrub_radius(wide, kingpin_spacing(platform, self.front)))

    def width(self, axle: Axle) -> float:
        """Width over the wheels that the body is drawn round."""
        platform = self.platform
        if axle is Axle.FRONT:
            hub, offset, rim = hub_width(platform, self.front), self.front_offset, platform.front_rim
        else:
            hub, offset, rim = self.rear.hub, self.rear_offset, platform.rear_rim
        return float(overall_width(hub, offset, rim))


def _draw_round(title: Title, platform: PlatformPlan, rng: random.Random) -> Draft:
    """Chooses the set that the body is drawn round: the chain by the full-size car, the rest by lot."""
    fouling = {part for (body, part) in FOULED if body == title.name}
    reachable = [
        station
        for station in stations(platform)
        if station[0].layout in title.layouts and mount_slug(platform, station[0]) not in fouling
    ]
    middle = sorted(reachable, key=lambda station: station[3])[len(reachable) // 2][3]
    car = CAR_WHEELBASES.get(title.car)
    target = middle if car is None else car / platform.scale * (1 + rng.gauss(0.0, 0.006))
    mount, plate, position, chain = min(reachable, key=lambda station: abs(station[3] - target))

    offsets = platform.offset_values()
    first, last = (1, -2) if len(offsets) > 5 else (0, -1)
    front = rng.choice(platform.fronts)
    front_offset = rng.choice(offsets[first : last - 1])
    front_width = overall_width(hub_width(platform, front), front_offset, platform.front_rim)
    rears = [
        (rear, offset)
        for rear in platform.rears
        if not clash(platform, mount, rear)
        for offset in offsets[first:last]
    ]

    def wider(pair: tuple[RearEnd, float]) -> float:
        return float(overall_width(pair[0].hub, pair[1], platform.rear_rim)) - front_width

    wanted = rng.uniform(0.5, 4.0) * platform.fine
    rear, rear_offset = min(rears, key=lambda pair: (abs(wider(pair) - wanted), pair[1]))
    low = rng.random() < 0.6
    return Draft(
        title, platform, rng, front, front_offset, rear, rear_offset, mount, plate, position, chain, low
    )


def _opening(draft: Draft, diameter: float, width: float, steer: float) -> float:
    """The smallest front opening radius, in tenths, in which the wheel steers by ``steer`` each way."""
    radius = round(diameter / 2 + draft.platform.arch_clearance, 1)
    while min(lock_limits(diameter, width, draft.scrub, radius, 0.0, None)) < steer:
        radius = round(radius + 0.1, 1)
    return radius


def _figure_out(draft: Draft) -> None:
    """The body's figures as they follow from the set that it is drawn round."""
    platform, rng, fine = draft.platform, draft.rng, draft.platform.fine
    front_tyre, rear_tyre = draft.tyre(Axle.FRONT), draft.tyre(Axle.REAR)
    travel = wheel_travel(draft.front.travel, draft.front.arm, draft.scrub)
    opening = _opening(
        draft, front_tyre.diameter, front_tyre.width, platform.steer_min + rng.uniform(2.0, 4.5)
    )

    def above_tyre() -> float:
        return 0.25 * fine if draft.low else rng.uniform(0.3, 0.9) * fine

    draft.figures = {
        "wheelbase": draft.chain + rng.uniform(-0.3, 0.3) * fine,
        "front_arch_width": draft.width(Axle.FRONT) + rng.uniform(-0.4, 0.6) * fine,
        "rear_arch_width": draft.width(Axle.REAR) + rng.uniform(-0.4, 0.6) * fine,
        "front_arch_radius": opening + 0.5 * fine,
        "rear_arch_radius": rear_tyre.diameter / 2 + platform.arch_clearance + rng.uniform(0.9, 1.7) * fine,
        "front_arch_height": front_tyre.diameter / 2 + travel + above_tyre(),
        "rear_arch_height": rear_tyre.diameter / 2 + draft.rear.travel + above_tyre(),
        "nose_reach": rng.uniform(19.0, 27.0) * fine,
        "mass": rng.uniform(21.0, 31.0) * fine**2,
    }
    if draft.low:
        draft.tight = frozenset({"front_arch_height", "rear_arch_height"})


def _draw_tight(draft: Draft, everywhere: bool) -> None:
    """Redraws the body round the narrowest front end and the low tyres, with nothing to spare there.

    With ``everywhere`` also round the narrowest rear end and the shortest chain, so that one set is left.
    """
    platform, draft.low = draft.platform, True
    draft.front, draft.front_offset = platform.fronts[0], platform.offsets[0]
    if everywhere:
        own = [station for station in stations(platform) if station[0].layout in draft.title.layouts]
        draft.mount, draft.plate, draft.position, draft.chain = min(own, key=lambda station: station[3])
        draft.rear, draft.rear_offset = platform.rears[0], platform.offsets[0]
    _figure_out(draft)
    figures, proud = draft.figures, 1.4 * platform.flush_band
    figures["front_arch_width"] = draft.width(Axle.FRONT) - proud
    if everywhere:
        figures["rear_arch_width"] = draft.width(Axle.REAR) - proud
        figures["wheelbase"] = draft.chain - 0.5 * platform.centring_limit
    draft.tight = frozenset(figures) - {"mass"}


def _twist(draft: Draft, rivals: list[PlatformPlan]) -> None:
    """Makes the body as unusual as its title says. ``rivals`` are all platforms of its scale."""
    platform, figures, twist = draft.platform, draft.figures, draft.title.twist
    low_front, low_rear = (min(t.diameter for t in platform.tyres_of(axle)) for axle in Axle)
    chains = [s[3] for rival in rivals for s in stations(rival) if s[0].layout in draft.title.layouts]
    narrowest = min(
        float(overall_width(hub_width(rival, front), rival.offsets[0], rival.front_rim))
        for rival in rivals
        for front in rival.fronts
    )
    if twist is Twist.CLOSE_FLUSH:
        draft.front, draft.front_offset = platform.fronts[0], platform.offsets[0]
        _figure_out(draft)
        draft.figures["front_arch_width"] = draft.width(Axle.FRONT) - 2 * platform.flush_band + 0.1
    elif twist in (Twist.ONE, Twist.FEW):
        _draw_tight(draft, everywhere=twist is Twist.ONE)
    elif twist is Twist.CLOSE_BASE:
        figures["wheelbase"] = max(chains) + 0.97 * platform.centring_limit
    elif twist is Twist.CLOSE_BUMP:
        figures["rear_arch_height"] = low_rear / 2 + min(r.travel for v in rivals for r in v.rears) + 0.03
    elif twist is Twist.TOO_LONG:
        figures["wheelbase"] = max(chains) + platform.centring_limit + 1.5
        figures["rear_arch_radius"] += platform.centring_limit + 1.5
        draft.tight |= {"wheelbase", "nose_reach"}
    elif twist is Twist.SHORT_FOR_MID:
        figures["wheelbase"] = min(chains) - platform.centring_limit - 1.2
        figures["rear_arch_radius"] += platform.centring_limit + 1.2
        draft.tight |= {"wheelbase", "nose_reach"}
    elif twist is Twist.NARROW_FRONT:
        figures["front_arch_width"] = narrowest - 2 * (platform.flush_band + 0.7)
    elif twist is Twist.WIDE_REAR:
        widest = overall_width(
            platform.rears[-1].hub, platform.offsets[1], platform.rear_rim, platform.spacers[-1]
        )
        figures["rear_arch_width"] = float(widest) + 2 * (platform.inset_limit + 0.9)
    elif twist is Twist.LOW_FRONT:
        figures["front_arch_height"] = low_front / 2 + min(front.travel for front in platform.fronts) - 0.6
    elif twist is Twist.SMALL_ARCH:
        figures["rear_arch_radius"] = low_rear / 2 + platform.arch_clearance - 0.6
    elif twist is Twist.NO_WHEELBASE:
        del figures["wheelbase"]
    elif twist is Twist.NO_WIDTHS:
        del figures["front_arch_width"], figures["rear_arch_width"]


def _doubt(draft: Draft, key: str, value: float) -> Figure:
    """The figure as somebody came by it: a maker's sheet, one member, or three of them."""
    fine, value = draft.platform.fine, round(value, 1)
    if key == "mass":
        return Figure(round(value), uncertainty=0.5, source="club scale, painted, with its mounts")
    if key in draft.tight:
        return Figure.agreed(value, round(0.05 * fine, 3))
    lot = draft.rng.random()
    if lot < 0.4:
        return Figure.stated(value, round(0.25 * fine, 2))
    if lot < 0.8:
        return Figure.agreed(value, round(draft.rng.uniform(0.06, 0.12) * fine, 3))
    return Figure.measured(value, round(draft.rng.uniform(0.14, 0.22) * fine, 3))


def _describe(draft: Draft, moulded: bool) -> str:
    title, platform = draft.title, draft.platform
    if title.name in MAKER_SAYS_NOTHING:
        first = (
            f"No full-size car behind it: a plain racing shape for 1:{platform.scale}."
            if not title.car
            else (f"Drawn after the {title.car}; its maker states no front end, so go by the arches.")
        )
    else:
        first = {
            Twist.ONE: f"Tight arches and a short floor, drawn close round the {platform.short}.",
            Twist.FEW: "Narrow in front, with arches cut for low tyres.",
            Twist.TOO_LONG: "Drawn to the record car's own length, with the tail that goes with it.",
            Twist.NARROW_FRONT: "A pencil of a car: arches drawn to scale and not to any chassis.",
            Twist.WIDE_REAR: "Flared for double rear wheels that nobody has sold in this scale.",
            Twist.SHORT_FOR_MID: "A flat wedge; its floor leaves room for a mid motor only.",
            Twist.LOW_FRONT: "Sits low on its front wheels, as the beach car did on its balloon tyres.",
            Twist.SMALL_ARCH: "Half-covered rear wheels, as the vintage car had them.",
            Twist.NO_WHEELBASE: "Out of production, and nobody in the club has measured its wheelbase.",
            Twist.NO_WIDTHS: "New this month: the widths over its arches are still to be measured.",
            Twist.UNTRIED: "An open load bed. Nobody has tried yet which motor layouts its floor takes.",
            Twist.NO_MOUNT: "Comes without a front mount; its maker has not listed one.",
        }.get(
            title.twist,
            f"Drawn for the {draft.front.label} front end"
            + (f", after the {title.car}." if title.car else "."),
        )
    return f"{first} {_MOULDED if moulded else TRIM_SAFELY}"


def _plan(draft: Draft, number: str) -> BodyPlan:
    title, platform, rng = draft.title, draft.platform, draft.rng
    moulded = title.maker == TUSSOCK or (title.maker == MARLPIT and platform.scale == 28)
    silent = title.name in MAKER_SAYS_NOTHING
    car = CAR_WHEELBASES.get(title.car)
    tried = title.twist is not Twist.UNTRIED
    about = (26.0 if moulded else 17.0) * platform.fine * rng.uniform(0.85, 1.2)
    return BodyPlan(
        slug=slugify(f"{title.name} 1 {platform.scale}"),
        name=title.name,
        maker=title.maker,
        number=number,
        scale=platform.scale,
        material="moulded" if moulded else "polycarbonate",
        price=Decimal(f"{about:.1f}0"),
        car=title.car,
        car_wheelbase=None if car is None else Decimal(car),
        takes_rear_motor=(Layout.REAR_MOTOR in title.layouts) if tried else None,
        takes_mid_motor=(Layout.MID_MOTOR in title.layouts) if tried else None,
        front_width=None if silent else decimal(draft.front.across, 2),
        front_offset=None if silent else decimal(draft.front_offset, 2),
        rear_offset=None if silent else decimal(draft.rear_offset, 2),
        description=_describe(draft, moulded),
        figures={key: _doubt(draft, key, value) for key, value in draft.figures.items()},
    )


def _front_mount(draft: Draft, body: BodyPlan, rivals: list[PlatformPlan]) -> PartPlan:
    fine = draft.platform.fine
    off = 0.0 if "nose_reach" in draft.tight else draft.rng.uniform(-0.2, 0.2) * fine
    return PartPlan(
        slug=f"{body.slug}-front-body-mount",
        kind=PartKind.FRONT_BODY_MOUNT,
        name=f"{body.name} front body mount"[:120],
        maker=body.maker,
        number=f"{body.number}-F",
        platforms=tuple(rival.slug for rival in rivals),
        price=Decimal(f"{4.2 * fine:.1f}0"),
        mass=decimal(1.4 * fine**2, 2),
        description="Made for this body alone: it sets how far the nose stands ahead of the front wheels.",
        figures={
            "reach": Figure.stated(round(body.figures["nose_reach"].value + off, 1), 0.05 * fine),
        },
    )


def _supplied(draft: Draft, body: BodyPlan, mount: PartPlan) -> ConfigurationPlan:
    platform = draft.platform
    slots = slots_of(
        platform,
        [draft.tyre(axle) for axle in Axle],
        draft.front,
        draft.front_offset,
        draft.rear.label,
        draft.rear_offset,
        draft.mount,
        draft.plate,
    )
    name = f"{platform.short} with {body.name}, as supplied"
    return ConfigurationPlan(
        name, platform.slug, draft.position, slots | {Slot.BODY_MOUNT: mount.slug}, body.slug
    )


def bodies_of(platforms: tuple[PlatformPlan, ...], random_seed: int) -> Shells:
    """Every body with its front mount, what fouls it, and the sets that come with one."""
    by_slug = {platform.slug: platform for platform in platforms}
    bodies, mounts, body_parts, configurations = [], [], [], []
    for count, title in enumerate(TITLES, start=1):
        platform = by_slug[title.platform]
        rivals = [rival for rival in platforms if rival.scale == platform.scale]
        draft = _draw_round(
            title, platform, random.Random(f"{random_seed}:body:{title.name}:{platform.scale}")
        )
        _figure_out(draft)
        _twist(draft, rivals)
        body = _plan(draft, f"{NUMBER_PREFIX[title.maker]}-{100 * platform.scale + count}")
        bodies.append(body)
        for (name, part), reason in FOULED.items():
            if name == title.name:
                body_parts.append(BodyPartPlan(body.slug, part, "fouls", reason))
        if title.twist is Twist.NO_MOUNT:
            continue
        mount = _front_mount(draft, body, rivals)
        mounts.append(mount)
        body_parts.append(BodyPartPlan(body.slug, mount.slug, "made_for"))
        if title.name in RAISED:
            configurations.append(_supplied(draft, body, mount))
    return Shells(
        bodies=tuple(bodies),
        mounts=tuple(mounts),
        body_parts=tuple(body_parts),
        configurations=tuple(configurations),
    )
