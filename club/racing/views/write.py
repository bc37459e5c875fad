"""Writing rulebooks, for race directors; others are refused with a sentence."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from club.models import Clause, RaceClass, RulebookEdition
from club.racing import editions
from club.racing.editions import ITEMS, EditionError
from club.racing.forms import (
    FORMS,
    FOUND,
    ClassForm,
    EditionForm,
    chosen_things,
    found_things,
    initial_of,
)

looked_at = require_http_methods(["GET", "HEAD", "POST"])
View = Callable[..., HttpResponse]


def for_directors(view: View) -> View:
    """Only race directors; a visitor is sent to sign in."""

    @never_cache
    @login_required
    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if not request.user.directs_races:  # type: ignore[union-attr]
            raise PermissionDenied(
                _("Only race directors write rulebooks. Ask one of them, or the club to make you one.")
            )
        return view(request, *args, **kwargs)

    return guarded


def _edition(slug: str, pk: int) -> RulebookEdition:
    found = RulebookEdition.objects.select_related("race_class")
    return get_object_or_404(found, race_class__slug=slug, pk=pk)


def _clause(slug: str, pk: int, number: int) -> Clause:
    rows = Clause.objects.select_related("edition__race_class").prefetch_related(ITEMS)
    return get_object_or_404(rows, edition__race_class__slug=slug, edition=pk, pk=number)


@for_directors
@looked_at
def new_class(request: HttpRequest) -> HttpResponse:
    form = ClassForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            made = editions.add_class(**form.cleaned_data)
        except EditionError as error:
            form.add_error("name", str(error))
        else:
            messages.success(request, _("{made} is there. Write its first edition.").format(made=made))
            return redirect("new-edition", made.slug)
    return render(request, "racing/new_class.html", {"form": form})


@for_directors
@looked_at
def new_edition(request: HttpRequest, slug: str) -> HttpResponse:
    """Start an edition, empty or as a copy of another one of the class."""
    race_class = get_object_or_404(RaceClass, slug=slug)
    every = list(editions.editions_of(race_class))
    named = request.POST.get("copy", request.GET.get("copy", ""))
    source = next((one for one in every if str(one.pk) == named), None)
    form = EditionForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            made = editions.start(race_class, **form.cleaned_data, after=source)
        except EditionError as error:
            form.add_error("valid_from", str(error))
        else:
            messages.success(
                request,
                _("{name} is a draft: only race directors see it until it is published.").format(
                    name=made.name
                ),
            )
            return redirect(made)
    context = {"form": form, "race_class": race_class, "editions": every, "source": source}
    return render(request, "racing/new_edition.html", context)


@for_directors
@looked_at
def change_edition(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    edition = _edition(slug, pk)
    if edition.is_published:
        return _refused(request, edition)
    initial = {"name": edition.name, "valid_from": edition.valid_from, "note": edition.note}
    form = EditionForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            editions.change(edition, **form.cleaned_data)
        except EditionError as error:
            form.add_error("valid_from", str(error))
        else:
            messages.success(request, _("Saved."))
            return redirect(edition)
    return render(request, "racing/change_edition.html", {"form": form, "edition": edition})


@for_directors
@looked_at
def publish_edition(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """Asks once more, since it cannot be taken back."""
    edition = _edition(slug, pk)
    if request.method == "POST":
        try:
            editions.publish(edition, request.user)  # type: ignore[arg-type]
        except EditionError as error:
            messages.error(request, str(error))
        else:
            messages.success(
                request,
                _("{name} is published and holds from {valid_from}. It never changes.").format(
                    name=edition.name, valid_from=date_format(edition.valid_from, _("j F Y"))
                ),
            )
        return redirect(edition)
    if edition.is_published:
        return _refused(request, edition)
    rows = editions.clauses_of(edition)
    context = {"edition": edition, "clauses": rows, "late": edition.valid_from < editions.today()}
    return render(request, "racing/publish.html", context)


@for_directors
@require_POST
def discard_edition(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    edition = _edition(slug, pk)
    try:
        editions.discard(edition)
    except EditionError as error:
        messages.error(request, str(error))
        return redirect(edition)
    messages.success(request, _("The draft {name} is discarded.").format(name=edition.name))
    return redirect(edition.race_class)


@for_directors
@looked_at
def new_clause(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """A new clause of the kind that the address names."""
    edition = _edition(slug, pk)
    kind = request.POST.get("kind", request.GET.get("kind", Clause.Kind.LIMIT.value))
    if kind not in FORMS:
        raise Http404(_("There is no such kind of clause: a limit, a list or a required thing."))
    return _write(request, Clause(edition=edition, kind=kind))


@for_directors
@looked_at
def clause(request: HttpRequest, slug: str, pk: int, number: int) -> HttpResponse:
    return _write(request, _clause(slug, pk, number))


def _write(request: HttpRequest, row: Clause) -> HttpResponse:
    """The form of a clause: it is searched with, previewed and saved, and keeps what is typed throughout."""
    if row.edition.is_published:
        return _refused(request, row.edition)
    new = row.pk is None
    posted = request.method == "POST"
    form = FORMS[row.kind](request.POST if posted else None, initial=None if new else initial_of(row))
    act = request.POST.get("do", "save") if posted else ""
    thing = request.POST.get("thing", "") if posted else row.thing
    if posted:
        named = chosen_things(thing, request.POST.getlist("item")[: editions.MOST_ITEMS + 1])
    else:
        named = [] if new else [item.thing for item in row.items.all()]
    preview = None
    if posted and act != "find" and form.is_valid():
        form.clause(row)
        if act == "preview":
            preview, row.named = row, named
        else:
            try:
                editions.save_clause(row, named)
            except EditionError as error:
                form.add_error(error.field or None, str(error))
            else:
                messages.success(request, _("Clause {number} is saved.").format(number=row.number))
                return redirect(f"{row.edition.get_absolute_url()}#clause-{row.pk}")
    text = request.POST.get("find", "").strip()[:100] if posted else ""
    found = found_things(thing, text) if thing and (text or act == "find") else []
    if act == "find":
        form = FORMS[row.kind](initial=request.POST.dict())
    keys = {one.pk for one in named}
    context = {
        "form": form,
        "clause": row,
        "new": new,
        "edition": row.edition,
        "race_class": row.edition.race_class,
        "named": named,
        "found": [one for one in found[:FOUND] if one.pk not in keys],
        "more": len(found) > FOUND,
        "searched": act == "find",
        "thing": thing,
        "preview": preview,
    }
    return render(request, "racing/clause.html", context)


@for_directors
@require_POST
def remove_clause(request: HttpRequest, slug: str, pk: int, number: int) -> HttpResponse:
    row = _clause(slug, pk, number)
    try:
        editions.remove_clause(row)
    except EditionError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("Clause {number} is taken out.").format(number=row.number))
    return redirect(row.edition)


@for_directors
@require_POST
def move_clause(request: HttpRequest, slug: str, pk: int, number: int) -> HttpResponse:
    row = _clause(slug, pk, number)
    try:
        editions.move(row, up=request.POST.get("to") == "up")
    except EditionError as error:
        messages.error(request, str(error))
    return redirect(f"{reverse('edition', args=[slug, pk])}#clause-{row.pk}")


def _refused(request: HttpRequest, edition: RulebookEdition) -> HttpResponse:
    messages.error(request, _("The edition is published and never changes: copy it, and change the copy."))
    return redirect(edition)
