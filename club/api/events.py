"""Events, the classes that they race, and the check of a whole entry list; members read, race directors
write."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import transaction
from django.db.models import Prefetch, QuerySet
from django.urls import reverse
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import ValidationError

from club.api.events_written import (
    RACE_DAYS,
    ClassListSerializer,
    EventInput,
    EventSerializer,
    entry_address,
)
from club.api.racing import Written, class_or_refused
from club.api.racing_filters import EventFilter
from club.api.racing_rulings import write_edition
from club.api.racing_written import demand_director
from club.models import Event, EventClass
from club.racing.events import events as services
from club.racing.events.entries import EntryError
from club.racing.events.forms import EventForm
from club.racing.events.standing import ClassList, Standing, check_event
from fitcalc.legality_clauses import VERDICTS
from setups.api.etag import etag_of, match
from setups.api.idempotency import once
from setups.api.problems import Problem, shown
from setups.api.shared import IF_MATCH, KEY, Shared, changed, made, nobody
from setups.api.throttles import Computing
from setups.api.views import Library, described

RACED = Prefetch(
    "raced", EventClass.objects.with_edition().select_related("race_class").order_by("race_class__name", "pk")
)
_PASSES = {1: True, 0: False, -1: None}


def event_or_refused(request: Request, slug: str, lock: bool = False) -> Event:
    """The event, if the caller sees it. Raises a Problem."""
    rows = Event.objects.filter(pk__in=Event.objects.seen_by(request.user).values("pk"))
    if lock:
        rows = rows.select_for_update(of=("self",))
    found = rows.filter(slug=slug).first()
    if found is None:
        raise nobody("event", slug, reverse("api-event-list"))
    return found


def full(pk: int) -> dict[str, Any]:
    """The event as a GET has it."""
    return EventSerializer(Event.objects.prefetch_related(RACED).get(pk=pk)).data


def address_of(event: Event) -> str:
    return reverse("api-event-detail", args=[event.slug])


def refused(error: EntryError, names: dict[str, str] | None = None) -> Exception:
    """What a service of events refuses: at the field that it is about, else as things stand."""
    if error.field:
        return ValidationError({(names or {}).get(error.field, error.field): [str(error)]})
    return Problem("conflict", f"{error} Nothing was changed.")


class Events(Written, Library):
    """Days on which the club races; those that are not public are for race directors and the entered."""

    private = True
    model = Event
    queryset = Event.objects.all()
    serializer_class = EventSerializer
    filterset_class = EventFilter
    fetched: ClassVar = {"classes": (RACED,)}

    def get_queryset(self) -> QuerySet[Event]:
        seen = Event.objects.seen_by(self.request.user)
        return super().get_queryset().filter(pk__in=seen.order_by().values("pk"))

    @extend_schema(
        operation_id="make_event",
        parameters=[KEY],
        tags=[RACE_DAYS],
        summary="Make an event",
        description="For race directors.",
        request=EventInput,
        responses={201: EventSerializer},
    )
    @once
    def create(self, request: Request) -> Response:
        demand_director(request)
        event = _save(request, Event())
        return made(full(event.pk), address_of(event))

    @extend_schema(
        operation_id="change_event",
        parameters=[IF_MATCH],
        tags=[RACE_DAYS],
        summary="Change an event",
        description="All of it is sent; a class that has entries stays. For race directors.",
        request=EventInput,
        responses=EventSerializer,
    )
    def update(self, request: Request, slug: str) -> Response:
        demand_director(request)
        with transaction.atomic():
            event = event_or_refused(request, slug, lock=True)
            match(request, etag_of(full(event.pk)), "the event")
            _save(request, event)
        return changed(full(event.pk), address_of(event))


Events = described(Events, RACE_DAYS)  # type: ignore[misc]


def _save(request: Request, event: Event) -> Event:
    """The event as the request says it, by the rules of the page's form. Raises ValidationError."""
    asked = EventInput(data=request.data)
    asked.is_valid(raise_exception=True)
    given = asked.validated_data
    typed: dict[str, Any] = {name: given[name] for name in ("name", "venue", "note")}
    typed |= {"date": given["date"].isoformat(), "is_public": "on" if given["is_public"] else ""}
    form = EventForm(typed, instance=event)
    by_slug = {one.slug: one for one in form.race_classes}
    places: dict[str, int] = {}
    errors: dict[int, Any] = {}
    for place, one in enumerate(given["classes"]):
        race_class = by_slug.get(one["race_class"])
        if race_class is None:
            said = f"No race class has the slug {shown(one['race_class'])}: /api/v1/race-classes/ lists them."
            errors[place] = {"race_class": [said]}
            continue
        if f"race_{race_class.pk}" in typed:
            errors[place] = {"race_class": ["This class is named before: once is enough."]}
        typed[f"race_{race_class.pk}"] = "on"
        typed[f"pin_{race_class.pk}"] = "" if one["pinned"] is None else str(one["pinned"])
        places[f"pin_{race_class.pk}"] = place
    if errors:
        raise ValidationError({"classes": errors})
    if not form.is_valid():
        found: dict[str, Any] = {}
        for name, said in form.errors.items():
            if name in places:
                found.setdefault("classes", {})[places[name]] = {"pinned": list(said)}
            else:
                found[name] = list(said)
        raise ValidationError(found)
    fields = {name: form.cleaned_data[name] for name in EventForm.Meta.fields}
    try:
        return services.save(event, fields, form.raced(), request.user)
    except EntryError as error:
        raise refused(error) from error


OF_CLASS = OpenApiParameter("race_class", str, description="Slug of one class; all of them without it.")


class CheckOfEvent(Shared):
    """Every car of an event that is not withdrawn under the rulebook of its class, problems first."""

    private = True

    def parameters(self) -> set[str]:
        return {"race_class"}

    def get_throttles(self) -> list[Any]:
        return [Computing()]

    @extend_schema(
        operation_id="check_event",
        parameters=[OF_CLASS],
        tags=[RACE_DAYS],
        summary="Check an entry list",
        description="As computed, and as inspected where a car was. An aid: the published rulebook and the "
        "event’s officials decide.",
        responses=ClassListSerializer(many=True),
    )
    def get(self, request: Request, event: str) -> Response:
        found = event_or_refused(request, event)
        named = request.query_params.get("race_class")
        entries = found.entries.all()
        if named is not None:
            entries = entries.filter(race_class=class_or_refused(named))
        lists = [one for one in check_event(found, entries) if named in (None, one.race_class.slug)]
        if named is not None and not lists:
            raise ValidationError({"race_class": ["This class is not raced at the event."]})
        return Response([_list(one) for one in lists])


def _list(one: ClassList) -> dict[str, Any]:
    return {
        "race_class": one.race_class.slug,
        "edition": write_edition(None if one.rulebook is None else one.rulebook.edition),
        "counts": one.counts,
        "standings": [_standing(standing) for standing in one.standings],
    }


def _standing(one: Standing) -> dict[str, Any]:
    entry = one.entry
    return {
        "entry": {
            "number": entry.pk,
            "race_number": entry.number,
            "driver": entry.driver,
            "url": entry_address(entry),
        },
        "verdict": one.verdict.value,
        "passes": one.passes,
        "counts": one.counts,
        "problems": _problems(one),
    }


def _problems(one: Standing) -> list[dict[str, Any]]:
    """The clauses that a car does not plainly comply with, gravest first, out of the arrays as they are."""
    if one.rulings is None or one.rulebook is None:
        return []
    codes, passes = one.rulings.verdicts[one.place].tolist(), one.rulings.passes[one.place].tolist()
    open_ = [place for place, code in enumerate(codes) if code]
    return [
        {
            "clause": one.rulebook.rows[place].pk,
            "number": one.rulebook.rows[place].number,
            "verdict": VERDICTS[codes[place]].value,
            "passes": _PASSES[passes[place]],
        }
        for place in sorted(open_, key=lambda place: -codes[place])
    ]
