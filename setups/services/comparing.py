"""Two to six cars side by side: what differs in their parts, and what that does."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from fitcalc.fit import FitReport, Geometry, evaluate
from fitcalc.parts import Body as CalcBody
from fitcalc.parts import Configuration, PartId, Slot
from fitcalc.quantities import Quantity
from fitcalc.said import said
from setups.models import Body, MountingPosition, Part, Platform
from setups.translate import SLOT_KINDS, body_of, build_configuration, part_of, platform_of, position_of
from setups.translated import tell

FEWEST, MOST = 2, 6
SLOTS = [slot for slot in Slot if slot is not Slot.POSITION]


class NoSuchCar(ValueError):
    """A car in an address that cannot be read or built; the message says what to do."""


def code_of(configuration: Configuration) -> str:
    """The configuration as an address carries it: platform, position, then a part a slot, 0 for none."""
    _, position = configuration.position.id  # type: ignore[misc]
    parts = (configuration.part(slot) for slot in SLOTS)
    keys = [configuration.platform.id, position, *(0 if part is None else part.id for part in parts)]
    return "-".join(str(key) for key in keys)


def cars_of(codes: Sequence[str]) -> list[Configuration]:
    """The configurations that ``codes`` name, in five queries for any number. Raises NoSuchCar."""
    read = [_keys(code) for code in codes]
    platforms = Platform.objects.in_bulk({keys[0] for keys in read})
    positions = MountingPosition.objects.in_bulk({keys[1] for keys in read})
    wanted = {key for keys in read for key in keys[2:] if key}
    parts = Part.objects.filter(pk__in=wanted).prefetch_related("dimensions", "body_rules").in_bulk()
    cars = []
    for number, (platform, position, *keys) in enumerate(read, start=1):
        hole = positions.get(position)
        if platform not in platforms or hole is None or hole.platform_id != platform:
            said = _("Car {number} names a platform or position that the library does not hold.")
            raise NoSuchCar(said.format(number=number))
        filled = {}
        for slot, key in zip(SLOTS, keys, strict=True):
            fitting = key in parts and parts[key].kind == SLOT_KINDS[slot]
            record = part_of(parts[key]) if fitting else None
            if key and record is None:
                said = _("Car {number} names a {slot} that the library does not hold any more.")
                raise NoSuchCar(said.format(number=number, slot=_(slot.label)))
            filled[slot.value] = record
        try:
            cars.append(build_configuration(platform_of(platforms[platform]), position_of(hole), filled))
        except (ValueError, TypeError) as error:
            said = _("Car {number} is not whole: {error}.")
            raise NoSuchCar(said.format(number=number, error=tell(error))) from error
    return cars


def _keys(code: str) -> list[int]:
    fields = code.split("-")
    if len(fields) != len(SLOTS) + 2 or not all(f.isascii() and f.isdigit() and len(f) < 10 for f in fields):
        raise NoSuchCar(
            _(
                "An address names a car that cannot be read: choose the cars again on a body's page."
            )
        )
    return [int(field) for field in fields]


@dataclass(frozen=True, slots=True)
class PartRow:
    """One slot: the part's id and name for each car (``None`` where empty)."""

    slot: Slot
    parts: list[tuple[PartId, str] | None]

    @property
    def same(self) -> bool:
        """True if all cars have the same."""
        return len(set(self.parts)) == 1


@dataclass(frozen=True, slots=True)
class EffectRow:
    """One computed figure for each car, mm or degrees."""

    label: str
    meaning: str
    values: list[Quantity | None]

    @property
    def same(self) -> bool:
        """True if no two cars differ by a hundredth."""
        return len({None if value is None else round(float(value.value), 2) for value in self.values}) == 1

    @property
    def changes(self) -> list[tuple[Quantity | None, float | None]]:
        """Each value with its difference from the first car's."""
        first = self.values[0]
        return [
            (value, None if value is None or first is None else float(value.value - first.value))
            for value in self.values
        ]


EFFECTS: list[tuple[str, str, Callable[[Geometry], Quantity | None]]] = [
    (said("Front width"), said("Over the front wheels."), lambda g: g.front_width),
    (said("Rear width"), said("Over the rear wheels."), lambda g: g.rear_width),
    (
        said("Front track"),
        said("Between the middles of the front tyres."),
        lambda g: g.front_track,
    ),
    (
        said("Rear track"),
        said("Between the middles of the rear tyres."),
        lambda g: g.rear_track,
    ),
    (said("Wheelbase"), said("Front to rear wheel centres."), lambda g: g.wheelbase),
    (
        said("Scrub radius"),
        said("From the kingpin out to the middle of the tyre."),
        lambda g: g.scrub_radius,
    ),
    (
        said("Lock, inward"),
        said("Front of the wheel turning towards the car."),
        lambda g: g.lock_inward,
    ),
    (
        said("Lock, outward"),
        said("Front of the wheel turning away from the car."),
        lambda g: g.lock_outward,
    ),
    (
        said("Front wheel’s rise"),
        said("At full bump, by the arm’s lever."),
        lambda g: g.front_wheel_travel,
    ),
    (
        said("Stands at the front"),
        said("Proud of the arch, or inset where negative."),
        lambda g: g.front_flush,
    ),
    (
        said("Stands at the rear"),
        said("Proud of the arch, or inset where negative."),
        lambda g: g.rear_flush,
    ),
    (
        said("Front arch"),
        said("Gap between the tyre and its opening."),
        lambda g: g.front_arch_clearance,
    ),
    (
        said("Rear arch"),
        said("Gap between the tyre and its opening."),
        lambda g: g.rear_arch_clearance,
    ),
]


@dataclass(frozen=True, slots=True)
class Comparison:
    """The cars' reports, and their parts and effects split by whether they differ."""

    reports: list[FitReport]
    parts: list[PartRow]
    same_parts: list[PartRow]
    effects: list[EffectRow]
    same_effects: list[EffectRow]


def compare(cars: Iterable[Configuration], body: Body | None) -> Comparison:
    """Compare ``cars`` under ``body``, or as bare chassis without one."""
    reports = judge(cars, body)
    figures = [[(name, meaning, of(one.geometry)) for name, meaning, of in EFFECTS] for one in reports]
    return comparison_of(reports, figures)


def judge(cars: Iterable[Configuration], body: Body | None) -> list[FitReport]:
    """The report of each car under ``body``, or as a bare chassis without one."""
    cars = list(cars)
    bare = CalcBody(id=0, name="no body", scale=cars[0].platform.scale) if cars else None
    shell = bare if body is None else body_of(body)
    return [evaluate(car, shell) for car in cars if shell is not None]


def comparison_of(
    reports: list[FitReport], figures: Sequence[Sequence[tuple[str, str, Quantity | None]]]
) -> Comparison:
    """What differs among cars with these reports; ``figures`` are label, meaning and figure, a list a car."""
    parts = [PartRow(slot, [_named(report.configuration, slot) for report in reports]) for slot in Slot]
    effects = [
        EffectRow(row[0][0], row[0][1], [value for _, _, value in row]) for row in zip(*figures, strict=True)
    ]
    known = [row for row in effects if any(value is not None for value in row.values)]
    return Comparison(
        reports=reports,
        parts=[row for row in parts if not row.same],
        same_parts=[row for row in parts if row.same],
        effects=[row for row in known if not row.same],
        same_effects=[row for row in known if row.same],
    )


def _named(car: Configuration, slot: Slot) -> tuple[PartId, str] | None:
    part = car.part(slot)
    return None if part is None else (part.id, part.name)
