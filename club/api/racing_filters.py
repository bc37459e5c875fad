"""What the lists of classes, editions, events, entries and inspections can be narrowed by."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db.models import QuerySet
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema_field

from club.models import Entry, Event, Inspection, RaceClass, RulebookEdition
from fitcalc.legality import ClassVerdict
from setups.api.filters import choice, slug, truth, whole
from setups.filters import LONGEST_TEXT

VERDICTS = [(one.value, one.value.replace("_", " ")) for one in ClassVerdict]


def day(meaning: str, **extra: Any) -> filters.DateFilter:
    refused = {"invalid": "Write a day as 2027-03-01."}
    return extend_schema_field({"type": "string", "format": "date", "description": meaning})(
        filters.DateFilter(error_messages=refused, **extra)
    )


def race_class(**extra: Any) -> filters.ModelChoiceFilter:
    return slug(RaceClass, "race-classes", "Slug of the race class.", **extra)  # type: ignore[arg-type]


class RaceClassFilter(filters.FilterSet):
    q = filters.CharFilter(
        field_name="name", lookup_expr="icontains", max_length=LONGEST_TEXT, help_text="Part of the name."
    )

    class Meta:
        model = RaceClass
        fields: list[str] = []


class EditionFilter(filters.FilterSet):
    on = day("The edition that holds on this day.", method="by_day")

    class Meta:
        model = RulebookEdition
        fields: list[str] = []

    def by_day(self, found: Any, name: str, on: date) -> Any:
        return found.holding(on)


class EventFilter(filters.FilterSet):
    q = filters.CharFilter(
        field_name="name", lookup_expr="icontains", max_length=LONGEST_TEXT, help_text="Part of the name."
    )
    race_class = race_class(method="by_class")
    since = day("On this day or later.", field_name="date", lookup_expr="gte")
    until = day("On this day or earlier.", field_name="date", lookup_expr="lte")

    class Meta:
        model = Event
        fields: list[str] = []

    def by_class(self, found: QuerySet[Event], name: str, value: RaceClass) -> QuerySet[Event]:
        return found.filter(raced__race_class=value)


class EntryFilter(filters.FilterSet):
    q = filters.CharFilter(method="by_words", max_length=LONGEST_TEXT, help_text="Part of the driver’s name.")
    race_class = race_class()
    race_number = whole(1, 9999, "Race number.", field_name="number")
    checked_in = truth("Checked in, or not.", field_name="checked_in_at", lookup_expr="isnull", exclude=True)
    withdrawn = truth("Withdrawn, or not; both without it.")

    class Meta:
        model = Entry
        fields: list[str] = []

    def by_words(self, found: QuerySet[Entry], name: str, text: str) -> QuerySet[Entry]:
        return found.filter(driver__icontains=text)


class InspectionFilter(filters.FilterSet):
    entry = whole(1, 2**53, "Number of the entry.")
    clause = whole(1, 2**53, "Id of the clause.")
    stage = choice(Inspection.Stage.choices, help_text="Before or after the run.")
    run = whole(1, 99, "Which run.")
    verdict = choice(VERDICTS[:1] + VERDICTS[2:], help_text="Verdict of the day.")
    passes = truth("What the decision rule made of it.")

    class Meta:
        model = Inspection
        fields: list[str] = []
