"""A finding is data: what a rule requires, what is, the margin and what would mend it.

A ``Check`` is one rule over one or many candidate configurations at once (arrays); ``Check.findings``
takes single candidates' findings out. Words are made by whoever shows a finding, so that a page, the
API and a sheet of paper never disagree.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Any

import numpy as np

from fitcalc.parts import Axle, Part, Position, Slot
from fitcalc.quantities import Quantity, Real


class Rule(StrEnum):
    """What is asked of a configuration under a body."""

    SCALE = "scale"
    LAYOUT = "layout"
    FLOOR = "floor"
    PAIRS = "pairs"
    OFFSET_GRID = "offset_grid"
    WHEELBASE = "wheelbase"
    FLUSH = "flush"
    ARCH = "arch"
    BUMP = "bump"
    LOCK = "lock"
    BODY_MOUNT = "body_mount"


class Verdict(StrEnum):
    """``CLOSE``: too close to call, the doubt straddles the limit. ``UNKNOWN``: a dimension is missing."""

    FITS = "fits"
    CLOSE = "close"
    FAILS = "fails"
    UNKNOWN = "unknown"

    @property
    def gravity(self) -> int:
        """Order from best to worst, for the verdict of a whole report."""
        return _GRAVITY[self]

    @staticmethod
    def of_gravity(gravity: int) -> Verdict:
        """The verdict whose ``gravity`` it is."""
        return _BY_GRAVITY[gravity]


_GRAVITY = {Verdict.FITS: 0, Verdict.UNKNOWN: 1, Verdict.CLOSE: 2, Verdict.FAILS: 3}
_BY_GRAVITY = sorted(Verdict, key=_GRAVITY.__getitem__)


class Action(StrEnum):
    """How to mend a finding: fit another part of the library, find one with a figure, or measure."""

    SWAP = "swap"
    NEEDS = "needs"
    MEASURE = "measure"


@dataclass(frozen=True, slots=True)
class Remedy:
    """One thing to do.

    SWAP: put ``part`` (or set the position ``part``) into ``slot``. NEEDS: ``slot`` wants a part whose
    dimension ``quantity`` is ``figure`` (mm or degrees); ``sold`` tells whether the platform's range has it.
    MEASURE: the dimension ``quantity`` is not known.
    """

    action: Action
    slot: Slot | None = None
    part: Part | Position | None = None
    quantity: str = ""
    figure: float | None = None
    sold: bool = True


@dataclass(frozen=True, slots=True)
class Finding:
    """One rule's answer for one configuration.

    ``found`` is the value with its doubt; ``low`` and ``high`` bound what is asked, in the same unit;
    ``margin`` is the distance to the nearer bound, positive inside; ``probability`` is that of meeting
    the rule (JCGM 106:2012, 7.2). A rule about kinds instead of numbers has ``required_word`` and
    ``found_word``. ``missing`` names the dimensions that are not known. ``holds`` is the bare nominal
    answer; an unknown holds until shown otherwise.
    """

    rule: Rule
    axle: Axle | None
    verdict: Verdict
    holds: bool
    found: Quantity | None = None
    low: float | None = None
    high: float | None = None
    margin: float | None = None
    probability: float | None = None
    missing: tuple[str, ...] = ()
    required_word: str = ""
    found_word: str = ""
    remedies: tuple[Remedy, ...] = ()


DISCRETE_SHORTFALL = 10.0
"""What a failed rule about kinds weighs beside millimetres, for ranking near misses."""
SHORTFALL_A_DEGREE = 0.1
"""What a missing degree of lock weighs beside millimetres, for ranking near misses."""


@dataclass(frozen=True)
class Check:
    """One rule over n candidates: ``found`` and the masks are arrays of n, or scalars that stand for all.

    ``met`` is the answer of a rule about kinds (or of its discrete part); ``known`` is false where a
    dimension is missing. ``chance`` is the probability of meeting the rule where it is not simply that of
    ``found`` lying between the bounds.
    """

    rule: Rule
    axle: Axle | None = None
    found: Quantity | None = None
    low: float | None = None
    high: float | None = None
    met: Any = True
    known: Any = True
    missing: tuple[str, ...] = ()
    required_word: str = ""
    found_word: str = ""
    confidence: float = 0.95
    chance: Any = None

    @cached_property
    def margin(self) -> Real:
        """Distance to the nearer bound, positive inside; ``inf`` for a rule without numbers."""
        if self.found is None:
            return np.inf
        value = self.found.value
        below: Real = np.inf if self.low is None else value - self.low
        above: Real = np.inf if self.high is None else self.high - value
        return np.minimum(below, above)

    @cached_property
    def probability(self) -> Real:
        """Probability of meeting the rule, ``nan`` where not known; 0 or 1 for kinds."""
        chance: Real = 1.0
        if self.chance is not None:
            chance = self.chance
        elif self.found is not None:
            chance = self.found.probability_between(self.low, self.high)
        return np.where(self.known, np.where(self.met, chance, 0.0), np.nan)

    @cached_property
    def holds(self) -> Real:
        """The nominal answer; an unknown number holds, an unmet kind does not."""
        return np.asarray(self.met) & (~np.asarray(self.known) | (self.margin >= -1e-9))

    @cached_property
    def doubtful(self) -> Real:
        """True where the answer is not known or too close to call, though it holds."""
        chance = self.probability
        return self.holds & ~(np.nan_to_num(chance, nan=0.0) >= self.confidence)

    @cached_property
    def gravity(self) -> Real:
        """The verdict as its ``gravity``: clear only if the probability says so; beside a wide doubt it is
        too close to call."""
        cases = {
            Verdict.FAILS: ~np.asarray(self.met),
            Verdict.UNKNOWN: ~np.asarray(self.known),
            Verdict.FITS: self.probability >= self.confidence,
        }
        beyond = (self.probability <= 1.0 - self.confidence) & ~self.holds
        return np.select(
            [*cases.values(), beyond],
            [*map(_GRAVITY.__getitem__, cases), _GRAVITY[Verdict.FAILS]],
            _GRAVITY[Verdict.CLOSE],
        )

    @cached_property
    def shortfall(self) -> Real:
        """How far outside, in mm or its equivalent, for ranking; zero where it holds."""
        weight = SHORTFALL_A_DEGREE if self.rule is Rule.LOCK else 1.0
        by_number = np.where(self.known, np.maximum(0.0, -self.margin), 0.0) * weight
        return np.where(self.met, by_number, DISCRETE_SHORTFALL)

    def findings(self, index: Any) -> list[Finding]:
        """One finding for each entry of the integer array ``index``, in that order."""
        size = len(index)

        def rows(x: Any) -> list[Any]:
            array = np.asarray(x)
            picked: list[Any] = array[index].tolist() if array.ndim else [array.item()] * size
            return picked

        numeric = self.found is not None
        columns = zip(
            rows(self.gravity),
            rows(self.known),
            rows(self.holds),
            rows(self.margin),
            rows(self.probability),
            self.found.rows(index) if self.found is not None else [None] * size,
            strict=True,
        )
        return [
            Finding(
                rule=self.rule,
                axle=self.axle,
                verdict=Verdict.of_gravity(gravity),
                holds=holds,
                found=found if known else None,
                low=self.low,
                high=self.high,
                margin=margin if numeric and known else None,
                probability=chance if known else None,
                missing=() if known else self.missing,
                required_word=self.required_word,
                found_word=self.found_word,
            )
            for gravity, known, holds, margin, chance, found in columns
        ]


@dataclass(frozen=True)
class Checks:
    """The rules of one group of slots over its n candidates, with their sums for ranking."""

    size: int
    checks: tuple[Check, ...] = ()

    @cached_property
    def failed(self) -> Any:
        """Boolean array (n, rules): which rules each candidate fails."""
        failed = np.empty((self.size, len(self.checks)), dtype=bool)
        for column, check in enumerate(self.checks):
            failed[:, column] = ~check.holds
        return failed

    @cached_property
    def kinds(self) -> Any:
        """One integer a candidate that says which rules it fails: bit i for the i-th check."""
        return self.failed @ (1 << np.arange(len(self.checks), dtype=np.int64))

    @cached_property
    def failures(self) -> Real:
        """How many rules each candidate fails."""
        return self.failed.sum(axis=1)

    @cached_property
    def doubts(self) -> Real:
        """How many rules each candidate meets only doubtfully."""
        return self._total("doubtful")

    @cached_property
    def shortfall(self) -> Real:
        """Sum over the failed rules of how far each candidate falls short."""
        return self._total("shortfall")

    def _total(self, name: str) -> Real:
        total = np.zeros(self.size)
        for check in self.checks:
            total += getattr(check, name)
        return total
