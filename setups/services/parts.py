"""A part as its page shows it: every dimension of its kind, known or not, and what it goes with."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from django.db.models import Q

from fitcalc.dimensions import PART_DIMENSIONS, REQUIRED, DimensionKind, PartKind, dimensions_of
from fitcalc.instruments import DESIGNATED
from fitcalc.quantities import Quantity, propagate
from fitcalc.said import said
from fitcalc.wheel import backspacing_from_offset, inset_from_offset
from setups.models import BodyPart, Configuration, Part, PartDimension, PartPair

MOST = 60
"""A part's page lists at most so many pairs, bodies and configurations each."""

CHIEF: dict[PartKind, str] = {
    PartKind.FRONT_SUSPENSION: "hub_width",
    PartKind.REAR_AXLE: "hub_width",
    PartKind.MOTOR_MOUNT: "chain_length",
    PartKind.PLATE: "chain_length",
    PartKind.WHEEL: "offset",
    PartKind.TYRE: "tyre_diameter",
    PartKind.SPACER: "thickness",
    PartKind.FRONT_BODY_MOUNT: "reach",
    PartKind.MOTOR: "speed_constant",
    PartKind.PINION: "teeth",
    PartKind.SPUR: "teeth",
    PartKind.SPRING: "spring_rate",
}
"""The dimension that a list tells parts of a kind apart by."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One dimension of the kind; ``row`` is ``None`` where nobody knows it."""

    kind: DimensionKind
    row: PartDimension | None
    required: bool

    @property
    def quantity(self) -> Quantity | None:
        return None if self.row is None else self.row.quantity_value()

    @property
    def how(self) -> str:
        """How the figure is printed: with its sign where a negative value has a meaning."""
        return "signed" if self.kind.signed else ""

    @property
    def measurable(self) -> bool:
        """True where a member can measure it: not what the maker designates."""
        return self.kind.key not in DESIGNATED

    @property
    def counted(self) -> bool:
        """True for a number of things, which is printed whole."""
        return self.kind.key == "teeth"


@dataclass(frozen=True, slots=True)
class OtherConvention:
    """A wheel as full-size practice states it, mm: its sign is the opposite of the trade's offset."""

    inset: Quantity
    backspacing: Quantity


@dataclass(frozen=True, slots=True)
class Pairing:
    """A rule about this part and ``other``: "goes only with", "must not meet", "is needed by"."""

    other: Part
    reason: str


class PartSheet:
    """The page of ``part``; reads ``dimensions``, so prefetch them."""

    def __init__(self, part: Part) -> None:
        self.part = part
        self.kind = PartKind(part.kind)
        self._rows = {row.quantity: row for row in part.dimensions.all()}

    @cached_property
    def figures(self) -> list[Figure]:
        """The kind's dimensions, required ones first; then any other that is on record."""
        keys = list(dict.fromkeys([*dimensions_of(self.kind), *self._rows]))
        return [Figure(PART_DIMENSIONS[key], self._rows.get(key), key in REQUIRED[self.kind]) for key in keys]

    @property
    def missing(self) -> list[Figure]:
        """Required dimensions that nobody knows: without them the part takes no part in the fit."""
        return [figure for figure in self.figures if figure.required and figure.row is None]

    @property
    def chief(self) -> Figure | None:
        key = CHIEF.get(self.kind)
        row = self._rows.get(key) if key else None
        return None if row is None else Figure(PART_DIMENSIONS[key], row, True)

    @property
    def piece_price(self) -> Decimal | None:
        """The price of one piece, where a pack holds several."""
        price, pieces = self.part.price, self.part.pack_size
        return None if price is None or pieces < 2 else price / pieces

    @property
    def axle(self) -> str:
        """``front``, ``rear`` or ``either axle``; empty for kinds to which no axle applies."""
        if self.part.axle:
            return self.part.get_axle_display()
        return said("either axle") if self.kind in (PartKind.WHEEL, PartKind.TYRE, PartKind.SPACER) else ""

    @cached_property
    def other_convention(self) -> OtherConvention | None:
        """For a wheel whose offset and rim width are known, its inset and backspacing."""
        offset, rim = self._rows.get("offset"), self._rows.get("rim_width")
        if self.kind is not PartKind.WHEEL or offset is None or rim is None:
            return None
        given = offset.quantity_value(), rim.quantity_value()
        return OtherConvention(
            propagate(inset_from_offset, *given), propagate(backspacing_from_offset, *given)
        )

    # What it goes with: each of these is one query

    @cached_property
    def _pairs(self) -> list[PartPair]:
        rows = PartPair.objects.filter(Q(part=self.part) | Q(other=self.part))
        return list(
            rows.select_related("part__maker", "other__maker").order_by("other__name", "part__name")[:MOST]
        )

    @property
    def only_with(self) -> list[Pairing]:
        """Of these one must be there if this part is."""
        return [
            Pairing(row.other, row.reason)
            for row in self._pairs
            if row.rule == PartPair.Rule.ONLY_WITH and row.part_id == self.part.pk
        ]

    @property
    def needed_by(self) -> list[Pairing]:
        """These go only with this part, or with one of several that it is among."""
        return [
            Pairing(row.part, row.reason)
            for row in self._pairs
            if row.rule == PartPair.Rule.ONLY_WITH and row.other_id == self.part.pk
        ]

    @property
    def never(self) -> list[Pairing]:
        """These must not meet this part."""
        return [
            Pairing(row.other if row.part_id == self.part.pk else row.part, row.reason)
            for row in self._pairs
            if row.rule == PartPair.Rule.NEVER
        ]

    @cached_property
    def _bodies(self) -> list[BodyPart]:
        rows = self.part.body_rules.select_related("body__maker").order_by("body__name")
        return list(rows[:MOST])

    @property
    def made_for(self) -> list[BodyPart]:
        return [row for row in self._bodies if row.rule == BodyPart.Rule.MADE_FOR]

    @property
    def fouls(self) -> list[BodyPart]:
        return [row for row in self._bodies if row.rule == BodyPart.Rule.FOULS]

    @cached_property
    def configurations(self) -> list[Configuration]:
        """Configurations on record that use the part."""
        used = Configuration.objects.filter(slots__part=self.part).distinct()
        return list(used.select_related("platform", "body").order_by("platform__name", "name")[:MOST])
