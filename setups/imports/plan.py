"""The dry run: what each row of a file would change, and what is wrong with it.

A plan is made anew when it is carried out. Its ``fingerprint`` tells whether it would still do what was
shown, so that nothing is loaded that nobody has seen.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from setups.imports import cells
from setups.imports.cells import CellError, Style
from setups.imports.columns import Column, Kind
from setups.imports.library import Library, fold
from setups.imports.reading import SEPARATORS, Grid, Row, Unreadable, gridded
from setups.imports.rows import Checked, Given, GivenFigure, check
from setups.services.near import nearest

MOST_NAMED = 8
"""A notice names so many columns at most."""
SURELY_MEANT = 85.0


class Outcome(StrEnum):
    WRONG = "wrong"
    NEW = "new"
    CHANGED = "changed"
    UNCHANGED = "unchanged"


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong, where, and what to do; ``line`` 0 means the whole file."""

    line: int
    column: str
    message: str


@dataclass(slots=True)
class PlannedRow:
    """One row: what it would do, and the rows of the library that it would write."""

    line: int
    name: str
    outcome: Outcome
    checked: Checked | None = None
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


def plan_of(kind: Kind, text: str, lock: bool = False) -> Plan:
    """What loading ``text`` would do; ``lock`` keeps the library's rows so until the transaction ends.

    ``text`` comes from ``reading.decoded`` or ``reading.as_text``. Nothing is raised: what is wrong is in the
    plan.
    """
    plan = Plan(kind)
    try:
        grid = gridded(text, lambda heading: kind.named(heading) is not None)
    except Unreadable as unreadable:
        plan.problems.append(Problem(0, "", str(unreadable)))
        return plan
    headings = _headings(plan, grid)
    if plan.problems:
        return plan
    style = _style(grid, headings)
    given = [_read(plan, row, headings, style, len(grid.headings.cells)) for row in grid.rows]
    library = Library(kind, (one.values for one in given), lock)
    library.fetch_bodies({name for one in given for name in _body_names(one)})
    first_lines: dict[Any, Given] = {}
    for one in given:
        plan.rows.append(_planned(plan, one, library, first_lines))
    makers = [row.checked.new_maker for row in plan.rows if row.checked and not row.problems]
    plan.new_makers = list({fold(name): name for name in reversed(makers) if name}.values())[::-1]
    return plan


# Headings


def _headings(plan: Plan, grid: Grid) -> dict[int, tuple[str, Column]]:
    """Which place in a row is which column; notes what is not read and what is wrong."""
    found: dict[int, tuple[str, Column]] = {}
    at_key: dict[str, str] = {}
    line = grid.headings.line
    ignored = []
    for at, heading in enumerate(grid.headings.cells):
        column = plan.kind.named(heading)
        if column is None:
            if heading:
                ignored.append(heading)
            continue
        if column.key in at_key:
            plan.problems.append(
                Problem(
                    line,
                    cells.short(heading),
                    f"It names the same as “{cells.short(at_key[column.key])}”: take one of the two out.",
                )
            )
            continue
        foreign = plan.kind.foreign_unit(column, heading)
        if foreign:
            plan.problems.append(Problem(line, cells.short(heading), foreign))
        at_key[column.key] = heading
        found[at] = (heading, column)
    for column in plan.kind.required:
        if column.key not in at_key:
            plan.problems.append(
                Problem(line, column.label, f"There is no such column. Add “{column.key}”: {column.meaning}")
            )
    if grid.before:
        plan.notices.append(f"What stands above the headings on line {line} was not read.")
    if grid.separator != ",":
        plan.notices.append(f"The cells are parted by {SEPARATORS.get(grid.separator, grid.separator)}.")
    _note_ignored(plan, ignored)
    return found


def _note_ignored(plan: Plan, ignored: list[str]) -> None:
    if not ignored:
        return
    names = list(plan.kind.names)
    told = []
    for heading in ignored[:MOST_NAMED]:
        meant = nearest(heading, names, limit=1, close=SURELY_MEANT) if len(heading) < 60 else []
        told.append(f"“{cells.short(heading)}”" + (f" (did you mean {meant[0]}?)" if meant else ""))
    more = f" and {len(ignored) - MOST_NAMED:,} more" if len(ignored) > MOST_NAMED else ""
    plan.notices.append(f"Columns that are not read: {', '.join(told)}{more}.")


# Rows


def _style(grid: Grid, headings: dict[int, tuple[str, Column]]) -> Style:
    numeric = [at for at, (_, column) in headings.items() if column.numeric]
    return Style(
        any(
            cells.has_decimal_comma(row.cells[at])
            for row in grid.rows
            for at in numeric
            if at < len(row.cells)
        )
    )


def _read(plan: Plan, row: Row, headings: dict[int, tuple[str, Column]], style: Style, width: int) -> Given:
    """The row's values, and what in it cannot be read."""
    given = Given(row.line)
    if any(row.cells[width:]):
        given.wrong(
            "",
            f"It has {len(row.cells)} cells and the headings {width}: put a cell with a separator in it "
            "between quotation marks.",
        )
    for at, (heading, column) in headings.items():
        text = row.cells[at] if at < len(row.cells) else ""
        given.headings[column.key] = heading
        if not text or (column.says_unknown and cells.is_unknown(text)):
            continue
        try:
            value = column.read(text, style)
        except CellError as error:
            given.wrong(column.key, str(error))
            continue
        if column.dimension:
            figure = given.figures.setdefault(column.dimension, GivenFigure())
            if column.role == "value":
                figure.value, behind = value
                if behind is not None:
                    figure.tolerance_behind = behind
            else:
                setattr(figure, column.role, value)
        else:
            given.values[column.key] = value
    for column in plan.kind.required:
        if column.key not in given.values and not given.is_wrong(column.key):
            given.wrong(column.key, f"It is empty, and every {plan.kind.one} needs it.")
    return given


def _body_names(given: Given) -> Iterator[str]:
    yield from cells.several(given.values.get("made_for", ""))


def _planned(plan: Plan, given: Given, library: Library, first_lines: dict[Any, Given]) -> PlannedRow:
    name = given.values.get("name", "")
    row = PlannedRow(given.line, name, Outcome.WRONG)
    if not given.problems:
        checked = check(plan.kind, given, library)
        row.checked, row.notes = checked, list(checked.notes)
        for key in checked.identities:
            first = first_lines.setdefault(key, given)
            if first is not given:
                if first.same_as(given):
                    row.outcome, row.checked = Outcome.UNCHANGED, None
                    row.notes = [f"It says the same as line {first.line} and is left out."]
                    return row
                given.wrong(
                    "", f"Line {first.line} is the same {plan.kind.one} with other figures: keep one of them."
                )
                break
    if given.problems:
        row.problems = [
            Problem(given.line, cells.short(given.headings.get(key, "")), message)
            for key, message in given.problems
        ]
        return row
    if checked.is_new:
        row.outcome = Outcome.NEW
    else:
        row.outcome = Outcome.CHANGED if checked.changes else Outcome.UNCHANGED
    return row
