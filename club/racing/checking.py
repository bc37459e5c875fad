"""A car against a rulebook, or against every class at once."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Prefetch

from club.models import Clause, RaceClass, RulebookEdition
from club.racing.cars import clause_of
from club.racing.editions import ITEMS, clauses_of
from fitcalc.legality import Car, ClassVerdict, Ruling, Rulings, judge_all, worst
from fitcalc.legality import Clause as Judged


@dataclass(frozen=True, slots=True)
class Rulebook:
    """An edition, its clauses as rows and as they are judged, in the same order."""

    edition: RulebookEdition
    rows: Sequence[Clause]
    clauses: Sequence[Judged]


@dataclass(frozen=True, slots=True)
class Row:
    """One clause and the ruling on it."""

    clause: Clause
    ruling: Ruling


@dataclass(frozen=True, slots=True)
class Check:
    """One car against one edition."""

    edition: RulebookEdition
    rows: Sequence[Row]

    @property
    def verdict(self) -> ClassVerdict:
        """The gravest verdict."""
        return worst(row.ruling.verdict for row in self.rows)

    @property
    def passes(self) -> bool | None:
        """What the decision rules make of the car; ``None`` while a clause is not checked and none fails."""
        answers = {row.ruling.passes for row in self.rows}
        return False if False in answers else None if None in answers else True

    @property
    def problems_first(self) -> list[Row]:
        """The rows, gravest first, else in the order of the rulebook."""
        return sorted(self.rows, key=lambda row: -row.ruling.verdict.gravity)

    @property
    def failing(self) -> int:
        """How many clauses the car fails by their decision rules."""
        return sum(row.ruling.passes is False for row in self.rows)

    def number(self, verdict: ClassVerdict) -> int:
        """How many clauses have ``verdict``."""
        return sum(row.ruling.verdict is verdict for row in self.rows)

    @property
    def counts(self) -> dict[str, int]:
        """How many clauses have each verdict, by its value."""
        return {verdict.value: self.number(verdict) for verdict in ClassVerdict}


def rulebook_of(edition: RulebookEdition) -> Rulebook:
    """The rulebook of an edition; three queries."""
    rows = clauses_of(edition)
    return Rulebook(edition, rows, [clause_of(row) for row in rows])


def rulebooks_on(on: date) -> list[Rulebook]:
    """The rulebook of every class that holds on a day, by the class's name; four queries."""
    clauses = Prefetch("clauses", Clause.objects.prefetch_related(ITEMS).order_by("place", "pk"))
    editions = RulebookEdition.objects.holding(on).select_related("race_class").prefetch_related(clauses)
    return [
        Rulebook(edition, rows := list(edition.clauses.all()), [clause_of(row) for row in rows])
        for edition in editions.order_by("race_class__name")
    ]


def check(car: Car, rulebook: Rulebook) -> Check:
    """One car against one rulebook."""
    return _checks(judge_all(rulebook.clauses, [car]), rulebook)[0]


def matrix(car: Car, rulebooks: Iterable[Rulebook]) -> list[Check]:
    """One car against every rulebook given."""
    return [check(car, rulebook) for rulebook in rulebooks]


def classes_without(rulebooks: Iterable[Rulebook]) -> list[RaceClass]:
    """The classes that none of ``rulebooks`` is of: nothing published holds for them; one query."""
    return list(RaceClass.objects.exclude(pk__in=[one.edition.race_class_id for one in rulebooks]))


def _checks(rulings: Rulings, rulebook: Rulebook) -> list[Check]:
    return [
        Check(
            rulebook.edition,
            [Row(row, ruling) for row, ruling in zip(rulebook.rows, rulings.of(i), strict=True)],
        )
        for i in range(len(rulings.cars))
    ]
