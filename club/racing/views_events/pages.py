"""Events: the list, one event with its entries, the check of all of them, and editing."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from club.models import Event
from club.racing.events import events as services
from club.racing.events.entries import EntryError
from club.racing.events.forms import EventForm
from club.racing.events.standing import check_event, entries_with_cars, standings
from club.racing.views_events.asked import event_for, for_directors, for_members

EVENTS_A_PAGE = 24
ENTRIES_A_PAGE = 60
FIRST = 40
"""The check lists so many cars of a class until all are asked for."""
LONGEST = 80

written = require_http_methods(["GET", "HEAD", "POST"])


@for_members
@require_safe
def events(request: HttpRequest) -> HttpResponse:
    """All events that the member sees: those to come, then those that were."""
    today = timezone.localdate()
    every = services.listed(request.user)
    past = Paginator(every.filter(date__lt=today), EVENTS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "coming": every.filter(date__gte=today).order_by("date", "name", "pk")[:EVENTS_A_PAGE],
        "past": past,
        "page": past,
        "today": today,
        "directs": services.may_inspect(request.user),
    }
    return render(request, "racing/events/events.html", context)


@for_members
@require_safe
def event(request: HttpRequest, slug: str) -> HttpResponse:
    """One event: its classes with the editions that hold, and its entry list."""
    found = event_for(request, slug)
    asked = request.GET.get("q", "").strip()[:LONGEST]
    chosen = request.GET.get("class", "")[:LONGEST]
    shown = request.GET.get("show", "")
    entries = found.entries.order_by("number")
    if asked:
        named = Q(driver__icontains=asked)
        if asked.isascii() and asked.isdigit() and len(asked) < 9:
            named |= Q(number=int(asked))
        entries = entries.filter(named)
    if chosen:
        entries = entries.filter(race_class__slug=chosen)
    if shown == "missing":
        entries = entries.filter(checked_in_at__isnull=True, withdrawn=False)
    page = Paginator(entries_with_cars(entries), ENTRIES_A_PAGE).get_page(request.GET.get("page"))
    books = services.rulebooks_of(found)
    rows = list(page.object_list)
    context = {
        "event": found,
        "raced": [
            (one, books.get(one.race_class_id))
            for one in found.raced.select_related("race_class").order_by("race_class__name")
        ],
        "page": page,
        "standings": standings(rows, books),
        "mine": list(found.entries.filter(member=request.user).select_related("race_class")),
        "asked": asked,
        "chosen": chosen,
        "shown": shown,
        "entered": found.entries.filter(withdrawn=False).count(),
        "arrived": found.entries.filter(withdrawn=False, checked_in_at__isnull=False).count(),
        "directs": services.may_inspect(request.user),
    }
    return render(request, "racing/events/event.html", context)


@for_members
@require_safe
def check(request: HttpRequest, slug: str) -> HttpResponse:
    """Every entry against its class's rulebook, problems first."""
    found = event_for(request, slug)
    lists = check_event(found)
    whole = request.GET.get("all", "")[:LONGEST]
    context = {
        "event": found,
        "lists": [
            (one, one.standings if whole == one.race_class.slug else one.standings[:FIRST]) for one in lists
        ],
        "first": FIRST,
        "directs": services.may_inspect(request.user),
    }
    return render(request, "racing/events/check.html", context)


@for_directors
@written
def new_event(request: HttpRequest) -> HttpResponse:
    return _edit(request, Event())


@for_directors
@written
def edit_event(request: HttpRequest, slug: str) -> HttpResponse:
    return _edit(request, event_for(request, slug))


def _edit(request: HttpRequest, found: Event) -> HttpResponse:
    form = EventForm(request.POST if request.method == "POST" else None, instance=found)
    if request.method == "POST" and form.is_valid():
        given = {name: form.cleaned_data[name] for name in EventForm.Meta.fields}
        try:
            services.save(found, given, form.raced(), request.user)
        except EntryError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("{found}: saved.").format(found=found))
            return redirect(found)
    status = 422 if form.errors else 200
    return render(request, "racing/events/edit_event.html", {"form": form, "event": found}, status=status)
