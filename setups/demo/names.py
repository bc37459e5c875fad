"""What the invented things are called. None of it is the name of a real maker, car or product.

Full-size cars are an invented maker and a bird that no car is named after; bodies say which of them
they are drawn after. Names are fixed, so that a thing keeps its address whatever the seed.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fitcalc.parts import Layout

GREBEFORD, LAPWATER, TUSSOCK, MARLPIT = (
    "Grebeford Shells",
    "Lapwater Bodies",
    "Tussock & Reed",
    "Marlpit Moulding",
)
SEDGE_WHEELS, BRACK_TYRES = "Sedgecombe Wheels", "Brackwind Tyres"
NETTLE_MOTORS, MARRAM_GEARS = "Nettlespark Motors", "Marram Gears"

NUMBER_PREFIX = {
    "Quillmoor Works": "QM",
    "Dabchick & Thrale": "DT",
    "Hollowmere Model Engineering": "HM",
    "Umberfell Racing": "UF",
    GREBEFORD: "GB",
    LAPWATER: "LW",
    TUSSOCK: "TR",
    MARLPIT: "MP",
    SEDGE_WHEELS: "SW",
    BRACK_TYRES: "BW",
    NETTLE_MOTORS: "NS",
    MARRAM_GEARS: "MG",
}
"""How each maker's part numbers begin."""

REAR = frozenset({Layout.REAR_MOTOR})
MID = frozenset({Layout.MID_MOTOR})
BOTH = REAR | MID

CAR_WHEELBASES = {
    "Aurelund Phalarope": 2900,
    "Aurelund Phalarope Record": 3190,
    "Aurelund Razorbill": 3010,
    "Aurelund Yellowhammer": 2700,
    "Brindlewick Bullfinch": 2510,
    "Brindlewick Chiffchaff": 2480,
    "Brindlewick Chough": 2400,
    "Brindlewick Goldcrest": 2225,
    "Brindlewick Pochard": 2970,
    "Dunmarrow Nuthatch": 2410,
    "Dunmarrow Stonechat": 2350,
    "Dunmarrow Whitethroat": 2540,
    "Eskholm Godwit": 2680,
    "Eskholm Stormcock": 2500,
    "Halverdine Garganey": 2430,
    "Halverdine Linnet": 2330,
    "Halverdine Waxwing": 2655,
    "Halverdine Wheatear": 2725,
    "Halverdine Whinchat": 2205,
    "Kestermoor Crossbill": 2790,
    "Kestermoor Dotterel": 2590,
    "Kestermoor Redshank": 2470,
    "Kestermoor Redstart": 2640,
    "Lanternay Fulmar": 2760,
    "Lanternay Grande Oystercatcher": 3110,
    "Lanternay Kittiwake": 2860,
    "Lanternay Oystercatcher": 2750,
    "Ostrelle Brambling": 2600,
    "Ostrelle Guillemot": 2520,
    "Ostrelle Siskin": 2420,
    "Ostrelle Smew": 2215,
    "Tarrowby Blackcap": 2560,
    "Tarrowby Sanderling": 2300,
    "Tarrowby Scaup": 2580,
    "Tarrowby Treecreeper": 2450,
    "Tarrowby Wryneck": 2380,
    "Vellacourt Nightjar": 2780,
    "Vellacourt Shearwater": 2810,
}
"""Full-size wheelbases of cars that nobody has built, mm."""


class Twist(StrEnum):
    """What is unusual about a body's figures; ``bodies`` makes it so."""

    NONE = ""
    ONE = "just one set fits"
    FEW = "a handful of sets fit"
    CLOSE_BASE = "wheelbase at the very end of what a chain reaches"
    CLOSE_BUMP = "the lowest rear tyre only just clears its arch in bump"
    CLOSE_FLUSH = "front wheels only just not proud on the narrowest front end"
    TOO_LONG = "wheelbase beyond every chain"
    NARROW_FRONT = "front arches narrower than the narrowest front end"
    WIDE_REAR = "rear arches wider than the widest rear end"
    SHORT_FOR_MID = "takes a mid motor only and is too short for one"
    LOW_FRONT = "front arch too low in bump"
    SMALL_ARCH = "rear arch too small for any tyre"
    NO_WHEELBASE = "wheelbase not known, full-size car's known"
    NO_WIDTHS = "arch widths not known"
    NO_MOUNT = "its front mount is not in the library"
    UNTRIED = "nobody has tried the layouts"


@dataclass(frozen=True, slots=True)
class Title:
    """One body's name, who makes it, the platform it was drawn for, and the layouts that its floor takes."""

    name: str
    maker: str
    platform: str
    layouts: frozenset[Layout] = BOTH
    car: str = ""
    twist: Twist = Twist.NONE


_SHELF = {
    "quillmoor-dunlin": (
        ("Stormcock Coupé", GREBEFORD, BOTH, "Eskholm Stormcock"),
        ("Stormcock Rally", GREBEFORD, REAR, "Eskholm Stormcock"),
        ("Godwit Hill Climb", LAPWATER, REAR, "Eskholm Godwit"),
        ("Nightjar Endurance", GREBEFORD, MID, "Vellacourt Nightjar"),
        ("Nightjar Road Car", TUSSOCK, BOTH, "Vellacourt Nightjar"),
        ("Shearwater Spyder", LAPWATER, MID, "Vellacourt Shearwater"),
        ("Siskin Saloon", TUSSOCK, REAR, "Ostrelle Siskin"),
        ("Siskin Estate", TUSSOCK, BOTH, "Ostrelle Siskin"),
        ("Brambling Touring", GREBEFORD, BOTH, "Ostrelle Brambling"),
        ("Linnet Club Racer", MARLPIT, REAR, "Halverdine Linnet", Twist.FEW),
        ("Waxwing Coupé", LAPWATER, BOTH, "Halverdine Waxwing"),
        ("Bullfinch Van", TUSSOCK, BOTH, "Brindlewick Bullfinch", Twist.CLOSE_BUMP),
        ("Phalarope Prototype", GREBEFORD, MID, "Aurelund Phalarope"),
        ("Phalarope Record Car", GREBEFORD, MID, "Aurelund Phalarope Record", Twist.TOO_LONG),
        ("Wryneck Special", LAPWATER, REAR, "Tarrowby Wryneck", Twist.NARROW_FRONT),
        ("Flat Sixpence", MARLPIT, MID, "", Twist.SHORT_FOR_MID),
    ),
    "thrale-corncrake": (
        ("Dotterel Rally", GREBEFORD, BOTH, "Kestermoor Dotterel"),
        ("Dotterel Forest Stage", GREBEFORD, MID, "Kestermoor Dotterel"),
        ("Redstart Saloon", TUSSOCK, MID, "Kestermoor Redstart"),
        ("Stonechat Hatch", TUSSOCK, REAR, "Dunmarrow Stonechat", Twist.FEW),
        ("Stonechat Rally", LAPWATER, BOTH, "Dunmarrow Stonechat"),
        ("Whitethroat Touring", LAPWATER, MID, "Dunmarrow Whitethroat"),
        ("Treecreeper Hill Climb", MARLPIT, BOTH, "Tarrowby Treecreeper"),
        ("Yellowhammer Ice Racer", GREBEFORD, BOTH, "Aurelund Yellowhammer", Twist.CLOSE_FLUSH),
        ("Oystercatcher Saloon", TUSSOCK, BOTH, "Lanternay Oystercatcher", Twist.NO_WHEELBASE),
        ("Chiffchaff Pick-up", LAPWATER, BOTH, "Brindlewick Chiffchaff", Twist.UNTRIED),
        ("Kittiwake Coupé", LAPWATER, MID, "Lanternay Kittiwake"),
        ("Whinchat Works Car", MARLPIT, REAR, "Halverdine Whinchat", Twist.ONE),
        ("Goldcrest Micro", TUSSOCK, REAR, "Brindlewick Goldcrest", Twist.ONE),
        ("Hedgerow Wedge", MARLPIT, BOTH),
    ),
    "hollowmere-whimbrel": (
        ("Stormcock Endurance", GREBEFORD, BOTH, "Eskholm Stormcock"),
        ("Godwit Grand Touring", GREBEFORD, MID, "Eskholm Godwit"),
        ("Nightjar Long Distance", LAPWATER, MID, "Vellacourt Nightjar"),
        ("Guillemot Saloon", TUSSOCK, BOTH, "Ostrelle Guillemot"),
        ("Guillemot Estate", TUSSOCK, REAR, "Ostrelle Guillemot"),
        ("Wheatear Coupé", LAPWATER, BOTH, "Halverdine Wheatear"),
        ("Crossbill Touring", GREBEFORD, MID, "Kestermoor Crossbill"),
        ("Crossbill Silhouette", GREBEFORD, MID, "Kestermoor Crossbill"),
        ("Razorbill Prototype", LAPWATER, MID, "Aurelund Razorbill"),
        ("Nuthatch Hatch", TUSSOCK, REAR, "Dunmarrow Nuthatch", Twist.FEW),
        ("Blackcap Road Car", MARLPIT, BOTH, "Tarrowby Blackcap"),
        (
            "Grande Oystercatcher Nine Causeways long-tail coupé with covered headlamps and roof rack",
            GREBEFORD,
            BOTH,
            "Lanternay Grande Oystercatcher",
        ),
        ("Pochard Truck", TUSSOCK, BOTH, "Brindlewick Pochard", Twist.WIDE_REAR),
        ("Sanderling Beach Car", MARLPIT, REAR, "Tarrowby Sanderling", Twist.LOW_FRONT),
        ("Kittiwake Silhouette", GREBEFORD, MID, "Lanternay Kittiwake", Twist.NO_WIDTHS),
        ("Smew Streamliner", LAPWATER, REAR, "Ostrelle Smew", Twist.ONE),
        ("Millrace Special", MARLPIT, BOTH),
    ),
    "umberfell-fieldfare": (
        ("Stormcock Silhouette", GREBEFORD, BOTH, "Eskholm Stormcock"),
        ("Nightjar Wide Body", GREBEFORD, MID, "Vellacourt Nightjar"),
        ("Shearwater Prototype", LAPWATER, MID, "Vellacourt Shearwater"),
        ("Phalarope Twelve Hours", LAPWATER, BOTH, "Aurelund Phalarope"),
        ("Garganey Coupé", GREBEFORD, REAR, "Halverdine Garganey"),
        ("Whitethroat Oval", TUSSOCK, REAR, "Dunmarrow Whitethroat", Twist.FEW),
        ("Redshank Spyder", LAPWATER, BOTH, "Kestermoor Redshank"),
        ("Fulmar High Downforce", GREBEFORD, MID, "Lanternay Fulmar"),
        ("Fulmar Low Drag", GREBEFORD, MID, "Lanternay Fulmar"),
        ("Turnstone Club Wedge", MARLPIT, BOTH),
        ("Chough Vintage", TUSSOCK, REAR, "Brindlewick Chough", Twist.SMALL_ARCH),
        ("Scaup Roadster", TUSSOCK, BOTH, "Tarrowby Scaup", Twist.CLOSE_BASE),
        ("Lowtide Wedge", LAPWATER, REAR, "", Twist.NO_MOUNT),
    ),
}

TITLES = tuple(
    Title(name, maker, platform, layouts, *rest)
    for platform, rows in _SHELF.items()
    for name, maker, layouts, *rest in rows
)
"""The club's shelf of bodies, by the platform that each was drawn for."""
