"""A setup's page and its revisions: what it says, what is computed, what was measured, what was decided."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from fitcalc.fit import FitReport
from fitcalc.parts import Slot
from setups.forms_standing import ReasonForm
from setups.models import Draft, Part, Revision, Setup
from setups.services import posting, telling
from setups.services.cars import NotBuildable, content_of, findings_then, reports_of, with_car
from setups.services.kept import kept
from setups.services.posting import PostingError
from setups.services.revisions import changes_between, since_posted
from setups.services.shown import Shown, setup_of, shown
from setups.services.tuned import settings_of, tuned
from setups.translated import tell


def posted_setup(number: int) -> Setup:
    """A setup that everybody may see; a draft is not there (404)."""
    rows = Setup.objects.select_related("author", "body", "platform", "current")
    return get_object_or_404(rows.exclude(state=Setup.State.DRAFT), pk=number)


@require_safe
def setup(request: HttpRequest, number: int) -> HttpResponse:
    """The setup's page. A draft is its author's only, who is sent to where it is written."""
    return _page(request, setup_of(number))


def _page(request: HttpRequest, setup: Setup, form: ReasonForm | None = None) -> HttpResponse:
    if not setup.is_public:
        if request.user.pk != setup.author_id:
            raise Http404("There is no such setup")
        return redirect(_edit_address(setup))
    read = shown(setup)
    changes = posting.may_change(setup, request.user)

    def made() -> str:
        return render_to_string("setups/setup/_setup.html", _context(request, read, form), request)

    # Who may change the setup, and who may withdraw a reading of it, has forms of their own on the page.
    if changes or any(row.member_id == request.user.pk for row in read.measurements):
        main = made()
    else:
        main = kept("setup", (request.user.is_authenticated, read.read), made)
    context = {"setup": setup, "main": main}
    return render(request, "setups/setup/setup.html", context, status=422 if form else 200)


def _context(request: HttpRequest, read: Shown, form: ReasonForm | None) -> dict[str, Any]:
    try:
        standing = read.standing
    except NotBuildable as error:
        standing, cannot = None, tell(error)
    else:
        cannot = ""
    told = None if standing is None else telling.told_of(standing)
    author = request.user.pk == read.setup.author_id
    context = {
        "setup": read.setup,
        "told": told,
        "cannot": cannot,
        "record": read.record,
        "revisions": read.revisions,
        "disputes": read.disputes[: telling.MOST_LINES],
        "is_author": author,
        "draft": Draft.objects.filter(setup=read.setup).first() if author else None,
        "may_change": posting.may_change(read.setup, request.user),
        "reason_form": form or ReasonForm(),
        "to_measure": told and telling.next_to_measure(told.sheets, request.user.pk),
    }
    return context | _said(read.revision, standing and standing.report)


def _said(revision: Revision, report: FitReport | None) -> dict[str, Any]:
    """What a revision says, and what its car is computed to be today and was when it was posted."""
    return {
        "revision": revision,
        "report": report,
        "slots": _slots(revision),
        "settings": settings_of(revision.tuning),
        "tuned": report and tuned(revision.tuning, report.geometry),
        "since": report and since_posted(revision, report),
        "then": findings_then(revision),
    }


def _slots(revision: Revision) -> list[tuple[Slot, Part | None]]:
    """The filled slots in the order of the car, the position among them without a part."""
    parts = {row.slot: row.part for row in revision.slots.all()}
    return [(slot, parts.get(slot.value)) for slot in Slot if slot is Slot.POSITION or slot.value in parts]


def _edit_address(setup: Setup) -> str:
    try:
        return reverse("edit-setup", args=[setup.pk])
    except NoReverseMatch as error:
        raise Http404("There is no such setup") from error


def _loaded(posted: Setup, number: int) -> Revision:
    rows = with_car(posted.revisions.all()).select_related("race_class").prefetch_related("photos")
    return get_object_or_404(rows, number=number)


@require_safe
def revision(request: HttpRequest, number: int, revision: int) -> HttpResponse:
    """One revision for ever: what it said, what changed since the one before, then and now."""
    posted = posted_setup(number)
    one = _loaded(posted, revision)
    newest = posted.current.number  # type: ignore[union-attr]
    earlier = one.number - 1 or None
    report, changes, cannot = None, None, ""
    try:
        (report,) = reports_of([content_of(one)])
        if earlier is not None:
            changes = changes_between(_loaded(posted, earlier), one)
    except NotBuildable as error:
        cannot = tell(error)
    context = {
        "setup": posted,
        "earlier": earlier,
        "later": one.number + 1 if one.number < newest else None,
        "newest": newest,
        "changes": changes,
        "cannot": cannot,
    }
    return render(request, "setups/setup/revision.html", context | _said(one, report))


@require_POST
def withdraw(request: HttpRequest, number: int) -> HttpResponse:
    """Take a setup out of the lists, with a reason; by its author or a steward."""
    done = _("The setup is withdrawn. Its page stays where it is.")
    return _change(request, number, posting.withdraw, done)


@require_POST
def restore(request: HttpRequest, number: int) -> HttpResponse:
    """Put a withdrawn setup back, with a reason; by its author or a steward."""
    done = _("The setup is back. Its standing was worked out anew.")
    return _change(request, number, posting.restore, done)


def _change(request: HttpRequest, number: int, change: Any, done: str) -> HttpResponse:
    setup = posted_setup(number)
    if not request.user.is_authenticated:
        return redirect_to_login(setup.get_absolute_url())
    form = ReasonForm(request.POST)
    if not form.is_valid():
        return _page(request, setup_of(number), form)
    try:
        change(setup, request.user, form.cleaned_data["reason"])
    except PermissionError as error:
        raise PermissionDenied(str(error)) from error
    except PostingError as error:
        form.add_error(None, str(error))
        return _page(request, setup_of(number), form)
    messages.success(request, done)
    return redirect(setup)
