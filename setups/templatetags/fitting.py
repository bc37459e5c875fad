"""What the fit pages print of a report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import template
from django.template.defaultfilters import floatformat, linebreaksbr
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from fitcalc.findings import Finding, Rule, Verdict
from fitcalc.fit import FitReport
from fitcalc.parts import Configuration
from fitcalc.quantities import Quantity
from setups.printing import THIN, fixed, plus_minus
from setups.services import telling
from setups.services.comparing import code_of
from setups.services.side_by_side import Car
from setups.services.tuned import Setting
from setups.translated import within_a_sentence

register = template.Library()
register.filter(telling.retold)
register.filter(within_a_sentence)

_QUIET = {Rule.SCALE, Rule.FLOOR, Rule.OFFSET_GRID}
"""Rules that are worth a line only when they are broken."""


@register.filter
def at(mapping: Mapping[Any, Any], key: Any) -> Any:
    """What ``mapping`` holds under ``key``, or ``None``."""
    return mapping.get(key)


@register.filter
def findings_shown(report: FitReport) -> list[Finding]:
    """The findings for a page: what fails first, then doubts, then the rest in the order of the car."""
    shown = [f for f in report.findings if not (f.rule in _QUIET and f.verdict is Verdict.FITS)]
    return sorted(shown, key=lambda finding: -finding.verdict.gravity)


@register.filter
def against(report: FitReport) -> list[Finding]:
    """What speaks against a report: the rules that fail; of one that fails none, what is in doubt."""
    return list(report.failing) or [f for f in findings_shown(report) if f.verdict is not Verdict.FITS]


@register.filter
def standing(flush: Quantity) -> str:
    """How a wheel stands to its arch: "0.40 ± 0.15 mm proud", "0.30 ± 0.10 mm inset", "flush"."""
    if abs(flush.value) < 0.05:
        return pgettext("how a wheel stands to its arch", "flush")
    said = _("{length} proud") if flush.value > 0 else _("{length} inset")
    return said.format(length=plus_minus(abs(flush)))


@register.filter
def as_said(value: Setting | str | None) -> str:
    """A setting, words, or that nothing is said, as they stand in a list or a table."""
    if value is None or value == "":
        return format_html('<span class="soft">{}</span>', _("not said"))
    if isinstance(value, str):
        return linebreaksbr(value)
    quantity = value.quantity
    if quantity is None:
        return str(value.value)
    if not value.field.unit and not value.signed:
        return floatformat(value.value, "-2")
    return plus_minus(quantity, plus=value.signed)


@register.filter
def beside(cars: Sequence[Car], values: Sequence[Any]) -> list[tuple[str, Any]]:
    """What a row of a comparison has of each car, with what the car is called: "Car 2"."""
    return [(car.title, value) for car, value in zip(cars, values, strict=True)]


@register.filter
def from_first(change: float) -> str:
    """How far a figure is from the first car's, in words: "+1.50 from car 1"."""
    text = fixed(change, 2, plus=True)
    if not text.strip("0.,"):
        return _("as car 1")
    return _("%(change)s from car 1") % {"change": text}


@register.filter
def thousands(number: int) -> str:
    """A count in groups of three: "1 204 000"."""
    return f"{number:,}".replace(",", THIN)


@register.filter
def car_code(configuration: Configuration) -> str:
    """The configuration as the compare page's address carries it."""
    return code_of(configuration)
