"""Who is entered with what: members read, race directors enter, change, check in and withdraw."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, ClassVar

from django.db import transaction
from django.db.models import QuerySet
from django.urls import reverse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import ValidationError

from club.api.events import event_or_refused, refused
from club.api.events_written import (
    RACE_DAYS,
    EntryChangeInput,
    EntryChangeSerializer,
    EntryCheckSerializer,
    EntryInput,
    EntrySerializer,
    HereInput,
    WithdrawInput,
    entry_address,
)
from club.api.racing import Written
from club.api.racing_filters import EntryFilter
from club.api.racing_rulings import Names, write_edition, write_ruling
from club.api.racing_written import demand_director
from club.models import Entry, Event
from club.racing.events import entries as services
from club.racing.events.entries import EntryError
from club.racing.events.entry_list import Plan, load, plan_of
from club.racing.events.forms import EntryForm
from club.racing.events.standing import standing_of
from setups.api.etag import etag_of, match
from setups.api.geometry import Strict, Text, Truth
from setups.api.idempotency import once
from setups.api.problems import shown
from setups.api.shared import IF_MATCH, KEY, Shared, changed, made, nobody
from setups.api.throttles import Computing
from setups.api.views import Library, described
from setups.services.writing import locked_first

_CAR = ("body", "platform", "revision__body", "revision__platform")
_ALL = ("event", "race_class", "member", "checked_in_by", *_CAR)
_NAMES = {"number": "race_number"}
"""What a field of the form is called here, where that differs."""
OUTCOMES = [(name, name) for name in ("new", "stands", "wrong")]


def entry_or_refused(request: Request, slug: str, pk: int, lock: bool = False) -> Entry:
    """The entry of an event that the caller sees. Raises a Problem."""
    event = event_or_refused(request, slug)
    rows = Entry.objects.filter(event=event, pk=min(pk, 2**63 - 1)).select_related(*_ALL)
    found = (locked_first(rows) if lock else rows).first()
    if found is None:
        raise nobody("entry", pk, reverse("api-entry-list", args=[slug]))
    return found


def full(pk: int) -> dict[str, Any]:
    """The entry as a GET has it."""
    return EntrySerializer(Entry.objects.select_related(*_ALL).get(pk=pk)).data


class Entries(Written, Library):
    """The entry list of an event, those that were withdrawn too."""

    private = True
    model = Entry
    queryset = Entry.objects.all()
    serializer_class = EntrySerializer
    filterset_class = EntryFilter
    lookup_field = "pk"
    lookup_value_converter = "int"
    joined: ClassVar = {
        "url": ("event",),
        "race_class": ("race_class",),
        "member": ("member",),
        "setup": ("revision",),
        "revision": ("revision",),
        "body": _CAR,
        "platform": _CAR,
        "checked_in_by": ("checked_in_by",),
    }

    def get_queryset(self) -> QuerySet[Entry]:
        rows = super().get_queryset()
        if "event" in self.kwargs:
            rows = rows.filter(event=event_or_refused(self.request, self.kwargs["event"]))
        return rows

    def get_object(self) -> Entry:
        slug, pk = self.kwargs["event"], self.kwargs["pk"]
        found = self.get_queryset().filter(pk=pk).first() if pk < 2**63 else None
        if found is None:
            raise nobody("entry", pk, reverse("api-entry-list", args=[slug]))
        return found

    @extend_schema(
        operation_id="enter_car",
        parameters=[KEY],
        tags=[RACE_DAYS],
        summary="Enter a car",
        description="For race directors.",
        request=EntryInput,
        responses={201: EntrySerializer},
    )
    @once
    def create(self, request: Request, event: str) -> Response:
        demand_director(request)
        found = event_or_refused(request, event)
        asked = EntryInput(data=request.data)
        asked.is_valid(raise_exception=True)
        number = asked.validated_data.get("race_number") or services.next_number(found)
        form = _form(found, asked.validated_data | {"race_number": number}, None)
        try:
            row = services.enter(found, form.fields_of_entry(), request.user)
        except EntryError as error:
            raise refused(error, _NAMES) from error
        return made(full(row.pk), entry_address(row))

    @extend_schema(
        operation_id="change_entry",
        parameters=[IF_MATCH],
        tags=[RACE_DAYS],
        summary="Change an entry late",
        description="All of it is sent, and why: what it was and the reason are kept. For race directors.",
        request=EntryChangeInput,
        responses=EntrySerializer,
    )
    def update(self, request: Request, event: str, pk: int) -> Response:
        def change(row: Entry) -> None:
            asked = EntryChangeInput(data=request.data)
            asked.is_valid(raise_exception=True)
            form = _form(row.event, asked.validated_data, row)
            services.change(row, form.fields_of_entry(), request.user, asked.validated_data["why"])

        return _change(request, event, pk, change)


Entries = described(Entries, RACE_DAYS, "entries")  # type: ignore[misc]


def _form(event: Event, given: Mapping[str, Any], entry: Entry | None) -> EntryForm:
    """The page's form with what the request says, valid. Raises ValidationError."""
    classes = {one.slug: one.name for one in event.classes.all()}
    slug = given.get("race_class") or ""
    if slug and slug not in classes:
        has = ", ".join(sorted(classes)) or "none yet"
        said = f"{shown(slug)} is not raced at this event; it races {has}."
        raise ValidationError({"race_class": [said]})
    typed = {name: str(given.get(name) or "") for name in ("driver", "member", "setup", "body", "platform")}
    # The form shows the only class there is as chosen.
    only = next(iter(classes.values())) if len(classes) == 1 else ""
    typed |= {"number": str(given["race_number"]), "race_class": classes.get(slug, only)}
    typed["why"] = given.get("why", "")
    # As text, which is what the form compares with.
    initial = {} if entry is None else {name: str(said) for name, said in EntryForm.initial_of(entry).items()}
    form = EntryForm(typed, event=event, entry=entry, initial=initial)
    if not form.is_valid():
        raise ValidationError(
            {
                "non_field_errors" if name == "__all__" else _NAMES.get(name, name): list(said)
                for name, said in form.errors.items()
            }
        )
    return form


def _change(request: Request, slug: str, pk: int, act: Callable[[Entry], Any]) -> Response:
    """The entry after ``act``, by a race director who has read it."""
    demand_director(request)
    try:
        with transaction.atomic():
            row = entry_or_refused(request, slug, pk, lock=True)
            match(request, etag_of(full(pk)), "the entry")
            act(row)
    except EntryError as error:
        raise refused(error, _NAMES) from error
    return changed(full(pk), entry_address(row))


class CheckIn(Shared):
    @extend_schema(
        operation_id="check_in_entry",
        parameters=[IF_MATCH, KEY],
        tags=[RACE_DAYS],
        summary="Check a car in, or take that back",
        description="For race directors.",
        request=HereInput,
        responses=EntrySerializer,
    )
    @once
    def post(self, request: Request, event: str, pk: int) -> Response:
        def here(row: Entry) -> None:
            asked = HereInput(data=request.data)
            asked.is_valid(raise_exception=True)
            services.check_in(row, request.user, asked.validated_data["here"])

        return _change(request, event, pk, here)


class Withdraw(Shared):
    @extend_schema(
        operation_id="withdraw_entry",
        parameters=[IF_MATCH, KEY],
        tags=[RACE_DAYS],
        summary="Take a car off the list, or put it back",
        description="Its number stays its own and its record stands. For race directors.",
        request=WithdrawInput,
        responses=EntrySerializer,
    )
    @once
    def post(self, request: Request, event: str, pk: int) -> Response:
        def out(row: Entry) -> None:
            asked = WithdrawInput(data=request.data)
            asked.is_valid(raise_exception=True)
            given = asked.validated_data
            services.withdraw(row, request.user, given["why"], given["out"])

        return _change(request, event, pk, out)


class Log(Shared):
    private = True

    @extend_schema(
        operation_id="list_entry_changes",
        tags=[RACE_DAYS],
        summary="An entry’s log",
        description="What was changed, who did it and why; oldest first.",
        responses=EntryChangeSerializer(many=True),
    )
    def get(self, request: Request, event: str, pk: int) -> Response:
        rows = entry_or_refused(request, event, pk).log.select_related("by")
        return Response(EntryChangeSerializer(rows, many=True).data)


class CheckOfEntry(Shared):
    private = True

    def get_throttles(self) -> list[Any]:
        return [Computing()]

    @extend_schema(
        operation_id="check_entry",
        tags=[RACE_DAYS],
        summary="Check one car of an event",
        description="Clause by clause, as computed, and as inspected where it was.",
        responses=EntryCheckSerializer,
    )
    def get(self, request: Request, event: str, pk: int) -> Response:
        standing = standing_of(entry_or_refused(request, event, pk))
        names = Names()
        names.learn(row.ruling for row in standing.rows)
        return Response(
            {
                "edition": write_edition(standing.rulebook and standing.rulebook.edition),
                "verdict": standing.verdict.value,
                "passes": standing.passes,
                "counts": standing.counts,
                "rulings": [write_ruling(row.ruling, names) for row in standing.rows],
            }
        )


# A whole list


class EntryListInput(Strict):
    """An entry list as CSV text, as the page takes it; a dry run unless ``load`` says otherwise."""

    text = Text(max_length=2_000_000, trim_whitespace=False)
    load = Truth(default=False)


class ListProblemSerializer(serializers.Serializer):
    """What is wrong, where, and what to do; line 0 is the whole file, no column the whole row."""

    line = serializers.IntegerField()
    column = serializers.CharField(allow_blank=True)
    message = serializers.CharField()


class ListRowSerializer(serializers.Serializer):
    """What a line would do; ``stands``: the car is entered so already."""

    line = serializers.IntegerField()
    outcome = serializers.ChoiceField(OUTCOMES)
    race_number = serializers.IntegerField(allow_null=True)
    driver = serializers.CharField(allow_blank=True)


class EntryListSerializer(serializers.Serializer):
    """What the list does: ``entered`` cars, none in a dry run or where anything is wrong."""

    entered = serializers.IntegerField()
    loadable = serializers.BooleanField()
    rows = ListRowSerializer(many=True)
    problems = ListProblemSerializer(many=True)
    ignored = serializers.ListField(child=serializers.CharField(), help_text="Columns that were left alone.")


class EntryList(Shared):
    @extend_schema(
        operation_id="load_entry_list",
        parameters=[KEY],
        tags=[RACE_DAYS],
        summary="Load an entry list, or try it",
        description="All of it is entered or nothing. For race directors.",
        request=EntryListInput,
        responses=EntryListSerializer,
    )
    @once
    def post(self, request: Request, event: str) -> Response:
        demand_director(request)
        found = event_or_refused(request, event)
        asked = EntryListInput(data=request.data)
        asked.is_valid(raise_exception=True)
        text = asked.validated_data["text"]
        if asked.validated_data["load"]:
            plan, entered = load(found, text, request.user)
        else:
            plan, entered = plan_of(found, text), 0
        return Response(_plan(plan, entered))


def _plan(plan: Plan, entered: int) -> dict[str, Any]:
    return {
        "entered": entered,
        "loadable": plan.loadable,
        "rows": [
            {
                "line": row.line,
                "outcome": row.outcome,
                "race_number": row.entry.number,
                "driver": row.entry.driver,
            }
            for row in plan.rows
        ],
        "problems": [
            {"line": one.line, "column": one.column, "message": one.message} for one in plan.all_problems
        ],
        "ignored": plan.ignored,
    }
