"""What stewards settle: the queue of open disputes, and each with its whole story."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from setups.forms_standing import SettleForm
from setups.models import Dispute
from setups.services import disputes, telling, verifying
from setups.services.cars import NotBuildable
from setups.services.readings import CarSheet
from setups.services.standing import standing_of
from setups.services.verifying import VerifyingError
from setups.translated import tell
from setups.views.measure import say_turn
from setups.views.paging import page_of

PAGE = 24
"""So many open disputes are shown on one page of the queue."""


@require_safe
def stewards(request: HttpRequest) -> HttpResponse:
    """The open disputes, longest open first, and those settled lately. For stewards."""
    if not request.user.is_authenticated:
        return redirect_to_login(request.get_full_path())
    if not getattr(request.user, "settles_disputes", False):
        raise PermissionDenied(
            _(
                "The queue is for stewards. Each dispute is open to read on the page of its setup."
            )
        )
    page, note = page_of(verifying.open_disputes(), request.GET.get("page"), PAGE)
    waiting = list(page.object_list)
    settled = disputes.lately_settled() if page.number == 1 else []
    cases = disputes.cases_of([*waiting, *settled])
    context = {
        "page": page,
        "page_note": note,
        "cases": cases[: len(waiting)],
        "settled": cases[len(waiting) :],
    }
    return render(request, "setups/disputes/queue.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def dispute(request: HttpRequest, number: int) -> HttpResponse:
    """One dispute: everybody reads it, a steward whom it does not concern settles it."""
    shown = get_object_or_404(
        Dispute.objects.select_related(
            "setup__author", "setup__body", "setup__platform", "setup__current", "settled_by"
        ).select_related("measurement__member", "measurement__revision"),
        pk=number,
    )
    form = SettleForm()
    if request.method == "POST":
        if not request.user.is_authenticated:
            return redirect_to_login(request.path)
        form = SettleForm(request.POST)
        if _settled(request, shown, form):
            return redirect(request.path)
    why_not = verifying.why_not_settle(shown, request.user)
    context: dict[str, Any] = {
        "dispute": shown,
        "setup": shown.setup,
        "form": form,
        "why_not": why_not,
        "record": telling.record_of(shown.setup),
    }
    try:
        standing = standing_of(shown.setup, shown.measurement.revision)
    except NotBuildable as error:
        context["cannot"] = tell(error)
    else:
        sheet = CarSheet(standing, shown.measurement.quantity)
        theirs = [row for row in sheet.rows if row.member_id == shown.measurement.member_id]
        case = disputes.Case(shown, sheet.computed, theirs)
        context |= {"sheet": sheet, "case": case, "report": standing.report}
    return render(request, "setups/disputes/dispute.html", context, status=422 if form.errors else 200)


def _settled(request: HttpRequest, shown: Dispute, form: SettleForm) -> bool:
    """Settle as the form says; what is refused is said on the form, nothing being lost."""
    if why_not := verifying.why_not_settle(shown, request.user):
        raise PermissionDenied(why_not)
    if not form.is_valid():
        return False
    try:
        turn = verifying.settle(
            shown, request.user, form.cleaned_data["outcome"], form.cleaned_data["reason"]
        )
    except (VerifyingError, NotBuildable) as error:
        form.add_error(None, tell(error))
        shown.refresh_from_db()
        return False
    messages.success(
        request, _("The dispute is settled, with your reason in the setup’s record.")
    )
    say_turn(request, turn)
    return True
