"""What the lists of setups, revisions, drafts, measurements and disputes can be narrowed by."""

from __future__ import annotations

from typing import Any

from django.contrib.auth import get_user_model
from django.db.models import QuerySet
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema_field

from fitcalc.dimensions import CAR_DIMENSIONS, PART_DIMENSIONS
from fitcalc.findings import Verdict
from setups.filters import LONGEST_TEXT, search_text
from setups.models import Body, Dispute, Draft, Measurement, Part, Platform, Revision, Setup, Surface

from .filters import Bounded, choice, number, slug, truth, whole
from .written import QUANTITIES

RaceClass: Any = Setup._meta.get_field("race_class").related_model
STATES = [(one.value, one.label) for one in Setup.State if one is not Setup.State.DRAFT]


def _member(meaning: str, **extra: Any) -> filters.ModelChoiceFilter:
    """A filter by a member's username."""
    refused = {"invalid_choice": "No member has this username."}
    return extend_schema_field({"type": "string", "description": meaning})(
        filters.ModelChoiceFilter(
            queryset=get_user_model().objects.all(),
            to_field_name="username",
            error_messages=refused,
            **extra,
        )
    )


def _bounds(column: str, kind: Any, name: str) -> dict[str, Bounded]:
    return {
        f"{column}_min": number(kind, f"{name} at least this, mm.", field_name=column, lookup_expr="gte"),
        f"{column}_max": number(kind, f"{name} at most this, mm.", field_name=column, lookup_expr="lte"),
    }


class _Setups(filters.FilterSet):
    q = filters.CharFilter(
        method="by_words",
        max_length=LONGEST_TEXT,
        help_text="Beginnings of words that must all occur in its name, parts, settings or notes.",
    )
    state = choice(STATES, method="by_state", help_text="Without it, all but the withdrawn ones.")
    body = slug(Body, "bodies", "Slug of the body.")
    platform = slug(Platform, "platforms", "Slug of the platform.")
    race_class = extend_schema_field({"type": "string", "description": "Slug of the race class."})(
        filters.ModelChoiceFilter(
            queryset=RaceClass.objects.all(),
            to_field_name="slug",
            error_messages={"invalid_choice": "No race class has this slug."},
        )
    )
    author = _member("Username of the author.")
    surface = choice(Surface.choices, help_text="What it was run on.")
    verdict = choice([(one.value, one.value) for one in Verdict], help_text="Fit by the figures of today.")
    circuit = filters.CharFilter(max_length=LONGEST_TEXT, help_text="The circuit, as it is written.")
    confirmations_min = whole(
        0, 1000, "Borne out by at least so many members.", field_name="confirmations", lookup_expr="gte"
    )

    class Meta:
        model = Setup
        fields: list[str] = []

    @staticmethod
    def where_none_is(queryset: Any) -> Any:
        return queryset.listed()

    def filter_queryset(self, queryset: QuerySet[Setup]) -> Any:
        found: Any = super().filter_queryset(queryset)
        return found if self.form.cleaned_data.get("state") else self.where_none_is(found)

    def by_state(self, found: QuerySet[Setup], name: str, value: str) -> QuerySet[Setup]:
        return found.filter(state=value)

    def by_words(self, found: Any, name: str, text: str) -> Any:
        return found.matching(search_text(text)[0])


SetupFilter = type(
    "SetupFilter",
    (_Setups,),
    {
        **_bounds("front_width", CAR_DIMENSIONS["front_width"], "Front width"),
        **_bounds("rear_width", CAR_DIMENSIONS["rear_width"], "Rear width"),
        **_bounds("wheelbase", CAR_DIMENSIONS["wheelbase"], "Wheelbase"),
        **_bounds("front_offset", PART_DIMENSIONS["offset"], "Front wheels’ offset"),
        **_bounds("rear_offset", PART_DIMENSIONS["offset"], "Rear wheels’ offset"),
        "Meta": type("Meta", (), {"model": Setup, "fields": []}),
        "__doc__": "Posted setups.",
    },
)


class RevisionFilter(filters.FilterSet):
    class Meta:
        model = Revision
        fields: list[str] = []


class DraftFilter(filters.FilterSet):
    class Meta:
        model = Draft
        fields: list[str] = []


class MeasurementFilter(filters.FilterSet):
    body = slug(Body, "bodies", "Slug of the body that was measured.")
    part = slug(Part, "parts", "Slug of the part that was measured.")
    setup = whole(1, 2**53, "Number of the setup whose car was measured.", field_name="revision__setup_id")
    quantity = choice(QUANTITIES, help_text="What of it was measured.")
    member = _member("Username of who measured.")
    counts = truth("True: neither withdrawn nor set aside.", method="by_counts")

    class Meta:
        model = Measurement
        fields: list[str] = []

    def by_counts(self, found: QuerySet[Measurement], name: str, value: bool) -> QuerySet[Measurement]:
        counting = {"withdrawn": False, "set_aside": False}
        return found.filter(**counting) if value else found.exclude(**counting)


class DisputeFilter(filters.FilterSet):
    open = truth("True: not yet settled.", method="by_open")
    setup = whole(1, 2**53, "Number of the setup.", field_name="setup_id")

    class Meta:
        model = Dispute
        fields: list[str] = []

    def by_open(self, found: QuerySet[Dispute], name: str, value: bool) -> QuerySet[Dispute]:
        return found.filter(outcome="") if value else found.exclude(outcome="")
