"""Three invented classes for the demo, each with the rulebooks of two seasons."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from club.models import Clause, ClauseItem, Member, RaceClass, RulebookEdition
from club.racing import editions
from fitcalc.legality import BODY, DecisionRule
from setups.demo.seasons import SATURDAY
from setups.models import Body, Part

SIMPLE, CLEARLY_IN, CLEARLY_OUT = (
    DecisionRule.SIMPLE.value,
    DecisionRule.GUARDED_ACCEPTANCE.value,
    DecisionRule.GUARDED_REJECTION.value,
)
DIRECTOR = "director"
OPENS = (9, 19)
"""By this month and day a season's first event is held."""


def saturday_by(year: int, month: int, day: int) -> date:
    """The Saturday on that day or before it."""
    last = date(year, month, day)
    return last - timedelta(days=(last.weekday() - SATURDAY) % 7)


def present_season() -> int:
    """The year in which the season began whose first event is over; seasons begin in September."""
    today = timezone.localdate()
    return today.year if saturday_by(today.year, *OPENS) < today else today.year - 1


@dataclass(frozen=True, slots=True)
class Rule:
    """One clause of the demo. ``names`` are words that the listed things have in their name."""

    number: str
    wording: str
    quantity: str = ""
    low: str | None = None
    high: str | None = None
    rule: str = SIMPLE
    factor: str = "1"
    thing: str = ""
    names: tuple[str, ...] = ()
    allows: bool = True
    listed: bool = False

    @property
    def kind(self) -> str:
        return "limit" if self.quantity else "list" if self.listed else "required"


@dataclass(frozen=True, slots=True)
class Season:
    """One edition of a rulebook: of the season that began so many years before the present one."""

    ago: int
    note: str
    rules: tuple[Rule, ...]

    @property
    def valid_from(self) -> date:
        return date(present_season() - self.ago, 9, 1)

    @property
    def name(self) -> str:
        return f"Season of {self.valid_from.year}"


@dataclass(frozen=True, slots=True)
class Plan:
    """One class: its slug, name, description and seasons; ``scale`` of the bodies that a list names."""

    slug: str
    name: str
    description: str
    scale: int
    seasons: tuple[Season, ...]


_NUMBER = Rule("5.1", "The car carries its start number where it can be read from the rostrum.")
_BUMPER = Rule("5.2", "A bumper of foam stands in front of the chassis and does not reach beyond the body.")

_SALOONS = (
    Rule(
        "1.1",
        "Bodies of saloons, estates and touring cars only.",
        thing=BODY,
        listed=True,
        names=("Saloon", "Estate", "Touring", "Hatch"),
    ),
    Rule("2.1", "Over the front wheels the car is at most 65 mm wide.", "front_width", high="65"),
    Rule("2.2", "Over the rear wheels the car is at most 67.5 mm wide.", "rear_width", high="67.5"),
    Rule(
        "2.3", "The wheelbase lies between 84 and 96 mm.", "wheelbase", low="84", high="96", rule=CLEARLY_OUT
    ),
    Rule(
        "2.4",
        "There is at least 1 mm of air under the car, before and after the run.",
        "ground_clearance",
        low="1",
    ),
    Rule("3.1", "Ready to run the car has at least 160 g.", "mass", low="160", rule=CLEARLY_IN),
    Rule("3.2", "Four cells in series.", "cells", low="4", high="4"),
    Rule("4.1", "Tyres are at most 25 mm high.", "rear_tyre_diameter", high="25"),
    _NUMBER,
    _BUMPER,
)

_SALOONS_NOW = (
    _SALOONS[0],
    Rule(
        "2.1",
        "Over the front wheels the car is at most 64.5 mm wide.",
        "front_width",
        high="64.5",
        rule=CLEARLY_OUT,
    ),
    Rule(
        "2.2",
        "Over the rear wheels the car is at most 67 mm wide.",
        "rear_width",
        high="67",
        rule=CLEARLY_OUT,
    ),
    _SALOONS[3],
    _SALOONS[4],
    Rule("3.1", "Ready to run the car has at least 165 g.", "mass", low="165", rule=CLEARLY_IN),
    _SALOONS[6],
    Rule("3.3", "At the start the battery has at most 6.4 V.", "battery_voltage", high="6.4"),
    _SALOONS[7],
    _NUMBER,
    _BUMPER,
)

_OPEN = (
    Rule(
        "1.1",
        "Any body of the scale, trucks and vans apart.",
        thing=BODY,
        listed=True,
        allows=False,
        names=("Van", "Pick-up", "Truck"),
    ),
    Rule("2.1", "Over the wheels the car is nowhere wider than 72 mm.", "width", high="72"),
    Rule("2.2", "The wheelbase is at most 104 mm.", "wheelbase", high="104"),
    Rule(
        "2.3",
        "There is at least 0.8 mm of air under the car.",
        "ground_clearance",
        low="0.8",
        rule=CLEARLY_IN,
        factor="0.5",
    ),
    Rule("3.1", "Ready to run the car has at least 140 g.", "mass", low="140"),
    Rule("3.2", "At the start the battery has at most 8.4 V.", "battery_voltage", high="8.4"),
    _NUMBER,
)

_OPEN_NOW = (
    *_OPEN[:1],
    Rule("2.1", "Over the wheels the car is nowhere wider than 71 mm.", "width", high="71", rule=CLEARLY_OUT),
    *_OPEN[2:5],
    Rule("3.3", "At the start the battery has at most 8.4 V.", "battery_voltage", high="8.4"),
    _NUMBER,
    Rule("5.3", "The transponder is on the car and seen by the loop."),
)

_ENDURANCE = (
    Rule(
        "1.1",
        "Closed cars of long races: prototypes, silhouettes, grand tourers.",
        thing=BODY,
        listed=True,
        names=("Endurance", "Long Distance", "Prototype", "Silhouette", "Grand", "Special"),
    ),
    Rule("2.1", "Over the wheels the car is nowhere wider than 78 mm.", "width", high="78"),
    Rule("2.2", "The wheelbase lies between 100 and 128 mm.", "wheelbase", low="100", high="128"),
    Rule("2.3", "There is at least 2 mm of air under the car.", "ground_clearance", low="2"),
    Rule("3.1", "Ready to run the car has at least 250 g.", "mass", low="250", rule=CLEARLY_IN),
    Rule(
        "3.2", "The painted body with its mounts has at least 30 g.", "body_mass", low="30", rule=CLEARLY_OUT
    ),
    Rule(
        "3.3", "At the start the battery has at most 8.4 V.", "battery_voltage", high="8.4", rule=CLEARLY_OUT
    ),
    _NUMBER,
    Rule("5.4", "Two lamps in front and two behind burn in the dark stint."),
)

_ENDURANCE_NOW = (
    _ENDURANCE[0],
    Rule("2.1", "Over the wheels the car is nowhere wider than 76 mm.", "width", high="76", rule=CLEARLY_IN),
    *_ENDURANCE[2:4],
    Rule("3.1", "Ready to run the car has at least 260 g.", "mass", low="260", rule=CLEARLY_IN),
    *_ENDURANCE[5:],
)

PLANS = (
    Plan(
        "hall-saloons",
        "Hall Saloons",
        "Small saloons on carpet, close to what the packet gives. The class to begin with.",
        28,
        (
            Season(1, "", _SALOONS),
            Season(
                0,
                "Narrower by half a millimetre: several new bodies are.",
                _SALOONS_NOW,
            ),
        ),
    ),
    Plan(
        "open-small-scale",
        "Open Small Scale",
        "Anything that fits between the boards, for those who like to try things.",
        28,
        (
            Season(1, "", _OPEN),
            Season(0, "The transponder has a clause of its own.", _OPEN_NOW),
        ),
    ),
    Plan(
        "lantern-endurance",
        "Lantern Endurance",
        "Two hours by lamplight, two drivers a car, long bodies of the larger scale.",
        24,
        (
            Season(1, "", _ENDURANCE),
            Season(
                0,
                "Heavier and narrower, so that older chassis keep up.",
                _ENDURANCE_NOW,
            ),
        ),
    ),
)


def move_in(
    members: QuerySet[Member], say: Callable[[str], object], **_: Any
) -> Callable[[Body], int | None] | None:
    """Stores the classes and their rulebooks, published by the race director on the days they hold from.

    Gives a function from a body to the key of the class that it is raced in, if it is.
    """
    director = members.filter(username=DIRECTOR).first()
    if director is None:
        return None
    keys = {}
    for plan in PLANS:
        race_class, _new = RaceClass.objects.update_or_create(
            slug=plan.slug, defaults={"name": plan.name, "description": plan.description}
        )
        keys[plan.slug] = race_class.pk
        for season in plan.seasons:
            if not race_class.editions.filter(valid_from=season.valid_from).exists():
                _write(race_class, season, plan.scale, director)
    say(f"Race classes: {len(PLANS)}, with {sum(len(plan.seasons) for plan in PLANS)} editions")
    return lambda body: next((keys[plan.slug] for plan in PLANS if _admits(plan, body)), None)


def _admits(plan: Plan, body: Body) -> bool:
    """True if a body is of the class's scale and no list of its newest rulebook is against it."""
    lists = [rule for rule in plan.seasons[-1].rules if rule.listed and rule.thing == BODY]
    return body.scale == plan.scale and all(
        any(word in body.name for word in rule.names) is rule.allows for rule in lists
    )


def clear_out(members: QuerySet[Member], **_: Any) -> None:
    """Takes out the editions of the demo's classes, and the classes that no setup names.

    A published edition goes only as a whole, its own row first (``club.racing.guards``).
    """
    slugs = [plan.slug for plan in PLANS]
    rows = RulebookEdition.objects.filter(race_class__slug__in=slugs) | RulebookEdition.objects.filter(
        published_by__in=members
    )
    keys = list(rows.values_list("pk", flat=True))
    clauses = list(Clause.objects.filter(edition__in=keys).values_list("pk", flat=True))
    RulebookEdition.objects.filter(pk__in=keys)._raw_delete("default")
    ClauseItem.objects.filter(clause__in=clauses)._raw_delete("default")
    Clause.objects.filter(pk__in=clauses)._raw_delete("default")
    unused = RaceClass.objects.filter(slug__in=slugs, setups=None, revisions=None, editions=None)
    unused.delete()


def _write(race_class: RaceClass, season: Season, scale: int, director: Member) -> None:
    edition = editions.start(race_class, season.name, season.valid_from, season.note)
    for rule in season.rules:
        clause = Clause(
            edition=edition,
            number=rule.number,
            wording=rule.wording,
            kind=rule.kind,
            quantity=rule.quantity,
            low=None if rule.low is None else Decimal(rule.low),
            high=None if rule.high is None else Decimal(rule.high),
            rule=rule.rule,
            factor=Decimal(rule.factor),
            thing=rule.thing,
            allows=rule.allows,
        )
        editions.save_clause(clause, _things(rule, scale))
    editions.publish(edition, director, on=season.valid_from)


def _things(rule: Rule, scale: int) -> Iterable[Any]:
    """What the library holds of the rule's kind and scale with one of its words in the name."""
    rows: QuerySet[Any] = Body.objects.filter(scale=scale)
    if rule.thing != BODY:
        rows = Part.objects.filter(kind=rule.thing, platforms__scale=scale).distinct()
    return [row for row in rows.order_by("name", "pk") if any(word in row.name for word in rule.names)]
