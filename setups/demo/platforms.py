"""Four invented chassis families in three scales. The figures are nobody's: they only hang together."""

from __future__ import annotations

from fitcalc.parts import Axle, Layout
from setups.demo.plans import FrontEnd, Mount, PlateSpec, PlatformPlan, RearEnd, TyreSpec

_REAR, _MID = Layout.REAR_MOTOR, Layout.MID_MOTOR

SMALL_TYRES = (
    TyreSpec(
        axle=Axle.FRONT, diameter=22.8, width=8.4, pattern="low slick", compounds=("medium",), price=5.2
    ),
    TyreSpec(
        axle=Axle.FRONT,
        diameter=23.4,
        width=8.4,
        pattern="slick",
        compounds=("soft", "medium", "hard"),
        price=4.9,
    ),
    TyreSpec(axle=Axle.FRONT, diameter=24.1, width=8.6, pattern="treaded", compounds=("soft",), price=5.6),
    TyreSpec(axle=Axle.REAR, diameter=23.6, width=11.0, pattern="low slick", compounds=("soft",), price=5.7),
    TyreSpec(
        axle=Axle.REAR,
        diameter=24.3,
        width=11.0,
        pattern="slick",
        compounds=("soft", "medium", "hard"),
        price=5.4,
    ),
    TyreSpec(
        axle=Axle.REAR, diameter=25.0, width=11.2, pattern="treaded", compounds=("soft", "medium"), price=6.1
    ),
)
"""Both 1:28 platforms turn on the same rims, so they share their tyres."""

DUNLIN = PlatformPlan(
    slug="quillmoor-dunlin",
    name="Quillmoor Dunlin",
    short="Dunlin",
    maker="Quillmoor Works",
    scale=28,
    drive="rear",
    description="The club's most common small chassis: rear drive, two front ends, and a motor mount for "
    "either layout. Parts are cheap and the carpet class is built round it.",
    source="maker's manual, third printing",
    datum=44.2,
    datum_tolerance=0.06,
    chassis_front_width=31.0,
    front_rim=7.8,
    rear_rim=10.4,
    rim_diameter=19.4,
    offsets=(-1.5, 4.0, 0.5),
    flush_band=0.5,
    inset_limit=1.0,
    centring_limit=1.0,
    arch_clearance=0.5,
    steer_min=20.0,
    positions=(("inner", 0.0), ("second", 2.6), ("third", 5.2), ("outer", 7.8)),
    fronts=(
        FrontEnd(label="narrow", across=59.4, scrub=2.8, arm=13.4, travel=1.6, stop=28.0, price=13.5),
        FrontEnd(label="wide", across=64.2, scrub=2.8, arm=15.8, travel=1.6, stop=28.0, price=18.5),
    ),
    rears=(
        RearEnd(label="standard", hub=42.2, travel=1.4, price=12.0),
        RearEnd(label="wide", hub=45.8, travel=1.4, price=13.5),
    ),
    mounts=(
        Mount(label="rear-motor mount, short", layout=_REAR, share=37.0, price=18.0),
        Mount(label="rear-motor mount, long", layout=_REAR, share=42.85, price=18.0),
        Mount(label="mid-motor mount, short", layout=_MID, share=53.2, price=21.0),
        Mount(label="mid-motor mount, long", layout=_MID, share=58.55, price=21.0),
    ),
    plates=(
        PlateSpec(label="rear-motor plate, fibre", layout=_REAR, share=0.0, price=6.5),
        PlateSpec(label="rear-motor plate, carbon", layout=_REAR, share=0.0, price=11.0),
        PlateSpec(label="rear-motor plate, stepped", layout=_REAR, share=1.3, price=7.5),
        PlateSpec(label="mid-motor plate, fibre", layout=_MID, share=0.0, price=6.5),
        PlateSpec(label="mid-motor plate, stepped", layout=_MID, share=1.3, price=7.5),
    ),
    tyres=SMALL_TYRES,
    spacers=(0.25,),
    wheel_price=6.0,
)

CORNCRAKE = PlatformPlan(
    slug="thrale-corncrake",
    name="Thrale Corncrake",
    short="Corncrake",
    maker="Dabchick & Thrale",
    scale=28,
    drive="all",
    description="Four-wheel drive on a narrow chassis, with three front ends. Its wheels come in coarser "
    "offset steps than the Dunlin's; where the two grids meet, the same wheel fits both.",
    source="maker's leaflet; datum measured at the club",
    datum=40.5,
    datum_tolerance=0.08,
    chassis_front_width=29.5,
    front_rim=7.8,
    rear_rim=10.4,
    rim_diameter=19.4,
    offsets=(-1.5, 3.75, 0.75),
    flush_band=0.5,
    inset_limit=1.1,
    centring_limit=1.0,
    arch_clearance=0.5,
    steer_min=18.0,
    positions=(("1", -4.4), ("2", -2.2), ("3", 0.0), ("4", 2.2), ("5", 4.4)),
    fronts=(
        FrontEnd(label="narrow", across=57.2, scrub=2.6, arm=12.6, travel=1.5, stop=25.0, price=15.5),
        FrontEnd(label="middle", across=61.0, scrub=2.6, arm=14.5, travel=1.5, stop=25.0, price=19.0),
        FrontEnd(label="wide", across=65.6, scrub=2.6, arm=16.8, travel=1.5, stop=25.0, price=22.5),
    ),
    rears=(
        RearEnd(label="standard", hub=43.6, travel=1.5, price=17.0),
        RearEnd(label="wide", hub=47.4, travel=1.5, price=17.5),
    ),
    mounts=(
        Mount(label="rear-motor mount", layout=_REAR, share=43.4, price=22.0),
        Mount(label="mid-motor mount, short", layout=_MID, share=54.1, price=24.0),
        Mount(label="mid-motor mount, long", layout=_MID, share=60.3, price=24.0),
    ),
    plates=(
        PlateSpec(label="rear-motor plate", layout=_REAR, share=0.0, price=8.0),
        PlateSpec(label="rear-motor plate, stepped", layout=_REAR, share=1.1, price=8.5),
        PlateSpec(label="mid-motor plate", layout=_MID, share=0.0, price=8.0),
        PlateSpec(label="mid-motor plate, carbon", layout=_MID, share=0.0, price=13.0),
        PlateSpec(label="mid-motor plate, stepped", layout=_MID, share=1.1, price=8.5),
    ),
    tyres=SMALL_TYRES,
    spacers=(0.25,),
    wheel_price=6.8,
)

WHIMBREL = PlatformPlan(
    slug="hollowmere-whimbrel",
    name="Hollowmere Whimbrel",
    short="Whimbrel",
    maker="Hollowmere Model Engineering",
    scale=24,
    drive="rear",
    description="A 1:24 chassis for the larger hall circuits. Three front ends and offsets in whole "
    "millimetres make it quick to match to a body.",
    source="maker's manual, first printing",
    datum=50.0,
    datum_tolerance=0.1,
    chassis_front_width=33.0,
    front_rim=9.6,
    rear_rim=12.4,
    rim_diameter=22.6,
    offsets=(-2.0, 4.0, 1.0),
    flush_band=0.6,
    inset_limit=1.3,
    centring_limit=1.2,
    arch_clearance=0.6,
    steer_min=18.0,
    positions=(("I", 0.0), ("II", 3.2), ("III", 6.4), ("IV", 9.6), ("V", 12.8)),
    fronts=(
        FrontEnd(label="narrow", across=68.0, scrub=3.2, arm=15.5, travel=2.0, stop=26.0, price=18.0),
        FrontEnd(label="middle", across=72.4, scrub=3.2, arm=17.7, travel=2.0, stop=26.0, price=21.5),
        FrontEnd(label="wide", across=77.8, scrub=3.2, arm=20.4, travel=2.0, stop=26.0, price=25.0),
    ),
    rears=(
        RearEnd(label="standard", hub=50.6, travel=1.8, price=15.0),
        RearEnd(label="wide", hub=55.0, travel=1.8, price=16.0),
    ),
    mounts=(
        Mount(label="rear-motor mount", layout=_REAR, share=43.3, price=23.0),
        Mount(label="mid-motor mount, short", layout=_MID, share=61.5, price=26.0),
        Mount(label="mid-motor mount, long", layout=_MID, share=67.8, price=26.0),
    ),
    plates=(
        PlateSpec(label="rear-motor plate", layout=_REAR, share=0.0, price=9.0),
        PlateSpec(label="rear-motor plate, stepped", layout=_REAR, share=1.6, price=9.5),
        PlateSpec(label="mid-motor plate", layout=_MID, share=0.0, price=9.0),
        PlateSpec(label="mid-motor plate, carbon", layout=_MID, share=0.0, price=15.0),
        PlateSpec(label="mid-motor plate, stepped", layout=_MID, share=1.6, price=9.5),
    ),
    tyres=(
        TyreSpec(
            axle=Axle.FRONT, diameter=26.6, width=10.2, pattern="low slick", compounds=("medium",), price=6.6
        ),
        TyreSpec(
            axle=Axle.FRONT, diameter=27.3, width=10.2, pattern="slick", compounds=("soft", "hard"), price=6.2
        ),
        TyreSpec(
            axle=Axle.REAR, diameter=27.6, width=13.0, pattern="low slick", compounds=("medium",), price=7.1
        ),
        TyreSpec(
            axle=Axle.REAR, diameter=28.4, width=13.0, pattern="slick", compounds=("soft", "hard"), price=6.8
        ),
        TyreSpec(
            axle=Axle.REAR, diameter=29.2, width=13.4, pattern="treaded", compounds=("soft",), price=7.4
        ),
    ),
    spacers=(0.5,),
    wheel_price=7.5,
)

FIELDFARE = PlatformPlan(
    slug="umberfell-fieldfare",
    name="Umberfell Fieldfare",
    short="Fieldfare",
    maker="Umberfell Racing",
    scale=12,
    drive="rear",
    description="The 1:12 car of the open class: four front ends, foam tyres on glued rims, and few offsets "
    "because the hubs are shimmed instead.",
    source="maker's drawing, issue D",
    datum=118.0,
    datum_tolerance=0.15,
    chassis_front_width=70.0,
    front_rim=20.0,
    rear_rim=30.0,
    rim_diameter=38.0,
    offsets=(0.0, 6.0, 1.5),
    flush_band=1.0,
    inset_limit=2.2,
    centring_limit=2.0,
    arch_clearance=1.0,
    steer_min=18.0,
    positions=(("front", 0.0), ("front centre", 3.6), ("centre", 7.2), ("rear centre", 10.8), ("rear", 14.4)),
    fronts=(
        FrontEnd(label="extra narrow", across=140.5, scrub=7.0, arm=33.0, travel=3.0, stop=27.0, price=28.0),
        FrontEnd(label="narrow", across=148.0, scrub=7.0, arm=36.7, travel=3.0, stop=27.0, price=32.0),
        FrontEnd(label="wide", across=155.5, scrub=7.0, arm=40.4, travel=3.0, stop=27.0, price=36.0),
        FrontEnd(label="extra wide", across=162.0, scrub=7.0, arm=43.6, travel=3.0, stop=27.0, price=40.0),
    ),
    rears=(
        RearEnd(label="narrow", hub=88.0, travel=2.5, price=29.0),
        RearEnd(label="standard", hub=94.0, travel=2.5, price=29.0),
        RearEnd(label="wide", hub=100.0, travel=2.5, price=31.0),
    ),
    mounts=(
        Mount(label="rear-motor pod", layout=_REAR, share=78.0, price=38.0),
        Mount(label="mid-motor pod, short", layout=_MID, share=95.8, price=42.0),
        Mount(label="mid-motor pod, long", layout=_MID, share=108.4, price=42.0),
    ),
    plates=(
        PlateSpec(label="rear-pod link plate", layout=_REAR, share=0.0, price=14.0),
        PlateSpec(label="rear-pod link plate, stepped", layout=_REAR, share=1.8, price=15.5),
        PlateSpec(label="mid-pod link plate", layout=_MID, share=0.0, price=14.0),
        PlateSpec(label="mid-pod link plate, thick", layout=_MID, share=0.0, price=16.0),
        PlateSpec(label="mid-pod link plate, stepped", layout=_MID, share=1.8, price=15.5),
    ),
    tyres=(
        TyreSpec(
            axle=Axle.FRONT, diameter=43.5, width=21.0, pattern="cut foam", compounds=("firm",), price=11.5
        ),
        TyreSpec(
            axle=Axle.FRONT,
            diameter=45.5,
            width=21.0,
            pattern="foam",
            compounds=("medium", "firm"),
            price=11.0,
        ),
        TyreSpec(
            axle=Axle.REAR, diameter=45.0, width=31.5, pattern="cut foam", compounds=("medium",), price=13.5
        ),
        TyreSpec(
            axle=Axle.REAR,
            diameter=47.5,
            width=31.5,
            pattern="foam",
            compounds=("soft", "medium", "firm"),
            price=13.0,
        ),
    ),
    spacers=(0.75,),
    wheel_price=9.5,
)

PLATFORMS = (DUNLIN, CORNCRAKE, WHIMBREL, FIELDFARE)
