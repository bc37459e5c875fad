"""Who may open what: the event and the entry that an address names, or a refusal that says what to do."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache

from club.models import Entry, Event
from club.racing.events.events import may_inspect, may_see_sheet

View = Callable[..., HttpResponse]


def for_members(view: View) -> View:
    """A page for those who are signed in, never from a cache."""
    return never_cache(login_required(view))


def for_directors(view: View) -> View:
    """A page for race directors."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **named: Any) -> HttpResponse:
        if not may_inspect(request.user):
            raise PermissionDenied(_("Only race directors do that: ask one of them."))
        return view(request, *args, **named)

    return for_members(guarded)


def event_for(request: HttpRequest, slug: str) -> Event:
    """The event, if the member sees it."""
    return get_object_or_404(Event.objects.seen_by(request.user), slug=slug)


def entry_for(request: HttpRequest, slug: str, pk: int) -> Entry:
    """The entry of an event that the member sees."""
    rows = Entry.objects.select_related(
        "event", "race_class", "member", "body", "platform", "revision__body", "revision__platform"
    )
    return get_object_or_404(rows, event=event_for(request, slug), pk=pk)


def sheet_for(request: HttpRequest, slug: str, pk: int) -> Entry:
    """The entry, for race directors and its driver."""
    entry = entry_for(request, slug, pk)
    if not may_see_sheet(entry, request.user):
        raise PermissionDenied(_("A car's sheet and record are for its driver and for race directors."))
    return entry
