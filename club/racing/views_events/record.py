"""The record: what a protest needs to see of one car, and an event's record to look through and take away."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from club.models import Inspection
from club.racing.events import record as services
from club.racing.events.events import may_inspect
from club.racing.events.standing import entries_with_cars, standing_of
from club.racing.views_events.asked import event_for, for_directors, for_members, sheet_for

LINES_A_PAGE = 100


@for_members
@require_safe
def entry_record(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """Everything on record about one car, each verdict of the day beside the one found again today."""
    entry = sheet_for(request, slug, pk)
    lines = services.of_entry(entry)
    context = {
        "event": entry.event,
        "entry": entry,
        "lines": lines,
        "differing": [line for line in lines if not line.agrees],
        "standing": standing_of(entry),
        "log": entry.log.select_related("by"),
        "directs": may_inspect(request.user),
    }
    return render(request, "racing/events/entry_record.html", context)


@for_directors
@require_safe
def event_record(request: HttpRequest, slug: str) -> HttpResponse:
    """An event's inspections, the latest first, with the ways to take all of them away."""
    event = event_for(request, slug)
    rows = services.with_record(Inspection.objects.filter(entry__event=event)).order_by("-pk")
    page = Paginator(rows, LINES_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "event": event,
        "page": page,
        "lines": services.lines_of(list(page.object_list)[::-1])[::-1],
        "inspected": entries_with_cars(event.entries.filter(inspections__isnull=False)).distinct().count(),
    }
    return render(request, "racing/events/event_record.html", context)


@for_directors
@require_safe
def as_csv(request: HttpRequest, slug: str) -> HttpResponse:
    event = event_for(request, slug)
    text = services.as_csv(services.of_event(event))
    # The mark tells spreadsheet programs that it is UTF-8.
    response = HttpResponse("\ufeff" + text, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="record-{event.slug}.csv"'
    return response


@for_directors
@require_safe
def as_json(request: HttpRequest, slug: str) -> HttpResponse:
    event = event_for(request, slug)
    data = services.as_data(event, services.of_event(event))
    response = JsonResponse(data, json_dumps_params={"ensure_ascii": False, "indent": 1})
    response["Content-Disposition"] = f'attachment; filename="record-{event.slug}.json"'
    return response
