"""From the bytes of a file to rows with their line numbers.

The csv module reads the rows: unlike tablib it tells on which line a row begins and leaves rows of uneven
length to be reported one by one. charset-normalizer tells the older encodings apart. A file that begins with
a brace is read as JSON Lines (``jsonlines``).
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import charset_normalizer
from django.conf import settings
from django.template.defaultfilters import filesizeformat

from fitcalc.said import Said, said
from setups.imports import jsonlines

MOST_ROWS = 5000
SEPARATORS = {",": said("commas"), ";": said("semicolons"), "\t": said("tabs"), "|": said("bars")}
MOST_COLUMNS = 20_000
HEADINGS_WITHIN = 20
"""The headings stand in one of the first so many rows that are not empty."""

NO_TEXT = Said("That is not a text file. Save the spreadsheet as CSV in UTF-8 and choose that file.")
_NOT_TEXT = {
    b"PK\x03\x04": said("a workbook"),
    b"\xd0\xcf\x11\xe0": said("an old workbook"),
    b"\x1f\x8b": said("a packed file"),
    b"%PDF": said("a PDF"),
    b"\x89PNG": said("a picture"),
    b"\xff\xd8\xff": said("a picture"),
}
_MARKS = {
    b"\xef\xbb\xbf": "utf-8-sig",
    b"\xff\xfe\x00\x00": "utf-32",
    b"\x00\x00\xfe\xff": "utf-32",
    b"\xff\xfe": "utf-16",
    b"\xfe\xff": "utf-16",
}
_OLDER = ["cp1252", "cp1250", "mac_roman"]
_NAMES = {
    "utf-8": "UTF-8",
    "utf-8-sig": "UTF-8",
    "utf-16": "UTF-16",
    "utf-16-le": "UTF-16",
    "utf-16-be": "UTF-16",
    "utf-32": "UTF-32",
    "cp1252": "Windows-1252",
    "cp1250": "Windows-1250",
    "mac_roman": "Mac Roman",
}


class Unreadable(ValueError):
    """The file cannot be read at all; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Row:
    """A row and the line of the file that it begins on.

    Its cells are text, of JSON Lines values. ``problems`` tell why it could not be read: (key, what to do).
    """

    line: int
    cells: list[Any]
    problems: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Grid:
    """The file as rows: its headings, what stands below them, and what the headings are parted by."""

    headings: Row
    rows: list[Row]
    separator: str
    before: int = 0
    """How many rows stand above the headings."""
    is_json: bool = False


def decoded(data: bytes, limited: bool = True) -> tuple[str, str]:
    """The text in ``data`` and the name of its encoding. Raises Unreadable.

    ``limited``: no more than a page can send back.
    """
    if not data.strip():
        raise Unreadable(Said("The file is empty. Save the spreadsheet as CSV and choose that file."))
    for mark, kind in _NOT_TEXT.items():
        if data.startswith(mark):
            raise Unreadable(
                Said(
                    "That is {kind}, not a CSV file. Open it in your spreadsheet program, save the sheet as "
                    "CSV (“save as” or “download as”), and choose that file.",
                    kind=Said(kind),
                )
            )
    encoding = next((name for mark, name in _MARKS.items() if data.startswith(mark)), None) or _by_nul(data)
    try:
        text = data.decode(encoding or "utf-8")
    except UnicodeDecodeError:
        if encoding is not None:
            raise Unreadable(NO_TEXT) from None
        encoding, text = _older(data)
    return as_text(text, limited), _NAMES[encoding or "utf-8"]


def _by_nul(data: bytes) -> str | None:
    """UTF-16 without a mark: every other byte of plain letters is zero."""
    start = data[:400]
    if b"\0" not in start:
        return None
    return "utf-16-le" if start[1::2].count(0) > start[::2].count(0) else "utf-16-be"


def _older(data: bytes) -> tuple[str, str]:
    found = charset_normalizer.from_bytes(data[:1_000_000], cp_isolation=_OLDER)
    # Windows-1252 wins a draw: it is what most spreadsheet programs write.
    ranked = sorted(found, key=lambda m: (m.chaos, -m.coherence, "cp1252" not in m.could_be_from_charset))
    likely = ranked[0].could_be_from_charset if ranked else []
    for encoding in sorted(_OLDER, key=lambda name: name not in likely):
        try:
            return encoding, data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise Unreadable(
        Said("The letters of that file cannot be read. Save it as CSV in UTF-8 and choose it again.")
    )


def as_text(text: str, limited: bool = True) -> str:
    """``text`` with plain line ends. Raises Unreadable if it is none, or too much to send back and forth."""
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    if "\0" in text:
        raise Unreadable(NO_TEXT)
    if not text.strip():
        raise Unreadable(
            Said("There is nothing in it. Choose a CSV file, or paste the rows with their headings.")
        )
    # A browser sends every line end as two characters; some kilobytes go to the rest of the form.
    limit = settings.DATA_UPLOAD_MAX_MEMORY_SIZE - 8192
    if limited and len(text.encode(errors="replace")) + text.count("\n") > limit:
        raise Unreadable(
            Said(
                "That is more than {limit} of text. Split it and load it in parts.",
                limit=filesizeformat(limit),
            )
        )
    return text


def gridded(text: str, recognised: Callable[[str], bool], most: int | None = MOST_ROWS) -> Grid:
    """The rows of ``text``, parted by whatever makes the most headings ``recognised``. Raises Unreadable.

    JSON Lines are told by their first letter. ``most`` rows are read, any number without it.
    """
    if jsonlines.is_json(text):
        return _objects(text, most)
    told = re.match(r"sep=(.)\n", text, re.IGNORECASE)
    best: tuple[int, int, str, int] | None = None
    for separator in [told[1]] if told and told[1] in SEPARATORS else SEPARATORS:
        for at, row in enumerate(_first_rows(text, separator)):
            known = sum(map(recognised, row.cells[:MOST_COLUMNS]))
            if known and (best is None or known > best[0]):
                best = (known, -at, separator, at)
    if best is None or best[0] < 2:
        row = next(iter(_first_rows(text, ",")), Row(1, []))
        raise Unreadable(
            Said(
                "No headings were found. The first row must name the columns; it begins “{start}”. "
                "Take the headings from the template.",
                start=_start(row),
            )
        )
    _, _, separator, at = best
    rows = _rows(text, separator)
    above = 0
    headings = next(rows)
    while above < at:
        headings, above = next(rows), above + 1
    _not_too_wide(headings)
    found = []
    for row in rows:
        _not_too_many(len(found), most)
        _not_too_wide(row)
        found.append(row)
    if not found:
        raise Unreadable(Said("There are headings and no rows below them. Add a row for each thing to load."))
    return Grid(headings, found, separator, above)


def _not_too_many(already: int, most: int | None) -> None:
    if most is not None and already == most:
        raise Unreadable(
            Said("There are more than {most:,} rows. Split the file and load it in parts.", most=most)
        )


def _not_too_wide(row: Row) -> None:
    if len(row.cells) > MOST_COLUMNS:
        raise Unreadable(
            Said(
                "The row on line {line} has {columns:,} columns, and {most:,} may be. Take the headings from "
                "the template.",
                line=row.line,
                columns=len(row.cells),
                most=MOST_COLUMNS,
            )
        )


def _objects(text: str, most: int | None) -> Grid:
    if text.lstrip().startswith("["):
        raise Unreadable(
            Said(
                "That is one JSON list. Write it as JSON Lines: each object on a line of its own, no "
                "brackets round them and no commas between."
            )
        )
    read: list[tuple[int, dict[str, Any], tuple[tuple[str, str], ...]]] = []
    for line, content in enumerate(text.split("\n"), start=1):
        if content.strip():
            _not_too_many(len(read), most)
            found, problems = jsonlines.object_of(content)
            read.append((line, found, tuple(problems)))
    keys = jsonlines.keys_of(
        [found for _, found, _ in read],
        lambda number: Unreadable(
            Said(
                "There are {number:,} different keys, and {most} may be. Use the columns’ names.",
                number=number,
                most=jsonlines.MOST_KEYS,
            )
        ),
    )
    if not keys:
        raise Unreadable(_first_problem(read))
    rows = [Row(line, [found.get(key) for key in keys], problems) for line, found, problems in read]
    return Grid(Row(rows[0].line, keys), rows, "", is_json=True)


def _first_problem(read: list[tuple[int, dict[str, Any], tuple[tuple[str, str], ...]]]) -> str:
    for line, _, problems in read:
        for _, message in problems:
            return Said("Line {line}: {message}", line=line, message=message)
    return Said("There are no keys in it. Write an object a line, with the columns as keys.")


def _first_rows(text: str, separator: str) -> Iterator[Row]:
    # Enough of the text to hold the first rows, so that four separators are tried quickly.
    rows = _rows(text, separator)
    try:
        for _ in range(HEADINGS_WITHIN):
            row = next(rows, None)
            if row is None:
                return
            yield row
    except Unreadable:
        return


def _rows(text: str, separator: str) -> Iterator[Row]:
    """The rows that are not empty."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    while True:
        line = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise Unreadable(_said(error, line)) from None
        if line == 1 and re.fullmatch(r"sep=.?", cells[0] if cells else "", re.IGNORECASE):
            continue
        if any(cell.strip() for cell in cells):
            # Behind a mark every letter counts, those at the end too.
            yield Row(line, [cell if cell.startswith("'") else cell.strip() for cell in cells])


def _said(error: csv.Error, line: int) -> str:
    if "field larger" in str(error):
        return Said(
            "The row on line {line} has a cell of more than {most:,} characters: a quotation mark may not be "
            "closed. Correct it and check again.",
            line=line,
            most=csv.field_size_limit(),
        )
    return Said(
        "The row on line {line} has a quotation mark that is not closed, or something behind one that is. "
        "Put cells with a separator in them between quotation marks, and write a quotation mark inside "
        "twice.",
        line=line,
    )


def _start(row: Row) -> str:
    text = ", ".join(row.cells[:4])
    return text if len(text) <= 60 else f"{text[:60]}…"
