"""How a number is printed, wherever it stands: on a page, in a drawing, on paper.

True minus, narrow no-break space before the unit and round the plus-minus, a doubt in as many decimals
as it deserves; the decimal sign of the reader's language, and lengths in the reader's unit.
"""

from __future__ import annotations

from math import floor, isfinite, log10
from typing import Any

from django.utils.formats import get_format
from django.utils.translation import gettext

from fitcalc.dimensions import Unit
from fitcalc.quantities import MM_PER_INCH, Quantity
from fitcalc.said import said
from setups.units import Lengths, lengths

THIN = "\u202f"
"""Narrow no-break space."""
MINUS = "\u2212"
NOT_KNOWN = said("not known")
INCH_DECIMALS = 3
"""Of a length in inches: a thousandth is what a calliper shows."""
FINE_INCH_DECIMALS = 4
"""Of a length in inches of which no thousandth of a millimetre may go unseen."""
_FINE = 0.00095
"""A doubt below it, in inches, takes a fourth decimal, or it would be printed as next to nothing."""


def not_known() -> str:
    """What is said in place of a figure that there is none of."""
    return gettext(NOT_KNOWN)


def number_in(value: Any) -> float | None:
    """The number behind a float, a Decimal, text or a Quantity; ``None`` for what is no finite number."""
    if isinstance(value, Quantity):
        value = value.value
    if value is None or isinstance(value, bool):
        return None
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if isfinite(number) else None


def fixed(number: float, decimals: int, plus: bool = False) -> str:
    """``number`` with so many decimals, a true minus, and a plus if asked; zero has no sign."""
    return _in_their_language(_digits(number, decimals, plus))


def _digits(number: float, decimals: int, plus: bool = False) -> str:
    text = f"{abs(number):.{decimals}f}"
    if not text.strip("0."):
        return text
    return (MINUS if number < 0 else "+" if plus else "") + text


def _in_their_language(digits: str) -> str:
    sign = get_format("DECIMAL_SEPARATOR")
    return digits if sign == "." else digits.replace(".", sign)


def decimals_needed(number: float, least: int, most: int) -> int:
    """Decimals that ``number`` needs to be printed without loss, between ``least`` and ``most``."""
    return max(least, len(f"{number:.{most}f}".partition(".")[2].rstrip("0")))


def decimals_of(doubt: float) -> int:
    """Decimals in which a doubt is worth printing: two figures if it begins with 1 or 2, else one.

    JCGM 100:2008, 7.2.6: two significant figures usually suffice. The second figure does not earn a third
    decimal, which no calliper shows; three decimals at most.
    """
    if doubt <= 0:
        return 1
    exponent = floor(log10(doubt))
    leading = doubt / 10.0**exponent
    if leading >= 9.5:
        exponent, leading = exponent + 1, 1.0
    second = 1 if leading < 2.95 and exponent >= -1 else 0
    return min(3, max(0, second - exponent))


def in_inches(unit: Unit | str) -> bool:
    """True for a figure that the reader has in inches."""
    return unit == Unit.MM and lengths() is Lengths.INCH


def unit_word(unit: Unit | str) -> str:
    """A unit as the reader has it: ``mm`` or ``in`` for a length."""
    return "in" if in_inches(unit) else str(unit)


def unit_name(unit: Unit | str) -> str:
    """A unit as a sentence names it: ``mm``, or ``inches`` in full, since "in" would read as a word."""
    return gettext("inches") if in_inches(unit) else str(unit)


def with_unit(text: str, unit: Unit | str) -> str:
    """``text``, a number in the reader's unit, with the unit and a narrow no-break space between; a degree
    sign stands close."""
    if not unit:
        return text
    return f"{text}{'' if unit == Unit.DEGREE else THIN}{unit_word(unit)}"


def bare(number: float, unit: Unit | str, decimals: int, plus: bool = False) -> str:
    """``number``, which is in ``unit``, as the reader has it and without the unit. ``decimals`` are those of
    all but inches."""
    if in_inches(unit):
        return fixed(number / MM_PER_INCH, INCH_DECIMALS, plus)
    return fixed(number, decimals, plus)


def brief(number: float, unit: Unit | str) -> str:
    """``number`` as short as it goes, as the reader has it and without the unit: a bound, what was typed."""
    return bare(number, unit, decimals_needed(number, 0, 3))


def figure(number: float, unit: Unit | str, decimals: int, plus: bool = False) -> str:
    """``number``, which is in ``unit``, with the reader's unit: ``64.2 mm``, ``2.528 in``."""
    return with_unit(bare(number, unit, decimals, plus), unit)


def plus_minus(quantity: Quantity, plus: bool = False) -> str:
    """Value and standard uncertainty in as many decimals as the uncertainty deserves, the unit once.

    A quantity without doubt, or with one below half a thousandth, is printed alone.
    """
    value, doubt = float(quantity.value), float(quantity.u)
    if doubt < 0.0005:
        return figure(value, quantity.unit, decimals_needed(value, 1, 2), plus)
    if in_inches(quantity.unit):
        value, doubt = value / MM_PER_INCH, doubt / MM_PER_INCH
        decimals = INCH_DECIMALS + (doubt < _FINE)
    else:
        decimals = decimals_of(doubt)
    text = f"{_digits(value, decimals, plus)}{THIN}±{THIN}{_digits(doubt, decimals)}"
    return with_unit(_in_their_language(text), quantity.unit)


def is_nought(quantity: Quantity) -> bool:
    """True if ``plus_minus`` prints the value as zero."""
    return not plus_minus(quantity).split(THIN)[0].strip(f"{MINUS}0.,")


def plain(quantity: Quantity, decimals: int = 1, plus: bool = False) -> str:
    """The value with its unit and no doubt, for a drawing: ``64.2 mm``."""
    return figure(float(quantity.value), quantity.unit, decimals, plus)
