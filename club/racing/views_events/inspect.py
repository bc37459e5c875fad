"""Inspecting: the phone's page, what its script sends, and the sheets for paper.

The page is a plain form; every field that is filled in is stored on its own, so that one that cannot be taken
loses nothing of the others. Each carries a key of its own, and a second sending of it stores nothing.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any
from urllib.parse import urlencode
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.dateparse import parse_datetime
from django.utils.timezone import is_aware
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.models import Entry, Event, Inspection
from club.models.events import MOST_RUNS
from club.racing.checking import Rulebook
from club.racing.events import tools as instruments
from club.racing.events.cards import Card, cards_for, cards_of
from club.racing.events.events import rulebook_for, rulebooks_of
from club.racing.events.inspecting import Given, Refused, record
from club.racing.events.qr import code_of
from club.racing.events.standing import computed_cars, entries_with_cars
from club.racing.events.tools import Tool
from club.racing.events.words import script_words
from club.racing.views_events.asked import entry_for, event_for, for_directors, for_members, sheet_for
from fitcalc.dimensions import Unit
from fitcalc.legality import CLASS_QUANTITIES
from fitcalc.typed import plain
from setups.units import Lengths, typed_in

MOST_SHEETS = 200
"""So many sheets are printed in one go; a larger event prints a class at a time."""


@for_directors
@require_http_methods(["GET", "HEAD", "POST"])
def inspect(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """What is asked about a car before or after a run, with big fields and the answer at once."""
    entry = entry_for(request, slug, pk)
    rulebook = rulebook_for(entry)
    stage, run = _stage(request.POST if request.method == "POST" else request.GET)
    if rulebook is None:
        context = {"event": entry.event, "entry": entry}
        return render(request, "racing/events/no_rulebook.html", context)
    tools = _tools(rulebook, request.session)
    errors: dict[int, str] = {}
    if request.method == "POST":
        tools = instruments.read(tools, request.POST)
        instruments.keep(tools, request.session)
        stored, errors = _store(request, entry, rulebook, tools, stage, run)
        if not errors and not any(tool.wrong for tool in tools.values()):
            if stored:
                told = ngettext("{count} record stored.", "{count} records stored.", stored)
                messages.success(request, told.format(count=stored))
            return redirect(_address(entry, stage, run))
    cards = cards_for(entry, rulebook, tools, stage, run)
    if request.method == "POST":
        _give_back(cards, request.POST, errors)
    status = 422 if errors or any(tool.wrong for tool in tools.values()) else 200
    return render(
        request, "racing/events/inspect.html", _page(entry, rulebook, cards, tools, stage, run), status=status
    )


def _page(
    entry: Entry,
    rulebook: Rulebook,
    cards: list[Card],
    tools: Mapping[Unit, Tool],
    stage: str,
    run: int,
) -> dict[str, Any]:
    others = entry.event.entries.filter(race_class=entry.race_class_id, withdrawn=False).order_by("number")
    rows = list(others.values_list("pk", "number", "driver", "checked_in_at"))
    at = next((i for i, row in enumerate(rows) if row[0] == entry.pk), None)
    return {
        "event": entry.event,
        "entry": entry,
        "rulebook": rulebook,
        "cards": cards,
        "tools": tools.values(),
        "stage": stage,
        "run": run,
        "most_runs": MOST_RUNS,
        "stages": Inspection.Stage.choices,
        "others": rows,
        "next": None if at is None or at + 1 == len(rows) else rows[at + 1],
        "where": urlencode({"stage": stage, "run": run}),
        "texts": json.dumps(script_words(), ensure_ascii=False),
    }


def _stage(said: Mapping[str, str]) -> tuple[str, int]:
    """Stage and run, as the address or the form says; before the first run where it says nothing sane."""
    stage = said.get("stage", "")
    run = said.get("run", "")
    number = int(run) if run.isascii() and run.isdigit() and len(run) < 4 else 1
    known = stage if stage in Inspection.Stage.values else Inspection.Stage.BEFORE.value
    return known, min(max(number, 1), MOST_RUNS)


def _address(entry: Entry, stage: str, run: int) -> str:
    where = urlencode({"stage": stage, "run": run})
    return f"{reverse('inspect', args=[entry.event.slug, entry.pk])}?{where}"


def _tools(rulebook: Rulebook, session: Mapping[str, Any]) -> dict[Unit, Tool]:
    kinds = [CLASS_QUANTITIES[row.quantity] for row in rulebook.rows if row.quantity]
    return instruments.tools_for(kinds, session)


def _store(
    request: HttpRequest,
    entry: Entry,
    rulebook: Rulebook,
    tools: Mapping[Unit, Tool],
    stage: str,
    run: int,
) -> tuple[int, dict[int, str]]:
    """Store every field of the form that is filled in: how many, and what is wrong with others by clause."""
    stored, errors = 0, {}
    for clause in rulebook.rows:
        said = {
            name: request.POST.get(f"{name}_{clause.pk}", "").strip()
            for name in ("reading", "seen", "key", "wrong", "reason", "note")
        }
        if not said["reading"] and not said["seen"]:
            if said["wrong"] or said["reason"]:
                errors[clause.pk] = _("Type the reading that is right, too.")
            continue
        kind = CLASS_QUANTITIES.get(clause.quantity)
        tool = tools.get(kind.unit) if kind else None
        if kind is not None:
            said["reading"] = plain(said["reading"], kind.unit, typed_in(request.POST) is Lengths.INCH)
        if tool is not None and tool.wrong:
            errors[clause.pk] = tool.wrong
            continue
        try:
            given = given_of(
                said
                | {
                    "clause": str(clause.pk),
                    "stage": stage,
                    "run": str(run),
                    "instrument": tool.instrument.value if tool else "",
                    "doubt": tool.typed if tool else "",
                }
            )
            kept = record(entry, given, request.user)
        except Refused as refused:
            errors[clause.pk] = str(refused)
        else:
            stored += not kept.known
    return stored, errors


def given_of(said: Mapping[str, str]) -> Given:
    """A record as a form or a script says it. Raises Refused."""
    try:
        key = UUID(said.get("key", ""))
        clause, run = int(said.get("clause", "")), int(said.get("run", ""))
    except ValueError:
        raise Refused(_("That record is incomplete: open the car's page again and type it there.")) from None
    if not 0 < clause < 2**63 or not 0 < run < 2**15:
        raise Refused(_("That record is incomplete: open the car's page again and type it there."))
    taken_at = _time(said.get("taken_at", ""))
    seen = {"yes": True, "no": False}.get(said.get("seen", ""))
    return Given(
        key=key,
        clause=clause,
        stage=said.get("stage", ""),
        run=run,
        reading=_number(said.get("reading", "")),
        seen=seen,
        instrument=said.get("instrument", ""),
        doubt=_number(said.get("doubt", ""), of_doubt=True),
        note=said.get("note", ""),
        wrong=said.get("wrong", "") in ("yes", "on"),
        reason=said.get("reason", ""),
        taken_at=taken_at,
    )


def _number(text: str, of_doubt: bool = False) -> Decimal | None:
    """The number in ``text``, with a point or a comma, a length in inches if that stands behind it; ``None``
    where there is none. Raises Refused."""
    digits = plain(text.strip(), Unit.MM).replace(",", ".").replace("−", "-").replace(" ", "")
    if not digits:
        return None
    try:
        value = Decimal(digits) if digits.isascii() and len(digits) < 20 else Decimal("nan")
    except InvalidOperation:
        value = Decimal("nan")
    if not value.is_finite() or abs(value) >= 100_000:
        if of_doubt:
            wrong = _("“{text}” is not a number: type the doubt as figures, such as 54.20.")
        else:
            wrong = _("“{text}” is not a number: type the reading as figures, such as 54.20.")
        raise Refused(wrong.format(text=text[:20]))
    return value


def _time(text: str) -> datetime | None:
    """When it was typed, where a script says so in full."""
    try:
        found = parse_datetime(text)
    except ValueError:
        return None
    return found if found is not None and is_aware(found) and found.year > 2000 else None


def _give_back(cards: Iterable[Card], posted: Mapping[str, str], errors: Mapping[int, str]) -> None:
    """Put what was typed and could not be stored back into its fields, with its key."""
    for card in cards:
        if card.pk in errors:
            card.error = errors[card.pk]
            card.typed = {
                name: posted.get(f"{name}_{card.pk}", "")
                for name in ("reading", "seen", "wrong", "reason", "note")
            }
            try:
                card.key = UUID(posted.get(f"key_{card.pk}", ""))
            except ValueError:
                card.key = uuid4()


@for_directors
@require_POST
def send_record(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """One record from the page's script: stored once, and the card as it stands now.

    ``state`` is "stored", "known" (it was stored before) or "refused", with ``message``.
    """
    entry = entry_for(request, slug, pk)
    try:
        given = given_of(request.POST.dict())
        kept = record(entry, given, request.user)
    except Refused as refused:
        return JsonResponse({"state": "refused", "message": str(refused)}, status=422)
    answer = {"state": "known" if kept.known else "stored", "html": ""}
    rulebook = rulebook_for(entry)
    if rulebook is not None:
        tools = _tools(rulebook, request.session)
        stage, run = _stage(request.POST)
        for card in cards_for(entry, rulebook, tools, stage, run):
            if card.pk == given.clause:
                context = {"card": card, "event": entry.event, "entry": entry}
                answer["html"] = render_to_string("racing/events/_result.html", context, request)
    return JsonResponse(answer)


@for_members
@require_safe
def sheet(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """One car's sheet for paper, for race directors and its driver."""
    entry = sheet_for(request, slug, pk)
    return _sheets(request, entry.event, Entry.objects.filter(pk=entry.pk))


@for_directors
@require_safe
def sheets(request: HttpRequest, slug: str) -> HttpResponse:
    """The sheets of all cars, or of a class, one after another."""
    event = event_for(request, slug)
    chosen = request.GET.get("class", "")[:80]
    entries = event.entries.filter(withdrawn=False)
    if chosen:
        entries = entries.filter(race_class__slug=chosen)
    return _sheets(request, event, entries)


def _sheets(request: HttpRequest, event: Event, entries: Any) -> HttpResponse:
    rows = list(entries_with_cars(entries).order_by("number")[: MOST_SHEETS + 1])
    books = rulebooks_of(event)
    made = []
    for entry, car in zip(rows[:MOST_SHEETS], computed_cars(rows[:MOST_SHEETS]), strict=True):
        book = books.get(entry.race_class_id)
        tools = {} if book is None else _tools(book, request.session)
        made.append(
            {
                "entry": entry,
                "rulebook": book,
                "cards": [] if book is None else cards_of(car, [], book, tools),
                "tools": tools.values(),
                "code": code_of(request.build_absolute_uri(entry.get_absolute_url())),
                "address": request.build_absolute_uri(entry.get_absolute_url()),
            }
        )
    context = {"event": event, "sheets": made, "more": len(rows) > MOST_SHEETS, "most": MOST_SHEETS}
    return render(request, "racing/events/sheets.html", context)
