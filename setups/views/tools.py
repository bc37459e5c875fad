"""Work out a car in the pits: its gearing, and its balance on four scales. The address holds all of it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.text import Truncator
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from fitcalc.balance import BalanceError
from fitcalc.gearing import LOAD_FACTOR, GearingError
from setups.forms_tools import LONGEST_SHOWN, PART_FIELDS, BalanceForm, GearingForm, is_slug
from setups.models import Platform
from setups.services.balancing import RULER_DOUBT, SCALE_DOUBT, geometry_of, sets_on_record, weigh
from setups.services.comparing import NoSuchCar, cars_of
from setups.services.gearing import gearing_of
from setups.translated import sentence, tell


@require_safe
def gearing(request: HttpRequest) -> HttpResponse:
    """Mesh, centre distance, ratio, rollout and estimated speed, of parts of ``?platform=`` or typed."""
    slug = request.GET.get("platform", "")
    platforms = list(Platform.objects.all())
    platform = next((one for one in platforms if is_slug(slug) and one.slug == slug), None)
    form = GearingForm(request.GET, platform=platform)
    asked = any(request.GET.get(name) for name in form.fields)
    answer = None
    if asked and form.is_valid():
        try:
            answer = gearing_of(form)
        except GearingError as error:
            form.add_error("slot_low", sentence(error))
    typed = request.GET.copy()
    for name in ("platform", *PART_FIELDS):
        typed.pop(name, None)
    context = {
        "platform": platform,
        "platforms": platforms,
        "wrong_platform": Truncator(slug).chars(LONGEST_SHOWN) if slug and platform is None else "",
        "typed": typed.urlencode() if len(typed.urlencode()) < 1000 else "",
        "form": form,
        "parts": {name: form.has_parts(name) for name in PART_FIELDS},
        "asked": asked,
        "answer": answer,
        "load_factor": LOAD_FACTOR,
    }
    return render(request, "setups/gearing.html", context)


@require_safe
def balance(request: HttpRequest) -> HttpResponse:
    """Shares, cross weight and centre of gravity of four corner weights; ``?car=`` brings the lengths."""
    form = BalanceForm(request.GET, sets=sets_on_record())
    asked = any(request.GET.get(name) for name in form.fields)
    answer = geometry = None
    if asked and form.is_valid():
        if code := form.cleaned_data["car"]:
            try:
                geometry = geometry_of(cars_of([code])[0])
            except NoSuchCar as error:
                said = _("{error} Or choose a set here, or type the lengths.")
                form.add_error("car", said.format(error=tell(error)))
        if form.is_valid() and form.weighed:
            try:
                answer = weigh(form, geometry)
            except BalanceError as error:
                form.add_error("front_left", sentence(error))
    context = {
        "form": form,
        "asked": asked,
        "answer": answer,
        "scale_doubt": SCALE_DOUBT,
        "ruler_doubt": RULER_DOUBT,
    }
    return render(request, "setups/balance.html", context)
