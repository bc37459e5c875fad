"""What members read off a car, quantity by quantity, beside what is computed: as a page shows it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from django.utils.translation import gettext as _

from fitcalc.consensus import Consensus, en
from fitcalc.dimensions import CAR_DIMENSIONS, DimensionKind
from fitcalc.quantities import Quantity
from fitcalc.verification import Held, Tested
from setups.drawing.measured import Chart, Reading, chart
from setups.models import Measurement
from setups.printing import fixed
from setups.services.cars import computed_of
from setups.services.standing import Standing


@dataclass(frozen=True, slots=True)
class Line:
    """One reading that counts. ``en`` is of this reading alone, ``None`` where nothing is computed.

    ``contradicts`` and ``outlier`` are of its member, who has one say: against what is computed, and among
    the members.
    """

    row: Measurement
    en: float | None
    by_author: bool
    contradicts: bool
    outlier: bool

    @property
    def quantity(self) -> Quantity:
        return Quantity(float(self.row.value), self.row.u, self.row.kind.unit)

    @property
    def outside(self) -> bool:
        """True for what the chart draws as a cross: what contradicts the computed value, if there is one."""
        return self.contradicts or (self.outlier and self.en is None)

    @property
    def words(self) -> str:
        """What the chart says behind the member's name."""
        said = [] if self.en is None else [f"Eₙ {fixed(self.en, 2, plus=True)}"]
        if self.by_author:
            said.append(_("the author, does not count"))
        elif self.contradicts:
            said.append(_("contradicts"))
        elif self.outlier:
            said.append(_("outlier"))
        return ", ".join(said)


@dataclass(frozen=True, slots=True)
class Person:
    """A member with several readings, taken together."""

    name: str
    held: Held
    quantity: Quantity


class CarSheet:
    """All that is known of one quantity of a posted car."""

    def __init__(self, standing: Standing, quantity: str) -> None:
        self.setup = standing.setup
        self.kind: DimensionKind = CAR_DIMENSIONS[quantity]
        self.computed: Quantity | None = computed_of(standing.report.geometry).get(quantity)
        tested = [one for one in standing.verification.tested if one.quantity == quantity]
        self.tested: Tested | None = tested[0] if tested else None
        rows = [row for row in standing.measurements if row.quantity == quantity]
        self.rows = [row for row in rows if row.counts]
        self.withdrawn = [row for row in rows if row.withdrawn]
        self.set_aside = [row for row in rows if row.set_aside and not row.withdrawn]

    @property
    def required(self) -> bool:
        """True if the car cannot be verified without it."""
        return self.tested is not None and self.tested.required

    @property
    def settled(self) -> Consensus | None:
        """What the members other than the author settle."""
        return None if self.tested is None else self.tested.settled

    @property
    def held(self) -> tuple[Held, ...]:
        """The members other than the author, each against what is computed."""
        return () if self.tested is None else self.tested.held

    @property
    def confirming(self) -> int:
        return 0 if self.tested is None else len(self.tested.confirming)

    @property
    def wanted(self) -> int:
        """How many more members have to measure it for the car to be verified."""
        return 0 if self.tested is None else self.tested.wanted

    @cached_property
    def lines(self) -> list[Line]:
        contradicting = set(self.tested.contradicting) if self.tested else set()
        outliers = set(self.settled.outliers) if self.settled else set()
        return [
            Line(
                row,
                self._en(row),
                row.member_id == self.setup.author_id,
                row.member_id in contradicting,
                row.member_id in outliers,
            )
            for row in self.rows
        ]

    def _en(self, row: Measurement) -> float | None:
        if self.computed is None:
            return None
        return float(en(float(row.value), row.u, self.computed.value, self.computed.u))

    @property
    def contradictions(self) -> list[Person]:
        """The members whose readings do not agree with what is computed."""
        return [one for one in self._people if not one.held.agrees]

    @property
    def outliers(self) -> list[Person]:
        """The members whom most of the others contradict."""
        out = set(self.settled.outliers) if self.settled else set()
        return [one for one in self._people if one.held.measurer in out]

    @property
    def people(self) -> list[Person]:
        """The members with several readings, the author too."""
        return [one for one in [*self._people, *self._author] if one.held.readings > 1]

    @property
    def _author(self) -> list[Person]:
        return self._named(() if self.tested is None else self.tested.by_author)

    @cached_property
    def _people(self) -> list[Person]:
        return self._named(self.held)

    def _named(self, held: tuple[Held, ...]) -> list[Person]:
        names = {row.member_id: str(row.member) for row in self.rows}
        return [
            Person(names[one.measurer], one, Quantity(one.value, one.u, self.kind.unit))  # type: ignore[index]
            for one in held
        ]

    @property
    def line_is(self) -> str:
        """What the chart's upright line is: ``computed``, ``settled``, or the ``author``'s own."""
        if self.computed is not None:
            return "computed"
        return "author" if self.settled is None else "settled"

    @cached_property
    def chart(self) -> Chart | None:
        """The readings round what is computed, what the members settle beside them; ``None`` without any."""
        if not self.rows or self.tested is None:
            return None
        readings = [
            Reading(str(one.row.member), float(one.row.value), one.row.u, one.words, one.outside)
            for one in self.lines
        ]
        settled = None if self.settled is None else self.settled.value
        if self.computed is not None:
            beside = None if settled is None else (_("Members settle"), settled)
            return chart(readings, self.computed, beside, self.kind.unit, _("not agreeing"))
        line = settled or self._author[0].quantity
        return chart(readings, line, None, self.kind.unit, _("not agreeing"))


def sheets_of(standing: Standing) -> list[CarSheet]:
    """A sheet for every quantity that has to be measured or was, those that have to be first."""
    tested = sorted(standing.verification.tested, key=lambda one: not one.required)
    return [CarSheet(standing, one.quantity) for one in tested]
