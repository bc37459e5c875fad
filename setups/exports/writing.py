"""Rows as CSV or as JSON Lines, a batch of text at a time, so that a file of any size takes no memory.

Both give back every value that is read from them again: a figure has the decimals that it has on record; text
is letter by letter the same, but for line ends, which are written as one character, and characters that
cannot be printed, which are left out. In CSV, text that a spreadsheet program would take for a formula, or a
reader for something else than itself, has an apostrophe before it, which is taken off when it is read
(``setups.imports.cells.marked``). A negative number needs none: it is a number to either.
"""

from __future__ import annotations

import csv
import io
import json
import unicodedata
from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any

from setups.imports import cells
from setups.imports.columns import Column, Kind, Text

AT_ONCE = 200
"""So many rows are sent in one piece."""


class Format(StrEnum):
    CSV = "csv"
    JSONL = "jsonl"

    @property
    def label(self) -> str:
        return {"csv": "CSV", "jsonl": "JSON Lines"}[self.value]

    @property
    def content_type(self) -> str:
        return {"csv": "text/csv; charset=utf-8", "jsonl": "application/jsonl; charset=utf-8"}[self.value]


def written(kind: Kind, rows: Iterable[dict[str, Any]], how: Format) -> Iterator[str]:
    """The text of a file of ``rows``, piece by piece."""
    line = _csv_line if how is Format.CSV else _json_line
    columns = [column for column in kind.columns if column.key not in UNWRITTEN.get(kind.key, ())]
    if how is Format.CSV:
        # The mark tells spreadsheet programs that it is UTF-8.
        yield "\ufeff" + _line([column.key for column in columns])
    waiting: list[str] = []
    for row in rows:
        waiting.append(line(columns, row))
        if len(waiting) == AT_ONCE:
            yield "".join(waiting)
            waiting = []
    if waiting:
        yield "".join(waiting)


UNWRITTEN = {"bodies": ("basis", "source"), "parts": ("basis", "source", "made_for")}
"""Columns that are only a shorter way to write others."""


def _csv_line(columns: list[Column], row: dict[str, Any]) -> str:
    return _line([_cell(column, row.get(column.key)) for column in columns])


def _line(found: list[str]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerow(found)
    return out.getvalue()


def _cell(column: Column, value: Any) -> str:
    if isinstance(value, str) and column.text is not Text.NONE:
        return cells.marked(printable(value), column.text is Text.LINES)
    if isinstance(value, list):
        return "|".join(value)
    return _plainly(value)


def _plainly(value: Any) -> str:
    """What has one way to be written: numbers, days, times, yes and no, and the names of choices."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    return value.isoformat() if isinstance(value, date) else str(value)


def _json_line(columns: list[Column], row: dict[str, Any]) -> str:
    found = {
        column.key: _json_value(value)
        for column in columns
        if (value := row.get(column.key)) is not None and value != "" and value != []
    }
    return json.dumps(found, ensure_ascii=False, allow_nan=False) + "\n"


def _json_value(value: Any) -> Any:
    if isinstance(value, str):
        return printable(value)
    if isinstance(value, Decimal):
        # A double holds every figure of the library: none has more than fifteen digits.
        return int(value) if value == value.to_integral_value() else float(value)
    return value if isinstance(value, (bool, int, list)) else _plainly(value)


def printable(text: str) -> str:
    """``text`` with plain line ends and without what cannot be printed."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if text.isprintable():
        return text
    return "".join(one for one in text if one in "\n\t" or unicodedata.category(one) not in ("Cc", "Cs"))
