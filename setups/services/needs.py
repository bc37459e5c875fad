"""What a body needs, as a plain card: each thing asked for, with its doubt and where the figure is from."""

from __future__ import annotations

from dataclasses import dataclass

from fitcalc.dimensions import BODY_DIMENSIONS
from fitcalc.quantities import Quantity
from fitcalc.said import said
from setups.models import Body, BodyDimension, Part
from setups.translate import body_of


@dataclass(frozen=True, slots=True)
class Need:
    """One line of the card. ``quantity`` is ``None`` where nobody knows; ``part`` where a part is meant."""

    key: str
    label: str
    meaning: str
    quantity: Quantity | None = None
    row: BodyDimension | None = None
    part: Part | None = None
    predicted: bool = False


@dataclass(frozen=True, slots=True)
class Needs:
    """The card: what the chassis must bring, the body's own dimensions, and what nobody knows yet.

    The wheelbase stands among ``chassis`` whether known or not.
    """

    chassis: list[Need]
    shell: list[Need]
    unknown: list[Need]


def needs_of(body: Body) -> Needs:
    """The card of ``body``; reads ``dimensions`` and ``part_rules__part``, so prefetch them."""
    rows = {row.quantity: row for row in body.dimensions.all()}
    calculated = body_of(body)
    chassis, shell, unknown = [], [], []
    for key, kind in BODY_DIMENSIONS.items():
        row = rows.get(key)
        quantity = row.quantity_value() if row else None
        predicted = False
        if key == "wheelbase" and row is None and calculated.wheelbase_predicted:
            quantity, predicted = calculated.wheelbase, True
        need = Need(key, kind.label, kind.meaning, quantity, row, predicted=predicted)
        if key == "wheelbase":
            chassis.append(need)
        if quantity is None:
            unknown.append(need)
        elif key != "wheelbase":
            shell.append(need)
    chassis += _stated(body)
    return Needs(chassis, shell, unknown)


def _stated(body: Body) -> list[Need]:
    """What the maker states of the chassis, and the parts that belong to the body."""
    needs = [
        Need(
            "designated_front_width",
            said("Front end"),
            said(
                "Width across the front wheels at zero offset: the trade's name for a front end."
            ),
        ),
        Need(
            "offsets",
            said("Wheel offsets"),
            said("Rim's inner edge outward of the hub's face, front and rear."),
        ),
        Need("layouts", said("Motor"), said("Where the motor may sit under this body's floor.")),
    ]
    rules = list(body.part_rules.all())
    own = [rule.part for rule in rules if rule.rule == rule.Rule.MADE_FOR]
    for part in own or [None]:
        needs.append(
            Need(
                "front_mount",
                said("Front body mount"),
                said("Each body has its own front mount."),
                part=part,
            )
        )
    for rule in rules:
        if rule.rule == rule.Rule.FOULS:
            needs.append(
                Need(
                    "fouls",
                    said("Does not take"),
                    rule.reason or said("It fouls this body's floor."),
                    part=rule.part,
                )
            )
    return needs
