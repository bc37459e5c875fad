"""Is a posted car as it is computed? What members measured on it, held against its geometry.

A car is verified when each of ``REQUIRED`` was measured by ``MEMBERS`` members other than its author, each of
them agreeing with the computed value, |E_n| <= 1 (ISO/IEC 17043, B.3.1), and its geometry passes. One member
who does not agree contradicts it, whatever the others say: a person has to look.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from fitcalc import consensus
from fitcalc.consensus import Consensus, en, settle
from fitcalc.dimensions import CAR_DIMENSIONS
from fitcalc.findings import Verdict
from fitcalc.quantities import Quantity

REQUIRED = ("front_width", "rear_width", "wheelbase")
"""What has to be measured before a car counts as verified."""
MEMBERS = 2
"""By so many members other than the author."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of a car's ``quantity`` by ``measurer``: value and standard uncertainty in its unit."""

    quantity: str
    value: float
    u: float
    measurer: Hashable
    instrument: Hashable | None = None


@dataclass(frozen=True, slots=True)
class Held:
    """One member's readings of one quantity, pooled, against the computed value."""

    measurer: Hashable
    value: float
    u: float
    readings: int
    en: float | None
    """``None`` where nothing is computed to hold it against."""

    @property
    def agrees(self) -> bool:
        """True if the reading does not contradict the computed value."""
        return self.en is None or abs(self.en) <= 1.0


@dataclass(frozen=True, slots=True)
class Tested:
    """One quantity of the car: what is computed, what the members other than the author settle, and each."""

    quantity: str
    computed: Quantity | None
    settled: Consensus | None
    held: tuple[Held, ...]
    by_author: tuple[Held, ...]

    @property
    def required(self) -> bool:
        """True if the car cannot be verified without this quantity."""
        return self.quantity in REQUIRED

    @property
    def confirming(self) -> tuple[Hashable, ...]:
        """The members, the author apart, whose readings agree with what is computed."""
        return tuple(one.measurer for one in self.held if one.en is not None and one.agrees)

    @property
    def contradicting(self) -> tuple[Hashable, ...]:
        """The members, the author apart, whose readings do not agree with what is computed."""
        return tuple(one.measurer for one in self.held if not one.agrees)

    @property
    def wanted(self) -> int:
        """How many more members have to measure it."""
        return max(0, MEMBERS - len(self.confirming)) if self.required else 0


class Status(StrEnum):
    """How far a car is borne out by what was measured."""

    UNPROVEN = "unproven"
    VERIFIED = "verified"
    CONTRADICTED = "contradicted"


@dataclass(frozen=True, slots=True)
class Verification:
    """What the measurements say of a car, quantity by quantity, and of its geometry."""

    verdict: Verdict
    tested: tuple[Tested, ...]

    @property
    def status(self) -> Status:
        """CONTRADICTED if one member's reading is; VERIFIED if nothing is wanted and the geometry passes."""
        if any(one.contradicting for one in self.tested):
            return Status.CONTRADICTED
        if self.passes and not any(one.wanted for one in self.tested):
            return Status.VERIFIED
        return Status.UNPROVEN

    @property
    def passes(self) -> bool:
        """True if the geometry does not fail."""
        return self.verdict is not Verdict.FAILS

    @property
    def confirmations(self) -> int:
        """How many members confirm every required quantity at the least: the weakest one's number."""
        return min(len(one.confirming) for one in self.tested if one.required)


def verify(
    verdict: Verdict, computed: Mapping[str, Quantity | None], readings: Sequence[Reading], author: Hashable
) -> Verification:
    """Hold ``readings`` of a car against its ``computed`` quantities (keys of CAR_DIMENSIONS).

    Every required quantity and every one that was measured is in the answer, in the order of the catalogue.
    """
    by_quantity: dict[str, list[Reading]] = {key: [] for key in CAR_DIMENSIONS}
    for reading in readings:
        by_quantity[reading.quantity].append(reading)
    return Verification(
        verdict,
        tuple(
            _tested(key, computed.get(key), rows, author)
            for key, rows in by_quantity.items()
            if rows or key in REQUIRED
        ),
    )


def pooled(readings: Sequence[Reading]) -> Quantity:
    """One member's readings of one quantity as the one say that they are; at least one reading."""
    settled = _settled(readings[0].quantity, readings)
    assert settled is not None
    (standing,) = settled.standings
    return Quantity(standing.value, standing.u, CAR_DIMENSIONS[readings[0].quantity].unit)


def _tested(key: str, computed: Quantity | None, rows: Sequence[Reading], author: Hashable) -> Tested:
    others = _settled(key, [row for row in rows if row.measurer != author])
    own = _settled(key, [row for row in rows if row.measurer == author])
    return Tested(key, computed, others, _held(others, computed), _held(own, computed))


def _settled(key: str, rows: Sequence[Reading]) -> Consensus | None:
    if not rows:
        return None
    readings = [consensus.Measurement(row.value, row.u, row.measurer, row.instrument) for row in rows]
    return settle(readings, CAR_DIMENSIONS[key].unit)


def _held(settled: Consensus | None, computed: Quantity | None) -> tuple[Held, ...]:
    if settled is None:
        return ()
    return tuple(
        Held(
            one.measurer,
            one.value,
            one.u,
            one.readings,
            None if computed is None else float(en(one.value, one.u, computed.value, computed.u)),
        )
        for one in settled.standings
    )
