"""Find a body: the words and facets of an address, and how many bodies each facet's value would leave.

A facet's counts are of the bodies that the words and all *other* facets leave, so that a count is what
one gets by choosing it. Every count is an aggregate in the database, all of them one statement; no body is
read but those of the page.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from math import floor
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet
from django.http import QueryDict
from django.utils.translation import gettext

from fitcalc.dimensions import BODY_DIMENSIONS, PartKind
from fitcalc.parts import Layout
from fitcalc.said import said
from setups.filters import FRONT_WIDTH_STEP, UNKNOWN, WHEELBASE_STEP, BodyFilter, Span
from setups.marks import BODIES
from setups.models import Body, BodyDimension, Fitment, Maker, Platform
from setups.services.counting import Counts, Part, count_all, where_of
from setups.services.facets import MOST_NAMED, Asked, Counted, Facet, known_scales, span_counts


def with_layouts() -> QuerySet[Platform]:
    """Platforms, each with whether anything is sold to put the motor at the rear or amidships."""
    mounts = Fitment.objects.filter(platform=OuterRef("pk"), part__kind=PartKind.MOTOR_MOUNT.value)
    return Platform.objects.annotate(
        has_rear_motor=Exists(mounts.filter(part__layout=Layout.REAR_MOTOR.value)),
        has_mid_motor=Exists(mounts.filter(part__layout=Layout.MID_MOTOR.value)),
    )


LABELS = {
    "platform": said("Platform"),
    "scale": said("Scale"),
    "wheelbase": said("Wheelbase"),
    "layout": said("Motor"),
    "front": said("Front width"),
    "maker": said("Maker"),
}
MEANINGS = {
    "platform": said(
        "Bodies of the platform's scale whose floor takes a motor where the platform can put it. "
        "Whether a set of parts fits is computed on the body's page."
    ),
    "scale": said("How many times smaller than the full-size car."),
    "wheelbase": BODY_DIMENSIONS["wheelbase"].meaning,
    "layout": said("Where the body's floor leaves room for the motor."),
    "front": said("The front end that the maker states: its width across on zero-offset wheels."),
    "maker": said("Who makes the body."),
}
LAYOUTS = {
    Layout.REAR_MOTOR.value: said("rear motor"),
    Layout.MID_MOTOR.value: said("mid motor"),
    UNKNOWN: said("nobody has tried"),
}
STEPS = {"wheelbase": WHEELBASE_STEP, "front": FRONT_WIDTH_STEP}


@dataclass
class Search(Asked):
    """What an address asks for of the bodies."""

    LABELS = LABELS
    MEANINGS = MEANINGS
    ROUNDED = frozenset({"wheelbase"})
    ORDERS = ("name", "newest")

    def __post_init__(self) -> None:
        self.platforms = list(with_layouts())
        super().__post_init__()

    def _known(self, key: str, values: list[str]) -> list[str]:
        if key == "platform":
            slugs = {platform.slug for platform in self.platforms}
            return [value for value in values if value in slugs]
        if key == "scale":
            return known_scales(values)
        if key == "layout":
            return [value for value in values if value in LAYOUTS]
        if key == "maker":
            self._makers = dict(Maker.objects.filter(slug__in=values).values_list("slug", "pk"))
            return [value for value in values if value in self._makers]
        step = STEPS[key]
        return [value for value in values if value == UNKNOWN or Span.read(value, step) is not None]

    # Bodies

    def bodies(self, without: str = "") -> QuerySet[Body]:
        """The bodies asked for; ``without`` leaves one facet out."""
        return self._narrowed(self._matching, without)

    @cached_property
    def _matching(self) -> QuerySet[Body]:
        """What the words alone find."""
        return Body.objects.matching(self.text)

    def _narrowed(self, found: QuerySet[Body], without: str = "") -> QuerySet[Body]:
        data = QueryDict(mutable=True)
        for key, values in self.chosen.items():
            if key not in (without, "maker"):
                data.setlist(key, values)
        if self.chosen["maker"] and without != "maker":
            found = found.filter(maker__in=[self._makers[slug] for slug in self.chosen["maker"]])
        return BodyFilter(data, found, platforms=self.platforms).qs

    def ordered(self) -> QuerySet[Body]:
        """The bodies asked for as the page lists them; the newest have the highest keys."""
        order = ("-pk",) if self.sort == "newest" else ("name", "pk")
        return self.bodies().with_dimensions().order_by(*order)

    @cached_property
    def counts(self) -> Counts:
        """For each part of the count its values as text; one statement."""
        using = Body.objects.db
        if not self.text:
            return count_all(BODIES, using, list(self._parts(_TABLE)), _WITH_WHEELBASES)
        where, given = where_of(self._matching)
        common = f"WITH found AS MATERIALIZED (SELECT {_COLUMNS} FROM {_WITH_WHEELBASES} WHERE {where}) "
        return count_all(BODIES, using, list(self._parts("")), f"found AS {_TABLE}", (common, given))

    def _parts(self, bare: str) -> Iterator[Part]:
        """What has to be counted, each over the bodies that all but its own facet leave.

        ``bare`` is where to count from what needs no wheelbase.
        """
        for key in ("", "platform", "scale", "layout"):
            if not key or self.chosen[key]:
                yield Part(f"group {key}", _GROUP, _GROUP_VALUE, *self._where(key), source=bare)
        yield Part("front", "designated_front_width", "", *self._where("front"), source=bare)
        yield Part("maker", "maker_id", "", *self._where("maker"), MOST_NAMED, bare)
        if self.chosen["maker"]:
            yield Part("maker", "maker_id", "", *self._where(""), MOST_NAMED, bare)
        yield Part("wheelbase", "wheelbase", "", *self._where("wheelbase"))

    def _where(self, without: str) -> tuple[str, list[Any]]:
        """The conditions but the words, which are left to the common part."""
        return where_of(self._narrowed(Body.objects.all(), without))

    def grouped(self, without: str = "") -> list[tuple[int, bool | None, bool | None, int]]:
        """How many bodies there are a scale and pair of layouts."""
        rows = []
        for value, number in self.counts[f"group {without if self.chosen.get(without) else ''}"]:
            scale, rear, mid = str(value).split(",")
            rows.append((int(scale), _TRUTH[rear], _TRUTH[mid], number))
        return rows

    @cached_property
    def total(self) -> int:
        return sum(number for *_, number in self.grouped())

    def total_of_words(self) -> int:
        """How many bodies the words alone would find."""
        return self._matching.count()

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
        return [(value, gettext(label), counts[value]) for value, label in LAYOUTS.items()]

    def _length_counts(self, key: str) -> Counted:
        step = STEPS[key]
        counts: dict[int, int] = {}
        unknown = 0
        for value, number in self.counts[key]:
            if value is None:
                unknown += number
                continue
            # Of front widths few are stated, so they are rounded here: 61.05 is no exact float of SQLite's.
            steps = floor(Decimal(value) / step + Decimal("0.5"))
            counts[steps] = counts.get(steps, 0) + number
        return [*span_counts(counts, self.chosen[key], step), (UNKNOWN, gettext("not known"), unknown)]

    def _maker_counts(self) -> Counted:
        counts = {int(value): number for value, number in self.counts["maker"] if value is not None}
        for slug in self.chosen["maker"]:
            counts.setdefault(self._makers[slug], 0)
        rows = Maker.objects.in_bulk(counts)
        ranked = sorted((-number, rows[pk].name, pk) for pk, number in counts.items() if pk in rows)
        return [(rows[pk].slug, name, -number) for number, name, pk in ranked]


_TABLE = Body._meta.db_table
_WHEELBASES = (
    "(SELECT body_id AS of_body, ROUND(value, 0) AS wheelbase "
    f"FROM {BodyDimension._meta.db_table} WHERE quantity = 'wheelbase') AS lengths"
)
_WITH_WHEELBASES = f"{_TABLE} LEFT JOIN {_WHEELBASES} ON of_body = {_TABLE}.id"
_COLUMNS = "id, scale, takes_rear_motor, takes_mid_motor, designated_front_width, maker_id, wheelbase"
_GROUP = "scale, takes_rear_motor, takes_mid_motor"
_GROUP_VALUE = " || ',' || ".join(f"COALESCE(CAST({column} AS text), '')" for column in _GROUP.split(", "))
_TRUTH = {"": None, "true": True, "1": True, "false": False, "0": False}
"""What the databases call true and false."""
