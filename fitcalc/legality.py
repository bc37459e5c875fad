"""Is a car legal? A ruling on each clause of a rulebook, for one car or a whole entry list.

One clause and one car (``judge``) or all of a list (``judge_all``), by the same code. A value is computed
from the car's configuration or measured on the car; where both exist the measured one counts, and the ruling
says whether they contradict each other. What is not known is NOT_CHECKED, never a pass.

A verdict is what can be said of the car; ``passes`` is what the clause's decision rule
(``fitcalc.legality_rules``) makes of it: a value in the guard band is TOO_CLOSE, which guarded acceptance
fails and guarded rejection passes. A computed value only foretells what will be measured, so that under
simple acceptance too it is TOO_CLOSE within the guard band either side of the limit.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import isfinite
from typing import Any

import numpy as np

from fitcalc.consensus import en
from fitcalc.legality_clauses import (
    BODY,
    CLASS_QUANTITIES,
    VERDICTS,
    Car,
    ClassVerdict,
    Clause,
    LegalityError,
    Limit,
    Listing,
    Required,
    Source,
)
from fitcalc.legality_rules import (
    SLACK,
    DecisionRule,
    acceptance_limits,
    conformance_probability,
    guard_band,
)
from fitcalc.quantities import Quantity, Real

__all__ = [
    "BODY",
    "CLASS_QUANTITIES",
    "Car",
    "ClassVerdict",
    "Clause",
    "DecisionRule",
    "LegalityError",
    "Limit",
    "Listing",
    "Required",
    "Ruling",
    "Rulings",
    "Source",
    "judge",
    "judge_all",
    "worst",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruling:
    """One clause on one car.

    ``passes`` is the decision rule's answer, ``None`` where nothing is known. Of a limit: ``value`` is what
    counted and ``computed`` what the car should have; ``en`` their E_n where both exist. ``accept_low`` and
    ``accept_high`` are the limits after the guard band; ``margin`` the distance to the nearer limit, positive
    inside; ``probability`` that of conforming. The risk is the specific one of JCGM 106, 9.3: the consumer's
    (accepted though not legal) where it passes, the producer's (turned away though legal) where it does not.
    Of a list or a required thing: ``culprits`` are the ids on the car that may not be.
    """

    clause: Clause
    verdict: ClassVerdict
    passes: bool | None
    source: Source | None = None
    value: Quantity | None = None
    computed: Quantity | None = None
    en: float | None = None
    low: float | None = None
    high: float | None = None
    accept_low: float | None = None
    accept_high: float | None = None
    margin: float | None = None
    probability: float | None = None
    consumers_risk: float | None = None
    producers_risk: float | None = None
    culprits: tuple[Hashable, ...] = ()

    @property
    def disagrees(self) -> bool:
        """True if what was measured contradicts what is computed, |E_n| > 1."""
        return self.en is not None and abs(self.en) > 1.0

    @property
    def too_doubtful(self) -> bool:
        """True if the doubt is so wide that no value at all would be accepted."""
        return (
            self.accept_low is not None
            and self.accept_high is not None
            and self.accept_low > self.accept_high + SLACK
        )

    @property
    def change(self) -> float | None:
        """By how much the quantity has to change, signed, until it is accepted; ``None`` where it is already,
        or where no value would be."""
        if self.passes is not False or self.value is None or self.too_doubtful:
            return None
        value = float(self.value.value)
        if self.accept_low is not None and value < self.accept_low:
            return self.accept_low - value
        return None if self.accept_high is None else self.accept_high - value


@dataclass(frozen=True)
class Rulings:
    """All clauses on all cars, as arrays of (cars, clauses); columns of clauses that are no limit hold NaN.

    ``verdicts`` are indices into ClassVerdict in order of gravity; ``passes`` is 1, 0, or -1 where nothing is
    known.
    """

    cars: Sequence[Car]
    clauses: Sequence[Clause]
    verdicts: Any
    passes: Any
    value: Any
    u: Any
    measured: Any
    en: Any
    accept_low: Any
    accept_high: Any
    margin: Any
    probability: Any

    @cached_property
    def worst(self) -> list[ClassVerdict]:
        """Each car's gravest verdict; COMPLIES under a rulebook without clauses."""
        if not self.clauses:
            return [ClassVerdict.COMPLIES] * len(self.cars)
        return [VERDICTS[code] for code in self.verdicts.max(axis=1).tolist()]

    @cached_property
    def legal(self) -> list[bool | None]:
        """What the decision rules make of each car: ``False`` if one clause fails, ``None`` if one is open.

        A car passes only if every clause has been checked.
        """
        if not self.clauses:
            return [True] * len(self.cars)
        failed, unknown = (self.passes == 0).any(axis=1), (self.passes < 0).any(axis=1)
        return [
            False if no else None if open_ else True
            for no, open_ in zip(failed.tolist(), unknown.tolist(), strict=True)
        ]

    def ruling(self, car: int, clause: int) -> Ruling:
        """One ruling in full."""
        which, asked = self.cars[car], self.clauses[clause]
        verdict = VERDICTS[int(self.verdicts[car, clause])]
        passes = {1: True, 0: False, -1: None}[int(self.passes[car, clause])]
        if not isinstance(asked, Limit):
            source = None
            if passes is not None:
                source = Source.SEEN if asked.id in which.seen else Source.COMPUTED
            return Ruling(
                clause=asked,
                verdict=verdict,
                passes=passes,
                source=source,
                culprits=_culprits(asked, which) if passes is False else (),
            )
        if passes is None:
            return Ruling(clause=asked, verdict=verdict, passes=None, low=asked.low, high=asked.high)
        by_measuring = bool(self.measured[car, clause])
        value = _known(which.measured if by_measuring else which.computed, asked.quantity)
        probability = float(self.probability[car, clause])
        return Ruling(
            clause=asked,
            verdict=verdict,
            passes=passes,
            source=Source.MEASURED if by_measuring else Source.COMPUTED,
            value=value,
            computed=_known(which.computed, asked.quantity),
            en=_figure(self.en[car, clause]),
            low=asked.low,
            high=asked.high,
            accept_low=_figure(self.accept_low[car, clause]),
            accept_high=_figure(self.accept_high[car, clause]),
            margin=float(self.margin[car, clause]),
            probability=probability,
            consumers_risk=1.0 - probability if passes else None,
            producers_risk=None if passes else probability,
        )

    def of(self, car: int) -> list[Ruling]:
        """All rulings on one car, in the order of the clauses."""
        return [self.ruling(car, clause) for clause in range(len(self.clauses))]


def judge(clause: Clause, car: Car) -> Ruling:
    """One clause on one car. Raises LegalityError if a quantity is not in its unit."""
    return judge_all([clause], [car]).ruling(0, 0)


def judge_all(clauses: Sequence[Clause], cars: Sequence[Car]) -> Rulings:
    """All clauses on all cars. Raises LegalityError if a quantity is not in its unit."""
    shape = (len(cars), len(clauses))
    verdicts = np.zeros(shape, dtype=np.int8)
    passes = np.zeros(shape, dtype=np.int8)
    figures = {name: np.full(shape, np.nan) for name in _FIGURES}
    measured = np.zeros(shape, dtype=bool)
    limits = [i for i, clause in enumerate(clauses) if isinstance(clause, Limit)]
    if limits:
        asked = [clause for clause in clauses if isinstance(clause, Limit)]
        columns = _judge_limits(asked, *_read(asked, cars))
        verdicts[:, limits], passes[:, limits], measured[:, limits] = columns[:3]
        for name, column in zip(_FIGURES, columns[3:], strict=True):
            figures[name][:, limits] = column
    for i, clause in enumerate(clauses):
        if not isinstance(clause, Limit):
            answers = [_meets(clause, car) for car in cars]
            passes[:, i] = [-1 if answer is None else int(answer) for answer in answers]
            verdicts[:, i] = _BY_ANSWER[passes[:, i]]
    return Rulings(cars, clauses, verdicts, passes, measured=measured, **figures)


_FIGURES = ("value", "u", "en", "accept_low", "accept_high", "margin", "probability")
_COMPLIES, _NOT_CHECKED, _TOO_CLOSE, _DOES_NOT = (verdict.gravity for verdict in ClassVerdict)
_BY_ANSWER = np.array([_DOES_NOT, _COMPLIES, _NOT_CHECKED], dtype=np.int8)
"""The verdict for an answer of 0, 1 and -1, the last by counting from the end."""


def _read(limits: Sequence[Limit], cars: Sequence[Car]) -> tuple[Any, Any]:
    """Values and doubts, (2, cars, limits, 2): computed and measured, NaN where not known."""
    kinds = list(dict.fromkeys(limit.quantity for limit in limits))
    found = np.full((2, len(cars), len(kinds), 2), np.nan)
    for row, car in enumerate(cars):
        for which, known in enumerate((car.computed, car.measured)):
            if not known:
                continue
            for column, key in enumerate(kinds):
                quantity = _known(known, key)
                if quantity is not None:
                    found[which, row, column] = quantity.value, quantity.u
    index = [kinds.index(limit.quantity) for limit in limits]
    return found[0][:, index], found[1][:, index]


def _known(known: Mapping[str, Quantity], key: str) -> Quantity | None:
    """A quantity by its key; the overall width is that of the wider axle where it is not given itself."""
    quantity = known.get(key)
    if quantity is None and key == "width":
        ends = [known.get("front_width"), known.get("rear_width")]
        both = [end for end in ends if end is not None]
        quantity = max(both, key=lambda end: float(end.value)) if len(both) == len(ends) else None
    if quantity is not None and quantity.unit != CLASS_QUANTITIES[key].unit:
        raise LegalityError(
            f"{CLASS_QUANTITIES[key].label} is in {quantity.unit.value or 'no unit'}; "
            f"give it in {CLASS_QUANTITIES[key].unit.value or 'no unit'}"
        )
    return quantity


def _judge_limits(limits: Sequence[Limit], computed: Any, measured: Any) -> tuple[Real, ...]:
    """Verdicts, passes, whether measured, and ``_FIGURES``, for values and doubts of (cars, limits, 2)."""
    low = np.array([-np.inf if limit.low is None else limit.low for limit in limits])
    high = np.array([np.inf if limit.high is None else limit.high for limit in limits])
    inward = np.array([limit.rule.inward for limit in limits])
    factor = np.array([limit.factor for limit in limits])
    by_measuring = ~np.isnan(measured[..., 0])
    value, u = np.moveaxis(np.where(by_measuring[..., None], measured, computed), -1, 0)
    band = guard_band(u, factor)
    accept_low, accept_high = acceptance_limits(low, high, inward, band)
    margin = np.minimum(value - low, high - value)
    probability = conformance_probability(value, u, low, high)
    doubts = np.maximum(np.hypot(measured[..., 1], computed[..., 1]), 1e-9)
    score = en(measured[..., 0], doubts, computed[..., 0], 0.0)
    known = ~np.isnan(value)
    accepted = (value >= accept_low - SLACK) & (value <= accept_high + SLACK)
    inside = margin >= -SLACK
    # In the guard band, whichever side it is on, the rule's answer is not that of the bare limit.
    foretold = (inward == 0) & ~by_measuring & (np.abs(margin) < band - SLACK)
    verdicts = np.where(accepted, _COMPLIES, _DOES_NOT)
    verdicts = np.where((accepted != inside) | foretold, _TOO_CLOSE, verdicts)
    verdicts = np.where(known, verdicts, _NOT_CHECKED)
    passes = np.where(known, accepted, -1)
    return verdicts, passes, by_measuring, value, u, score, accept_low, accept_high, margin, probability


def _meets(clause: Clause, car: Car) -> bool | None:
    """Whether a car meets a list or has a required thing; ``None`` if that is not known."""
    if clause.id in car.seen:
        return car.seen[clause.id]
    if not isinstance(clause, Listing | Required) or clause.kind not in car.fitted:
        return None
    on_it = car.fitted[clause.kind]
    if isinstance(clause, Required):
        return bool(on_it & clause.ids if clause.ids else on_it)
    return not _culprits(clause, car)


def _culprits(clause: Clause, car: Car) -> tuple[Hashable, ...]:
    """What is on the car and may not be."""
    if not isinstance(clause, Listing):
        return ()
    on_it = car.fitted.get(clause.kind, frozenset())
    return tuple(sorted(on_it - clause.ids if clause.allows else on_it & clause.ids, key=str))


def _figure(figure: Any) -> float | None:
    return float(figure) if isfinite(figure) else None


def worst(verdicts: Iterable[ClassVerdict]) -> ClassVerdict:
    """The gravest of ``verdicts``; COMPLIES if there is none."""
    return max(verdicts, key=lambda verdict: verdict.gravity, default=ClassVerdict.COMPLIES)
