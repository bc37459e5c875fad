"""What the pages of race classes print of clauses and rulings."""

from __future__ import annotations

from typing import Any

from django import template

from club.models import Clause
from club.racing.cars import Subject
from club.racing.checking import Row
from club.racing.looks import LOOKS
from fitcalc.dimensions import Unit
from fitcalc.legality import BODY, CLASS_QUANTITIES, ClassVerdict, DecisionRule, Limit, Ruling
from setups import drawing
from setups.printing import decimals_needed, decimals_of, fixed, number_in, with_unit

register = template.Library()

_WORDS = {
    ClassVerdict.COMPLIES: "complies",
    ClassVerdict.TOO_CLOSE: "too close to call",
    ClassVerdict.DOES_NOT_COMPLY: "does not comply",
    ClassVerdict.NOT_CHECKED: "not checked",
}


@register.filter
def sign(verdict: ClassVerdict) -> str:
    """The name that a verdict's mark and colour go by."""
    return LOOKS[ClassVerdict(verdict)]


@register.filter
def said(verdict: ClassVerdict) -> str:
    """``complies``, ``too close to call``, ``does not comply``, ``not checked``."""
    return _WORDS[ClassVerdict(verdict)]


@register.filter
def quantity_label(key: str) -> str:
    return CLASS_QUANTITIES[key].label


@register.filter
def quantity_meaning(key: str) -> str:
    return CLASS_QUANTITIES[key].meaning


@register.filter
def in_unit_of(figure: Any, key: str) -> str:
    """A limit with the unit of the quantity ``key``: 74 -> ``74 mm``, 8.4 -> ``8.4 V``."""
    number = number_in(figure)
    if number is None:
        return ""
    return with_unit(fixed(number, decimals_needed(number, 0, 3), plus=False), CLASS_QUANTITIES[key].unit)


@register.filter
def limits(clause: Clause | Limit) -> str:
    """What a limit asks: ``at most 74 mm``, ``from 94 to 98 mm``."""
    low, high = (number_in(figure) for figure in (clause.low, clause.high))
    key = clause.quantity
    if low is None:
        return f"at most {in_unit_of(high, key)}"
    if high is None:
        return f"at least {in_unit_of(low, key)}"
    if low == high:
        return f"exactly {in_unit_of(low, key)}"
    return f"from {fixed(low, decimals_needed(low, 0, 3))} to {in_unit_of(high, key)}"


@register.filter
def plural(thing: str) -> str:
    """A kind of thing for many of it: ``bodies``, ``motor mounts``."""
    word = thing.replace("_", " ")
    return "bodies" if word == "body" else f"{word}s"


@register.filter
def is_guarded(clause: Clause) -> bool:
    return clause.rule != DecisionRule.SIMPLE.value


@register.filter
def far(figure: float | None, ruling: Ruling) -> str:
    """A distance to a limit with its unit, without its sign, in as many decimals as the doubt deserves."""
    if figure is None or ruling.value is None:
        return ""
    decimals = max(0 if ruling.value.unit is Unit.GRAM else 1, decimals_of(float(ruling.value.u)))
    # A small distance is never printed as none at all.
    while decimals < 3 and figure and not fixed(abs(figure), decimals).strip("0."):
        decimals += 1
    return with_unit(fixed(abs(figure), decimals), ruling.value.unit)


@register.filter
def things_named(clause: Clause) -> list[Any]:
    """The parts or bodies that a clause names: those given for a preview, else its items'."""
    given = getattr(clause, "named", None)
    return [item.thing for item in clause.items.all()] if given is None else given


@register.filter
def culprits(row: Row, subject: Subject) -> str:
    """The names of what is on the car and may not be."""
    if row.clause.thing == BODY:
        return str(subject.body)
    names = {part.id: part.name for _, part in subject.report.configuration.parts()}
    return ", ".join(names[key] for key in row.ruling.culprits if key in names)


@register.inclusion_tag("components/limit_bar.html")
def ruling_bar(ruling: Ruling) -> dict[str, Any]:
    """A ruling's limit with its guard band and the value's interval on one line; nothing without a value."""
    if ruling.value is None or (ruling.low is None and ruling.high is None):
        return {"bar": None}
    return {
        "bar": drawing.bar_of(
            ruling.value,
            sign(ruling.verdict),
            ruling.low,
            ruling.high,
            ruling.accept_low,
            ruling.accept_high,
        )
    }
