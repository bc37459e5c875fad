"""Find a body: the words and facets of an address, and how many bodies each facet's value would leave.

A facet's counts are of the bodies that the words and all *other* facets leave, so that a count is what
one gets by choosing it. Every count is an aggregate in the database; no body is read but those of the page.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from math import floor

from django.db.models import Count, Exists, OuterRef, QuerySet
from django.db.models.functions import Round
from django.http import QueryDict

from fitcalc.dimensions import BODY_DIMENSIONS, PartKind
from fitcalc.parts import Layout
from setups.filters import FRONT_WIDTH_STEP, UNKNOWN, WHEELBASE_STEP, BodyFilter, Span
from setups.models import Body, BodyDimension, Fitment, Maker, Platform
from setups.services.facets import MOST_NAMED, Asked, Counted, Facet, known_scales, span_counts

MOST_KEYS = 1000


def with_layouts() -> QuerySet[Platform]:
    """Platforms, each with whether anything is sold to put the motor at the rear or amidships."""
    mounts = Fitment.objects.filter(platform=OuterRef("pk"), part__kind=PartKind.MOTOR_MOUNT.value)
    return Platform.objects.annotate(
        has_rear_motor=Exists(mounts.filter(part__layout=Layout.REAR_MOTOR.value)),
        has_mid_motor=Exists(mounts.filter(part__layout=Layout.MID_MOTOR.value)),
    )


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


@dataclass
class Search(Asked):
    """What an address asks for of the bodies."""

    LABELS = LABELS
    MEANINGS = MEANINGS
    ORDERS = ("name", "newest")

    def __post_init__(self) -> None:
        self.platforms = list(with_layouts())
        super().__post_init__()
        self._groups: dict[str, list[tuple[int, bool | None, bool | None, int]]] = {}

    def _known(self, key: str, values: list[str]) -> list[str]:
        if key == "platform":
            slugs = {platform.slug for platform in self.platforms}
            return [value for value in values if value in slugs]
        if key == "scale":
            return known_scales(values)
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
        order = ("-pk",) if self.sort == "newest" else ("name", "pk")
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
            self.facet("platform", self._platform_counts()),
            self.facet("scale", self._scale_counts()),
            self.facet("wheelbase", self._length_counts("wheelbase")),
            self.facet("layout", self._layout_counts()),
            self.facet("front", self._length_counts("front")),
            self.facet("maker", self._maker_counts()),
        ]
        return [facet for facet in found if facet.options]

    def _platform_counts(self) -> Counted:
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

    def _scale_counts(self) -> Counted:
        counts = {int(value): 0 for value in self.chosen["scale"]}
        for scale, _, _, count in self.grouped("scale"):
            counts[scale] = counts.get(scale, 0) + count
        return [(str(scale), f"1:{scale}", counts[scale]) for scale in sorted(counts)]

    def _layout_counts(self) -> Counted:
        counts = dict.fromkeys(LAYOUTS, 0)
        for _, rear, mid, count in self.grouped("layout"):
            counts[Layout.REAR_MOTOR.value] += count if rear else 0
            counts[Layout.MID_MOTOR.value] += count if mid else 0
            counts[UNKNOWN] += count if rear is None and mid is None else 0
        return [(value, label, counts[value]) for value, label in LAYOUTS.items()]

    def _length_counts(self, key: str) -> Counted:
        step = STEPS[key]
        counts: dict[int, int] = {}
        for value, count in self._wheelbases() if key == "wheelbase" else self._front_widths():
            steps = floor(Decimal(value) / step + Decimal("0.5"))
            counts[steps] = counts.get(steps, 0) + count
        unknown = sum(count for *_, count in self.grouped(key)) - sum(counts.values())
        named = span_counts(counts, self.chosen[key], step)
        return [*named, (UNKNOWN, "not known", unknown)]

    def _wheelbases(self) -> QuerySet[BodyDimension, tuple[Decimal, int]]:
        """How many bodies there are of each wheelbase in whole mm."""
        rows = BodyDimension.objects.filter(quantity="wheelbase").order_by()
        if self.text or any(self.chosen[facet] for facet in LABELS if facet != "wheelbase"):
            rows = rows.filter(body__in=self.bodies("wheelbase").order_by().values("pk"))
        return rows.annotate(length=Round("value")).values_list("length").annotate(bodies=Count("pk"))

    def _front_widths(self) -> QuerySet[Body, tuple[Decimal, int]]:
        """How many bodies there are of each front width; few are stated, so they are rounded later.

        Rounding to 0.1 in the database would not do: 61.05 has no exact place in SQLite's floats.
        """
        rows = self.bodies("front").order_by().filter(designated_front_width__isnull=False)
        return rows.values_list("designated_front_width").annotate(bodies=Count("pk"))

    def _maker_counts(self) -> Counted:
        rows = (
            self.bodies("maker")
            .order_by()
            .values_list("maker__slug", "maker__name")
            .annotate(bodies=Count("pk"))
            .order_by("-bodies", "maker__name")
        )
        found = list(rows[:MOST_NAMED])
        missing = set(self.chosen["maker"]) - {slug for slug, _, _ in found}
        if missing:
            counted = {slug: count for slug, _, count in rows.filter(maker__slug__in=missing)}
            names = Maker.objects.filter(slug__in=missing).values_list("slug", "name")
            found += [(slug, name, counted.get(slug, 0)) for slug, name in names]
        return found
