"""From the tables to what ``fitcalc.legality`` judges: clauses, and cars as computed and as measured."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from club.garage.fits import configuration_from, filled_of
from club.models import Chassis, Clause
from fitcalc import legality
from fitcalc import parts as calc
from fitcalc.dimensions import PartKind, Unit
from fitcalc.fit import FitReport, evaluate
from fitcalc.gearing import ratio, rollout_of
from fitcalc.parts import Slot
from fitcalc.quantities import Quantity
from setups.models import Body, Revision, Setup
from setups.services.cars import computed_of
from setups.services.changes import Filled, slots_of
from setups.services.standing import standing_of
from setups.translate import SLOT_KINDS, body_of, shelf_for

STATED_MASS = 1.0
"""Standard uncertainty, g, of a mass that a member states; common practice, no source."""
STATED_HEIGHT = 0.25
"""Standard uncertainty, mm, of a ride height that a member states; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Subject:
    """A car to be checked, with what it is made of: a setup's, or a chassis from somebody's garage.

    ``body`` is ``None`` for a chassis without one; ``filled`` is what stands in each slot.
    """

    name: str
    address: str
    car: legality.Car
    report: FitReport
    filled: Filled
    body: Body | None
    platform: Any


def clause_of(row: Clause) -> legality.Clause:
    """The clause as it is judged; reads its items."""
    common = {"id": row.pk, "number": row.number, "wording": row.wording}
    if row.kind == Clause.Kind.LIMIT:
        return legality.Limit(
            **common,
            quantity=row.quantity,
            low=None if row.low is None else float(row.low),
            high=None if row.high is None else float(row.high),
            rule=legality.DecisionRule(row.rule),
            factor=float(row.factor),
        )
    ids = frozenset(item.part_id or item.body_id for item in row.items.all())
    if row.kind == Clause.Kind.LIST:
        return legality.Listing(**common, kind=row.thing, ids=ids, allows=row.allows)
    return legality.Required(**common, kind=row.thing, ids=ids)


def car_of(
    report: FitReport,
    has_body: bool = True,
    tuning: Mapping[str, float | str] | None = None,
    measured: Mapping[str, Quantity] | None = None,
) -> legality.Car:
    """The car of a fit report, with what its owner states of it and what was measured on it."""
    computed = {**from_parts(report, has_body), **stated(report, tuning or {})}
    return legality.Car(
        computed=computed,
        measured=dict(measured or {}),
        fitted=fitted_of(report.configuration, report.body, has_body),
    )


def from_parts(report: FitReport, has_body: bool = True) -> dict[str, Quantity]:
    """What follows from the parts: widths, tracks, wheelbase, tyres, offsets and the mass of the body."""
    geometry, car = report.geometry, report.configuration
    found = computed_of(geometry)
    found["front_tyre_width"], found["rear_tyre_width"] = geometry.front_tyre_width, geometry.rear_tyre_width
    found["front_offset"], found["rear_offset"] = car.front_wheel.offset, car.rear_wheel.offset
    if has_body and report.body.mass is not None:
        found["body_mass"] = report.body.mass
    return found


def stated(report: FitReport, tuning: Mapping[str, float | str]) -> dict[str, Quantity]:
    """What a setup's settings say: mass, ground clearance (the lower end), rollout of a spur on the axle."""
    found = {}
    numbers = {key: float(value) for key, value in tuning.items() if not isinstance(value, str)}
    if "mass" in numbers:
        found["mass"] = Quantity(numbers["mass"], STATED_MASS, Unit.GRAM)
    if {"front_ride_height", "rear_ride_height"} <= numbers.keys():
        lower = min(numbers["front_ride_height"], numbers["rear_ride_height"])
        found["ground_clearance"] = Quantity(lower, STATED_HEIGHT)
    if {"pinion_teeth", "spur_teeth"} <= numbers.keys():
        turns = ratio(numbers["pinion_teeth"], numbers["spur_teeth"])
        found["rollout"] = rollout_of(report.geometry.rear_tyre_diameter, turns)
    return found


def fitted_of(
    configuration: calc.Configuration, body: calc.Body, has_body: bool = True
) -> dict[str, frozenset[Any]]:
    """Kind -> keys of what is on the car, for the kinds that a configuration has slots for."""
    found: dict[str, set[Any]] = defaultdict(set)
    for slot, kind in SLOT_KINDS.items():
        part = configuration.part(slot)
        found[kind.value] |= set() if part is None else {part.id}
    if has_body:
        found[legality.BODY] = {body.id}
    else:
        del found[PartKind.FRONT_BODY_MOUNT.value]
    return {kind: frozenset(ids) for kind, ids in found.items()}


def subject_of_setup(setup: Setup, revision: Revision | None = None) -> Subject:
    """The car of a posted setup: computed, and as members other than its author measured it."""
    standing = standing_of(setup, revision)
    found = revision or setup.current
    assert found is not None
    measured = {
        one.quantity: one.settled.value for one in standing.verification.tested if one.settled is not None
    }
    return Subject(
        name=str(setup),
        address=setup.get_absolute_url(),
        car=car_of(standing.report, tuning=found.tuning, measured=measured),
        report=standing.report,
        filled=slots_of(standing.report.configuration),
        body=found.body,
        platform=found.platform,
    )


class OpenSlots(ValueError):
    """A chassis that cannot be checked because a slot that it cannot do without is open."""


def subject_of_chassis(chassis: Chassis, body: Body | None) -> Subject:
    """A chassis as built, under ``body`` on the best of its mounts that is known, or without one.

    The chassis comes with its slots, the body with ``dimensions`` and ``part_rules``. Raises OpenSlots.
    """
    catalogue = shelf_for([chassis.platform], body).catalogues[chassis.platform.pk]
    filled = dict(filled_of(chassis, catalogue))
    shell = (
        calc.Body(id=None, name=_("no body"), scale=chassis.platform.scale) if body is None else body_of(body)
    )
    mounts = [mount for mount in catalogue.body_mounts if shell.id in mount.bodies]
    filled[Slot.BODY_MOUNT] = mounts[0] if mounts else None
    configuration = configuration_from(filled, catalogue)
    if configuration is None:
        raise OpenSlots(
            _(
                "{chassis} has a slot open that a car cannot do without, or a part whose "
                "dimensions the library does not know: complete it in the garage, then check "
                "it."
            ).format(chassis=chassis)
        )
    report = evaluate(configuration, shell, catalogue.pairs)
    return Subject(
        name=_("{chassis} under {body}").format(chassis=chassis, body=body) if body else str(chassis),
        address=chassis.get_absolute_url(),
        car=car_of(report, has_body=body is not None),
        report=report,
        filled=filled,
        body=body,
        platform=chassis.platform,
    )
