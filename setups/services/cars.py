"""From what a setup says to a computed car: its configuration, its fit, and how both are kept."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from hashlib import blake2b
from typing import Any

from django.db.models import Prefetch, QuerySet, prefetch_related_objects
from django.utils.translation import gettext as _

from fitcalc import parts as calc
from fitcalc.dimensions import CAR_DIMENSIONS, PartKind, Unit
from fitcalc.fit import FitReport, Geometry, evaluate_all
from fitcalc.parts import Axle, Slot
from fitcalc.quantities import Quantity
from fitcalc.said import Said
from setups.models import Body, MountingPosition, Part, Photo, Platform, Revision, RevisionPart
from setups.translate import (
    SLOT_KINDS,
    Figures,
    body_of,
    build_configuration,
    pair_rows,
    pair_rules_among,
    part_of,
    platform_of,
    position_of,
)


@dataclass(frozen=True, slots=True)
class Content:
    """All that a revision says, ready to be computed and posted; the rows exist and belong together.

    ``parts`` holds the filled slots. ``tuning`` is as of ``fitcalc.tuning.read``; ``best_lap`` in seconds.
    """

    name: str
    body: Body
    platform: Platform
    position: MountingPosition
    parts: Mapping[Slot, Part]
    race_class_id: int | None = None
    surface: str = ""
    circuit: str = ""
    best_lap: Decimal | None = None
    result: str = ""
    notes: str = ""
    tuning: Mapping[str, float | str] = field(default_factory=dict)
    photos: Sequence[Photo] = ()
    what_changed: str = ""

    @property
    def build(self) -> str:
        """Digest of what the geometry hangs on: equal for two cars that are built alike."""
        return build_of(
            self.body.pk, self.platform.pk, self.position.pk, {k.value: p.pk for k, p in self.parts.items()}
        )


def build_of(body: int, platform: int, position: int, parts: Mapping[str, int]) -> str:
    """As ``Content.build``, of primary keys; ``parts`` by slot value."""
    named = [f"{body}.{platform}.{position}", *(f"{slot}={key}" for slot, key in sorted(parts.items()))]
    return blake2b(" ".join(named).encode(), digest_size=16).hexdigest()


def content_of(revision: Revision) -> Content:
    """What ``revision`` says; reads its rows (``with_car``) and its photos."""
    return replace(car_of(revision), photos=list(revision.photos.all()))


def car_of(revision: Revision) -> Content:
    """As ``content_of`` without the photos."""
    return Content(
        name=revision.name,
        body=revision.body,
        platform=revision.platform,
        position=revision.position,
        parts={Slot(row.slot): row.part for row in revision.slots.all()},
        race_class_id=revision.race_class_id,
        surface=revision.surface,
        circuit=revision.circuit,
        best_lap=revision.best_lap,
        result=revision.result,
        notes=revision.notes,
        tuning=revision.tuning,
        what_changed=revision.what_changed,
    )


def with_car(revisions: QuerySet[Revision]) -> QuerySet[Revision]:
    """With all rows that ``reports_of`` reads, in a constant number of queries."""
    return revisions.select_related("position", "platform__maker", "body__maker", "author").prefetch_related(
        "body__dimensions",
        "body__part_rules",
        "slots__part__maker",
        "slots__part__dimensions",
        "slots__part__body_rules",
    )


def as_built(revisions: QuerySet[Revision]) -> QuerySet[Revision]:
    """With the rows that a page shows of a car, for ``reports_of`` with ``figures_of``; four queries.

    With more tables in one, planning it would take PostgreSQL longer than the queries that it saves.
    """
    slots = RevisionPart.objects.select_related("part").order_by()
    return revisions.select_related("position").prefetch_related("body", "platform", Prefetch("slots", slots))


def figures_of(revisions: Iterable[Revision]) -> Figures:
    """What the calculation reads of the cars of revisions ``as_built``, beside their rows; two queries."""
    revisions = list(revisions)
    parts = {row.part_id for revision in revisions for row in revision.slots.all()}
    return Figures(sorted(parts), sorted({revision.body_id for revision in revisions}))


class NotBuildable(ValueError):
    """A car that the calculation cannot take; the message names the slots and says what to do."""


def reports_of(
    cars: Iterable[Content], known: dict[str, FitReport] | None = None, figures: Figures | None = None
) -> list[FitReport]:
    """Each car's fit by the library's figures of today. Raises NotBuildable.

    Reads each car's dimensions, rules and part rows, fetched along for all of them, and the pair rules: one
    query; nothing but the cars' own rows where ``figures`` are given. Cars that are built alike are computed
    once; ``known`` is asked for them by build and told of what is computed, for a caller who comes again
    while the figures stand.
    """
    cars = list(cars)
    found = {} if known is None else known
    new = {car.build: car for car in cars if car.build not in found}
    if new:
        found |= _computed(new, figures)
    return [found[car.build] for car in cars]


def _computed(cars: Mapping[str, Content], figures: Figures | None) -> dict[str, FitReport]:
    every = {part.pk: part for car in cars.values() for part in car.parts.values()}
    bodies = {car.body.pk: car.body for car in cars.values()}
    if figures is None:
        prefetch_related_objects(list(every.values()), "dimensions", "body_rules")
        prefetch_related_objects([car.body for car in cars.values()], "dimensions", "part_rules")
    record, shell = (part_of, body_of) if figures is None else (figures.part, figures.body)
    records = {pk: record(part) for pk, part in every.items()}
    shells = {pk: shell(body) for pk, body in bodies.items()}
    alike: dict[tuple[Any, ...], dict[str, calc.Configuration]] = defaultdict(dict)
    for build, car in cars.items():
        filled = {slot.value: records[part.pk] for slot, part in car.parts.items()}
        try:
            one = build_configuration(
                platform_of(car.platform), position_of(car.position), filled, chosen=filled
            )
        except (ValueError, TypeError) as error:
            raise NotBuildable(Said("{name}: {error}.", name=car.name, error=_said_by(error))) from error
        alike[car.body.pk, car.platform.pk, filled.get(Slot.BODY_MOUNT.value), frozenset(filled)][build] = one
    rows = pair_rows(every) if figures is None else figures.pairs
    reports: dict[str, FitReport] = {}
    for (body, *_rest), group in alike.items():
        kinds = {part.pk: PartKind(part.kind) for build in group for part in cars[build].parts.values()}
        rules = pair_rules_among(rows, kinds)
        reports |= zip(group, evaluate_all(list(group.values()), shells[body], rules), strict=True)
    return reports


COMPUTED: tuple[str, ...] = (
    "front_width",
    "rear_width",
    "front_track",
    "rear_track",
    "wheelbase",
    "front_tyre_diameter",
    "rear_tyre_diameter",
)
"""The quantities of a car that follow from its configuration; names of CAR_DIMENSIONS and of Geometry."""
assert set(COMPUTED) <= set(CAR_DIMENSIONS)


def computed_of(geometry: Geometry) -> dict[str, Quantity]:
    """The computed quantities of a car, by the key that members measure them under."""
    return {key: getattr(geometry, key) for key in COMPUTED}


KEPT: tuple[str, ...] = (
    *COMPUTED,
    "scrub_radius",
    "front_centring",
    "rear_centring",
    "front_flush",
    "rear_flush",
    "front_arch_clearance",
    "rear_arch_clearance",
    "front_wheel_travel",
    "rear_wheel_travel",
    "lock_inward",
    "lock_outward",
)
"""What of the geometry a revision keeps."""


def kept_geometry(geometry: Geometry) -> dict[str, list[float] | None]:
    """Key -> [value, standard uncertainty], mm or degrees, as a revision keeps it."""
    kept: dict[str, list[float] | None] = {}
    for key in KEPT:
        quantity = getattr(geometry, key)
        kept[key] = (
            None if quantity is None else [round(float(quantity.value), 4), round(float(quantity.u), 4)]
        )
    circle = geometry.turning_circle
    kept["turning_circle"] = None if circle is None else [round(circle, 2), 0.0]
    return kept


def geometry_then(revision: Revision) -> dict[str, Quantity]:
    """What was computed when ``revision`` was posted, by key."""
    return {
        key: Quantity(value, u, Unit.DEGREE if key.startswith("lock_") else Unit.MM)
        for key, (value, u) in ((k, pair) for k, pair in revision.geometry.items() if pair is not None)
    }


@dataclass(frozen=True, slots=True)
class Kept:
    """One finding as it was when a revision was posted; fields as of ``fitcalc.findings.Finding``."""

    rule: str
    axle: str | None
    verdict: str
    found: Quantity | None
    low: float | None
    high: float | None
    margin: float | None
    probability: float | None
    required_word: str
    found_word: str


def kept_findings(report: FitReport) -> list[dict[str, Any]]:
    """The findings of ``report`` as a revision keeps them."""
    return [
        {
            "rule": one.rule.value,
            "axle": None if one.axle is None else one.axle.value,
            "verdict": one.verdict.value,
            "found": None
            if one.found is None
            else [round(float(one.found.value), 4), round(float(one.found.u), 4), one.found.unit.value],
            "low": one.low,
            "high": one.high,
            "margin": None if one.margin is None else round(float(one.margin), 4),
            "probability": None if one.probability is None else round(float(one.probability), 4),
            "required_word": one.required_word,
            "found_word": one.found_word,
        }
        for one in report.findings
    ]


def findings_then(revision: Revision) -> list[Kept]:
    """The findings that were computed when ``revision`` was posted."""
    return [
        Kept(**(row | {"found": None if row["found"] is None else _quantity(row["found"])}))
        for row in revision.findings
    ]


def _quantity(kept: Sequence[Any]) -> Quantity:
    value, u, unit = kept
    return Quantity(value, u, Unit(unit))


def offset_of(part: Part | None) -> Decimal | None:
    """The offset that a wheel is sold with; reads its dimensions."""
    if part is None:
        return None
    return next((row.value for row in part.dimensions.all() if row.quantity == "offset"), None)


def _said_by(error: Exception) -> str:
    """What an error was raised with, a ``Said`` as it is."""
    return error.args[0] if error.args and isinstance(error.args[0], str) else str(error)


def wrong_slots(car: Content) -> dict[Slot, str]:
    """Parts that do not go where they are put: kind, axle and platform; reads the parts' fitments."""
    wrong: dict[Slot, str] = {}
    for slot, part in car.parts.items():
        axle = Axle.FRONT if slot.value.startswith("front") else Axle.REAR
        if part.kind != SLOT_KINDS[slot]:
            why = _("{name} is a {kind} and does not go here.")
            wrong[slot] = why.format(name=part.name, kind=_(part.get_kind_display()))
        elif part.kind in _SIDED and part.axle not in ("", axle.value):
            if axle is Axle.FRONT:
                why = _("{name} is for the rear axle: choose one for the front.")
            else:
                why = _("{name} is for the front axle: choose one for the rear.")
            wrong[slot] = why.format(name=part.name)
        elif all(row.platform_id != car.platform.pk for row in part.fitments.all()):
            why = _("{name} is not sold for the {platform}: choose another.")
            wrong[slot] = why.format(name=part.name, platform=car.platform)
    return wrong


_SIDED = {PartKind.WHEEL.value, PartKind.TYRE.value, PartKind.SPACER.value}
