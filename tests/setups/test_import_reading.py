"""From the bytes of a file to rows: encodings, separators, line numbers, and what is no CSV file."""

from __future__ import annotations

import pytest

from setups.imports.kinds import KINDS
from setups.imports.reading import MOST_ROWS, Grid, Unreadable, as_text, decoded, gridded

TEXT = "name;maker;scale\nPlover Coupé;Öst & Kilñ;28\n"


def _grid(text: str) -> Grid:
    return gridded(as_text(text), lambda heading: KINDS["bodies"].named(heading) is not None)


@pytest.mark.parametrize(
    ("encoding", "said"),
    [
        ("utf-8", "UTF-8"),
        ("utf-8-sig", "UTF-8"),
        ("utf-16", "UTF-16"),
        ("utf-16-le", "UTF-16"),
        ("utf-16-be", "UTF-16"),
        ("utf-32", "UTF-32"),
        ("cp1252", "Windows-1252"),
    ],
)
def test_every_encoding_that_spreadsheets_write_is_read(encoding: str, said: str) -> None:
    assert decoded(TEXT.encode(encoding)) == (TEXT, said)


def test_line_ends_of_every_kind_become_one() -> None:
    assert decoded(b"name,maker\r\na,b\rc,d\n")[0] == "name,maker\na,b\nc,d\n"


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "The file is empty"),
        (b"  \n ", "The file is empty"),
        (b"PK\x03\x04....", "a workbook, not a CSV file"),
        (b"\xd0\xcf\x11\xe0....", "an old workbook"),
        (b"%PDF-1.7", "a PDF"),
        (b"\x89PNG\r\n", "a picture"),
        (b"name,maker\n\x00\x00\x00\x00\x00\x01", "not a text file"),
        (b"\xff\xfea", "not a text file"),
    ],
)
def test_what_is_no_csv_file_says_what_to_do(data: bytes, said: str) -> None:
    with pytest.raises(Unreadable, match=said):
        decoded(data)


def test_two_megabytes_are_the_limit() -> None:
    with pytest.raises(Unreadable, match="Split it"):
        as_text("name,maker\n" + "x" * 2_200_000)


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_the_separator_is_the_one_that_makes_headings(separator: str) -> None:
    rows = ["name,maker,scale", "Plover,Reed & Fen,1:28"]
    grid = _grid("\n".join(rows).replace(",", separator))
    assert grid.separator == separator
    assert grid.rows[0].cells == ["Plover", "Reed & Fen", "1:28"]


def test_a_comma_in_a_name_does_not_make_commas_the_separator() -> None:
    grid = _grid("name;maker;wheelbase\nPlover, red, blue, green;Reed;98,5")
    assert grid.rows[0].cells == ["Plover, red, blue, green", "Reed", "98,5"]


def test_a_separator_told_in_the_first_line_is_taken() -> None:
    grid = _grid("sep=;\nname;maker\nPlover;Reed")
    assert grid.rows[0].cells == ["Plover", "Reed"]
    assert grid.rows[0].line == 3
    assert grid.before == 0


def test_rows_keep_their_line_numbers_over_blank_lines_and_quoted_line_ends() -> None:
    grid = _grid('name,maker,notes\n\nPlover,Reed,"two\nlines"\n,,\nHeron,Reed,\n')
    assert [row.line for row in grid.rows] == [3, 6]
    assert grid.rows[0].cells[2] == "two\nlines"


def test_lines_above_the_headings_are_counted_and_left_out() -> None:
    grid = _grid("Our shells\n\nname,maker\nPlover,Reed")
    assert (grid.headings.line, grid.before) == (3, 1)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Plover,Reed,28\nHeron,Reed,24", "No headings were found"),
        ("name,maker\n\n", "no rows below them"),
        ('name,maker\n"Plover,Reed\n', "row on line 2 has a quotation mark that is not closed"),
        ('name,maker\n"Plover" x,Reed\n', "row on line 2 has a quotation mark"),
        ("\n \n", "There is nothing in it"),
        ('name,maker\nPlover,"' + "x" * 140_000, "row on line 2 has a"),
    ],
)
def test_what_cannot_be_read_names_the_line_and_what_to_do(text: str, said: str) -> None:
    with pytest.raises(Unreadable, match=said):
        _grid(text)


def test_more_rows_than_the_limit_are_refused() -> None:
    fits = "name,maker\n" + "Plover,Reed\n" * MOST_ROWS
    assert len(_grid(fits).rows) == MOST_ROWS
    with pytest.raises(Unreadable, match="more than 5,000 rows"):
        _grid(fits + "Plover,Reed\n")


def test_thousands_of_columns_are_read() -> None:
    grid = _grid("name,maker," + ",".join(f"c{n}" for n in range(5000)) + "\nPlover,Reed" + "," * 5000)
    assert len(grid.headings.cells) == 5002


def test_a_file_of_another_country_or_an_old_computer_is_told_apart_by_its_words() -> None:
    polish = "name;maker;notes\nŁabędź;Źródło Żółw;żółta gęś jaźń ściśle ćma\n"
    assert decoded(polish.encode("cp1250")) == (polish, "Windows-1250")
    mac = "name;maker;notes\nPlover Coupé;Reed “Shells”;—\n"
    assert decoded(mac.encode("mac_roman")) == (mac, "Mac Roman")
