"""Find a body: the words and facets of an address, and how many bodies each facet's value would leave.

A facet's counts are of the bodies that the words and all *other* facets leave, so that a count is what
one gets by choosing it. Every count is an aggregate in the database; no body is read but those of the page.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from math import floor

from django.db.models import Count, Exists, OuterRef, QuerySet
from django.db.models.functions import Round
from django.http import QueryDict

from fitcalc.dimensions import BODY_DIMENSIONS, PartKind
from fitcalc.parts import Layout
from setups.filters import FRONT_WIDTH_STEP, UNKNOWN, WHEELBASE_STEP, BodyFilter, Span, search_text
from setups.models import Body, BodyDimension, Fitment, Maker, Platform

FACETS = ("platform", "scale", "wheelbase", "layout", "front", "maker")
MOST_VALUES = 20
"""So many values of one facet are taken from an address."""
MOST_BANDS = 10
"""A facet of lengths lists at most so many values or bands."""
MOST_MAKERS = 40
MOST_KEYS = 1000
AT_ONCE = 8


@dataclass(frozen=True, slots=True)
class Option:
    """One value of a facet: how many bodies it has, and the address with it added or taken out."""

    value: str
    label: str
    count: int
    chosen: bool
    address: str


@dataclass(frozen=True, slots=True)
class Facet:
    """One facet; ``meaning`` says what its values stand for."""

    key: str
    label: str
    meaning: str
    options: list[Option]

    @property
    def first(self) -> list[Option]:
        """What a reader sees at once: the first eight, and whatever is chosen."""
        return [option for at, option in enumerate(self.options) if at < AT_ONCE or option.chosen]

    @property
    def rest(self) -> list[Option]:
        return [option for option in self.options[AT_ONCE:] if not option.chosen]

    @property
    def chosen(self) -> list[Option]:
        return [option for option in self.options if option.chosen]


def with_layouts() -> QuerySet[Platform]:
    """Platforms, each with whether anything is sold to put the motor at the rear or amidships."""
    mounts = Fitment.objects.filter(platform=OuterRef("pk"), part__kind=PartKind.MOTOR_MOUNT.value)
    return Platform.objects.annotate(
        has_rear_motor=Exists(mounts.filter(part__layout=Layout.REAR_MOTOR.value)),
        has_mid_motor=Exists(mounts.filter(part__layout=Layout.MID_MOTOR.value)),
    )


@dataclass
class Search:
    """What an address asks for. ``refused`` says what in it means nothing; that is left out."""

    data: QueryDict
    refused: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.platforms = list(with_layouts())
        self.text, cut = search_text(self.data.get("q", ""))
        if cut:
            self.refused.append(f"That text is too long to search for: this is what “{self.text}” finds.")
        self.newest = self.data.get("sort") == "newest"
        self.chosen = {key: self._recognised(key) for key in FACETS}
        self._groups: dict[str, list[tuple[int, bool | None, bool | None, int]]] = {}

    # What the address names

    def _recognised(self, key: str) -> list[str]:
        given = list(dict.fromkeys(self.data.getlist(key)))
        known = [value for value in given[:MOST_VALUES] if value]
        if known:
            known = self._known(key, known)
        for value in given:
            if value and value not in known and len(self.refused) < 3:
                self.refused.append(f"There is no {LABELS[key].lower()} “{_short(value)}”: it was left out.")
        return known

    def _known(self, key: str, values: list[str]) -> list[str]:
        if key == "platform":
            slugs = {platform.slug for platform in self.platforms}
            return [value for value in values if value in slugs]
        if key == "scale":
            return [v for v in values if v.isascii() and v.isdigit() and len(v) < 3 and 4 <= int(v) <= 64]
        if key == "layout":
            return [value for value in values if value in LAYOUTS]
        if key == "maker":
            slugs = set(Maker.objects.filter(slug__in=values).values_list("slug", flat=True))
            return [value for value in values if value in slugs]
        step = STEPS[key]
        return [value for value in values if value == UNKNOWN or Span.read(value, step) is not None]

    @cached_property
    def _keys(self) -> list[int] | None:
        """The bodies that the words match, if they are few: then each facet need not look for them again."""
        if not self.text:
            return None
        matched = Body.objects.matching(self.text).order_by().values_list("pk", flat=True)
        keys = list(matched[: MOST_KEYS + 1])
        return keys if len(keys) <= MOST_KEYS else None

    @property
    def narrowed(self) -> bool:
        """True if any facet is chosen."""
        return any(self.chosen.values())

    # Addresses

    def address(self, **changed: list[str] | str | None) -> str:
        """The query string of this search with some of its parameters changed; the page is left out."""
        query = QueryDict(mutable=True)
        if self.text:
            query["q"] = self.text
        for key, values in self.chosen.items():
            query.setlist(key, values)
        if self.newest:
            query["sort"] = "newest"
        for key, value in changed.items():
            if value is None:
                query.pop(key, None)
            elif isinstance(value, list):
                query.setlist(key, value)
            else:
                query[key] = value
        return f"?{query.urlencode()}"

    @property
    def without_facets(self) -> str:
        return self.address(**dict.fromkeys(FACETS))

    @property
    def by_name(self) -> str:
        return self.address(sort=None)

    @property
    def by_age(self) -> str:
        return self.address(sort="newest")

    def hidden(self) -> Iterator[tuple[str, str]]:
        """What the form carries along beside the words."""
        for key, values in self.chosen.items():
            for value in values:
                yield key, value
        if self.newest:
            yield "sort", "newest"

    # Bodies

    def bodies(self, without: str = "") -> QuerySet[Body]:
        """The bodies asked for; ``without`` leaves one facet out."""
        data = QueryDict(mutable=True)
        known = Body.objects.all()
        if self._keys is None:
            data["q"] = self.text
        else:
            known = known.filter(pk__in=self._keys)
        for key, values in self.chosen.items():
            if key != without:
                data.setlist(key, values)
        return BodyFilter(data, known, platforms=self.platforms).qs

    def ordered(self) -> QuerySet[Body]:
        """The bodies asked for as the page lists them; the newest have the highest keys."""
        order = ("-pk",) if self.newest else ("name", "pk")
        return self.bodies().with_dimensions().order_by(*order)

    def grouped(self, without: str = "") -> list[tuple[int, bool | None, bool | None, int]]:
        """How many bodies there are a scale and pair of layouts; one query for each set of facets."""
        if not self.chosen.get(without):
            without = ""
        if without not in self._groups:
            rows = (
                self.bodies(without)
                .order_by()
                .values_list("scale", "takes_rear_motor", "takes_mid_motor")
                .annotate(bodies=Count("pk"))
            )
            self._groups[without] = list(rows)
        return self._groups[without]

    @cached_property
    def total(self) -> int:
        return sum(count for *_, count in self.grouped())

    def total_of_words(self) -> int:
        """How many bodies the words alone would find."""
        return Body.objects.matching(self.text).count() if self._keys is None else len(self._keys)

    # Facets

    @cached_property
    def facets(self) -> list[Facet]:
        """All facets that have anything to choose."""
        found = [
            self._facet("platform", self._platform_counts()),
            self._facet("scale", self._scale_counts()),
            self._facet("wheelbase", self._length_counts("wheelbase")),
            self._facet("layout", self._layout_counts()),
            self._facet("front", self._length_counts("front")),
            self._facet("maker", self._maker_counts()),
        ]
        return [facet for facet in found if facet.options]

    def _facet(self, key: str, counts: list[tuple[str, str, int]]) -> Facet:
        chosen = self.chosen[key]
        options = []
        for value, label, count in counts:
            if not count and value not in chosen:
                continue
            toggled = [one for one in chosen if one != value] if value in chosen else [*chosen, value]
            options.append(Option(value, label, count, value in chosen, self.address(**{key: toggled})))
        return Facet(key, LABELS[key], MEANINGS[key], options)

    def _platform_counts(self) -> list[tuple[str, str, int]]:
        groups = self.grouped("platform")
        return [
            (
                platform.slug,
                platform.name,
                sum(
                    count
                    for scale, rear, mid, count in groups
                    if scale == platform.scale
                    and ((rear and platform.has_rear_motor) or (mid and platform.has_mid_motor))
                ),
            )
            for platform in self.platforms
        ]

    def _scale_counts(self) -> list[tuple[str, str, int]]:
        counts = {int(value): 0 for value in self.chosen["scale"]}
        for scale, _, _, count in self.grouped("scale"):
            counts[scale] = counts.get(scale, 0) + count
        return [(str(scale), f"1:{scale}", counts[scale]) for scale in sorted(counts)]

    def _layout_counts(self) -> list[tuple[str, str, int]]:
        counts = dict.fromkeys(LAYOUTS, 0)
        for _, rear, mid, count in self.grouped("layout"):
            counts[Layout.REAR_MOTOR.value] += count if rear else 0
            counts[Layout.MID_MOTOR.value] += count if mid else 0
            counts[UNKNOWN] += count if rear is None and mid is None else 0
        return [(value, label, counts[value]) for value, label in LAYOUTS.items()]

    def _length_counts(self, key: str) -> list[tuple[str, str, int]]:
        step = STEPS[key]
        counts: dict[int, int] = {}
        for value, count in self._wheelbases() if key == "wheelbase" else self._front_widths():
            steps = floor(Decimal(value) / step + Decimal("0.5"))
            counts[steps] = counts.get(steps, 0) + count
        unknown = sum(count for *_, count in self.grouped(key)) - sum(counts.values())
        spans = _banded(sorted(counts), step)
        natural = {str(span) for span in spans}
        for value in self.chosen[key]:
            span = Span.read(value, step)
            if span is not None and value not in natural:
                spans.append(span)
        spans.sort(key=lambda span: (span.low, span.high))
        named = [
            (str(span), _span_label(span), sum(n for at, n in counts.items() if at in span)) for span in spans
        ]
        return [*named, (UNKNOWN, "not known", unknown)]

    def _wheelbases(self) -> QuerySet[BodyDimension, tuple[Decimal, int]]:
        """How many bodies there are of each wheelbase in whole mm."""
        rows = BodyDimension.objects.filter(quantity="wheelbase").order_by()
        if self.text or any(self.chosen[facet] for facet in FACETS if facet != "wheelbase"):
            rows = rows.filter(body__in=self.bodies("wheelbase").order_by().values("pk"))
        return rows.annotate(length=Round("value")).values_list("length").annotate(bodies=Count("pk"))

    def _front_widths(self) -> QuerySet[Body, tuple[Decimal, int]]:
        """How many bodies there are of each front width; few are stated, so they are rounded later.

        Rounding to 0.1 in the database would not do: 61.05 has no exact place in SQLite's floats.
        """
        rows = self.bodies("front").order_by().filter(designated_front_width__isnull=False)
        return rows.values_list("designated_front_width").annotate(bodies=Count("pk"))

    def _maker_counts(self) -> list[tuple[str, str, int]]:
        rows = (
            self.bodies("maker")
            .order_by()
            .values_list("maker__slug", "maker__name")
            .annotate(bodies=Count("pk"))
            .order_by("-bodies", "maker__name")
        )
        found = list(rows[:MOST_MAKERS])
        missing = set(self.chosen["maker"]) - {slug for slug, _, _ in found}
        if missing:
            counted = {slug: count for slug, _, count in rows.filter(maker__slug__in=missing)}
            names = Maker.objects.filter(slug__in=missing).values_list("slug", "name")
            found += [(slug, name, counted.get(slug, 0)) for slug, name in names]
        return found


LABELS = {
    "platform": "Platform",
    "scale": "Scale",
    "wheelbase": "Wheelbase",
    "layout": "Motor",
    "front": "Front width",
    "maker": "Maker",
}
MEANINGS = {
    "platform": "Bodies of the platform's scale whose floor takes a motor where the platform can put it. "
    "Whether a set of parts fits is computed on the body's page.",
    "scale": "How many times smaller than the full-size car.",
    "wheelbase": BODY_DIMENSIONS["wheelbase"].meaning + " Rounded to whole millimetres.",
    "layout": "Where the body's floor leaves room for the motor.",
    "front": "The front end that the maker states: its width across on zero-offset wheels.",
    "maker": "Who makes the body.",
}
LAYOUTS = {
    Layout.REAR_MOTOR.value: "rear motor",
    Layout.MID_MOTOR.value: "mid motor",
    UNKNOWN: "nobody has tried",
}
STEPS = {"wheelbase": WHEELBASE_STEP, "front": FRONT_WIDTH_STEP}


def _banded(found: list[int], step: Decimal) -> list[Span]:
    """A span for each value; if they are many, for each band of 2, 5, 10, 20, 50 or 100 mm that has any."""
    if len(found) <= MOST_BANDS:
        return [Span(at, at, step) for at in found]
    for mm in (2, 5, 10, 20, 50, 100):
        wide = round(mm / step)
        bands = sorted({at // wide for at in found})
        if len(bands) <= MOST_BANDS:
            break
    return [Span(band * wide, band * wide + wide - 1, step) for band in bands]


def _span_label(span: Span) -> str:
    return str(span).replace("-", " to ") + "\u202fmm"


def _short(value: str) -> str:
    return value if len(value) <= 40 else f"{value[:40]}…"
