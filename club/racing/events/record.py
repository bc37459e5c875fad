"""The record of an event: every inspection with its verdict of the day and the one found again from it."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Prefetch, QuerySet

from club.models import ClauseItem, Entry, Event, Inspection
from club.racing.cars import clause_of
from club.racing.events.inspecting import agrees_with_the_day, ruling_of
from fitcalc.legality import CLASS_QUANTITIES, Clause, Ruling

HEADINGS = (
    "event",
    "date",
    "class",
    "edition",
    "edition_valid_from",
    "number",
    "driver",
    "setup_revision",
    "stage",
    "run",
    "clause",
    "wording",
    "quantity",
    "unit",
    "low",
    "high",
    "rule",
    "factor",
    "readings",
    "value",
    "u",
    "instrument",
    "doubt_of_one",
    "computed",
    "computed_u",
    "seen",
    "verdict",
    "passes",
    "probability",
    "verdict_again",
    "passes_again",
    "note",
    "inspector",
    "taken_at",
    "stored_at",
    "record",
    "corrects",
    "reason",
    "corrected",
)


@dataclass(frozen=True, slots=True)
class Line:
    """One inspection, and what its numbers say today under the same clause."""

    inspection: Inspection
    ruling: Ruling
    stands: bool

    @property
    def agrees(self) -> bool:
        """True if the verdict found again is that of the day."""
        return agrees_with_the_day(self.inspection, self.ruling)


def with_record(inspections: QuerySet[Inspection]) -> QuerySet[Inspection]:
    """With all rows that ``lines_of`` reads, in a constant number of queries."""
    return (
        inspections.select_related(
            "entry__event",
            "entry__race_class",
            "entry__revision",
            "clause__edition__race_class",
            "by",
            "corrects",
        )
        .prefetch_related(
            Prefetch("clause__items", ClauseItem.objects.select_related("part__maker", "body__maker"))
        )
        .order_by("entry__number", "pk")
    )


def lines_of(inspections: Iterable[Inspection]) -> list[Line]:
    """Each of ``with_record`` judged again; the last one of its clause, stage and run stands."""
    rows = list(inspections)
    newest = {(one.entry_id, one.clause_id, one.stage, one.run): one.pk for one in rows}
    clauses: dict[int, Clause] = {}
    lines = []
    for one in rows:
        if one.clause_id not in clauses:
            clauses[one.clause_id] = clause_of(one.clause)
        stands = newest[one.entry_id, one.clause_id, one.stage, one.run] == one.pk
        lines.append(Line(one, ruling_of(one, clauses[one.clause_id]), stands))
    return lines


def of_entry(entry: Entry) -> list[Line]:
    return lines_of(with_record(Inspection.objects.filter(entry=entry)))


def of_event(event: Event) -> list[Line]:
    return lines_of(with_record(Inspection.objects.filter(entry__event=event)))


def as_csv(lines: Sequence[Line]) -> str:
    """The record as a table, one line an inspection."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\r\n")
    rows.writerow(HEADINGS)
    for line in lines:
        said = row_of(line)
        rows.writerow([_cell(said[heading]) for heading in HEADINGS])
    return out.getvalue()


def row_of(line: Line) -> dict[str, Any]:
    """One inspection as plain values."""
    one, clause = line.inspection, line.inspection.clause
    edition, entry = clause.edition, one.entry
    unit = CLASS_QUANTITIES[clause.quantity].unit.value if clause.quantity else ""
    return {
        "event": entry.event.name,
        "date": entry.event.date.isoformat(),
        "class": edition.race_class.name,
        "edition": edition.name,
        "edition_valid_from": edition.valid_from.isoformat(),
        "number": entry.number,
        "driver": entry.driver,
        "setup_revision": None
        if entry.revision is None
        else f"{entry.revision.setup_id}/{entry.revision.number}",
        "stage": one.stage,
        "run": one.run,
        "clause": clause.number,
        "wording": clause.wording,
        "quantity": clause.quantity,
        "unit": unit,
        "low": _text(clause.low),
        "high": _text(clause.high),
        "rule": clause.rule if clause.quantity else "",
        "factor": _text(clause.factor) if clause.quantity else None,
        "readings": one.readings,
        "value": _text(one.value),
        "u": _text(one.u),
        "instrument": one.instrument,
        "doubt_of_one": _text(one.doubt),
        "computed": _text(one.computed),
        "computed_u": _text(one.computed_u),
        "seen": one.seen,
        "verdict": one.verdict,
        "passes": one.passes,
        "probability": one.probability,
        "verdict_again": line.ruling.verdict.value,
        "passes_again": line.ruling.passes,
        "note": one.note,
        "inspector": one.by.username,
        "taken_at": one.taken_at.isoformat(),
        "stored_at": one.at.isoformat(),
        "record": str(one.key),
        "corrects": None if one.corrects is None else str(one.corrects.key),
        "reason": one.reason,
        "corrected": not line.stands,
    }


def as_data(event: Event, lines: Sequence[Line]) -> dict[str, Any]:
    """The whole record of an event: its entries with what changed on them, and every inspection."""
    entries = (
        event.entries.select_related("race_class", "member", "revision", "body", "platform")
        .prefetch_related("log__by")
        .order_by("number")
    )
    return {
        "event": {
            "name": event.name,
            "date": event.date.isoformat(),
            "venue": event.venue,
        },
        "entries": [
            {
                "number": entry.number,
                "driver": entry.driver,
                "member": None if entry.member is None else entry.member.username,
                "class": entry.race_class.name,
                "setup_revision": None
                if entry.revision is None
                else f"{entry.revision.setup_id}/{entry.revision.number}",
                "body": None if entry.body is None else entry.body.slug,
                "platform": None if entry.platform is None else entry.platform.slug,
                "withdrawn": entry.withdrawn,
                "checked_in_at": None if entry.checked_in_at is None else entry.checked_in_at.isoformat(),
                "log": [
                    {
                        "at": change.at.isoformat(),
                        "by": change.by.username,
                        "why": change.why,
                        "changes": change.changes,
                    }
                    for change in entry.log.all()
                ],
            }
            for entry in entries
        ],
        "inspections": [row_of(line) for line in lines],
    }


def _text(figure: Any) -> str | None:
    """A stored figure without losing any of it."""
    return None if figure is None else f"{figure:f}"


def _cell(value: Any) -> Any:
    """A cell that a spreadsheet program takes as text, whatever it begins with."""
    if value is None:
        return ""
    if isinstance(value, list):
        return " ".join(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = str(value)
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") and not _is_figure(text) else text


def _is_figure(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
