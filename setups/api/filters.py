"""What each list can be narrowed by; bounds of plausibility come from the dimension catalogue."""

from __future__ import annotations

from typing import Any

from django.db.models import Exists, OuterRef, QuerySet
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema_field

from fitcalc.dimensions import BODY_DIMENSIONS, PART_DIMENSIONS, DimensionKind
from setups import filters as pages
from setups.filters import LAYOUT_FIELDS, LONGEST_TEXT
from setups.models import (
    Body,
    BodyDimension,
    Configuration,
    Maker,
    Part,
    PartDimension,
    Platform,
)
from setups.models.part import AXLE_CHOICES, KIND_CHOICES, LAYOUT_CHOICES
from setups.models.platform import Drive


class WhereAsked(filters.DjangoFilterBackend):
    """Narrows a list where one of its filters is given.

    Where none is, the form that checks them is not made: a filter set whose list is narrowed then too says so
    in ``where_none_is``.
    """

    def filter_queryset(self, request: Any, queryset: QuerySet[Any], view: Any) -> QuerySet[Any]:
        given = self.get_filterset_class(view, queryset)
        if given is None or given.base_filters.keys() & request.query_params.keys():
            return super().filter_queryset(request, queryset, view)
        where: Any = getattr(given, "where_none_is", None)
        return where(queryset) if where else queryset


class Bounded(filters.NumberFilter):
    """A number between bounds of its own, which make the general one needless."""

    def get_max_validator(self) -> None:
        return None


def number(kind: DimensionKind, meaning: str, **extra: Any) -> Bounded:
    """A filter by a number that must be plausible for ``kind``."""
    schema = {"type": "number", "minimum": kind.low, "maximum": kind.high, "description": meaning}
    return extend_schema_field(schema)(Bounded(min_value=kind.low, max_value=kind.high, **extra))


def whole(low: int, high: int, meaning: str, **extra: Any) -> Bounded:
    """A filter by a whole number from ``low`` to ``high``."""
    schema = {"type": "integer", "minimum": low, "maximum": high, "description": meaning}
    return extend_schema_field(schema)(Bounded(min_value=low, max_value=high, decimal_places=0, **extra))


def slug(
    model: type[Maker] | type[Platform] | type[Body], address: str, meaning: str, **extra: Any
) -> filters.ModelChoiceFilter:
    """A filter by the slug of another thing; an unknown one is refused, for it may be misspelt."""
    name = model._meta.verbose_name
    refused = {"invalid_choice": f"No {name} has this slug: /api/v1/{address}/ lists those that there are."}
    return extend_schema_field({"type": "string", "description": meaning})(
        filters.ModelChoiceFilter(
            queryset=model.objects.all(), to_field_name="slug", error_messages=refused, **extra
        )
    )


def choice(choices: list[tuple[str, str]], **extra: Any) -> filters.ChoiceFilter:
    """A filter by one of a few values."""
    refused = {"invalid_choice": f"Choose one of {', '.join(value for value, _ in choices)}."}
    return filters.ChoiceFilter(choices=choices, error_messages=refused, **extra)


def truth(meaning: str, **extra: Any) -> filters.TypedChoiceFilter:
    """A filter by true or false; anything else is refused and not taken for neither."""
    return extend_schema_field({"type": "boolean", "description": meaning})(
        filters.TypedChoiceFilter(
            choices=[("true", "true"), ("false", "false")],
            coerce=lambda text: text == "true",
            empty_value=None,
            error_messages={"invalid_choice": "Write true or false."},
            **extra,
        )
    )


def search(**extra: Any) -> filters.CharFilter:
    meaning = "Words that must all occur in the name, maker or number."
    return filters.CharFilter(method="by_text", max_length=LONGEST_TEXT, help_text=meaning, **extra)


class Search(filters.FilterSet):
    """Lists that are searched by ``matching`` of their query set."""

    q = search()

    def by_text(self, found: Any, name: str, text: str) -> Any:
        return found.matching(text)


def _measured(
    model: type[BodyDimension] | type[PartDimension], owner: str, quantity: str, **bound: Any
) -> Exists:
    return Exists(model.objects.filter(**{owner: OuterRef("pk")}, quantity=quantity, **bound))


class BodyFilter(Search):
    q = search()
    scale = whole(4, 64, "The N of 1:N.")
    maker = slug(Maker, "makers", "Slug of the maker.")
    wheelbase_min = number(
        BODY_DIMENSIONS["wheelbase"], "Known wheelbase at least this, mm.", method="by_wheelbase"
    )
    wheelbase_max = number(
        BODY_DIMENSIONS["wheelbase"], "Known wheelbase at most this, mm.", method="by_wheelbase"
    )
    layout = choice(
        LAYOUT_CHOICES, method="by_layout", help_text="Motor layout that the floor is known to take."
    )
    front_width = number(
        BODY_DIMENSIONS["front_arch_width"],
        "Front end that the maker states: across the wheels at zero offset, mm.",
        field_name="designated_front_width",
    )

    class Meta:
        model = Body
        fields: list[str] = []

    def by_wheelbase(self, found: QuerySet[Body], name: str, value: Any) -> QuerySet[Body]:
        bound = "value__gte" if name.endswith("min") else "value__lte"
        return found.filter(_measured(BodyDimension, "body", "wheelbase", **{bound: value}))

    def by_layout(self, found: QuerySet[Body], name: str, value: str) -> QuerySet[Body]:
        return found.filter(**{LAYOUT_FIELDS[value]: True})


class PartFilter(Search):
    q = search()
    kind = choice(KIND_CHOICES, help_text="Kind of part.")
    maker = slug(Maker, "makers", "Slug of the maker.")
    platform = slug(
        Platform, "platforms", "Slug of a platform that the part is sold for.", field_name="platforms"
    )
    body = slug(
        Body, "bodies", "Slug of a body that has a rule about the part (its mount).", method="by_body"
    )
    axle = choice(
        AXLE_CHOICES, method="by_axle", help_text="Parts that go on this axle, those for either too."
    )
    layout = choice(LAYOUT_CHOICES, help_text="Motor mounts of this layout.")
    offset_min = number(
        PART_DIMENSIONS["offset"], "Wheels with at least this offset, mm.", method="by_offset"
    )
    offset_max = number(PART_DIMENSIONS["offset"], "Wheels with at most this offset, mm.", method="by_offset")

    class Meta:
        model = Part
        fields: list[str] = []

    def by_body(self, found: QuerySet[Part], name: str, value: Body) -> QuerySet[Part]:
        return found.filter(body_rules__body=value)

    by_axle = pages.PartFilter.by_axle

    def by_offset(self, found: QuerySet[Part], name: str, value: Any) -> QuerySet[Part]:
        bound = "value__gte" if name.endswith("min") else "value__lte"
        return found.filter(_measured(PartDimension, "part", "offset", **{bound: value}))


class MakerFilter(filters.FilterSet):
    q = filters.CharFilter(
        field_name="name", lookup_expr="icontains", max_length=LONGEST_TEXT, help_text="Part of the name."
    )

    class Meta:
        model = Maker
        fields: list[str] = []


class PlatformFilter(filters.FilterSet):
    q = filters.CharFilter(
        field_name="name", lookup_expr="icontains", max_length=LONGEST_TEXT, help_text="Part of the name."
    )
    scale = whole(4, 64, "The N of 1:N.")
    maker = slug(Maker, "makers", "Slug of the maker.")
    drive = choice(Drive.choices, help_text="Driven wheels.")

    class Meta:
        model = Platform
        fields: list[str] = []


class ConfigurationFilter(filters.FilterSet):
    q = filters.CharFilter(
        field_name="name", lookup_expr="icontains", max_length=LONGEST_TEXT, help_text="Part of the name."
    )
    platform = slug(Platform, "platforms", "Slug of the platform.")
    body = slug(Body, "bodies", "Slug of the body that it is meant for.")

    class Meta:
        model = Configuration
        fields: list[str] = []
