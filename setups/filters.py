"""What narrows the lists of bodies and parts; pages and facets use the same filters.

A filter takes one value or several, of which any will do. Values that mean nothing are left out by
``recognised`` before a filter sees them, and named, so that a page can say so.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

import django_filters
from django import forms
from django.db.models import Q, QuerySet
from django.utils.text import capfirst
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as lazy

from fitcalc.dimensions import PartKind
from fitcalc.parts import Layout
from setups.models import Body, BodyDimension, Part, Platform
from setups.models.part import AXLE_CHOICES, KIND_CHOICES

UNKNOWN = "unknown"
"""The value of a facet that stands for bodies of which nobody knows it."""

LONGEST_TEXT = 100
MOST_WORDS = 8
"""A search text is cut to so many characters and words."""

LAYOUT_FIELDS = {Layout.REAR_MOTOR.value: "takes_rear_motor", Layout.MID_MOTOR.value: "takes_mid_motor"}


class Several(forms.Field):
    """Any number of values, as they stand in the address."""

    widget = forms.SelectMultiple

    def to_python(self, value: Any) -> list[str]:
        return list(value or [])


class AnyOf(django_filters.Filter):
    field_class = Several


class Span:
    """Lengths from ``low`` to ``high``, both counted in steps of ``step`` mm: 98 is 97.5 up to 98.5."""

    __slots__ = ("high", "low", "step")

    def __init__(self, low: int, high: int, step: Decimal) -> None:
        self.low, self.high, self.step = low, high, step

    _TEXT = re.compile(r"(\d{1,3})(?:\.(\d))?(?:-(\d{1,3})(?:\.(\d))?)?")

    @classmethod
    def read(cls, text: str, step: Decimal) -> Span | None:
        """``98`` or ``95-99``, in steps of 0.1 also ``59.4``; ``None`` for anything else."""
        found = cls._TEXT.fullmatch(text) if text.isascii() else None
        if found is None:
            return None
        first, first_tenth, last, last_tenth = found.groups()
        low = Decimal(f"{first}.{first_tenth or 0}") / step
        high = low if last is None else Decimal(f"{last}.{last_tenth or 0}") / step
        if low != int(low) or high != int(high) or high < low:
            return None
        return cls(int(low), int(high), step)

    def __str__(self) -> str:
        low, high = (f"{(steps * self.step).normalize():f}" for steps in (self.low, self.high))
        return low if low == high else f"{low}-{high}"

    def __contains__(self, steps: int) -> bool:
        return self.low <= steps <= self.high

    def condition(self, field: str) -> Q:
        """That ``field`` rounds to a value of the span."""
        half = self.step / 2
        low, high = self.low * self.step - half, self.high * self.step + half
        return Q(**{f"{field}__gte": low, f"{field}__lt": high})


WHEELBASE_STEP = Decimal(1)
FRONT_WIDTH_STEP = Decimal("0.1")


_OFFSET = re.compile(r"-?\d{1,2}(\.\d{1,2})?")


def offset_of(text: str) -> Decimal | None:
    """A wheel's offset in mm, such as ``-1.5``; ``None`` for anything else."""
    return Decimal(text) if text.isascii() and _OFFSET.fullmatch(text) else None


def any_span(values: Iterable[str], field: str, step: Decimal) -> Q:
    """That ``field`` lies in one of the spans that ``values`` name."""
    found = Q(pk__in=[])
    for value in values:
        span = Span.read(value, step)
        if span is not None:
            found |= span.condition(field)
    return found


class BodyFilter(django_filters.FilterSet):
    """Bodies by words and by facet."""

    q = django_filters.CharFilter(method="by_words")
    platform = AnyOf(method="by_platform")
    scale = AnyOf(field_name="scale", lookup_expr="in")
    wheelbase = AnyOf(method="by_wheelbase")
    layout = AnyOf(method="by_layout")
    front = AnyOf(method="by_front")
    maker = AnyOf(field_name="maker__slug", lookup_expr="in")

    class Meta:
        model = Body
        fields: list[str] = []

    def __init__(self, *args: Any, platforms: Iterable[Platform] = (), **kwargs: Any) -> None:
        """``platforms`` come ``with_layouts`` (``setups.services.search``)."""
        super().__init__(*args, **kwargs)
        self._platforms = {platform.slug: platform for platform in platforms}

    def filter_queryset(self, queryset: QuerySet[Body]) -> QuerySet[Body]:
        """As the base class, but a filter without values does not touch the query."""
        for name, value in self.form.cleaned_data.items():
            if value:
                queryset = self.filters[name].filter(queryset, value)
        return queryset

    def by_words(self, bodies: QuerySet[Body], name: str, value: str) -> QuerySet[Body]:
        return bodies.matching(value)

    def by_platform(self, bodies: QuerySet[Body], name: str, value: list[str]) -> QuerySet[Body]:
        found = Q(pk__in=[])
        for slug in value:
            if slug in self._platforms:
                found |= taken_by(self._platforms[slug])
        return bodies.filter(found)

    def by_wheelbase(self, bodies: QuerySet[Body], name: str, value: list[str]) -> QuerySet[Body]:
        known = BodyDimension.objects.filter(quantity="wheelbase")
        spans = [text for text in value if text != UNKNOWN]
        found = Q(pk__in=[])
        if spans:
            found |= Q(pk__in=known.filter(any_span(spans, "value", WHEELBASE_STEP)).values("body"))
        if UNKNOWN in value:
            found |= ~Q(pk__in=known.values("body"))
        return bodies.filter(found)

    def by_layout(self, bodies: QuerySet[Body], name: str, value: list[str]) -> QuerySet[Body]:
        found = Q(pk__in=[])
        for layout in value:
            if layout == UNKNOWN:
                found |= Q(takes_rear_motor=None, takes_mid_motor=None)
            elif layout in LAYOUT_FIELDS:
                found |= Q(**{LAYOUT_FIELDS[layout]: True})
        return bodies.filter(found)

    def by_front(self, bodies: QuerySet[Body], name: str, value: list[str]) -> QuerySet[Body]:
        spans = [text for text in value if text != UNKNOWN]
        found = any_span(spans, "designated_front_width", FRONT_WIDTH_STEP)
        if UNKNOWN in value:
            found |= Q(designated_front_width=None)
        return bodies.filter(found)


def taken_by(platform: Platform) -> Q:
    """Bodies of the platform's scale whose floor takes a layout for which the platform has a motor mount."""
    found = Q(pk__in=[])
    if platform.has_rear_motor:
        found |= Q(takes_rear_motor=True)
    if platform.has_mid_motor:
        found |= Q(takes_mid_motor=True)
    return Q(scale=platform.scale) & found


class PartFilter(django_filters.FilterSet):
    """Parts by words, kind, platform and axle; a part for either axle is found under both."""

    q = django_filters.CharFilter(label=lazy("Name, number or maker"), method="by_words")
    kind = django_filters.ChoiceFilter(
        label=lazy("Kind"),
        choices=lambda: [(value, capfirst(gettext(label))) for value, label in KIND_CHOICES],
        empty_label=lazy("Every kind"),
    )
    platform = django_filters.ModelChoiceFilter(
        label=lazy("Fits"),
        queryset=Platform.objects.all(),
        field_name="platforms",
        to_field_name="slug",
        empty_label=lazy("Every platform"),
    )
    axle = django_filters.ChoiceFilter(
        label=lazy("Axle"),
        choices=lambda: [(value, capfirst(gettext(label))) for value, label in AXLE_CHOICES],
        empty_label=lazy("Any axle"),
        method="by_axle",
    )

    class Meta:
        model = Part
        fields: list[str] = []

    def by_words(self, parts: QuerySet[Part], name: str, value: str) -> QuerySet[Part]:
        return parts.matching(value)

    def by_axle(self, parts: QuerySet[Part], name: str, value: str) -> QuerySet[Part]:
        return parts.filter(
            Q(axle=value)
            | Q(axle="", kind__in=[kind.value for kind in _EITHER_AXLE])
            | Q(kind=_ONE_AXLE[value])
        )


_EITHER_AXLE = (PartKind.WHEEL, PartKind.TYRE, PartKind.SPACER)
_ONE_AXLE = {"front": PartKind.FRONT_SUSPENSION.value, "rear": PartKind.REAR_AXLE.value}


def search_text(text: str) -> tuple[str, bool]:
    """``text`` with single spaces, cut to what a search takes, and whether it was cut."""
    words = text[: LONGEST_TEXT + 1].split()
    kept = " ".join(words[:MOST_WORDS])[:LONGEST_TEXT].strip()
    return kept, len(text.strip()) > LONGEST_TEXT or len(words) > MOST_WORDS
