"""The dry run: what each row of a file would change, and what is wrong with it.

A plan is made anew when it is carried out. Its ``fingerprint`` tells whether it would still do what was
shown, so that nothing is loaded that nobody has seen.
"""

from __future__ import annotations

from typing import Any

from fitcalc.said import Listed, Said
from setups.imports import cells, history, jsonlines, posted, readings, records, things
from setups.imports.cells import CellError, Style
from setups.imports.columns import Column, Kind, Text
from setups.imports.given import Given, GivenFigure
from setups.imports.planned import ANYBODY, By, Loaded, Outcome, Plan, Problem
from setups.imports.reading import SEPARATORS, Grid, Row, Unreadable, gridded
from setups.services.near import nearest

__all__ = ["Outcome", "Plan", "carry_out", "plan_of"]

MOST_NAMED = 8
"""A notice names so many columns at most."""
SURELY_MEANT = 85.0

_WAYS: dict[str, Any] = {
    "bodies": things,
    "parts": things,
    "setups": posted,
    "measurements": readings,
    "disputes": history,
    "record": history,
}
"""What plans the rows of a kind and carries them out; ``records`` does the rest."""


def plan_of(kind: Kind, text: str, lock: bool = False, by: By = ANYBODY) -> Plan:
    """What loading ``text`` would do; ``lock`` keeps the library's rows so until the transaction ends.

    ``text`` comes from ``reading.decoded`` or ``reading.as_text``. Nothing is raised: what is wrong is in the
    plan.
    """
    plan = Plan(kind)
    try:
        grid = gridded(
            text, lambda heading: kind.named(heading) is not None, None if by.whole else kind.most_rows
        )
    except Unreadable as unreadable:
        plan.problems.append(Problem(0, "", str(unreadable)))
        return plan
    headings = _headings(plan, grid)
    if plan.problems:
        return plan
    reader = _Reader(plan.kind, grid, headings)
    given = [reader.read(row) for row in grid.rows]
    _way(kind).plan_rows(plan, given, by, lock)
    return plan


def carry_out(plan: Plan, by: By) -> Loaded:
    """Writes a plan without faults; call it in the transaction in which the plan was made with ``lock``."""
    found: Loaded = _way(plan.kind).carry_out(plan, by)
    return found


def _way(kind: Kind) -> Any:
    return _WAYS.get(kind.key, records)


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
                    Said(
                        "It names the same as “{other}”: take one of the two out.",
                        other=cells.short(at_key[column.key]),
                    ),
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
            plan.problems.append(Problem(line, Said(column.label), _missing(column, grid.is_json)))
    if grid.before:
        plan.notices.append(Said("What stands above the headings on line {line} was not read.", line=line))
    if grid.is_json:
        plan.notices.append(Said("It was read as JSON Lines."))
    elif grid.separator != ",":
        separator = Said(SEPARATORS.get(grid.separator, grid.separator))
        plan.notices.append(Said("The cells are parted by {separator}.", separator=separator))
    _note_ignored(plan, ignored, grid.is_json)
    return found


def _missing(column: Column, is_json: bool) -> Said:
    meaning = column.meaning if isinstance(column.meaning, Said) else Said(column.meaning)
    if is_json:
        return Said("There is no such key. Add “{key}”: {meaning}", key=column.key, meaning=meaning)
    return Said("There is no such column. Add “{key}”: {meaning}", key=column.key, meaning=meaning)


def _note_ignored(plan: Plan, ignored: list[str], is_json: bool) -> None:
    if not ignored:
        return
    names = list(plan.kind.names)
    told: list[str] = []
    for heading in ignored[:MOST_NAMED]:
        meant = nearest(heading, names, limit=1, close=SURELY_MEANT) if len(heading) < 60 else []
        name = cells.short(heading)
        if meant:
            told.append(Said("“{name}” (did you mean {meant}?)", name=name, meant=meant[0]))
        else:
            told.append(Said("“{name}”", name=name))
    names_told, more = Listed(told), len(ignored) - MOST_NAMED
    if more > 0 and is_json:
        notice = Said("Keys that are not read: {names} and {more:,} more.", names=names_told, more=more)
    elif more > 0:
        notice = Said("Columns that are not read: {names} and {more:,} more.", names=names_told, more=more)
    elif is_json:
        notice = Said("Keys that are not read: {names}.", names=names_told)
    else:
        notice = Said("Columns that are not read: {names}.", names=names_told)
    plan.notices.append(notice)


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


class _Reader:
    """Reads rows into values; what stands in many rows of a column is read once."""

    def __init__(self, kind: Kind, grid: Grid, headings: dict[int, tuple[str, Column]]) -> None:
        self.kind, self.grid, self.headings = kind, grid, headings
        self.width = len(grid.headings.cells)
        self.style = Style() if grid.is_json else _style(grid, headings)
        self.known: dict[tuple[str, str], Any] = {}
        self.empty = Said("It is empty, and every {thing} needs it.", thing=Said(kind.one))

    def read(self, row: Row) -> Given:
        """The row's values, and what in it cannot be read."""
        given = Given(row.line)
        if any(row.cells[self.width :]):
            given.wrong(
                "",
                Said(
                    "It has {cells} cells and the headings {headings}: put a cell with a separator in it "
                    "between quotation marks.",
                    cells=len(row.cells),
                    headings=self.width,
                ),
            )
        for key, message in row.problems:
            given.headings[key] = key
            given.wrong(key, message)
        if row.problems:
            return given
        for at, (heading, column) in self.headings.items():
            given.headings[column.key] = heading
            given.labels[column.key] = column.label
            cell = row.cells[at] if at < len(row.cells) else ""
            if cell in ("", None):
                continue
            try:
                value = self._value(column, cell)
            except CellError as error:
                given.wrong(column.key, str(error))
                continue
            if value is not None:
                _put(given, column, value)
        for column in self.kind.required:
            if column.key not in given.values and not given.is_wrong(column.key):
                given.wrong(column.key, self.empty)
        return given

    def _value(self, column: Column, cell: Any) -> Any:
        """What the cell means, ``None`` if it says that nothing is known. Raises CellError."""
        if not isinstance(cell, str):
            return self._meant(column, cell)
        key = (column.key, cell)
        if key not in self.known:
            try:
                self.known[key] = self._meant(column, cell)
            except CellError as error:
                self.known[key] = error
        found = self.known[key]
        if isinstance(found, CellError):
            raise found
        return found

    def _meant(self, column: Column, cell: Any) -> Any:
        if self.grid.is_json:
            text, exact = jsonlines.said(cell, column)
        else:
            text, exact = cells.unmarked(cell, column.text is Text.LINES)
        if exact and column.text is not Text.NONE:
            return cells.exactly(text)
        if not text or (column.says_unknown and cells.is_unknown(text)):
            return None
        return column.read(text.strip(), self.style)


def _put(given: Given, column: Column, value: Any) -> None:
    if not column.dimension:
        given.values[column.key] = value
        return
    figure = given.figures.setdefault(column.dimension, GivenFigure())
    if column.role == "value":
        figure.value, behind = value
        if behind is not None:
            figure.tolerance_behind = behind
    else:
        setattr(figure, column.role, value)
