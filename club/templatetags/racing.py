"""What the pages of race classes print of clauses and rulings."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from club.models import Clause
from club.racing.cars import Subject
from club.racing.checking import Row
from club.racing.events.entries import FIELDS, REASONS, REASONS_WITH
from club.racing.looks import LOOKS
from fitcalc.dimensions import Unit
from fitcalc.legality import BODY, CLASS_QUANTITIES, ClassVerdict, Limit, Ruling
from setups import drawing
from setups.printing import bare, decimals_needed, decimals_of, figure, fixed, number_in

register = template.Library()

_WORDS = {
    ClassVerdict.COMPLIES: gettext_noop("complies"),
    ClassVerdict.TOO_CLOSE: gettext_noop("too close to call"),
    ClassVerdict.DOES_NOT_COMPLY: gettext_noop("does not comply"),
    ClassVerdict.NOT_CHECKED: gettext_noop("not checked"),
}
_MANY = {
    "body": gettext_noop("bodies"),
    "front_suspension": gettext_noop("front suspensions"),
    "rear_axle": gettext_noop("rear axles"),
    "motor_mount": gettext_noop("motor mounts"),
    "plate": gettext_noop("plates"),
    "wheel": gettext_noop("wheels"),
    "tyre": gettext_noop("tyres"),
    "spacer": gettext_noop("spacers"),
    "front_body_mount": gettext_noop("front body mounts"),
    "rear_body_mount": gettext_noop("rear body mounts"),
    "motor": gettext_noop("motors"),
    "pinion": gettext_noop("pinions"),
    "spur": gettext_noop("spurs"),
    "spring": gettext_noop("springs"),
}
"""Each kind of thing that a clause can be about, for many of it."""


@register.filter
def sign(verdict: ClassVerdict) -> str:
    """The name that a verdict's mark and colour go by."""
    return LOOKS[ClassVerdict(verdict)]


@register.filter
def said(verdict: ClassVerdict) -> str:
    """``complies``, ``too close to call``, ``does not comply``, ``not checked``."""
    return _(_WORDS[ClassVerdict(verdict)])


@register.filter
def quantity_label(key: str) -> str:
    return _(CLASS_QUANTITIES[key].label)


@register.filter
def quantity_within(key: str) -> str:
    """A quantity's name for the middle of a sentence, where English begins it with a small letter."""
    label = CLASS_QUANTITIES[key].label
    told = _(label)
    return label.lower() if told == label else told


@register.filter
def quantity_meaning(key: str) -> str:
    return _(CLASS_QUANTITIES[key].meaning)


@register.filter
def in_unit_of(value: Any, key: str) -> str:
    """A limit with the unit of the quantity ``key``: 74 -> ``74 mm``, 8.4 -> ``8.4 V``."""
    number = number_in(value)
    if number is None:
        return ""
    return figure(number, CLASS_QUANTITIES[key].unit, decimals_needed(number, 0, 3))


@register.filter
def limits(clause: Clause | Limit) -> str:
    """What a limit asks: ``at most 74 mm``, ``from 94 to 98 mm``."""
    low, high = (number_in(end) for end in (clause.low, clause.high))
    key = clause.quantity
    if low is None:
        return _("at most {limit}").format(limit=in_unit_of(high, key))
    if high is None:
        return _("at least {limit}").format(limit=in_unit_of(low, key))
    if low == high:
        return _("exactly {limit}").format(limit=in_unit_of(low, key))
    least = bare(low, CLASS_QUANTITIES[key].unit, decimals_needed(low, 0, 3))
    return _("from {low} to {high}").format(low=least, high=in_unit_of(high, key))


@register.filter
def plural(thing: str) -> str:
    """A kind of thing for many of it: ``bodies``, ``motor mounts``."""
    return _(_MANY[thing])


@register.filter
def far(distance: float | None, ruling: Ruling) -> str:
    """A distance to a limit with its unit, without its sign, in as many decimals as the doubt deserves."""
    if distance is None or ruling.value is None:
        return ""
    decimals = max(0 if ruling.value.unit is Unit.GRAM else 1, decimals_of(float(ruling.value.u)))
    # A small distance is never printed as none at all.
    while decimals < 3 and distance and not fixed(abs(distance), decimals).strip("0.,"):
        decimals += 1
    return figure(abs(distance), ruling.value.unit, decimals)


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


@register.filter
def why_told(why: str) -> str:
    """The reason on a line of an entry's log: what the site wrote is translated, the rest is as it is."""
    if why in REASONS:
        return _(why)
    for beginning, told in REASONS_WITH.items():
        if why.startswith(beginning):
            return _(told).format(why=why.removeprefix(beginning))
    return why


@register.filter
def what_told(what: str) -> str:
    """What of an entry changed, in words, as its log keeps it."""
    return _(what) if what in FIELDS.values() else what


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
