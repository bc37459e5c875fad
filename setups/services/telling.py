"""Where a posted setup stands and what it still wants, as data that a page puts into words."""

from __future__ import annotations

from dataclasses import dataclass

from fitcalc.verification import Verification
from setups.models import Decision, Dispute, Revision, Setup
from setups.services.readings import CarSheet, sheets_of
from setups.services.verifying import Standing

LINES = 12
"""A setup's page shows so many lines of its record and revisions, the rest folded away,"""
MOST_LINES = 200
"""and no more than so many."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Quantities that each want so many more members."""

    members: int
    names: list[str]


def wanted_of(verification: Verification) -> list[Wanted]:
    """What a car still wants to be verified, the least first; empty if nothing is wanted."""
    by_number: dict[int, list[str]] = {}
    for one in verification.tested:
        if one.wanted:
            by_number.setdefault(one.wanted, []).append(one.quantity)
    return [Wanted(number, names) for number, names in sorted(by_number.items())]


def next_to_measure(sheets: list[CarSheet], member: int | None) -> str:
    """The quantity that ``member`` helps most by measuring: one that is wanted and that they have not."""
    for sheet in sorted(sheets, key=lambda one: -one.wanted):
        if not any(row.member_id == member for row in sheet.rows):
            return sheet.kind.key
    return sheets[0].kind.key


@dataclass(frozen=True, slots=True)
class Record:
    """What happened to a setup, newest first; ``older`` is folded away."""

    newest: list[Decision]
    older: list[Decision]
    left: int
    """So many lines are older still."""

    @property
    def withdrawal(self) -> Decision | None:
        """The line that tells why a setup is withdrawn."""
        for one in [*self.newest, *self.older]:
            if one.action == Decision.Action.WITHDRAWN:
                return one
        return None


def record_of(setup: Setup) -> Record:
    """The record of ``setup``; two queries at most."""
    rows = setup.decisions.select_related("member", "revision").order_by("-pk")
    newest = list(rows[: MOST_LINES + 1])
    left = rows.count() - MOST_LINES if len(newest) > MOST_LINES else 0
    return Record(newest[:LINES], newest[LINES:MOST_LINES], left)


def revisions_of(setup: Setup) -> list[Revision]:
    """The revisions, newest first, without what they say; one query."""
    heads = setup.revisions.only("number", "posted_at", "what_changed", "verdict", "setup")
    return list(heads.order_by("-number")[:MOST_LINES])


def disputes_of(setup: Setup) -> list[Dispute]:
    """The disputes over ``setup``, newest first; one query."""
    rows = setup.disputes.select_related("measurement__member", "measurement__revision", "settled_by")
    return list(rows.order_by("-opened_at", "-pk")[:MOST_LINES])


@dataclass(frozen=True, slots=True)
class Told:
    """What a page tells of a setup's standing."""

    standing: Standing
    sheets: list[CarSheet]
    wanted: list[Wanted]

    @property
    def dispute(self) -> Dispute | None:
        return self.standing.dispute

    @property
    def witnesses(self) -> list[str]:
        """Who bears out a quantity that has to be measured, in the order in which they first measured."""
        agree = {one for sheet in self.sheets if sheet.required for one in sheet.tested.confirming}  # type: ignore[union-attr]
        names = {row.member_id: str(row.member) for row in self.standing.measurements}
        return [name for member, name in names.items() if member in agree]

    @property
    def disputed(self) -> CarSheet | None:
        """The sheet of the quantity that the dispute is about."""
        if self.dispute is None:
            return None
        key = self.dispute.measurement.quantity
        return next((sheet for sheet in self.sheets if sheet.kind.key == key), None)


def told_of(standing: Standing) -> Told:
    """What there is to tell of ``standing``; no query."""
    return Told(standing, sheets_of(standing), wanted_of(standing.verification))
