"""Fit a body: what it needs, every configuration that fits, and one's own chassis under it."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from fitcalc.fit import evaluate
from fitcalc.parts import Slot
from fitcalc.solver import Match, Order
from setups.forms import ChassisForm
from setups.models import Body, Platform
from setups.services.fitting import Answer, PlatformAnswer, answer, platforms_for
from setups.services.needs import needs_of
from setups.services.twins import Beside, beside
from setups.translate import body_of, build_configuration, shelf_for

PAGE = 12
SETS = 8
"""A check page offers so many sets as supplied to start from."""
MOST = 240
"""A body page lists at most this many configurations; by then the figures differ in price only."""


@dataclass(frozen=True, slots=True)
class Row:
    """A configuration as the page lists it."""

    number: int
    match: Match
    beside: Beside | None


def _body(slug: str) -> Body:
    bodies = Body.objects.select_related("maker").prefetch_related("dimensions", "part_rules__part")
    return get_object_or_404(bodies, slug=slug)


def _number(text: str, low: int, high: int, otherwise: int) -> int:
    """The whole number in ``text`` held between ``low`` and ``high``; ``otherwise`` where it is none."""
    return min(high, max(low, int(text))) if text.isascii() and text.isdigit() and len(text) < 9 else otherwise


@require_safe
def body(request: HttpRequest, slug: str) -> HttpResponse:
    """The body's page: its needs, the configuration in hand drawn large, and all that fit, best first."""
    shown = _body(slug)
    pages = _number(request.GET.get("pages", ""), 1, MOST // PAGE, 1)
    found = answer(shown, limit=pages * PAGE + 1)
    chosen = _chosen(found, request.GET.get("platform", ""))
    rows: list[Row] = []
    more = False
    if chosen is not None:
        matches = chosen.solution.matches
        more = len(matches) > pages * PAGE and pages * PAGE < MOST
        rows = [
            Row(number, match, beside(match, matches))
            for number, match in enumerate(matches[: pages * PAGE], start=1)
        ]
    in_hand = _number(request.GET.get("show", ""), 1, max(1, len(rows)), 1)
    hero = rows[in_hand - 1] if rows else None
    near = chosen.nearest if chosen is not None and hero is None else None
    context = {
        "body": shown,
        "needs": needs_of(shown),
        "answer": found,
        "body_scale": str(shown.scale),
        "fitting_platforms": [one for one in found.platforms if one.best],
        "chosen": chosen,
        "rows": rows,
        "hero": hero,
        "near": near,
        "report": hero.match.report if hero else near.report if near else None,
        "near_misses": _near(chosen),
        "more": pages + 1 if more else None,
        "pages": pages,
        "wrong_platform": request.GET.get("platform", "")
        if chosen is None or chosen.platform.slug != request.GET.get("platform", chosen.platform.slug)
        else "",
    }
    return render(request, "setups/body.html", context)


def _chosen(found: Answer, slug: str) -> PlatformAnswer | None:
    """The platform that the address names, else the one with the best answer."""
    named = next((one for one in found.platforms if one.platform.slug == slug), None)
    return named or (found.platforms[0] if found.platforms else None)


def _near(chosen: PlatformAnswer | None) -> list[Match]:
    """Near misses worth showing: all of them where nothing fits, else those that fail in one thing."""
    if chosen is None:
        return []
    misses = chosen.solution.near_misses
    if not chosen.best:
        return list(misses)
    return [miss for miss in misses if len(miss.report.failing) == 1][:3]


@require_safe
def check(request: HttpRequest, slug: str) -> HttpResponse:
    """One's own chassis under the body: what fails, what to change, what to buy. All state is in the address."""
    shown = _body(slug)
    platforms = list(platforms_for(shown))
    platform = next(
        (one for one in platforms if one.slug == request.GET.get("platform")), platforms[0] if platforms else None
    )
    context = {"body": shown, "needs": needs_of(shown), "platforms": platforms, "platform": platform}
    if platform is not None:
        context |= _checked(request, shown, platform)
    template = "setups/_checked.html" if request.htmx else "setups/check.html"
    return render(request, template, context)


def _checked(request: HttpRequest, shown: Body, platform: Platform) -> dict[str, object]:
    shelf = shelf_for([platform], shown)
    catalogue = shelf.catalogues[platform.pk]
    asked = any(slot.value in request.GET for slot in Slot)
    form = ChassisForm(
        request.GET if asked else None, catalogue=catalogue, parts=shelf.parts, positions=shelf.positions[platform.pk]
    )
    context: dict[str, object] = {"form": form, "asked": asked, "parts": shelf.parts}
    if not asked:
        context["supplied"] = _supplied(platform)
        return context
    if not form.is_valid():
        return context
    filled = form.chosen()
    owned = {part.id for slot, part in filled.items() if part is not None and slot != Slot.POSITION.value}
    if not owned:
        context["nothing_chosen"] = True
        return context
    missing = form.missing()
    if not missing:
        position = filled.pop(Slot.POSITION.value)
        configuration = build_configuration(catalogue.platform, position, filled)
        context["report"] = evaluate(configuration, body_of(shown), catalogue.pairs)
    context["missing"] = missing
    context["changes"] = answer(
        shown, [platform], owned=owned, limit=3, misses=1, order=Order.FEWEST_CHANGES
    ).platforms[0]
    return context


def _supplied(platform: Platform) -> list[tuple[str, str]]:
    """Sets as supplied for the platform: name, and the query that fills them in."""
    sets = platform.configurations.prefetch_related("slots").order_by("name")[:SETS]
    return [
        (
            one.name,
            urlencode(
                {
                    "platform": platform.slug,
                    Slot.POSITION.value: one.position_id,
                    **{row.slot: row.part_id for row in one.slots.all()},
                }
            ),
        )
        for one in sets
    ]
