"""How a number is printed, wherever it stands: on a page, in a drawing, on paper.

True minus, narrow no-break space before the unit and round the plus-minus, a doubt in as many decimals
as it deserves.
"""

from __future__ import annotations

from math import floor, isfinite, log10
from typing import Any

from fitcalc.dimensions import Unit
from fitcalc.quantities import Quantity

THIN = "\u202f"
"""Narrow no-break space."""
MINUS = "\u2212"
NOT_KNOWN = "not known"


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
    text = f"{abs(number):.{decimals}f}"
    if not text.strip("0."):
        return text
    return (MINUS if number < 0 else "+" if plus else "") + text


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


def with_unit(text: str, unit: Unit | str) -> str:
    """``text`` with its unit, a narrow no-break space between; a degree sign stands close."""
    if not unit:
        return text
    return f"{text}{'' if unit == Unit.DEGREE else THIN}{unit}"


def plus_minus(quantity: Quantity, plus: bool = False) -> str:
    """Value and standard uncertainty in as many decimals as the uncertainty deserves, the unit once.

    A quantity without doubt, or with one below half a thousandth, is printed alone.
    """
    value, doubt = float(quantity.value), float(quantity.u)
    if doubt < 0.0005:
        return with_unit(fixed(value, decimals_needed(value, 1, 2), plus), quantity.unit)
    decimals = decimals_of(doubt)
    text = f"{fixed(value, decimals, plus)}{THIN}±{THIN}{doubt:.{decimals}f}"
    return with_unit(text, quantity.unit)


def is_nought(quantity: Quantity) -> bool:
    """True if ``plus_minus`` prints the value as zero."""
    return not plus_minus(quantity).split(THIN)[0].strip(f"{MINUS}0.")


def plain(quantity: Quantity, decimals: int = 1, plus: bool = False) -> str:
    """The value with its unit and no doubt, for a drawing: ``64.2 mm``."""
    return with_unit(fixed(float(quantity.value), decimals, plus), quantity.unit)
