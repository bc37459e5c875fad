"""How figures are printed: true minus, thin no-break space before the unit, doubt behind the value.

Every filter takes what the calculation and the tables hold (float, Decimal, Quantity, ``None``) and
gives text. What is not known reads "not known", so that a page never shows an empty place.
"""

from __future__ import annotations

from decimal import Decimal
from math import floor, isfinite, log10
from typing import Any

from django import template
from django.conf import settings

from fitcalc.dimensions import BODY_DIMENSIONS, PART_DIMENSIONS, Unit
from fitcalc.findings import Verdict
from fitcalc.quantities import Quantity

register = template.Library()

THIN = "\u202f"
"""Narrow no-break space: between a number and its unit, and round the plus-minus."""
MINUS = "\u2212"
NOT_KNOWN = "not known"

VERDICT_WORDS = {
    Verdict.FITS: "fits",
    Verdict.CLOSE: "too close to call",
    Verdict.FAILS: "does not fit",
    Verdict.UNKNOWN: "not known",
}

_OTHER_NAMES = {
    "layouts": "where the motor may sit",
    "body_mount": "the body's front mount",
    "offsets": "wheel offsets",
}


def _float(value: Any) -> float | None:
    """The number behind ``value``; ``None`` for what is no finite number."""
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


def _natural(number: float, least: int, most: int) -> int:
    """Decimals that ``number`` needs, between ``least`` and ``most``."""
    text = f"{number:.{most}f}".partition(".")[2].rstrip("0")
    return max(least, len(text))


def decimals_of(doubt: float) -> int:
    """Decimals in which a doubt is worth printing: two figures if it begins with 1 or 2, else one.

    JCGM 100:2008, 7.2.6: two significant figures usually suffice; at most three decimals here.
    """
    if doubt <= 0:
        return 1
    exponent = floor(log10(doubt))
    leading = round(doubt / 10.0**exponent, 1)
    if leading >= 9.95:
        exponent, leading = exponent + 1, 1.0
    return min(3, max(0, (1 if leading < 3 else 0) - exponent))


def with_unit(text: str, unit: Unit | str) -> str:
    """``text`` with its unit, a thin no-break space between; a degree sign stands close."""
    if not unit:
        return text
    return f"{text}{'' if unit == Unit.DEGREE else THIN}{unit}"


def plus_minus(quantity: Quantity, plus: bool = False) -> str:
    """Value and standard uncertainty in as many decimals as the uncertainty deserves, the unit once."""
    value, doubt = float(quantity.value), float(quantity.u)
    decimals = decimals_of(doubt)
    if doubt < 0.0005:
        return with_unit(fixed(value, _natural(value, 1, 2), plus), quantity.unit)
    text = f"{fixed(value, decimals, plus)}{THIN}±{THIN}{doubt:.{decimals}f}"
    return with_unit(text, quantity.unit)


@register.filter
def mm(value: Any, decimals: int = 2) -> str:
    """4.5 -> ``4.50 mm``."""
    number = _float(value)
    return NOT_KNOWN if number is None else with_unit(fixed(number, int(decimals)), Unit.MM)


@register.filter
def signed(value: Any, decimals: int | None = None) -> str:
    """2.5 -> ``+2.5``, -1 -> ``−1.0``, 3.75 -> ``+3.75``; one decimal at least, two at most."""
    number = _float(value)
    if number is None:
        return NOT_KNOWN
    return fixed(number, _natural(number, 1, 2) if decimals is None else int(decimals), plus=True)


@register.filter
def pm(quantity: Quantity | None, how: str = "") -> str:
    """A quantity with its doubt: ``0.40 ± 0.15 mm``; with ``pm:"signed"``, ``+0.40 ± 0.15 mm``."""
    if not isinstance(quantity, Quantity):
        return NOT_KNOWN
    return plus_minus(quantity, plus=how == "signed")


@register.filter
def size(quantity: Quantity | None) -> str:
    """A quantity without its sign, for sentences that say the direction: ``0.40 ± 0.15 mm``."""
    if not isinstance(quantity, Quantity):
        return NOT_KNOWN
    return plus_minus(abs(quantity))


@register.filter
def degrees(value: Any, decimals: int = 1) -> str:
    """25.43 -> ``25.4°``; a quantity comes with its doubt."""
    if isinstance(value, Quantity):
        return plus_minus(value)
    number = _float(value)
    return NOT_KNOWN if number is None else with_unit(fixed(number, int(decimals)), Unit.DEGREE)


@register.filter
def grams(value: Any) -> str:
    """142.5 -> ``142.5 g``, 142 -> ``142 g``; a quantity comes with its doubt."""
    if isinstance(value, Quantity):
        return plus_minus(value)
    number = _float(value)
    return NOT_KNOWN if number is None else with_unit(fixed(number, _natural(number, 0, 1)), Unit.GRAM)


@register.filter
def money(value: Any) -> str:
    """12.5 -> ``€ 12.50`` in the club's currency; ``None`` -> ``price not known``."""
    number = _float(value)
    if number is None:
        return "price not known"
    amount = f"{Decimal(str(value)) if isinstance(value, Decimal) else Decimal(str(number)):,.2f}"
    return f"{settings.CURRENCY}{THIN}{amount.replace('-', MINUS)}"


@register.filter
def percent(value: Any) -> str:
    """A probability: 0.42 -> ``42 %``, and ``> 99 %`` or ``< 1 %`` where rounding would claim certainty."""
    number = _float(value)
    if number is None:
        return NOT_KNOWN
    if number > 0.99:
        return f">{THIN}99{THIN}%"
    if number < 0.01:
        return f"<{THIN}1{THIN}%"
    return f"{100 * number:.0f}{THIN}%"


@register.filter
def scale(value: Any) -> str:
    """28 -> ``1:28``."""
    number = _float(value)
    return NOT_KNOWN if number is None else f"1:{number:g}"


@register.filter
def verdict_word(verdict: str) -> str:
    """``fits``, ``too close to call``, ``does not fit``, ``not known``."""
    return VERDICT_WORDS.get(verdict, NOT_KNOWN)  # type: ignore[call-overload]


@register.filter
def dimension_name(key: str) -> str:
    """A dimension's key in words for the middle of a sentence: ``front arch opening radius``."""
    kind = BODY_DIMENSIONS.get(key) or PART_DIMENSIONS.get(key)
    if kind is None:
        return _OTHER_NAMES.get(key, key.replace("_", " "))
    return kind.label[0].lower() + kind.label[1:]


@register.filter
def dimension_meaning(key: str) -> str:
    """The one line that says what a dimension is; empty for a key that is none."""
    kind = BODY_DIMENSIONS.get(key) or PART_DIMENSIONS.get(key)
    return kind.meaning if kind else ""
