"""Requests that work anywhere, for the interface's description; the figures are invented and go together."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiExample

BODY: dict[str, Any] = {
    "name": "A body on the bench",
    "scale": 28,
    "layouts": {"rear": True, "mid": False},
    "dimensions": {
        "wheelbase": {"value": 92, "uncertainty": 0.1},
        "front_arch_width": {"value": 55.4, "tolerance": 0.2},
        "rear_arch_width": 55.8,
        "front_arch_radius": 14,
        "rear_arch_radius": 14,
        "front_arch_height": 15,
        "rear_arch_height": 15,
        "nose_reach": 32,
    },
}
PLATFORM: dict[str, Any] = {
    "name": "A chassis of one's own",
    "scale": 28,
    "datum": {"value": 30, "tolerance": 0.1},
    "front_rim_width": 8.5,
    "chassis_front_width": 26,
    "offsets": {"min": -1, "max": 3, "step": 0.5},
}
FRONT = {
    "id": "front end",
    "dimensions": {"hub_width": 38, "kingpin_spacing": 42, "arm_length": 12, "bump_travel": 1},
}
REAR = {"id": "rear axle", "dimensions": {"hub_width": 36, "bump_travel": 1}}
TYRE = {"id": "tyre", "price": 6, "pack_size": 2, "dimensions": {"tyre_diameter": 22, "tyre_width": 8.5}}
MOUNT = {"id": "mount", "layout": "rear", "price": 12, "dimensions": {"chain_length": 44}}
PLATE = {"id": "plate", "dimensions": {"chain_length": {"value": 18, "tolerance": 0.05}}}
BODY_MOUNT = {"id": "front body mount", "dimensions": {"reach": 32}}


def wheel(offset: float) -> dict[str, Any]:
    return {
        "id": f"wheel {offset:+g}",
        "price": 5,
        "pack_size": 2,
        "dimensions": {"offset": {"value": offset, "tolerance": 0.05}, "rim_width": 8.5},
    }


CONFIGURATION: dict[str, Any] = {
    "platform": PLATFORM,
    "position": {"name": "middle", "shift": 0},
    "parts": {
        "front_suspension": FRONT,
        "front_wheel": wheel(0),
        "front_tyre": TYRE,
        "rear_axle": REAR,
        "rear_wheel": wheel(1),
        "rear_tyre": TYRE,
        "motor_mount": MOUNT,
        "plate": PLATE,
        "body_mount": BODY_MOUNT,
    },
}
CATALOGUE: dict[str, Any] = {
    "platform": PLATFORM,
    "positions": [
        {"name": name, "shift": shift} for name, shift in (("short", -4), ("middle", 0), ("long", 4))
    ],
    "front_suspensions": [FRONT],
    "rear_axles": [REAR],
    "wheels": [wheel(offset) for offset in (-0.5, 0, 0.5, 1)],
    "tyres": [TYRE],
    "motor_mounts": [MOUNT],
    "plates": [PLATE],
    "body_mounts": [BODY_MOUNT],
}

FIT = [
    OpenApiExample("Figures of one's own", {"configuration": CONFIGURATION, "body": BODY}, request_only=True),
]
SOLVE = [
    OpenApiExample(
        "A catalogue of one's own",
        {"body": BODY, "catalogue": CATALOGUE, "owned": ["front end", "wheel +0"], "limit": 5},
        request_only=True,
    ),
]

COMPARE = [
    OpenApiExample(
        "Two wheels",
        {
            "cars": [
                CONFIGURATION,
                {**CONFIGURATION, "parts": {**CONFIGURATION["parts"], "front_wheel": wheel(0.5)}},
            ],
            "body": BODY,
        },
        request_only=True,
    ),
]
CONTENT: dict[str, Any] = {
    "name": "Carpet, Sunday",
    "body": "dotterel-rally",
    "platform": "dunlin",
    "position": "middle",
    "parts": {
        "front_suspension": "front-end-wide",
        "front_wheel": "wheel-0",
        "front_tyre": "tyre-22",
        "rear_axle": "rear-axle",
        "rear_wheel": "wheel-1",
        "rear_tyre": "tyre-22",
        "motor_mount": "mount-44",
        "plate": "plate-18",
    },
    "surface": "carpet",
    "circuit": "Old mill hall",
    "best_lap": 9.84,
    "tuning": {"front_camber": -1.5, "rear_spring": "soft", "mass": 168.5},
    "notes": "Pushes on the first lap.",
}
POSTED = [OpenApiExample("A setup", CONTENT, request_only=True)]
MEASUREMENT = [
    OpenApiExample(
        "A setup’s car",
        {"of": {"setup": 7}, "quantity": "front_width", "value": 55.02, "instrument": "calliper"},
        request_only=True,
    ),
    OpenApiExample(
        "A body",
        {
            "of": {"body": "dotterel-rally"},
            "quantity": "wheelbase",
            "value": 92.1,
            "instrument": "ruler",
            "uncertainty": 0.4,
            "note": "From below, both sides.",
        },
        request_only=True,
    ),
]
