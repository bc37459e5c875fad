"""What the demo's members measured: round the figures of the plan, some slips and disputes among them.

Where the plan has a figure that members agreed on, three to five readings are drawn whose weighted mean it
is; the rows then hold what these readings settle. A maker's figure stays as it is: one member measures it
here and there, or two who contradict each other.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from math import sqrt
from random import Random
from typing import Any

from fitcalc.dimensions import Unit
from fitcalc.instruments import DESIGNATED, Instrument, least_doubt
from setups.demo.plans import decimal
from setups.demo.seasons import latest_saturday
from setups.models import BodyDimension, Measurement, PartDimension, StatedFigure
from setups.models.dimension import Basis, Dimension
from setups.services.measuring import SETTLED_SOURCE, settled, settled_figures

_DAYS = 200
"""So many days before the demo's today they began to measure."""
_MOST_READINGS = 5
_SLIP_EVERY = 7
"""One in so many agreed figures has a reading beside it that is wrong."""
_CHECKED_EVERY = 11
_DISPUTED_EVERY = 5
_SLIPS = (
    "body not seated on its mounts",
    "read at the flange",
    "zeroed on the wrong jaw",
    "shell pressed in by the jaws",
)
_HELD = ("mean of three", "held level on the bench", "both sides, mean of them", "", "", "")


def measurements_of(
    dimensions: list[Any], members: list[Any], random_seed: int
) -> tuple[list[Measurement], list[Any], list[StatedFigure]]:
    """Readings of ``dimensions``, those of them that these settle, and the stated figures beside readings.

    ``dimensions`` are stored rows with their body or part fetched, in an order that does not hang on the
    database. Nothing is stored. Without enough members there is nobody to measure.
    """
    readings: list[Measurement] = []
    changed: list[Any] = []
    stated: list[StatedFigure] = []
    if len(members) < _MOST_READINGS + 1:
        return readings, changed, stated
    rng = Random(random_seed)
    agreed = checked = 0
    for row in dimensions:
        if row.quantity in DESIGNATED or row.kind.unit not in (Unit.MM, Unit.GRAM):
            continue
        if row.basis == Basis.AGREED:
            agreed += 1
            drawn = list(_agreed(row, members, rng, slip=agreed % _SLIP_EVERY == 0))
        elif row.basis == Basis.MEASURED:
            drawn = [_reading(row, rng.choice(members), float(row.value), float(row.uncertainty), rng)]
        else:
            checked += 1
            if row.basis != Basis.MAKER or checked % _CHECKED_EVERY:
                continue
            drawn = list(_beside(row, members, rng, checked // _CHECKED_EVERY % _DISPUTED_EVERY == 0))
            stated.append(_stated(row))
        readings += drawn
        if row.basis != Basis.MAKER:
            now = settled(drawn, row.kind)
            assert now is not None
            for name, value in settled_figures(now).items():
                setattr(row, name, value)
            assert SETTLED_SOURCE.match(row.source)
            changed.append(row)
    return readings, changed, stated


def store(bodies: Any, parts: Any, members: Any, random_seed: int) -> int:
    """Store the readings of the demo's members and what they settle; within a transaction. How many."""
    # Sorted here: databases differ in how they sort text, and the same seed must give the same readings.
    of_bodies = BodyDimension.objects.filter(body__in=bodies).select_related("body")
    of_parts = PartDimension.objects.filter(part__in=parts).select_related("part")
    rows: list[Any] = [
        *sorted(of_bodies, key=lambda row: (row.body.slug, row.quantity)),
        *sorted(of_parts, key=lambda row: (row.part.slug, row.quantity)),
    ]
    people = sorted(members, key=lambda member: member.username)
    readings, changed, stated = measurements_of(rows, people, random_seed)
    Measurement.objects.bulk_create(readings, batch_size=500)
    StatedFigure.objects.bulk_create(stated, batch_size=500)
    columns = ["value", "tolerance", "uncertainty", "basis", "source"]
    for table in (BodyDimension, PartDimension):
        own = [row for row in changed if isinstance(row, table)]
        table._default_manager.bulk_update(own, columns, batch_size=200)
    return len(readings)


def _agreed(row: Any, members: list[Any], rng: Random, slip: bool) -> Iterator[Measurement]:
    """Readings whose mean is the row's value, and a wrong one if ``slip``."""
    number = rng.randint(3, _MOST_READINGS)
    people = rng.sample(members, number + slip)
    u = float(row.uncertainty) * sqrt(number)
    # Spread a little less than stated, so that the test for consistency never fails by chance.
    errors = [max(-1.0, min(1.0, rng.gauss(0.0, 0.6))) * u for _ in range(number)]
    mean = sum(errors) / number
    for person, error in zip(people, errors, strict=False):
        yield _reading(row, person, round(float(row.value) + error - mean, 2), u, rng)
    if slip:
        wrong = float(row.value) + rng.choice((-1, 1)) * rng.uniform(7.0, 12.0) * u
        inside = min(max(wrong, row.kind.low), row.kind.high)
        slipped = rng.choice(_SLIPS) if row.kind.unit is Unit.MM else "with the packet"
        yield _reading(row, people[-1], round(inside, 2), u, rng, slipped)


def _beside(row: Any, members: list[Any], rng: Random, dispute: bool) -> Iterator[Measurement]:
    """One reading near a maker's figure, or two that contradict each other."""
    u = max(0.05, float(row.quantity_value().u))
    first, second = rng.sample(members, 2)
    value = float(row.value)
    yield _reading(row, first, _within(row, value + rng.gauss(0.0, 0.5) * u), u, rng)
    if dispute:
        away = rng.choice((-1, 1)) * rng.uniform(6.0, 9.0) * u
        yield _reading(row, second, _within(row, value + away), u, rng)


def _within(row: Any, value: float) -> float:
    return round(min(max(value, row.kind.low), row.kind.high), 2)


def _reading(row: Any, member: Any, value: float, u: float, rng: Random, note: str = "") -> Measurement:
    instrument = Instrument.SCALE if row.kind.unit is Unit.GRAM else Instrument.CALLIPER
    about = {"body": row.body} if isinstance(row, BodyDimension) else {"part": row.part}
    return Measurement(
        **about,
        quantity=row.quantity,
        member=member,
        value=decimal(value),
        instrument=instrument.value,
        uncertainty=decimal(max(u, least_doubt(instrument) + 0.001)),
        measured_on=(latest_saturday() - timedelta(days=_DAYS - rng.randrange(_DAYS))).date(),
        note=note or (rng.choice(_HELD) if instrument is Instrument.CALLIPER else ""),
    )


def _stated(row: Dimension) -> StatedFigure:
    names = ("value", "tolerance", "uncertainty", "basis", "source", "quantity")
    about = {"body": row.body} if isinstance(row, BodyDimension) else {"part": row.part}  # type: ignore[attr-defined]
    return StatedFigure(**about, **{name: getattr(row, name) for name in names})
