"""The garage's pages. Each member sees and changes only their own: another's is not there (404)."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.db import IntegrityError, transaction
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.garage import stock
from club.garage.fits import bodies_near, gone_from, what_fits, what_it_needs, wheelbase_of
from club.garage.forms import AddBodyForm, AddPartForm, BuildForm, OwnedPartForm
from club.garage.kit import MOST_BODIES, Use, kit_for
from club.models import Chassis, ChassisPart, OwnedBody, OwnedPart
from fitcalc.kitplan import KitPlanError
from fitcalc.parts import OPTIONAL_SLOTS, Slot
from setups.models import Body, Configuration, MountingPosition, Part, Platform
from setups.services import once
from setups.translate import shelf_for, shelf_for_all
from setups.translated import tell

FOUND = 24
"""A search in the garage shows so many parts or bodies."""
LONGEST = 100
BODIES_A_PAGE = 36
"""So many bodies are judged on one page of what fits."""
NEEDED_SLOTS = len([slot for slot in Slot if slot not in OPTIONAL_SLOTS and slot is not Slot.POSITION])

looked_at = require_http_methods(["GET", "HEAD", "POST"])


def _chassis_of(request: HttpRequest, pk: int) -> Chassis:
    rows = ChassisPart.objects.select_related("part").prefetch_related("part__dimensions").order_by("pk")
    mine = Chassis.objects.filter(member=request.user).select_related("member", "position__platform__maker")
    return get_object_or_404(mine.prefetch_related(Prefetch("slots", rows)), pk=pk)


def _search_text(request: HttpRequest) -> str:
    return (request.POST.get("q") or request.GET.get("q", "")).strip()[:LONGEST]


def _key(text: str) -> int | None:
    """The primary key that ``text`` spells, ``None`` if it spells none."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else None


@never_cache
@login_required
@require_safe
def garage(request: HttpRequest) -> HttpResponse:
    """Everything that a member owns, in a constant number of queries."""
    parts = list(request.user.owned_parts.select_related("part__maker"))
    on_chassis = stock.fitted(request.user)
    for row in parts:
        row.fitted = on_chassis[row.part_id]
        row.loose = row.count - row.fitted
    built = list(request.user.chassis.select_related("position__platform").prefetch_related("slots"))
    for one in built:
        needed = {row.slot for row in one.slots.all()} - {slot.value for slot in OPTIONAL_SLOTS}
        one.open_slots = NEEDED_SLOTS - len(needed)
    context = {
        "kinds": stock.by_kind(parts),
        "pieces": sum(row.count for row in parts),
        "built": built,
        "bodies": list(request.user.owned_bodies.select_related("body__maker")),
    }
    return render(request, "garage/garage.html", context)


@never_cache
@login_required
@looked_at
def add_part(request: HttpRequest) -> HttpResponse:
    """Search the library and count a part as owned."""
    text = _search_text(request)
    form = AddPartForm(request.POST or None) if request.method == "POST" else None
    if form is not None and form.is_valid():
        with transaction.atomic():
            again = once.done_before(request)
            if not again:
                row = stock.add(request.user, form.cleaned_data["part"], form.cleaned_data["count"])
        if again:
            messages.info(request, _("That was sent twice, and is counted once."))
        else:
            said = _("{part} is in your garage: you have {count}.").format(part=row.part, count=row.count)
            messages.success(request, said)
        return redirect(f"{reverse('garage-add-part')}?{urlencode({'q': text})}" if text else "garage")
    found = []
    if text:
        found = list(Part.objects.matching(text).select_related("maker")[: FOUND + 1])
    elif request.GET.get("part", ""):
        found = list(Part.objects.filter(slug=request.GET["part"][:140]).select_related("maker"))
    wrong = _key(form.data.get("part", "")) if form is not None else None
    if wrong is not None and not text:
        found = list(Part.objects.filter(pk=wrong).select_related("maker"))
    have = dict(request.user.owned_parts.filter(part__in=found).values_list("part_id", "count"))
    for part in found:
        part.have = have.get(part.pk, 0)
        part.usual = stock.PIECES.get(part.kind, 1)
    context = {
        "text": text,
        "found": found[:FOUND],
        "more": len(found) > FOUND,
        "form": form,
        "wrong": wrong,
    }
    return render(request, "garage/add_part.html", context)


@never_cache
@login_required
@looked_at
def owned_part(request: HttpRequest, pk: int) -> HttpResponse:
    """Change how many of a part are owned, and whether the loose ones are offered."""
    mine = OwnedPart.objects.filter(member=request.user).select_related("part__maker")
    row = get_object_or_404(mine, pk=pk)
    on_chassis = stock.fitted(request.user)[row.part_id]
    part, counted = row.part, row.count
    form = OwnedPartForm(request.POST or None, instance=row, fitted=on_chassis)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, _("{part}: saved.").format(part=part))
        return redirect("garage")
    context = {"form": form, "row": row, "part": part, "counted": counted, "fitted": on_chassis}
    return render(request, "garage/owned_part.html", context)


@login_required
@require_POST
def remove_part(request: HttpRequest, pk: int) -> HttpResponse:
    """A part leaves the garage, unless it stands on a chassis."""
    row = get_object_or_404(OwnedPart.objects.filter(member=request.user).select_related("part"), pk=pk)
    on_chassis = stock.fitted(request.user)[row.part_id]
    if on_chassis:
        messages.error(
            request,
            _("{part} stayed: {on_chassis} of it stand on your chassis. Take them off there first.").format(
                part=row.part, on_chassis=on_chassis
            ),
        )
        return redirect("owned-part", row.pk)
    row.delete()
    messages.success(request, _("{part} is no longer in your garage.").format(part=row.part))
    return redirect("garage")


@never_cache
@login_required
@looked_at
def add_body(request: HttpRequest) -> HttpResponse:
    """Search the library and count a body as owned."""
    text = _search_text(request)
    form = AddBodyForm(request.POST or None) if request.method == "POST" else None
    if form is not None and form.is_valid():
        body = form.cleaned_data["body"]
        OwnedBody.objects.get_or_create(member=request.user, body=body)
        messages.success(request, _("{body} is in your garage.").format(body=body))
        return redirect("garage")
    found = []
    if text:
        found = list(Body.objects.matching(text).select_related("maker")[: FOUND + 1])
    have = set(request.user.owned_bodies.filter(body__in=found).values_list("body_id", flat=True))
    for body in found:
        body.owned = body.pk in have
    context = {"text": text, "found": found[:FOUND], "more": len(found) > FOUND, "form": form}
    return render(request, "garage/add_body.html", context)


@login_required
@require_POST
def remove_body(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(OwnedBody.objects.filter(member=request.user).select_related("body"), pk=pk)
    row.delete()
    messages.success(request, _("{body} is no longer in your garage.").format(body=row.body))
    return redirect("garage")


@never_cache
@login_required
@looked_at
def new_chassis(request: HttpRequest) -> HttpResponse:
    """Choose a platform, then build: from nothing, or from a set as supplied."""
    named = request.POST.get("platform") or request.GET.get("platform", "")
    platform = Platform.objects.filter(slug=named[:80]).select_related("maker").first() if named else None
    if platform is None:
        context = {"platforms": Platform.objects.select_related("maker"), "wrong_platform": named}
        return render(request, "garage/choose_platform.html", context)
    return _build(request, platform, None)


@never_cache
@login_required
@looked_at
def chassis(request: HttpRequest, pk: int) -> HttpResponse:
    """A chassis as built: a part for each slot, all of which can be changed."""
    mine = _chassis_of(request, pk)
    return _build(request, mine.platform, mine)


def _build(request: HttpRequest, platform: Platform, mine: Chassis | None) -> HttpResponse:
    shelf = shelf_for([platform], None)
    sets = list(platform.configurations.prefetch_related("slots").order_by("name")[:FOUND])
    initial = _initial(request, mine, sets)
    form = BuildForm(
        request.POST if request.method == "POST" else None,
        initial=initial,
        platform=platform,
        catalogue=shelf.catalogues[platform.pk],
        parts=shelf.parts,
        member=request.user,
        chassis=mine,
    )
    if request.method == "POST" and form.is_valid():
        saved = _save(request, form, mine)
        if saved is not None:
            return redirect(saved)
    gone = [] if mine is None else gone_from(mine, shelf.catalogues[platform.pk])
    context = {"form": form, "platform": platform, "chassis": mine, "sets": sets, "gone": gone}
    return render(request, "garage/chassis.html", context)


def _initial(request: HttpRequest, mine: Chassis | None, sets: list[Configuration]) -> dict[str, Any]:
    """What the form opens with: the chassis as it is, or a set as supplied that the address names."""
    if mine is not None:
        return {"name": mine.name, Slot.POSITION.value: mine.position_id, **mine.filled()}
    chosen = next((one for one in sets if str(one.pk) == request.GET.get("set", "")), None)
    if chosen is None:
        return {}
    rows = {row.slot: row.part_id for row in chosen.slots.all()}
    return {"name": chosen.name[:80], Slot.POSITION.value: chosen.position_id, **rows}


def _save(request: HttpRequest, form: BuildForm, mine: Chassis | None) -> Chassis | None:
    """The chassis stored; ``None`` if its name was taken in the meantime, which the form then says."""
    given = form.cleaned_data
    one = mine or Chassis(member=request.user)
    one.name = given["name"]
    position = MountingPosition.objects.get(pk=given[Slot.POSITION.value])
    try:
        with transaction.atomic():
            raised = stock.build(one, position, form.filled())
    except IntegrityError:
        form.add_error("name", _("You have a chassis of this name already: choose another name."))
        return None
    said = _("{chassis}: saved.").format(chassis=one)
    if raised:
        counted = ngettext(
            "{count} part was counted into your garage with it.",
            "{count} parts were counted into your garage with it.",
            raised,
        )
        said = f"{said} {counted.format(count=raised)}"
    messages.success(request, said)
    return one


@login_required
@require_POST
def remove_chassis(request: HttpRequest, pk: int) -> HttpResponse:
    """A chassis is taken apart; its parts stay owned."""
    mine = _chassis_of(request, pk)
    mine.delete()
    messages.success(request, _("{mine} is taken apart. Its parts stay in your garage.").format(mine=mine))
    return redirect("garage")


@never_cache
@login_required
@require_safe
def fits(request: HttpRequest, pk: int) -> HttpResponse:
    """What fits a chassis: now, with one part more, with two. Nearest wheelbase first, a page at a time."""
    mine = _chassis_of(request, pk)
    length = wheelbase_of(mine)
    bodies = bodies_near(mine.platform, length).prefetch_related("dimensions", "part_rules")
    page = Paginator(bodies, BODIES_A_PAGE).get_page(request.GET.get("page"))
    shelf = shelf_for_all([mine.platform], page.object_list)
    owned = set(request.user.owned_bodies.values_list("body_id", flat=True))
    context = {
        "chassis": mine,
        "found": what_fits(mine, page.object_list, shelf),
        "page": page,
        "owned": owned,
        "wheelbase": length,
    }
    return render(request, "garage/fits.html", context)


@never_cache
@login_required
@require_safe
def needs(request: HttpRequest, slug: str) -> HttpResponse:
    """What to change on one's own chassis and buy so that a body goes on."""
    bodies = Body.objects.select_related("maker").prefetch_related("dimensions", "part_rules")
    body = get_object_or_404(bodies, slug=slug)
    answers, parts = what_it_needs(request.user, body)
    context = {
        "body": body,
        "answers": answers,
        "parts": parts,
        "owned": request.user.owned_bodies.filter(body=body).exists(),
        "platforms": Platform.objects.filter(scale=body.scale),
    }
    return render(request, "garage/needs.html", context)


@never_cache
@login_required
@require_safe
def kit(request: HttpRequest) -> HttpResponse:
    """The cheapest packs for a list of bodies. All that is chosen is in the address."""
    asked = list(dict.fromkeys(request.GET.getlist("body")))[: 10 * MOST_BODIES]
    text = _search_text(request)
    use = Use.AT_ONCE if request.GET.get("use") == Use.AT_ONCE else Use.ONE_AT_A_TIME
    chosen = list(
        Body.objects.filter(slug__in=asked)
        .select_related("maker")
        .prefetch_related("dimensions", "part_rules")
        .order_by("name", "pk")
    )
    mine = [row.body for row in request.user.owned_bodies.select_related("body__maker")]
    found = list(Body.objects.matching(text).select_related("maker")[:FOUND]) if text else []
    offered = {body.pk: body for body in (*chosen, *mine, *found)}
    context: dict[str, Any] = {
        "choices": sorted(offered.values(), key=lambda body: (body.name, body.pk)),
        "chosen": chosen,
        "chosen_keys": {body.pk for body in chosen},
        "unknown": len(asked) - len(chosen),
        "text": text,
        "nothing_found": bool(text) and not found,
        "use": use.value,
        "borrow": request.GET.get("borrow", "yes" if not asked else "") == "yes",
        "most": MOST_BODIES,
        "mine": {body.pk for body in mine},
    }
    if len(chosen) > MOST_BODIES:
        context["error"] = _(
            "You chose {count} bodies. A kit is planned for up to {most}: take some out."
        ).format(count=len(chosen), most=MOST_BODIES)
    elif chosen and "plan" in request.GET:
        try:
            context["kit"] = kit_for(request.user, chosen, use, context["borrow"])
        except KitPlanError as error:
            context["error"] = _("No plan was found: {why}.").format(why=tell(error))
    elif "plan" in request.GET:
        context["error"] = _("Choose at least one body to plan for.")
    return render(request, "garage/kit.html", context)
