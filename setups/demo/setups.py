"""What the demo's members post over two seasons, what others measure on it, and how disputes end.

``Paddock`` draws stories and stores them, some hundreds at a time, through the services that a form or an
import uses; so a large library is made as the small one, batch by batch. The same seed gives the same
stories.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import accumulate
from math import hypot
from random import Random
from typing import Any

from fitcalc.dimensions import CAR_DIMENSIONS, Unit
from fitcalc.findings import Verdict
from fitcalc.fit import FitReport
from fitcalc.instruments import Instrument, standard_doubt
from fitcalc.parts import Slot
from fitcalc.quantities import Quantity
from fitcalc.verification import REQUIRED
from setups.demo import seasons
from setups.demo.cars import cars_of
from setups.demo.plans import Club
from setups.models import Body, Dispute, Draft, Measurement, MountingPosition, Platform, Setup
from setups.services import posting, ruling, verifying
from setups.services.cars import Content, computed_of, reports_of
from setups.services.writing import update_each

SETUPS = 400
"""So many setups has the demo, drafts among them."""
A_BATCH = 400
"""So many stories are drawn and stored at once."""

_WEIGHTS = {Verdict.FITS: 12.0, Verdict.CLOSE: 6.0, Verdict.UNKNOWN: 1.5, Verdict.FAILS: 0.6}
"""How gladly a car is posted, by what the library finds of it."""
_ENDINGS = (
    (0.05, "draft"),
    (0.03, "withdrawn"),
    (0.022, "disputed"),
    (0.02, "set_aside"),
    (0.014, "upheld"),
    (0.01, "taken_back"),
)
"""How often a story ends otherwise than as the measurements have it."""
_MEASURERS = (0, 0, 1, 1, 2, 2, 2, 2, 3, 3, 4)
"""How many members measure a car, drawn from."""
_REVISIONS = (1, 1, 1, 1, 1, 2, 2, 3, 4)
_ENDED_IN = 2
"""Weeks after the last reading within which a dispute is settled or a setup withdrawn."""


@dataclass
class Story:
    """One setup over time: its revisions as (what it says, when), and how it ends."""

    author: Any
    revisions: list[tuple[Content, datetime]]
    ending: str
    measurers: list[Any]
    last: datetime
    """The last day on which anybody measured."""
    from_another: bool
    setup: Setup = field(default_factory=Setup)

    @property
    def posted(self) -> bool:
        return self.ending != "draft"

    @property
    def now(self) -> Content:
        return self.revisions[-1][0]


class Paddock:
    """The members with their cars; ``random_seed`` decides all that happens."""

    def __init__(
        self,
        club: Club,
        members: Sequence[Any],
        random_seed: int,
        bodies: Any,
        parts: Any,
        raced_in: Callable[[Body], int | None],
    ) -> None:
        self.seed = random_seed
        self.until = seasons.latest_saturday()
        self.raced_in = raced_in
        self.members = sorted(members, key=lambda one: one.username)
        self.stewards = [one for one in self.members if one.settles_disputes]
        self.known: dict[str, FitReport] = {}
        self.cars = self._built(club, bodies, parts)
        reports = reports_of(self.cars, self.known)
        self.alike: dict[tuple[int, int], list[Content]] = defaultdict(list)
        for car in self.cars:
            self.alike[car.body.pk, car.platform.pk].append(car)
        popular = Random(f"{random_seed}:popular")
        body = {one.pk: popular.uniform(0.3, 1.6) for one in dict.fromkeys(car.body for car in self.cars)}
        self.wanted = list(
            accumulate(
                _WEIGHTS[report.verdict] * body[car.body.pk]
                for car, report in zip(self.cars, reports, strict=True)
            )
        )

    def _built(self, club: Club, bodies: Any, parts: Any) -> list[Content]:
        """Every car of the plan with its rows, without a name yet."""
        shells = {one.slug: one for one in bodies.select_related("maker")}
        rows = {one.slug: one for one in parts.select_related("maker")}
        platforms = {one.slug: one for one in Platform.objects.select_related("maker")}
        holes = {
            (one.platform_id, one.name): one
            for one in MountingPosition.objects.filter(platform__in=platforms.values())
        }
        return [
            Content(
                name="",
                body=shells[car.body],
                platform=platforms[car.platform.slug],
                position=holes[platforms[car.platform.slug].pk, car.position],
                parts={slot: rows[slug] for slot, slug in car.slots},
                race_class_id=self.raced_in(shells[car.body]),
            )
            for cars in cars_of(club, self.seed).values()
            for car in cars
        ]

    def post(self, first: int, number: int) -> int:
        """Draw and store ``number`` stories from the place ``first``; within a transaction. How many."""
        stories = [
            self._story(Random(f"{self.seed}:setup:{place}")) for place in range(first, first + number)
        ]
        stories.sort(key=lambda story: (story.revisions[0][1], story.author.username))
        for story in stories:
            story.setup = Setup(author=story.author, name=story.revisions[0][0].name)
        Setup.objects.bulk_create([story.setup for story in stories], batch_size=500)
        posted = [story for story in stories if story.posted]
        posting.post_many(
            [(story.setup, content, at) for story in posted for content, at in story.revisions], self.known
        )
        self._take_up(posted)
        Draft.objects.bulk_create(
            Draft(setup=story.setup, typed=_typed(story.now)) for story in stories if not story.posted
        )
        self._measure(posted)
        ruling.bring_all_up_to_date(
            [story.setup for story in posted], {story.setup.pk: story.last for story in posted}, self.known
        )
        self._end(posted)
        return len(stories)

    def _story(self, rng: Random) -> Story:
        author = rng.choice(self.members)
        (car,) = rng.choices(self.cars, cum_weights=self.wanted)
        skill = 1 + 0.05 * Random(f"{self.seed}:skill:{author.username}").gauss(0, 1)
        hall = rng.choice([one for one in seasons.HALLS if car.body.scale in one.scales])
        at = seasons.race_day(rng, self.until)
        content = replace(
            car,
            name=f"{car.body.name}, {rng.choice(seasons.CHARACTERS)}"[:120],
            surface=hall.surface.value if rng.random() < 0.9 else "",
            circuit=hall.name if rng.random() < 0.85 else "",
            best_lap=_lap(seasons.lap_of(hall, car.body.scale, skill, rng)) if rng.random() < 0.7 else None,
            result=seasons.result_of(skill, rng),
            notes=" ".join(filter(None, (rng.choice(seasons.FEEL), rng.choice(seasons.ADVICE)))),
            tuning=seasons.tuning_of(car.body.scale, _compounds(car), rng),
        )
        revisions = [(content, at)]
        for _ in range(rng.choice(_REVISIONS) - 1):
            later = self._revised(revisions[-1], rng)
            if later is not None:
                revisions.append(later)
        ending = _drawn(_ENDINGS, rng)
        measurers = rng.sample(
            [one for one in self.members if one.pk != author.pk],
            max(rng.choice(_MEASURERS), 3 if ending in ("set_aside", "disputed") else 1 if ending else 0),
        )
        last = revisions[-1][1] + timedelta(days=rng.randint(2, 30), minutes=rng.randrange(600))
        from_another = rng.random() < 0.15
        later = self._later(last, ending, rng)
        revisions = [(said, when + later) for said, when in revisions]
        return Story(author, revisions, ending, measurers, last + later, from_another)

    def _later(self, last: datetime, ending: str, rng: Random) -> timedelta:
        """By how many whole weeks a story happens later than it was drawn: what nobody has settled yet is of
        the last weeks, and nothing goes on beyond today.
        """
        left = (self.until - last) // timedelta(weeks=1)
        if ending == "disputed":
            return timedelta(weeks=left - rng.randrange(1, 7))
        return timedelta(weeks=min(0, left - _ENDED_IN))

    def _revised(self, before: tuple[Content, datetime], rng: Random) -> tuple[Content, datetime] | None:
        """The next revision: something turned, now and then another car of the same member's body."""
        content, at = before
        tuning, told = dict(content.tuning), []
        for key, value, words in seasons.changes(tuning, content.body.scale, rng):
            tuning[key] = value
            told.append(words)
        other = rng.choice(self.alike[content.body.pk, content.platform.pk])
        parts, position = content.parts, content.position
        if rng.random() < 0.2 and self.known[other.build].verdict is not Verdict.FAILS:
            swapped = [slot.label for slot in parts if other.parts.get(slot) != parts[slot]]
            if swapped:
                parts, position = other.parts, other.position
                told.insert(0, f"Changed {', '.join(swapped)}.")
        if not told:
            return None
        lap = content.best_lap
        return (
            replace(
                content,
                tuning={key: tuning[key] for key in tuning},
                parts=parts,
                position=position,
                best_lap=lap if lap is None else _lap(float(lap) * rng.uniform(0.985, 1.002)),
                what_changed=" ".join(told)[:300],
            ),
            at + timedelta(days=rng.randint(4, 18), minutes=rng.randrange(300)),
        )

    def _take_up(self, posted: Sequence[Story]) -> None:
        """Some setups were started from another member's of the same body."""
        earlier: dict[int, list[Story]] = defaultdict(list)
        taken = []
        for story in posted:
            before = earlier[story.now.body.pk]
            if story.from_another and before:
                story.setup.started_from = before[len(before) // 2].setup.current
                taken.append(story.setup)
            before.append(story)
        update_each(taken, ["started_from"])

    def _measure(self, posted: Sequence[Story]) -> None:
        readings = []
        for place, story in enumerate(posted):
            rng = Random(f"{self.seed}:readings:{story.author.username}:{story.now.name}:{place}")
            computed = computed_of(self.known[story.now.build].geometry)
            by = [(one, False) for one in story.measurers]
            if story.ending in ("disputed", "set_aside", "upheld", "taken_back"):
                by[-1] = (by[-1][0], True)
            if rng.random() < 0.15:
                by.append((story.author, False))
            for member, wrong in by:
                readings += _readings(story, member, computed, wrong, rng)
        Measurement.objects.bulk_create(readings, batch_size=500)

    def _end(self, posted: Sequence[Story]) -> None:
        """What stewards decide and what authors and measurers take back."""
        rng = Random(f"{self.seed}:endings:{len(posted)}")
        disputes = {
            row.setup_id: row
            for row in Dispute.objects.filter(setup__in=[s.setup for s in posted if s.ending], outcome="")
            .select_related("setup", "measurement__member")
            .order_by("pk")
        }
        for story in posted:
            dispute = disputes.get(story.setup.pk)
            later = story.last + timedelta(days=rng.randint(1, 9))
            if story.ending == "withdrawn":
                posting.withdraw(story.setup, story.author, rng.choice(seasons.WITHDRAWN), later)
            elif dispute is None:
                continue
            elif story.ending == "taken_back":
                verifying.withdraw(dispute.measurement, dispute.measurement.member, later)
            elif story.ending in (Dispute.Outcome.SET_ASIDE, Dispute.Outcome.UPHELD):
                words = seasons.UPHELD if story.ending == Dispute.Outcome.UPHELD else seasons.SET_ASIDE
                said = seasons.of_quantity(words, dispute.measurement.quantity)
                free = [one for one in self.stewards if not verifying.why_not_settle(dispute, one)]
                verifying.settle(dispute, rng.choice(free), story.ending, rng.choice(said), later)


def _readings(
    story: Story, member: Any, computed: dict[str, Quantity], wrong: bool, rng: Random
) -> list[Measurement]:
    """What one member reads of the car: near what is computed, but for one quantity if ``wrong``."""
    keys = list(REQUIRED)
    if rng.random() < 0.12 and not wrong:
        keys.remove(rng.choice(keys))
    if rng.random() < 0.25:
        keys.append(rng.choice(("front_track", "rear_tyre_diameter", "front_tyre_diameter")))
    mistaken = rng.choice(REQUIRED) if wrong else ""
    on = (story.last - timedelta(days=rng.randint(0, 2))).date()
    rows = []
    for key in keys:
        instrument = Instrument.RULER if key == "wheelbase" and rng.random() < 0.3 else Instrument.CALLIPER
        if key == mistaken:
            instrument = Instrument.CALLIPER
        u = standard_doubt(instrument)
        assert u is not None
        doubt = hypot(u, float(computed[key].u))
        error = max(-1.5, min(1.5, rng.gauss(0, 0.7))) * doubt
        if key == mistaken:
            error = rng.choice((-1, 1)) * max(rng.uniform(3.5, 6.0) * doubt, 0.6)
        rows.append(_reading(story, member, key, float(computed[key].value) + error, instrument, on, rng))
        if key == mistaken:
            rows[-1].note = (
                rng.choice(seasons.of_quantity(seasons.SLIPS, key))
                if story.ending != "upheld"
                else "measured twice"
            )
    mass = story.now.tuning.get("mass")
    if isinstance(mass, float) and rng.random() < 0.2:
        rows.append(_reading(story, member, "mass", mass + rng.gauss(0, 0.4), Instrument.SCALE, on, rng))
    return rows


def _reading(
    story: Story, member: Any, key: str, value: float, instrument: Instrument, on: Any, rng: Random
) -> Measurement:
    places = 1 if CAR_DIMENSIONS[key].unit is Unit.GRAM else 2
    return Measurement(
        revision_id=story.setup.current_id,
        member=member,
        quantity=key,
        value=Decimal(str(round(value, places))),
        instrument=instrument.value,
        measured_on=on,
        note=rng.choice(seasons.CAREFUL),
    )


def _typed(content: Content) -> dict[str, str]:
    """A draft that somebody broke off: name, body, platform, and a few settings."""
    typed = {
        "name": content.name,
        "body": str(content.body.pk),
        "platform": str(content.platform.pk),
        "position": str(content.position.pk),
        "circuit": content.circuit,
        "notes": content.notes,
    }
    slots = list(content.parts.items())[: len(content.parts) - 2]
    typed |= {slot.value: str(part.pk) for slot, part in slots}
    return {key: text for key, text in typed.items() if text}


def _compounds(car: Content) -> tuple[str, str]:
    front, rear = (car.parts[slot].name for slot in (Slot.FRONT_TYRE, Slot.REAR_TYRE))
    return front.rsplit(" ", 1)[-1], rear.rsplit(" ", 1)[-1]


def _lap(seconds: float) -> Decimal:
    return Decimal(str(round(seconds, 3)))


def _drawn(shares: Sequence[tuple[float, str]], rng: Random) -> str:
    """One of the named shares of a whole, or the empty word for the rest."""
    left = rng.random()
    for share, word in shares:
        left -= share
        if left < 0:
            return word
    return ""


def store(
    club: Club,
    members: Any,
    random_seed: int,
    bodies: Any,
    parts: Any,
    number: int,
    raced_in: Callable[[Body], int | None],
) -> int:
    """Store ``number`` setups by ``members``, with what was measured on them; within a transaction."""
    people = list(members)
    if len(people) < len(_MEASURERS) or not number:
        return 0
    paddock = Paddock(club, people, random_seed, bodies, parts, raced_in)
    return sum(paddock.post(first, min(A_BATCH, number - first)) for first in range(0, number, A_BATCH))
