"""Where a posted setup stands and what it still wants, as data that a page puts into words."""

from __future__ import annotations

import re
from dataclasses import dataclass

from django.db.models import Model
from django.utils.formats import number_format
from django.utils.translation import gettext

from fitcalc.dimensions import CAR_DIMENSIONS
from fitcalc.said import said
from fitcalc.verification import Verification
from setups.models import Decision, Dispute, Measurement, Revision, Setup
from setups.services.readings import CarSheet, sheets_of
from setups.services.standing import Standing
from setups.translated import within_a_sentence

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


_BY_THE_RULES = (
    said("It counts as verified no longer: its geometry does not pass any more."),
    said("It counts as verified no longer: its measurements are too few."),
    said("It counts as verified no longer: {why}"),
    said("By the library’s figures of today the fit is “{now}”, before it was “{before}”."),
    said("{number} members other than the author measured it, and all agree with what is computed."),
    said(
        "{member} measured the {dimension} as {figure} {unit} over {readings} readings, which contradicts "
        "what is computed."
    ),
    said("{member} measured the {dimension} as {figure} {unit}, which contradicts what is computed."),
    said("The measurement no longer stands against the setup."),
)
_BY_A_STEWARD = (
    said("The measurement is set aside: {reason}"),
    said("The setup is not as posted: {reason}"),
)
_OF_POSTING = (said("first posted"), said("revised"))
_PLACE = re.compile(r"\\{(\w+)\\}")
_DIMENSIONS = {kind.label.lower(): kind.label for kind in CAR_DIMENSIONS.values()}


def retold(line: Decision) -> str:
    """The reason of a line of the record in the reader's language, where the library put it into words.

    What a member wrote stays as it is. The library's own words are kept in English, and known by their form.
    """
    if line.member_id is None:
        forms = _BY_THE_RULES
    else:
        forms = _BY_A_STEWARD if line.action == Decision.Action.SETTLED else _OF_POSTING
    for form in forms:
        found = re.fullmatch(_PLACE.sub(r"(?P<\1>.+)", re.escape(form)), line.reason, re.DOTALL)
        if found:
            values = found.groupdict()
            for name in values.keys() & {"now", "before"}:
                values[name] = gettext(values[name])
            if "dimension" in values:
                values["dimension"] = within_a_sentence(
                    gettext(_DIMENSIONS.get(values["dimension"], values["dimension"]))
                )
                values["figure"] = number_format(values["figure"])
            return gettext(form).format(**values)
    return line.reason


def record_of(setup: Setup) -> Record:
    """The record of ``setup``; two queries at most."""
    rows = setup.decisions.select_related("member", "revision").order_by("-pk")
    newest = list(rows.only(*_LINES)[: MOST_LINES + 1])
    left = rows.count() - MOST_LINES if len(newest) > MOST_LINES else 0
    return Record(newest[:LINES], newest[LINES:MOST_LINES], left)


_LINES = (
    *("action", "reason", "at", "setup_id"),
    *("member__username", "member__display_name", "revision__number"),
)


def revisions_of(setup: Setup) -> list[Revision]:
    """The revisions, newest first, without what they say; one query."""
    heads = setup.revisions.only("number", "posted_at", "what_changed", "verdict", "setup")
    return list(heads.order_by("-number")[:MOST_LINES])


def disputes_of(setup: Setup) -> list[Dispute]:
    """The disputes over ``setup``, newest first; one query."""
    rows = setup.disputes.select_related("measurement__member")
    return list(rows.defer(*named(Measurement, "member", "measurement__")).order_by("-opened_at", "-pk"))


def named(of: type[Model], member: str, before: str = "") -> list[str]:
    """The columns to leave out of a query where a member joined to ``of`` is only named, for ``defer``."""
    columns = of._meta.get_field(member).related_model._meta.concrete_fields  # type: ignore[union-attr]
    return [f"{before}{member}__{one.name}" for one in columns if one.name not in _NAMES]


_NAMES = ("id", "username", "display_name")


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
