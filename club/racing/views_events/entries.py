"""Entries: typing one, loading a list, late changes, checking in, withdrawing, and the car's page."""

from __future__ import annotations

import csv
import io

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.defaultfilters import filesizeformat
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.models import Entry
from club.racing.events import entries as services
from club.racing.events.entries import EntryError
from club.racing.events.entry_list import COLUMNS, EXAMPLE, load, plan_of
from club.racing.events.events import may_inspect, may_see_sheet
from club.racing.events.forms import EntryForm
from club.racing.events.standing import disagreeing, standing_of
from club.racing.views_events.asked import entry_for, event_for, for_directors, for_members
from fitcalc.legality import BODY
from setups.imports.cells import marked
from setups.imports.reading import MOST_ROWS, Unreadable, as_text, decoded
from setups.models import Platform

LISTED = 200

written = require_http_methods(["GET", "HEAD", "POST"])


@for_members
@require_safe
def entry(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """A car's page, where the code on its sheet leads: what it is, and each clause with the ruling on it."""
    found = entry_for(request, slug, pk)
    standing = standing_of(found)
    context = {
        "event": found.event,
        "entry": found,
        "standing": standing,
        "names": _names(standing.entry),
        "disagreeing": disagreeing(standing.rows),
        "log": found.log.select_related("by"),
        "inspected": found.inspections.count(),
        "directs": may_inspect(request.user),
        "own": may_see_sheet(found, request.user),
    }
    return render(request, "racing/events/entry.html", context)


def _names(entry: Entry) -> list[tuple[str, int, str]]:
    """What is on the car: kind, key and name, so that a ruling can say what may not be there."""
    body = entry.car_body
    found = [] if body is None else [(BODY, body.pk, body.name)]
    if entry.revision is not None:
        found += [(row.part.kind, row.part_id, row.part.name) for row in entry.revision.slots.all()]
    return list(dict.fromkeys(found))


@for_directors
@written
def new_entry(request: HttpRequest, slug: str) -> HttpResponse:
    event = event_for(request, slug)
    initial = {"number": services.next_number(event)}
    form = EntryForm(request.POST if request.method == "POST" else None, event=event, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            made = services.enter(event, form.fields_of_entry(), request.user)
        except EntryError as error:
            form.add_error(error.field if error.field in form.fields else None, str(error))
        else:
            messages.success(request, _("{made} is entered.").format(made=made))
            return redirect("new-entry", slug) if "another" in request.POST else redirect(made)
    return _form(request, event, form)


@for_directors
@written
def edit_entry(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """A late change: what it was and why it changed is kept."""
    found = entry_for(request, slug, pk)
    initial = EntryForm.initial_of(found)
    data = request.POST if request.method == "POST" else None
    form = EntryForm(data, event=found.event, entry=found, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            changed = services.change(found, form.fields_of_entry(), request.user, form.cleaned_data["why"])
        except EntryError as error:
            form.add_error(error.field if error.field in form.fields else None, str(error))
        else:
            said = (
                _("{found}: changed.").format(found=found)
                if changed
                else _("Nothing was different, so nothing was changed.")
            )
            messages.success(request, said)
            return redirect(found)
    return _form(request, found.event, form)


def _form(request: HttpRequest, event: object, form: EntryForm) -> HttpResponse:
    context = {
        "event": event,
        "entry": form.entry,
        "form": form,
        "platforms": Platform.objects.order_by("name").values_list("name", flat=True)[:LISTED],
    }
    return render(request, "racing/events/edit_entry.html", context, status=422 if form.errors else 200)


@for_directors
@require_POST
def check_in(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    found = entry_for(request, slug, pk)
    here = request.POST.get("here", "yes") == "yes"
    try:
        services.check_in(found, request.user, here)
    except EntryError as error:
        messages.error(request, str(error))
    else:
        told = _("{entry} is checked in.") if here else _("{entry} is no longer checked in.")
        messages.success(request, told.format(entry=found))
    return _back(request, found)


@for_directors
@require_POST
def withdraw(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    found = entry_for(request, slug, pk)
    out = request.POST.get("out", "yes") == "yes"
    try:
        services.withdraw(found, request.user, request.POST.get("why", ""), out)
    except EntryError as error:
        messages.error(request, str(error))
    else:
        told = _("{entry} is withdrawn.") if out else _("{entry} is on the list again.")
        messages.success(request, told.format(entry=found))
    return redirect(found)


def _back(request: HttpRequest, found: object) -> HttpResponse:
    """To the page that the form stood on, if it is one of this site's."""
    back = request.POST.get("back", "")
    if url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()}) and back.startswith("/"):
        return redirect(back)
    return redirect(found)


@for_directors
@written
def entry_list(request: HttpRequest, slug: str) -> HttpResponse:
    """Load an entry list: a dry run first, then all of it or nothing."""
    event = event_for(request, slug)
    context = {
        "event": event,
        "columns": COLUMNS,
        "classes": event.classes.order_by("name"),
        "most_rows": MOST_ROWS,
        "most_bytes": settings.DATA_UPLOAD_MAX_MEMORY_SIZE,
        "text": "",
    }
    if request.method != "POST":
        return render(request, "racing/events/entry_list.html", context)
    try:
        context["text"] = text = _text(request)
    except Unreadable as unreadable:
        context |= {"unreadable": str(unreadable), "text": request.POST.get("text", "")}
        return render(request, "racing/events/entry_list.html", context, status=422)
    if request.POST.get("act") == "load" and not request.FILES:
        plan, entered = load(event, text, request.user)
        if entered:
            told = ngettext("{count} car is entered.", "{count} cars are entered.", entered)
            messages.success(request, told.format(count=entered))
            return redirect(event)
        context["notice"] = _("Nothing was entered: the list needs a correction first.")
    else:
        plan = plan_of(event, text)
    context["plan"] = plan
    return render(request, "racing/events/entry_list.html", context)


def _text(request: HttpRequest) -> str:
    """The chosen file's text, else what was pasted. Raises Unreadable."""
    file = request.FILES.get("file")
    if file is None:
        return as_text(request.POST.get("text", ""))
    if file.size > settings.DATA_UPLOAD_MAX_MEMORY_SIZE:
        limit = filesizeformat(settings.DATA_UPLOAD_MAX_MEMORY_SIZE)
        raise Unreadable(
            _("The file is larger than {limit}. Split it and load it in parts.").format(limit=limit)
        )
    return decoded(file.read())[0]


@for_members
@require_safe
def template(request: HttpRequest, slug: str) -> HttpResponse:
    """A CSV file with all headings and one row to overwrite."""
    event = event_for(request, slug)
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\r\n")
    rows.writerow(COLUMNS)
    first = event.classes.order_by("name").first()
    rows.writerow((EXAMPLE | {"class": "" if first is None else marked(first.name)}).values())
    # The mark tells spreadsheet programs that it is UTF-8.
    response = HttpResponse("\ufeff" + out.getvalue(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="entries.csv"'
    return response
