"""Measure the car of a posted setup: what is computed, what others read, and one's own reading."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from fitcalc.dimensions import CAR_DIMENSIONS
from fitcalc.verification import REQUIRED
from setups.forms import MeasurementForm
from setups.models import Measurement, Setup
from setups.printing import fixed
from setups.services import once, telling, verifying
from setups.services.cars import NotBuildable
from setups.services.readings import CarSheet
from setups.services.ruling import Turn
from setups.services.standing import standing_of
from setups.services.verifying import VerifyingError
from setups.views.measure import say_turn, say_twice, typed_of
from setups.views.setup import posted_setup


@require_http_methods(["GET", "HEAD", "POST"])
def measure_car(request: HttpRequest, number: int, quantity: str) -> HttpResponse:
    """One quantity of the car: chart, table and form."""
    if quantity not in CAR_DIMENSIONS:
        raise Http404("Nobody measures that on a car")
    setup = posted_setup(number)
    typed = typed_of(request)
    if request.method == "POST" and not request.user.is_authenticated:
        return redirect_to_login(f"{request.path}?{urlencode(typed)}")
    form = None
    if request.user.is_authenticated and setup.state != Setup.State.WITHDRAWN:
        instance = Measurement(member=request.user, quantity=quantity, revision=setup.current)  # type: ignore[misc]
        if request.method == "POST":
            form = MeasurementForm(request.POST, instance=instance)
            if form.is_valid() and _added(request, setup, form):
                return redirect(request.path)
        else:
            form = MeasurementForm(initial=typed, instance=instance)
    context: dict[str, Any] = {
        "setup": setup,
        "form": form,
        "kind": CAR_DIMENSIONS[quantity],
        "kinds": sorted(CAR_DIMENSIONS.values(), key=lambda one: one.key not in REQUIRED),
        "sheets": {},
        "is_author": request.user.pk == setup.author_id,
    }
    try:
        standing = standing_of(setup)
    except NotBuildable as error:
        context["cannot"] = str(error)
    else:
        told = telling.told_of(standing)
        context |= {
            "told": told,
            "sheet": CarSheet(standing, quantity),
            "sheets": {sheet.kind.key: sheet for sheet in told.sheets},
        }
    return render(request, "setups/setup/measure.html", context, status=422 if form and form.errors else 200)


def _added(request: HttpRequest, setup: Setup, form: MeasurementForm) -> bool:
    """Store what the form holds and say what that did; what is refused is said on the form."""
    seen = request.POST.get("revision", "")
    if seen and seen != str(setup.current_id):
        form.add_error(
            None,
            _(
                "The setup has been revised since you opened this page. Look at what changed; if you "
                "measured the car as it is now, add the reading once more."
            ),
        )
        return False
    try:
        with transaction.atomic():
            once.refuse_second(request)
            turn = verifying.add(form.instance)
    except once.DoneBefore:
        say_twice(request)
        return True
    except VerifyingError as error:
        form.add_error(None, str(error))
        return False
    say_added(request, form.instance, turn)
    return True


def say_added(request: HttpRequest, row: Measurement, turn: Turn) -> None:
    """What a reading did: how it stands to what is computed, and what became of the setup."""
    setup = Setup.objects.select_related("current").get(pk=row.revision.setup_id)  # type: ignore[union-attr]
    try:
        sheet = CarSheet(standing_of(setup), row.quantity)
    except NotBuildable:
        messages.success(
            request, _("Your reading is added. What it says is told once the car can be computed.")
        )
        return
    if setup.author_id == row.member_id:
        messages.success(
            request,
            _(
                "Your reading is added for others to see. You posted this setup, so it counts for "
                "nothing in its verification: other members have to measure it."
            ),
        )
        return
    own = next(one for one in sheet.held if one.measurer == row.member_id)
    if own.en is None:
        messages.success(
            request, _("Your reading is added. Nothing is computed here to hold it against.")
        )
    else:
        if own.agrees and own.readings > 1:
            said = _(
                "Your reading is added. Your readings together agree with what is computed (Eₙ {en})."
            )
        elif own.agrees:
            said = _("Your reading is added. It agrees with what is computed (Eₙ {en}).")
        elif own.readings > 1:
            said = _(
                "Your reading is added. Your readings together do not agree with what is computed "
                "(Eₙ {en}). If one was a slip, withdraw it below."
            )
        else:
            said = _(
                "Your reading is added. It does not agree with what is computed (Eₙ {en}). If one "
                "was a slip, withdraw it below."
            )
        tell = messages.success if own.agrees else messages.warning
        tell(request, said.format(en=fixed(own.en, 2, plus=True)))
    say_turn(request, turn)
    if sheet.wanted and turn.after == Setup.State.POSTED:
        if sheet.wanted == 1:
            said = _("To verify the setup, one more member has to measure this.")
        else:
            said = _("To verify the setup, {number} members have to measure this.")
        messages.info(request, said.format(number=sheet.wanted))
