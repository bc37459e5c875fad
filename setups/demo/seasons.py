"""The words and figures of two seasons at an invented club: halls, settings, what changed, who was wrong.

Everything is made up; what a setting is worth on a car of some scale is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from random import Random

from django.utils import timezone

from setups.models import Surface

SATURDAY = 5
"""As ``weekday`` counts."""

_BEGAN = (114, 52)
"""So many weeks before the latest Saturday the first race day of each season was."""
_DAYS = 26
"""Race days of a season, a fortnight apart."""


@dataclass(frozen=True, slots=True)
class Hall:
    """A circuit: its length in m, which scales race there and what they run on."""

    name: str
    length: float
    scales: tuple[int, ...]
    surface: Surface
    twisty: float
    """How much slower than on a plain oval, as a factor on lap time."""


HALLS = (
    Hall("Tannery Lane hall", 27.4, (28, 24), Surface.CARPET, 1.06),
    Hall("Sailmaker’s loft", 21.8, (28,), Surface.FOAM, 1.12),
    Hall("Millpond sports hall, short", 34.5, (28, 24), Surface.FOAM, 1.03),
    Hall("St Wulfram’s undercroft", 19.6, (28,), Surface.CARPET, 1.18),
    Hall("Ferry Road depot", 41.0, (24,), Surface.ASPHALT, 1.05),
    Hall("Old corn exchange", 38.2, (24, 12), Surface.WOOD, 1.09),
    Hall("Millpond sports hall, long", 88.0, (12,), Surface.CARPET, 1.04),
    Hall("Kelp works shed", 102.0, (12,), Surface.CARPET, 1.10),
)
_SPEED = {28: 2.62, 24: 3.05, 12: 6.6}
"""Mean speed in m/s of a good lap on a plain circuit, by scale."""


def lap_of(hall: Hall, scale: int, skill: float, rng: Random) -> float:
    """A best lap in s; ``skill`` around 1, more is quicker."""
    return round(hall.length * hall.twisty / (_SPEED[scale] * skill) * rng.uniform(0.985, 1.03), 3)


def latest_saturday() -> datetime:
    """The demo's today: what happened in it lies before the morning of the last Saturday that is over.

    All days hang on it by whole weeks, so that a demo loaded on any day looks lately used, and one loaded
    again in the same week is the same.
    """
    today = timezone.now().astimezone(UTC)
    day = today - timedelta(days=(today.weekday() - SATURDAY) % 7 or 7)
    return day.replace(hour=10, minute=0, second=0, microsecond=0)


def race_day(rng: Random, until: datetime) -> datetime:
    """A day of a season on which somebody posts, at some hour of the afternoon or evening."""
    start = until - timedelta(weeks=_BEGAN[rng.choice((0, 1, 1))])
    day = start + timedelta(days=14 * rng.randrange(_DAYS) + rng.choice((0, 0, 0, 1, 1, 3)))
    return day + timedelta(minutes=rng.randrange(720))


def tuning_of(scale: int, compounds: tuple[str, str], rng: Random) -> dict[str, float | str]:
    """Settings that suit a car of ``scale``; a few members leave a good part of them out."""
    fine = 28 / scale
    front = round(rng.uniform(1.2, 1.9) * fine**0.8, 1)
    mass = round(rng.uniform(158, 176) * fine**2.05, 0)
    on_front = rng.uniform(0.42, 0.49)
    aside, across = rng.uniform(-0.015, 0.015), rng.uniform(-0.012, 0.012)
    weights = [
        round(mass * share * (1 + side) / 2, 1)
        for share, side in (
            (on_front, aside + across),
            (on_front, -aside - across),
            (1 - on_front, aside - across),
            (1 - on_front, across - aside),
        )
    ]
    tuning: dict[str, float | str] = {
        "front_camber": rng.choice((-2.0, -1.5, -1.5, -1.0, -1.0, -0.5)),
        "front_toe": rng.choice((-1.0, -0.5, 0.0, 0.0, 0.5, 1.0)),
        "front_ride_height": front,
        "front_droop": round(rng.choice((0.3, 0.4, 0.5, 0.8)) * fine**0.7, 1),
        "front_spring": rng.choice(("soft", "medium", "medium", "hard", "soft, one shim")),
        "front_damping": rng.choice(("thin grease", "thick grease", "dry", "medium grease, every run")),
        "caster": rng.choice((2.0, 4.0, 4.0, 6.0)),
        "rear_ride_height": round(front + rng.choice((0.0, 0.1, 0.2, 0.2, 0.3)) * fine**0.7, 1),
        "rear_droop": round(rng.choice((0.4, 0.6, 0.8, 1.0)) * fine**0.7, 1),
        "rear_spring": rng.choice(("soft", "medium", "medium", "hard")),
        "rear_damping": rng.choice(
            ("plates with thick grease", "plates dry", "oil 300", "oil 400", "friction ring, two turns")
        ),
        "front_compound": compounds[0],
        "rear_compound": compounds[1],
        "tyre_care": rng.choice(
            (
                "glued and trued",
                "glued, wiped between heats",
                "wiped with citrus cleaner",
                "new every meeting",
            )
        ),
        "motor": rng.choice(_MOTORS[scale]),
        "pinion_teeth": float(rng.randint(*_TEETH[scale][0])),
        "spur_teeth": float(rng.choice(_TEETH[scale][1])),
        "differential": rng.choice(("ball, just slipping", "ball, tight", "gear", "spool")),
        "battery": _BATTERIES[scale],
        "electronics": rng.choice(
            ("servo at 85 %, soft start", "no brake, punch 3", "brake 20 %, punch 5", "as it came")
        ),
        "mass": mass,
        **dict(zip(("weight_fl", "weight_fr", "weight_rl", "weight_rr"), weights, strict=True)),
    }
    if rng.random() < 0.35:  # no scales at hand
        for key in ("weight_fl", "weight_fr", "weight_rl", "weight_rr"):
            del tuning[key]
    if rng.random() < 0.2:
        for key in rng.sample(sorted(tuning), 8):
            del tuning[key]
    return tuning


_MOTORS = {
    28: ("brushed, 3,500 rpm/V", "brushless, 4,100 rpm/V", "brushless, 5,500 rpm/V"),
    24: ("brushless, 3,900 rpm/V", "brushless, 4,300 rpm/V"),
    12: ("brushless, 13.5 turns", "brushless, 21.5 turns", "brushless, 10.5 turns"),
}
_TEETH = {28: ((7, 11), (42, 44, 53)), 24: ((8, 12), (48, 52)), 12: ((22, 44), (76, 80, 88))}
_BATTERIES = {
    28: "four cells, 1.2 V, 750 mAh",
    24: "two cells, 7.4 V, 500 mAh",
    12: "one cell, 3.7 V, 6 Ah",
}

CHANGES: tuple[tuple[str, float, str, str], ...] = (
    ("rear_ride_height", -0.1, "Rear lower by {step} mm", "less roll out of the fast corner"),
    ("rear_ride_height", 0.1, "Rear higher by {step} mm", "it scraped over the joint in the carpet"),
    ("front_camber", -0.5, "Half a degree more camber in front", "the outer edges of the tyres went first"),
    ("front_toe", 0.5, "Half a degree more toe-in in front", "calmer on the straight"),
    ("caster", 2.0, "Two degrees more caster", "it turns in later and holds the line"),
    ("front_droop", 0.1, "More droop in front", "the inner front wheel lifted over the kerbs"),
    ("pinion_teeth", 1.0, "One tooth more on the pinion", "the motor stayed cool"),
    ("pinion_teeth", -1.0, "One tooth less on the pinion", "it was slow out of the hairpin"),
)
"""What is turned between two revisions: setting, step at 1:28, what it is called, why."""
WORDED: tuple[tuple[str, str, str], ...] = (
    ("rear_spring", "soft", "Softer springs at the back"),
    ("front_spring", "hard", "Harder springs in front"),
    ("rear_damping", "oil 500", "Thicker oil at the back"),
    ("tyre_care", "glued, trued, wiped between heats", "Tyres trued and wiped"),
    ("differential", "ball, a quarter turn tighter", "Differential a quarter turn tighter"),
)

FEEL = (
    "Turns in calmly and lets the rear follow.",
    "Nervous for the first two laps, then it settles.",
    "Understeers a little in the slow corner; I drive round it.",
    "Good on kerbs, which are high here.",
    "The rear steps out if you lift in the middle of the corner.",
    "Easy to drive: my daughter took it to a final.",
    "Quick over one lap; the tyres go off after four minutes.",
    "Rolls freely; do not tighten the side plates.",
)
ADVICE = (
    "Check the ride height after every crash.",
    "Trim the front arches a millimetre more than the line says.",
    "Wipe the tyres before each heat.",
    "Grease the damper plates for every meeting.",
    "Mind the screw under the rear plate: it comes loose.",
    "Warm the tyres for two laps before pushing.",
    "",
    "",
)
CHARACTERS = (
    "dry carpet",
    "safe and slow to wear",
    "for the finals",
    "qualifying",
    "long runs",
    "first try",
    "club round",
    "for beginners",
    "high grip",
    "low grip",
    "endurance",
    "winter",
    "summer",
    "tight corners",
    "loaner",
)
SLIPS = {
    "wheelbase": ("front wheels not straight ahead", "one side only", "ruler held off the hub"),
    "width": ("wheels not pressed home", "read over the tyre’s bulge", "rim against the jaw at an angle"),
}
"""Notes beside a reading that is wrong, by what was measured."""
CAREFUL = ("mean of three", "both sides", "on the glass plate", "", "", "", "")
SET_ASIDE = {
    "wheelbase": (
        "Measured again on the glass plate with both members: the front wheels had not stood straight ahead. "
        "The second reading agrees with what is computed.",
        "One side only was read, with the car at full lock. The mean of both sides agrees.",
    ),
    "width": (
        "Measured again at the bench with both members: the wheels had not been pressed home. The second "
        "reading agrees with what is computed.",
        "The reading was taken over the bulge of the tyres and not over the rims’ outer faces.",
    ),
}
UPHELD = {
    "wheelbase": (
        "The rear end stands in another hole than the setup says. The measurement is right.",
        "I measured the car myself. Another plate is on it than the one that is posted.",
    ),
    "width": (
        "I measured the car myself. It carries shims behind the wheels that the setup does not name: post "
        "what is on it.",
        "The car has the next offset on the axle, not the one that is posted. The measurement is right.",
    ),
}
"""What stewards say, by what was measured."""


def of_quantity(words: dict[str, tuple[str, ...]], quantity: str) -> tuple[str, ...]:
    """Those of ``words`` that can be said of ``quantity``."""
    return words["wheelbase" if quantity == "wheelbase" else "width"]


WITHDRAWN = (
    "Sold the car.",
    "Measured wrong myself; will post it anew.",
    "The body is cut too far to be of use to anybody else.",
    "Not legal in the class any more.",
)
RESULTS = (
    "{place} of {of} in the {final} final",
    "{place} of {of}, club round {round}",
    "Qualified {place}",
    "",
    "",
)


def result_of(skill: float, rng: Random) -> str:
    """A race result; the skilled are in the better ones."""
    of = rng.randint(8, 24)
    place = max(1, min(of, round(rng.gauss(6 - 40 * (skill - 1), 3))))
    words = rng.choice(RESULTS)
    return words.format(place=_ordinal(place), of=of, final=rng.choice("ABBC"), round=rng.randint(1, 9))


def _ordinal(number: int) -> str:
    ending = "th" if 10 <= number % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def changes(
    tuning: dict[str, float | str], scale: int, rng: Random
) -> Iterator[tuple[str, float | str, str]]:
    """What a member might turn next: setting, its new value, and how they tell it."""
    if rng.random() < 0.3:
        key, words, told = rng.choice(WORDED)
        if tuning.get(key) not in (None, words):
            yield key, words, f"{told}."
    for key, step, told, why in rng.sample(CHANGES, 2):
        now = tuning.get(key)
        if not isinstance(now, float):
            continue
        size = step if key in ("front_camber", "front_toe", "caster", "pinion_teeth") else step * (28 / scale)
        yield key, round(now + size, 2), f"{told.format(step=f'{abs(size):.1f}')}: {why}."
