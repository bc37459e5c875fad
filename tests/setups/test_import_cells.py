"""What members write in a cell, and what it is read as."""

from __future__ import annotations

from decimal import Decimal

import pytest

from fitcalc.dimensions import Unit
from setups.imports import cells
from setups.imports.cells import CellError, Style
from setups.imports.kinds import KINDS

POINT, COMMA = Style(decimal_comma=False), Style(decimal_comma=True)


@pytest.mark.parametrize(
    ("text", "style", "value"),
    [
        ("98", POINT, "98"),
        ("98.5 mm", POINT, "98.5"),
        ("98,5mm", COMMA, "98.5"),
        ("98,5", POINT, "98.5"),
        ("+2.5", POINT, "2.5"),
        ("-1.0", POINT, "-1.0"),
        ("−1.0", POINT, "-1.0"),
        ("–1,0", COMMA, "-1.0"),
        ("— 1", POINT, "-1"),
        (".5", POINT, "0.5"),
        ("5.", POINT, "5"),
        ("1,234.5", POINT, "1234.5"),
        ("1.234,5", COMMA, "1234.5"),
        ("1 234,5", COMMA, "1234.5"),
        ("1\u00a0234.5", POINT, "1234.5"),
        ("1\u202f234", POINT, "1234"),
        ("1'234", POINT, "1234"),
        ("98.125", POINT, "98.125"),
        ("98,125", COMMA, "98.125"),
        ("９８．５", POINT, "98.5"),
        (" 98 millimetres ", POINT, "98"),
    ],
)
def test_a_figure_is_read_however_it_is_written(text: str, style: Style, value: str) -> None:
    assert cells.number(text, style, Unit.MM) == (Decimal(value), None)


@pytest.mark.parametrize(
    ("text", "value", "tolerance"),
    [("98 ± 0.1", "98", "0.1"), ("98±0,1 mm", "98", "0.1"), ("98 mm +/- 0.2 mm", "98", "0.2")],
)
def test_a_tolerance_may_stand_behind_the_figure(text: str, value: str, tolerance: str) -> None:
    assert cells.number(text, POINT, Unit.MM) == (Decimal(value), Decimal(tolerance))


@pytest.mark.parametrize(
    ("text", "style", "said"),
    [
        ("1,234", POINT, "can mean 1234 or 1.234"),
        ("2.655", COMMA, "can mean 2655 or 2,655"),
        ("9.8 cm", POINT, "write 98"),
        ("3.5 in", POINT, "write 88.9"),
        ('3.5"', POINT, "write 88.9"),
        ("98 kg", POINT, "not a unit of this column"),
        ("±0.1", POINT, "is a tolerance, not a figure"),
        ("98 ± 0.1 ± 0.2", POINT, "more than one ±"),
        ("=A1+2", POINT, "is a formula"),
        ("@sum", POINT, "is a formula"),
        ("#REF!", POINT, "spreadsheet's error"),
        ("nan", POINT, "is not a number"),
        ("inf", POINT, "is not a number"),
        ("1e3", POINT, "is not a number"),
        ("about 98", POINT, "is not a number"),
        ("98-99", POINT, "is not a number"),
        ("1.2.3", POINT, "is not a number"),
        ("12,34,56", POINT, "is not a number"),
        ("9" * 100_000 + ".1.1", POINT, "is not a number"),
    ],
)
def test_what_is_no_figure_says_what_to_write(text: str, style: Style, said: str) -> None:
    with pytest.raises(CellError) as refused:
        cells.number(text, style, Unit.MM)
    assert said in str(refused.value)
    assert len(str(refused.value)) < 200


def test_a_kilogram_is_offered_in_grams() -> None:
    with pytest.raises(CellError, match=r"write 27\.5"):
        cells.number("0.0275 kg", POINT, Unit.GRAM)


@pytest.mark.parametrize(("text", "value"), [("0.1", "0.1"), ("±0.1", "0.1"), ("+/- 0,1 mm", "0.1")])
def test_a_tolerance_may_have_its_sign(text: str, value: str) -> None:
    assert cells.tolerance(text, POINT, Unit.MM) == Decimal(value)


def test_a_negative_tolerance_is_refused() -> None:
    with pytest.raises(CellError, match="cannot be negative"):
        cells.tolerance("-0.1", POINT, Unit.MM)


@pytest.mark.parametrize("text", ["", " ", "-", "—", "–", "n/a", "N/A", "?", "unknown", "Not known", "none"])
def test_a_cell_can_say_that_nothing_is_known(text: str) -> None:
    assert cells.is_unknown(text)


@pytest.mark.parametrize("text", ["0", "no", "-1"])
def test_nought_and_no_are_known(text: str) -> None:
    assert not cells.is_unknown(text)


@pytest.mark.parametrize("text", ["1:28", "1/28", " 28 ", "01:28:00", "1 : 28"])
def test_a_scale_is_read_even_as_the_time_that_a_spreadsheet_makes_of_it(text: str) -> None:
    assert cells.scale(text) == 28


@pytest.mark.parametrize("text", ["28-Jan", "1:28.5", "twenty", "2:28"])
def test_what_is_no_scale_says_what_to_write(text: str) -> None:
    with pytest.raises(CellError, match="write 28 for 1:28"):
        cells.scale(text)


@pytest.mark.parametrize(
    ("text", "value"), [("Yes", True), ("x", True), ("1", True), ("NO", False), ("0", False)]
)
def test_yes_and_no_have_many_forms(text: str, value: bool) -> None:
    assert cells.yes_or_no(text) is value


def test_what_is_neither_yes_nor_no_is_asked_for() -> None:
    with pytest.raises(CellError, match="write yes or no"):
        cells.yes_or_no("maybe")


@pytest.mark.parametrize(
    ("text", "value"),
    [("24.90", "24.90"), ("€ 24,90", "24.90"), ("24.90 EUR", "24.90"), ("€1,234.50", "1234.50")],
)
def test_a_price_may_have_the_clubs_currency(text: str, value: str) -> None:
    assert cells.money(text, POINT, "€") == Decimal(value)


def test_a_price_in_another_currency_is_not_taken_for_the_clubs() -> None:
    with pytest.raises(CellError, match="Prices are in €"):
        cells.money("$24.90", POINT, "€")


@pytest.mark.parametrize(
    "text", ["front suspension", "Front_Suspension", "FRONT-SUSPENSION", "front suspensions"]
)
def test_a_kind_is_recognised_by_value_and_label(text: str) -> None:
    column = KINDS["parts"].column("kind")
    assert column.read(text, POINT) == "front_suspension"


def test_a_count_is_whole() -> None:
    assert cells.whole("4", POINT) == 4
    with pytest.raises(CellError, match="write a whole number"):
        cells.whole("4.5", POINT)


def test_a_formula_in_a_text_stays_the_text_that_it_is() -> None:
    assert cells.line_of('=HYPERLINK("x")') == '=HYPERLINK("x")'


def test_text_of_one_line_loses_its_line_ends_and_no_control_character_passes() -> None:
    assert cells.line_of(" two \n lines\t") == "two lines"
    with pytest.raises(CellError, match="cannot be printed"):
        cells.text_of("bell\a")


@pytest.mark.parametrize(
    ("heading", "key"),
    [
        ("Wheelbase", "wheelbase"),
        (" WHEELBASE (mm) ", "wheelbase"),
        ("wheelbase_mm", "wheelbase"),
        ("Wheelbase [mm]", "wheelbase"),
        ("Wheelbase ±", "wheelbase_tolerance"),
        ("wheelbase tol.", "wheelbase_tolerance"),
        ("Wheelbase tolerance (mm)", "wheelbase_tolerance"),
        ("front width, arch to arch", "front_arch_width"),
        ("Rear-Arch Width", "rear_arch_width"),
        ("Item No.", "part_number"),
        ("Made by", "maker"),
        ("Weight (g)", "mass"),
        ("full size car", "full_size_car"),
    ],
)
def test_a_heading_is_recognised_however_it_is_written(heading: str, key: str) -> None:
    column = KINDS["bodies"].named(heading)
    assert column is not None
    assert column.key == key


@pytest.mark.parametrize("heading", ["", "Shelf", "wheel base of sorts", "("])
def test_another_heading_is_none(heading: str) -> None:
    assert KINDS["bodies"].named(heading) is None


@pytest.mark.parametrize("kind", ["bodies", "parts"])
def test_no_two_columns_share_a_name(kind: str) -> None:
    keys = [column.key for column in KINDS[kind].columns]
    assert len(keys) == len(set(keys))
    for column in KINDS[kind].columns:
        assert KINDS[kind].named(column.key) is column
        assert KINDS[kind].named(column.label) is column


def test_a_heading_in_another_unit_is_told_from_a_remark() -> None:
    bodies = KINDS["bodies"]
    column = bodies.column("wheelbase")
    assert bodies.foreign_unit(column, "Wheelbase (cm)") == "The library takes mm: convert the column."
    assert bodies.foreign_unit(column, "Wheelbase (mm)") == ""
    assert bodies.foreign_unit(column, "Wheelbase (measured)") == ""
