"""Numbers as people type them: a point or a comma, a true minus, and a unit behind them or none."""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Decimal

from fitcalc.dimensions import Unit
from fitcalc.quantities import MM_PER_INCH

FINEST = Decimal("0.001")
"""mm; what comes from inches is rounded to it."""

_TYPED = re.compile(r"([+-]?(?:\d{1,9}(?:\.\d{0,9})?|\.\d{1,9}))\s*([^\d\s.+-].{0,12})?", re.ASCII)
_MM = {"mm", "millimetre", "millimetres", "millimeter"}
_INCH = {"in", "in.", "inch", "inches", "zoll", '"', "″", "”", "''"}
_OWN = {
    Unit.DEGREE: {"°", "deg", "degrees", "grad"},
    Unit.GRAM: {"g", "gram", "grams", "gramm"},
    Unit.VOLT: {"v", "volt", "volts"},
    Unit.RPM_PER_VOLT: {"rpm/v"},
    Unit.NEWTON_PER_MM: {"n/mm"},
    Unit.KM_PER_HOUR: {"km/h"},
    Unit.NONE: set[str](),
}


def plain(text: str, unit: Unit, inches: bool = False) -> str:
    """The number in ``text`` as digits and a point, in ``unit``: "58,2 mm" -> "58.2", "2.283 in" -> "57.988".

    ``inches``: a length without a unit is meant in them. What is no number, or has another unit behind it,
    comes back as it was typed, for whoever judges it to refuse.
    """
    found = _TYPED.fullmatch(text.strip().replace(",", ".").replace("\u2212", "-"))
    if found is None:
        return text
    number, behind = found[1], (found[2] or "").lower()
    if unit is not Unit.MM:
        return number if not behind or behind in _OWN[unit] else text
    if behind in _MM or (not behind and not inches):
        return number
    if behind and behind not in _INCH:
        return text
    return _in_mm(number)


def unambiguous(text: str, unit: Unit, inches: bool) -> str:
    """``text`` so that it means the same to all: a length in inches says so, one in mm has no unit.

    What is no number stays.
    """
    if unit is not Unit.MM or plain(text.strip(), unit, inches) == text.strip():
        return text
    number, behind = _split(text)
    if behind in _MM or not (inches or behind):
        return number
    return f"{number} in"


def _split(text: str) -> tuple[str, str]:
    """The number as it was typed, and what stands behind it in lower case."""
    found = re.fullmatch(r"(\S*?[\d.,])\s*([^\d\s.,+-].*)?", text.strip())
    assert found is not None
    return found[1], (found[2] or "").lower()


def _in_mm(inches: str) -> str:
    mm = (Decimal(inches) * Decimal(str(MM_PER_INCH))).quantize(FINEST, ROUND_HALF_EVEN)
    digits = f"{mm:f}"
    return digits.rstrip("0").rstrip(".") if "." in digits else digits
