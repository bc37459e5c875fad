"""Inspections and the record: race directors append, nothing is ever changed, all of it can be taken away."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, ClassVar

from django.db import transaction
from django.db.models import QuerySet
from django.urls import reverse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import ValidationError

from club.api.events import event_or_refused
from club.api.events_entries import entry_or_refused
from club.api.events_written import RACE_DAYS, InspectionInput, InspectionSerializer
from club.api.racing import Written
from club.api.racing_filters import InspectionFilter
from club.api.racing_written import demand_director
from club.models import Entry, Inspection
from club.racing.events import record as services
from club.racing.events.events import clause_holds, may_see_sheet
from club.racing.events.inspecting import Given, Refused, record
from setups.api.etag import etag_of
from setups.api.idempotency import once
from setups.api.problems import Problem
from setups.api.shared import KEY, Shared, nobody
from setups.api.views import Library, described

_SHOWN = ("clause", "entry", "by")


class StoredSerializer(serializers.Serializer):
    """What stands on record: one inspection a clause that limits the quantity. ``known``: it stood there."""

    known = serializers.BooleanField()
    inspections = InspectionSerializer(many=True)


class Inspections(Written, Library):
    """What inspectors found at an event, for race directors; a correction is another record."""

    private = True
    model = Inspection
    queryset = Inspection.objects.all()
    serializer_class = InspectionSerializer
    filterset_class = InspectionFilter
    lookup_field = "pk"
    lookup_value_converter = "int"
    joined: ClassVar = {
        "race_number": ("entry",),
        "clause_number": ("clause",),
        "quantity": ("clause",),
        "by": ("by",),
    }

    def get_queryset(self) -> QuerySet[Inspection]:
        rows = super().get_queryset()
        if "event" in self.kwargs:
            event = event_or_refused(self.request, self.kwargs["event"])
            demand_director(self.request)
            rows = rows.filter(entry__event=event)
        return rows

    def get_object(self) -> Inspection:
        slug, pk = self.kwargs["event"], self.kwargs["pk"]
        found = self.get_queryset().filter(pk=pk).first() if pk < 2**63 else None
        if found is None:
            raise nobody("inspection", pk, reverse("api-inspection-list", args=[slug]))
        return found

    @extend_schema(
        operation_id="record_inspection",
        parameters=[KEY],
        tags=[RACE_DAYS],
        summary="Put on record what was found",
        description="200 where the key stands on record already: nothing is stored then. For race directors.",
        request=InspectionInput,
        responses={201: StoredSerializer, 200: StoredSerializer},
    )
    @once
    def create(self, request: Request, event: str) -> Response:
        demand_director(request)
        found = event_or_refused(request, event)
        asked = InspectionInput(data=request.data)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        try:
            with transaction.atomic():
                rows = Entry.objects.filter(event=found).select_for_update(of=("self",))
                entry = rows.select_related("event").filter(pk=given["entry"]).first()
                if entry is None:
                    raise ValidationError({"entry": ["This event has no entry of that number."]})
                if not Inspection.objects.filter(key=given["key"]).exists():
                    _may_stand(entry, given)
                kept = record(entry, _given(given), request.user)
        except Refused as error:
            raise ValidationError({"non_field_errors": [str(error)]}) from error
        keys = [one.pk for one in kept.inspections]
        shown = Inspection.objects.filter(pk__in=keys).select_related(*_SHOWN).order_by("pk")
        content = {"known": kept.known, "inspections": InspectionSerializer(shown, many=True).data}
        if kept.known:
            return Response(content)
        first = next(one for one in kept.inspections if one.key == given["key"])
        address = reverse("api-inspection-detail", args=[event, first.pk])
        etag = etag_of(InspectionSerializer(next(one for one in shown if one.pk == first.pk)).data)
        return Response(content, 201, headers={"Location": address, "ETag": etag})


Inspections = described(Inspections, RACE_DAYS)  # type: ignore[misc]


def _may_stand(entry: Entry, given: dict[str, Any]) -> None:
    """Raises ValidationError for a clause that does not hold here, a Problem for what was corrected since."""
    corrects = given.get("corrects")
    if corrects is None:
        if not clause_holds(entry, given["clause"]):
            said = "That clause is not of the edition that holds for this car: see the event’s classes."
            raise ValidationError({"clause": [said]})
        return
    rows = entry.inspections.filter(clause=given["clause"], stage=given["stage"], run=given["run"])
    last = rows.order_by("-pk").values_list("pk", flat=True).first()
    if last is None:
        said = "There is no record under that clause, at that stage and run, which could be wrong."
        raise ValidationError({"corrects": [said]})
    if last != corrects:
        raise Problem(
            "conflict",
            f"Record {last} is the last one there, and stands in place of {corrects}: read it, and correct "
            "that one if it is wrong. Nothing was stored.",
        )


def _given(said: dict[str, Any]) -> Given:
    figures = {
        name: None if said.get(name) is None else Decimal(str(said[name])) for name in ("reading", "doubt")
    }
    return Given(
        key=said["key"],
        clause=said["clause"],
        stage=said["stage"],
        run=said["run"],
        seen=said.get("seen"),
        instrument=said.get("instrument") or "",
        note=said["note"],
        wrong=said.get("corrects") is not None,
        reason=said["reason"],
        taken_at=said.get("taken_at"),
        **figures,
    )


# The record


def _line_field(name: str) -> serializers.Field:
    if name in ("number", "run"):
        return serializers.IntegerField()
    if name == "readings":
        return serializers.ListField(child=serializers.CharField())
    if name in ("seen", "passes", "passes_again", "corrected"):
        return serializers.BooleanField(allow_null=True)
    if name == "probability":
        return serializers.FloatField(allow_null=True)
    return serializers.CharField(allow_null=True, allow_blank=True)


RecordLineSerializer: Any = type(
    "RecordLineSerializer",
    (serializers.Serializer,),
    {"__doc__": "One inspection, all that its verdict is found again from, and the one found again today."}
    | {name: _line_field(name) for name in services.HEADINGS},
)


class RecordSerializer(serializers.Serializer):
    """All of an event: its entries with what was changed on them, and every inspection."""

    event = serializers.DictField(child=serializers.CharField(allow_blank=True))
    entries = serializers.ListField(child=serializers.DictField())
    inspections = RecordLineSerializer(many=True)

    class Meta:
        ref_name = "EventRecord"


class RecordOfEntry(Shared):
    private = True

    @extend_schema(
        operation_id="get_entry_record",
        tags=[RACE_DAYS],
        summary="All that is on record of a car",
        description="For its driver and for race directors.",
        responses=RecordLineSerializer(many=True),
    )
    def get(self, request: Request, event: str, pk: int) -> Response:
        entry = entry_or_refused(request, event, pk)
        if not may_see_sheet(entry, request.user):
            raise Problem("forbidden", "A car’s record is for its driver and for race directors.")
        return Response([services.row_of(line) for line in services.of_entry(entry)])


class RecordOfEvent(Shared):
    private = True

    @extend_schema(
        operation_id="export_record",
        tags=[RACE_DAYS],
        summary="Take an event’s record away",
        description="For race directors.",
        responses=RecordSerializer,
    )
    def get(self, request: Request, event: str) -> Response:
        demand_director(request)
        found = event_or_refused(request, event)
        return Response(services.as_data(found, services.of_event(found)))


class Csv(BaseRenderer):
    """Text that is a table already."""

    media_type = "text/csv"
    format = "csv"
    charset = "utf-8"

    def render(self, data: Any, accepted_media_type: Any = None, renderer_context: Any = None) -> bytes:
        return str(data).encode()


class RecordAsCsv(Shared):
    private = True
    renderer_classes: ClassVar[list[Any]] = [Csv]

    @extend_schema(
        operation_id="export_record_as_csv",
        tags=[RACE_DAYS],
        summary="Take an event’s inspections away as a table",
        description="One line an inspection. For race directors.",
        responses={(200, "text/csv"): str},
    )
    def get(self, request: Request, event: str) -> Response:
        demand_director(request)
        found = event_or_refused(request, event)
        name = f'attachment; filename="record-{found.slug}.csv"'
        # The mark tells spreadsheet programs that it is UTF-8.
        text = "\ufeff" + services.as_csv(services.of_event(found))
        return Response(text, headers={"Content-Disposition": name})
