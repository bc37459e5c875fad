"""A row of a file as it was read, and a change that it would make."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any


@dataclass(slots=True)
class GivenFigure:
    """A dimension as the row gives it; ``tolerance_behind`` stands behind a ± in the figure's own cell."""

    value: Decimal | None = None
    tolerance: Decimal | None = None
    tolerance_behind: Decimal | None = None
    uncertainty: Decimal | None = None
    basis: str = ""
    source: str = ""


@dataclass(slots=True)
class Given:
    """A row as it was read: only what its cells give. ``problems`` are (column key, message).

    ``headings`` are the file's own by column key, ``labels`` what the columns are called.
    """

    line: int
    values: dict[str, Any] = field(default_factory=dict)
    figures: dict[str, GivenFigure] = field(default_factory=dict)
    problems: list[tuple[str, str]] = field(default_factory=list)
    headings: dict[str, str] = field(default_factory=dict)
    labels: dict[str, str] = field(default_factory=dict)

    def wrong(self, column: str, message: str) -> None:
        self.problems.append((column, message))

    def is_wrong(self, column: str) -> bool:
        return any(key == column for key, _ in self.problems)

    def same_as(self, other: Given) -> bool:
        return self.values == other.values and self.figures == other.figures


@dataclass(frozen=True, slots=True)
class Change:
    """``what`` goes from ``before`` (empty: not on record) to ``after``. What is no name, and
    not typed by somebody, is a ``Said``."""

    what: str
    before: str
    after: str
