"""What an inspector is asked about a car, one card a quantity or a thing to look at; for phone and paper."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from uuid import UUID, uuid4

from club.models import Clause, Entry, Inspection
from club.racing.checking import Row, Rulebook
from club.racing.events.guard_bar import GuardBar, bar_of, zones
from club.racing.events.standing import computed_cars, entries_with_cars, with_inspections
from club.racing.events.tools import Tool
from fitcalc.dimensions import DimensionKind, Unit
from fitcalc.legality import CLASS_QUANTITIES, Car, ClassVerdict, Limit, judge_all, worst
from fitcalc.legality_rules import acceptance_limits, guard_band
from fitcalc.quantities import Quantity


@dataclass(frozen=True)
class Asked:
    """One clause on a card, with the ruling at this stage."""

    row: Row
    u: float | None

    @cached_property
    def bar(self) -> GuardBar | None:
        return bar_of(self.row.ruling, self.u or 0.0)

    @cached_property
    def zones(self) -> str:
        """What a value would mean, for the page's script; empty where there is nothing to move."""
        clause = self.row.ruling.clause
        if not isinstance(clause, Limit) or self.u is None:
            return ""
        return json.dumps(zones(clause, self.u))

    @property
    def accepted(self) -> tuple[float | None, float | None] | None:
        """The limits less or plus the guard band of one reading; ``None`` where its doubt is unknown."""
        clause = self.row.ruling.clause
        if not isinstance(clause, Limit) or self.u is None:
            return None
        band = guard_band(self.u, clause.factor)
        low, high = acceptance_limits(clause.low or 0.0, clause.high or 0.0, clause.rule.inward, band)
        return None if clause.low is None else low, None if clause.high is None else high


@dataclass
class Card:
    """One thing to measure or look at, under one clause or several that limit the same quantity.

    ``last`` is what stands on record at this stage, ``others`` the latest of the other stages and runs.
    """

    clause: Clause
    kind: DimensionKind | None
    asked: list[Asked]
    tool: Tool | None
    last: Inspection | None = None
    others: list[Inspection] = field(default_factory=list)
    key: UUID = field(default_factory=uuid4)
    typed: Mapping[str, str] = field(default_factory=dict)
    error: str = ""

    @property
    def pk(self) -> int:
        return self.clause.pk

    @property
    def computed(self) -> Quantity | None:
        """What the library computes for the car, the overall width from both axles."""
        return next((one.row.ruling.computed for one in self.asked if one.row.ruling.computed), None)

    @property
    def is_counted(self) -> bool:
        """True for what has no unit: counted, not measured."""
        return self.kind is not None and self.kind.unit is Unit.NONE

    @property
    def verdict(self) -> ClassVerdict:
        return worst(one.row.ruling.verdict for one in self.asked)

    @property
    def disagrees(self) -> bool:
        """True if what was measured contradicts what is computed."""
        return any(one.row.ruling.disagrees for one in self.asked)

    @property
    def en(self) -> float | None:
        return next((one.row.ruling.en for one in self.asked if one.row.ruling.en is not None), None)


def cards_for(
    entry: Entry, rulebook: Rulebook, tools: Mapping[Unit, Tool], stage: str = "", run: int = 0
) -> list[Card]:
    """The cards of a car, in the order of the rulebook; at a stage only its own records count.

    Without a stage the records of all stages are left out, as for an empty sheet.
    """
    loaded = entries_with_cars(Entry.objects.filter(pk=entry.pk)).get()
    return cards_of(computed_cars([loaded])[0], list(loaded.inspections.all()), rulebook, tools, stage, run)


def _in_time(when: tuple[int, str]) -> tuple[int, bool]:
    return when[0], when[1] == Inspection.Stage.AFTER


def cards_of(
    base: Car,
    inspections: Sequence[Inspection],
    rulebook: Rulebook,
    tools: Mapping[Unit, Tool],
    stage: str = "",
    run: int = 0,
) -> list[Card]:
    """As ``cards_for``, of a car and its inspections that are at hand; no query."""
    here = [one for one in inspections if one.stage == stage and one.run == run]
    rulings = judge_all(rulebook.clauses, [with_inspections(base, here)])
    cards: dict[str, Card] = {}
    for place, clause in enumerate(rulebook.rows):
        is_limit = clause.kind == Clause.Kind.LIMIT
        name = clause.quantity if is_limit else f"clause {clause.pk}"
        kind = CLASS_QUANTITIES[clause.quantity] if is_limit else None
        tool = tools.get(kind.unit) if kind else None
        u = None if kind is None else 0.0 if kind.unit is Unit.NONE else tool.u if tool else None
        if name not in cards:
            of_clause = [one for one in inspections if one.clause_id == clause.pk]
            latest = {(one.run, one.stage): one for one in of_clause}
            cards[name] = Card(
                clause=clause,
                kind=kind,
                asked=[],
                tool=tool,
                last=latest.pop((run, stage), None),
                others=[latest[when] for when in sorted(latest, key=_in_time)],
            )
        cards[name].asked.append(Asked(Row(clause, rulings.ruling(0, place)), u))
    return list(cards.values())
