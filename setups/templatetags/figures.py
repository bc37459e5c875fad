"""How figures are printed on a page, and the drawings' tags; built in, so no page needs to load it.

Every filter takes what the calculation and the tables hold (float, Decimal, Quantity, ``None``) and
gives text. What is not known reads "not known", so that a page never shows an empty place.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import template
from django.conf import settings
from django.utils.formats import number_format
from django.utils.html import format_html
from django.utils.translation import gettext

from fitcalc.dimensions import BODY_DIMENSIONS, CAR_DIMENSIONS, PART_DIMENSIONS, Unit
from fitcalc.findings import Finding, Rule, Verdict
from fitcalc.fit import FitReport
from fitcalc.instruments import DESIGNATED
from fitcalc.quantities import Quantity
from fitcalc.said import said
from setups import drawing
from setups.printing import (
    MINUS,
    NOT_KNOWN,
    THIN,
    bare,
    decimals_needed,
    decimals_of,
    figure,
    fixed,
    is_nought,
    not_known,
    number_in,
    plus_minus,
    unit_name,
    unit_word,
)
from setups.translated import tell as tell_it
from setups.translated import told as told_it
from setups.translated import within_a_sentence
from setups.units import FIELD, Lengths, lengths, lengths_in

register = template.Library()

VERDICT_WORDS = {
    Verdict.FITS: said("fits"),
    Verdict.CLOSE: said("too close to call"),
    Verdict.FAILS: said("does not fit"),
    Verdict.UNKNOWN: said("not known"),
}

RULE_NAMES = {
    Rule.SCALE: said("Scale"),
    Rule.LAYOUT: said("Motor layout"),
    Rule.FLOOR: said("Room under the floor"),
    Rule.PAIRS: said("Parts that go together"),
    Rule.OFFSET_GRID: said("Wheel offset"),
    Rule.WHEELBASE: said("Wheelbase"),
    Rule.FLUSH: said("Flush with the arch"),
    Rule.ARCH: said("Room in the arch"),
    Rule.BUMP: said("Room in bump"),
    Rule.LOCK: said("Steering lock"),
    Rule.BODY_MOUNT: said("Front body mount"),
}

_WITHIN_A_SENTENCE = {
    "layouts": said("motor layout that the floor takes"),
    "front_arch_width": said("front arch width"),
    "rear_arch_width": said("rear arch width"),
    "body_mount": said("front body mount"),
    "offsets": said("wheel offsets"),
}


@register.filter
def mm(value: Any, decimals: int = 2) -> str:
    """4.5 -> ``4.50 mm``."""
    number = number_in(value)
    return not_known() if number is None else figure(number, Unit.MM, int(decimals))


@register.filter
def signed(value: Any, decimals: int | None = None) -> str:
    """2.5 -> ``+2.5``, -1 -> ``−1.0``, 3.75 -> ``+3.75``; one decimal at least, two at most.

    For an offset, which is mm for every reader: a name on the packet, not a reading.
    """
    number = number_in(value)
    if number is None:
        return not_known()
    return fixed(number, decimals_needed(number, 1, 2) if decimals is None else int(decimals), plus=True)


@register.filter
def apart(value: Any, decimals: int = 1) -> str:
    """A difference of two lengths, mm, with its sign and unit: ``+2.5 mm``, ``−0.098 in``."""
    number = number_in(value)
    return not_known() if number is None else figure(number, Unit.MM, int(decimals), plus=True)


@register.filter
def in_mm(value: Any, decimals: int = 2) -> str:
    """4.5 -> ``4.50 mm`` for every reader: what is about offsets, or about the library's own grid."""
    with lengths_in(Lengths.MM):
        return mm(value, decimals)


@register.filter
def shift(value: Any) -> str:
    """A length to either side without its unit: 2.5 -> ``+2.5``, or ``+0.098`` in inches."""
    number = number_in(value)
    return not_known() if number is None else bare(number, Unit.MM, decimals_needed(number, 1, 2), plus=True)


@register.filter
def pm(quantity: Quantity | None, how: str = "") -> str:
    """A quantity with its doubt: ``0.40 ± 0.15 mm``; with ``pm:"signed"``, ``+0.40 ± 0.15 mm``."""
    if not isinstance(quantity, Quantity):
        return not_known()
    return plus_minus(quantity, plus=how == "signed")


@register.filter
def size(value: Any, decimals: int = 2) -> str:
    """Without its sign, for sentences that say the direction: ``0.40 ± 0.15 mm``, ``1.20 mm``."""
    if isinstance(value, Quantity):
        return plus_minus(abs(value))
    number = number_in(value)
    return not_known() if number is None else figure(abs(number), Unit.MM, int(decimals))


@register.filter
def as_listed(figure: Any) -> str:
    """A part's figure: what is a name on the packet (an offset, a module) in mm for every reader."""
    unit = Lengths.MM if figure.kind.key in DESIGNATED else lengths()
    with lengths_in(unit):
        return pm(figure.quantity, figure.how)


@register.filter
def degrees(value: Any, decimals: int = 1) -> str:
    """25.43 -> ``25.4°``; a quantity comes with its doubt."""
    if isinstance(value, Quantity):
        return plus_minus(value)
    number = number_in(value)
    return not_known() if number is None else figure(number, Unit.DEGREE, int(decimals))


@register.filter
def grams(value: Any) -> str:
    """142.5 -> ``142.5 g``, 142 -> ``142 g``; a quantity comes with its doubt."""
    if isinstance(value, Quantity):
        return plus_minus(value)
    number = number_in(value)
    if number is None:
        return not_known()
    return figure(number, Unit.GRAM, decimals_needed(number, 0, 1))


@register.filter
def money(value: Any) -> str:
    """12.5 -> ``€ 12.50`` in the club's currency; ``None`` -> ``price not known``."""
    number = number_in(value)
    if number is None:
        return gettext("price not known")
    # Rounded here: `number_format` would cut a sum of floats, 85.99999 to 85.99.
    amount = number_format(f"{number:.2f}", 2, force_grouping=True).replace("-", MINUS)
    said = gettext("{currency} {amount}").replace(" ", THIN)
    return said.format(currency=settings.CURRENCY, amount=amount)


@register.filter
def percent(value: Any) -> str:
    """A probability: 0.42 -> ``42 %``, and ``> 99 %`` or ``< 1 %`` where rounding would claim certainty."""
    number = number_in(value)
    if number is None:
        return not_known()
    if number > 0.99:
        return f">{THIN}99{THIN}%"
    if number < 0.01:
        return f"<{THIN}1{THIN}%"
    return f"{100 * number:.0f}{THIN}%"


@register.filter
def brief(value: Any, unit: Unit | str) -> str:
    """A figure in ``unit`` as short as it goes, three decimals at most, without the unit: ``0.05``."""
    return _bare(value, unit, 0, 3)


@register.filter
def briefer(value: Any, unit: Unit | str) -> str:
    """As ``brief``, two decimals at most."""
    return _bare(value, unit, 0, 2)


@register.filter
def hundredths(value: Any, unit: Unit | str) -> str:
    """A figure in ``unit`` with two decimals, without the unit."""
    return _bare(value, unit, 2, 2)


@register.filter
def each(values: Sequence[Any], unit: Unit | str) -> str:
    """Several figures in ``unit`` as they were read, with commas: ``54.2, 54.25``."""
    return ", ".join(_bare(value, unit, 0, 4) for value in values)


def _bare(value: Any, unit: Unit | str, least: int, most: int) -> str:
    number = number_in(value)
    return "" if number is None else bare(number, unit, decimals_needed(number, least, most))


@register.filter
def unit(unit: Unit | str) -> str:
    """A unit as the reader has it: ``mm``, or ``in`` for who has lengths in inches."""
    return unit_word(unit)


@register.filter
def scale(value: Any) -> str:
    """28 -> ``1:28``."""
    number = number_in(value)
    return not_known() if number is None else f"1:{number:g}"


@register.filter
def named(unit: Unit | str) -> str:
    """A unit within a sentence: ``mm``, or ``inches`` in full."""
    return unit_name(unit)


@register.filter
def verdict_word(verdict: str) -> str:
    """``fits``, ``too close to call``, ``does not fit``, ``not known``."""
    return gettext(VERDICT_WORDS.get(verdict, NOT_KNOWN))  # type: ignore[call-overload]


@register.filter
def rule_name(rule: str) -> str:
    """A rule's name as a heading: ``Flush with the arch``."""
    return gettext(RULE_NAMES[rule]) if rule in RULE_NAMES else str(rule)  # type: ignore[index]


@register.filter
def tell(text: str) -> str:
    """What the calculation says, in the reader's language and units."""
    return tell_it(text)


@register.filter
def told(words: str) -> str:
    """What the library says, in the reader's language and units; a name or what was typed stays."""
    return told_it(words)


@register.filter
def nought(quantity: Quantity) -> bool:
    """True where a quantity prints as zero, so that a sentence need not give it a direction."""
    return is_nought(quantity)


@register.filter
def shortfall(finding: Finding) -> str:
    """How far a finding's value lies outside what is asked, with its unit: ``0.80 mm``."""
    if finding.margin is None or finding.found is None:
        return not_known()
    decimals = max(1, decimals_of(float(finding.found.u)))
    return figure(max(0.0, -finding.margin), finding.found.unit, decimals)


@register.filter
def true_minus(text: str) -> str:
    """Hyphens before a digit as minus signs, for words that the calculation made."""
    return "".join(
        MINUS if letter == "-" and text[i + 1 : i + 2].isdigit() else letter for i, letter in enumerate(text)
    )


@register.filter
def dimension_name(key: str) -> str:
    """A dimension's key in words for the middle of a sentence: ``front arch opening radius``."""
    kind = BODY_DIMENSIONS.get(key) or PART_DIMENSIONS.get(key) or CAR_DIMENSIONS.get(key)
    if key in _WITHIN_A_SENTENCE:
        return gettext(_WITHIN_A_SENTENCE[key])
    return key.replace("_", " ") if kind is None else within_a_sentence(gettext(kind.label))


@register.simple_tag
def typed_units(units: Lengths | None = None) -> str:
    """For a form with lengths in it: the field that says that they are typed in inches, if they are."""
    if (lengths() if units is None else units) is not Lengths.INCH:
        return ""
    return format_html('<input type="hidden" name="{}" value="{}">', FIELD, Lengths.INCH.value)


@register.inclusion_tag("components/limit_bar.html")
def limit_bar(finding: Finding) -> dict[str, Any]:
    """A finding's limit with its band and the value's interval on one line; nothing without numbers."""
    return {"bar": drawing.limit_bar(finding)}


@register.inclusion_tag("components/car_drawing.html")
def car_drawing(report: FitReport, second: FitReport | None = None) -> dict[str, Any]:
    """Plan and side view of a report's car, to scale; ``second`` lays another one's car over it."""
    return {"report": report, "second": second, "views": drawing.views(report, second)}
