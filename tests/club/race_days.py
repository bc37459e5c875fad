"""What the tests of race days begin with: a class under a rulebook, an event, and cars on its list."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import uuid4

from club.models import Clause, Entry, Event, EventClass, Inspection, Member, RaceClass, RulebookEdition
from club.racing.events import entries
from club.racing.events.inspecting import Given, record
from setups.models import Setup
from tests.factories import (
    ClauseFactory,
    EditionFactory,
    MemberFactory,
    RaceClassFactory,
    SetupFactory,
    published,
)

DAY = date(2031, 5, 10)


@dataclass
class RaceDay:
    """An event of one class; the default car is 55 mm wide in front and its rulebook allows 55.1 mm."""

    event: Event
    race_class: RaceClass
    edition: RulebookEdition
    director: Member

    def clause(self, number: str) -> Clause:
        return self.edition.clauses.get(number=number)

    def enter(self, number: int = 7, driver: str = "Ada", **given: Any) -> Entry:
        return entries.enter(
            self.event,
            {"number": number, "race_class": self.race_class, "driver": driver} | given,
            self.director,
        )

    def enter_setup(self, number: int = 7, setup: Setup | None = None, **given: Any) -> Entry:
        found = setup or SetupFactory()
        return self.enter(number, revision=found.current, **given)

    def find(self, entry: Entry, number: str, reading: str | None = None, **given: Any) -> Inspection:
        """What an inspector finds under one clause, with a calliper before the first run unless said."""
        said: dict[str, Any] = {
            "key": uuid4(),
            "clause": self.clause(number).pk,
            "stage": "before",
            "run": 1,
            "reading": None if reading is None else Decimal(reading),
            "instrument": "calliper" if reading is not None else "",
        } | given
        return record(entry, Given(**said), self.director).inspections[0]


RULES: tuple[Mapping[str, Any], ...] = (
    {
        "number": "2.1",
        "quantity": "front_width",
        "high": Decimal("55.1"),
        "rule": "guarded_acceptance",
        "wording": "Over the front wheels at most 55.1 mm.",
    },
    {
        "number": "2.2",
        "quantity": "rear_width",
        "high": Decimal("55.1"),
        "rule": "guarded_rejection",
        "wording": "Over the rear wheels at most 55.1 mm.",
    },
    {
        "number": "3.1",
        "quantity": "mass",
        "low": Decimal("160"),
        "high": None,
        "wording": "At least 160 g ready to run.",
    },
    {"number": "5.1", "seen": True, "wording": "A number that can be read."},
)


def race_day(*rules: Mapping[str, Any], **given: Any) -> RaceDay:
    """An event on ``DAY`` under an edition of ``rules``, those above unless said."""
    director = given.pop("director", None) or MemberFactory(race_director=True)
    race_class = RaceClassFactory()
    edition = EditionFactory(race_class=race_class, valid_from=date(2031, 1, 1))
    for rule in rules or RULES:
        ClauseFactory(edition=edition, **rule)
    published(edition, director)
    made = {"name": "Spring Round", "slug": f"spring-round-{race_class.pk}", "date": DAY, "made_by": director}
    event = Event.objects.create(**made | given)
    EventClass.objects.create(event=event, race_class=race_class)
    return RaceDay(event, race_class, edition, director)
