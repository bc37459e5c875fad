"""What a dry run finds: a plan of rows, each new, changed, unchanged or wrong."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Protocol

from setups.imports import cells
from setups.imports.columns import Kind
from setups.imports.given import Change, Given
from setups.translated import tell, told


@dataclass(frozen=True, slots=True)
class By:
    """Who loads: ``member`` is ``None`` for a visitor and for the command line.

    ``keeps_library``: may load what others made. ``whole``: the command line, which restores a library;
    ``restored`` are the setups that it has put back so far.
    """

    member: Any = None
    keeps_library: bool = False
    whole: bool = False
    restored: set[int] = field(default_factory=set)


ANYBODY = By()


def operator() -> By:
    """Whoever runs the command, for one run of it."""
    return By(keeps_library=True, whole=True)


class Written(Protocol):
    """What a row would write. ``instance`` is the row of the library that it is about."""

    instance: Any
    is_new: bool
    changes: list[Change]


class Outcome(StrEnum):
    WRONG = "wrong"
    NEW = "new"
    CHANGED = "changed"
    UNCHANGED = "unchanged"


def _letters(name: str) -> str:
    return "".join(letter for letter in name.casefold() if letter.isalnum())


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong, where, and what to do; ``line`` 0 means the whole file."""

    line: int
    column: str
    message: str
    label: str = ""
    """What the column is called, where the file's own heading is ``column``."""

    @property
    def where(self) -> str:
        """The column as the file has it, with what it is called where that is another word for the reader."""
        name, label = told(self.column), tell(self.label)
        alike = not label or _letters(name) in _letters(label) or _letters(label) in _letters(name)
        return name if alike else f"{name} ({label})"


@dataclass(slots=True)
class PlannedRow:
    """One row: what it would do, and the rows of the library that it would write."""

    line: int
    name: str
    outcome: Outcome
    checked: Any = None
    """What it would write (``Written``); what else that holds is the kind's own."""
    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def changes(self) -> list[Any]:
        return self.checked.changes if self.checked else []


@dataclass(slots=True)
class Plan:
    """The whole file. ``problems`` are those of the file; each row has its own."""

    kind: Kind
    rows: list[PlannedRow] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    new_makers: list[str] = field(default_factory=list)

    def of(self, outcome: Outcome) -> list[PlannedRow]:
        return [row for row in self.rows if row.outcome is outcome]

    @property
    def wrong(self) -> list[PlannedRow]:
        return self.of(Outcome.WRONG)

    @property
    def new(self) -> list[PlannedRow]:
        return self.of(Outcome.NEW)

    @property
    def changed(self) -> list[PlannedRow]:
        return self.of(Outcome.CHANGED)

    @property
    def unchanged(self) -> list[PlannedRow]:
        return self.of(Outcome.UNCHANGED)

    @property
    def faultless(self) -> bool:
        return not self.problems and not self.wrong

    @property
    def loadable(self) -> bool:
        """True if there is something to load and nothing is wrong."""
        return self.faultless and self.to_load > 0

    @property
    def to_load(self) -> int:
        return len(self.new) + len(self.changed)

    @property
    def fingerprint(self) -> str:
        """The same for two plans that do the same to the library."""
        told = hashlib.sha256(repr((self.kind.key, self.new_makers)).encode())
        for row in self.rows:
            key = row.checked.instance.pk if row.checked else None
            told.update(repr((row.line, row.name, row.outcome.value, key, row.changes)).encode())
        return told.hexdigest()


@dataclass(slots=True)
class Loaded:
    """What was loaded, as primary keys in the order of the file."""

    new: list[int] = field(default_factory=list)
    changed: list[int] = field(default_factory=list)
    makers: list[str] = field(default_factory=list)


def row_of(given: Given, name: str) -> PlannedRow:
    """The row of ``given``, wrong until it is found to be something else."""
    return PlannedRow(given.line, name, Outcome.WRONG)


def closed(
    row: PlannedRow, given: Given, checked: Written | None, notes: list[str] | None = None
) -> PlannedRow:
    """``row`` with what was found: wrong if ``given`` has problems, else by what ``checked`` would write."""
    row.notes = list(notes or [])
    if given.problems:
        row.checked = None
        row.problems = [
            Problem(given.line, cells.short(given.headings.get(key, "")), message, given.labels.get(key, ""))
            for key, message in given.problems
        ]
        return row
    row.checked = checked
    if checked is None:
        row.outcome = Outcome.UNCHANGED
    elif checked.is_new:
        row.outcome = Outcome.NEW
    else:
        row.outcome = Outcome.CHANGED if checked.changes else Outcome.UNCHANGED
    return row
