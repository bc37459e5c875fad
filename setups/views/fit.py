"""Fit a body: what it needs, every configuration that fits, and one's own chassis under it."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from django.db.models import Prefetch, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.cache import patch_vary_headers
from django.utils.safestring import SafeString
from django.views.decorators.http import require_safe

from fitcalc.fit import FitReport, evaluate
from fitcalc.parts import Slot
from fitcalc.solver import Match, Order
from setups.forms import ChassisForm
from setups.marks import BODIES, CATALOGUE, NAMES, SETUPS
from setups.models import Body, BodyPart, ConfigurationPart, Platform
from setups.services.changes import Change, Filled, Way, changes, parts_in, slots_of, ways
from setups.services.fitting import Answer, PlatformAnswer, answer, platforms_for, solved
from setups.services.needs import needs_of
from setups.services.posted import posted_for
from setups.services.twins import Beside, as_wide, beside
from setups.translate import body_of, build_configuration, shelf_for
from setups.views.keeping import kept_for_members, kept_for_visitors

PAGE = 12
MOST = 240
"""A body page lists at most this many configurations; by then the figures differ in price only."""
NEAR_A_FIT = 3
"""Beside what fits, so many near misses are worth a look."""
SETS = 8
"""A check page offers so many sets as supplied to start from."""
WAYS = 3
"""A check page shows so many ways to make the chassis fit,"""
WEIGHED = 120
"""out of so many that take the fewest parts while nobody counts their pieces."""


@dataclass(frozen=True, slots=True)
class Row:
    """A configuration as the page lists it; ``instead`` is what differs from the best one."""

    number: int
    match: Match
    beside: Beside | None
    instead: list[Change]


def _bodies() -> QuerySet[Body]:
    rules = Prefetch("part_rules", BodyPart.objects.select_related("part").order_by("pk"))
    return Body.objects.select_related("maker").prefetch_related(rules)


class Numbers:
    """Whole numbers of the address; ``refused`` keeps what was none or out of range, for the page to say."""

    def __init__(self, request: HttpRequest) -> None:
        self._given = request.GET
        self.refused: dict[str, str] = {}

    def get(self, name: str, most: int) -> int | None:
        """The number ``name`` between 1 and ``most``; ``None`` where there is none to go by."""
        text = self._given.get(name, "")
        if not text:
            return None
        number = int(text) if text.isascii() and text.isdigit() and len(text) < 9 else 0
        if 1 <= number <= most:
            return number
        self.refused[name] = text
        return None


@require_safe
@kept_for_visitors(BODIES, CATALOGUE)
def body(request: HttpRequest, slug: str) -> HttpResponse:
    """The body's page: its needs, the configuration in hand drawn large, and all that fit, best first."""
    name, main = kept_for_members(request, lambda: _body_page(request, slug), BODIES, CATALOGUE)
    return render(request, "setups/body.html", {"name": name, "main": main})


def _body_page(request: HttpRequest, slug: str) -> tuple[str, SafeString]:
    """The body's name, and its page below the bar at the top."""
    shown = get_object_or_404(_bodies().prefetch_related("dimensions"), slug=slug)
    numbers = Numbers(request)
    show = numbers.get("show", MOST)
    pages = max(numbers.get("pages", MOST // PAGE) or 1, -(-(show or 1) // PAGE))
    found = answer(shown, limit=pages * PAGE + 1)
    chosen = _chosen(found, request.GET.get("platform", ""))
    matches = chosen.solution.matches if chosen else ()
    rows = _rows(matches, pages * PAGE)
    near_misses = _near(chosen)
    if show and show > len(rows):
        numbers.refused["show"] = request.GET["show"]
        show = None
    near = numbers.get("near", len(near_misses))
    if not rows and near_misses:
        near = near or 1
    hero = None if near or not rows else rows[(show or 1) - 1]
    drawn = near_misses[near - 1] if near else hero.match if hero else None
    context = {
        "body": shown,
        "needs": needs_of(shown),
        "answer": found,
        "fitting": [one for one in found.platforms if one.best],
        "chosen": chosen,
        "rows": rows,
        "hero": hero,
        "near": near,
        "drawn": drawn,
        "report": drawn.report if drawn else None,
        "as_wide": as_wide(hero.match, found.shelf.catalogues[chosen.platform.pk]) if hero else None,
        "near_misses": near_misses,
        "pages": pages,
        "more": pages + 1 if len(matches) > len(rows) and pages * PAGE < MOST else None,
        "refused": numbers.refused,
        "wrong_platform": _wrong_platform(request, chosen and chosen.platform),
    }
    return shown.name, render_to_string("setups/_body.html", context, request)


def _rows(matches: tuple[Match, ...], most: int) -> list[Row]:
    return [
        Row(
            number,
            match,
            beside(match, matches),
            changes(slots_of(matches[0].report.configuration), match.report.configuration),
        )
        for number, match in enumerate(matches[:most], start=1)
    ]


def _chosen(found: Answer, slug: str) -> PlatformAnswer | None:
    """The platform that the address names, else the one with the best answer."""
    named = next((one for one in found.platforms if one.platform.slug == slug), None)
    return named or (found.platforms[0] if found.platforms else None)


def _wrong_platform(request: HttpRequest, chosen: Platform | None) -> str:
    """The platform that the address names, if it is not the one that is shown."""
    named = request.GET.get("platform", "")
    return named if named and (chosen is None or chosen.slug != named) else ""


def _near(chosen: PlatformAnswer | None) -> list[Match]:
    """Near misses worth showing: each fails in its own way, and in one thing only where something fits."""
    if chosen is None:
        return []
    kept: list[Match] = []
    for miss in chosen.solution.near_misses:
        if chosen.best and (len(miss.report.failing) > 1 or len(kept) == NEAR_A_FIT):
            continue
        # Whoever fails in all that another fails in, and more, tells nothing new.
        if not any(_failures(other) < _failures(miss) for other in kept):
            kept.append(miss)
    return kept


def _failures(miss: Match) -> set[tuple[str, str | None]]:
    return {(finding.rule, finding.axle) for finding in miss.report.failing}


@require_safe
@kept_for_visitors(BODIES, CATALOGUE, NAMES, SETUPS)
def setups_of(request: HttpRequest, slug: str) -> HttpResponse:
    """The setups posted for a body, for its page; whoever opens the address itself comes to the search."""
    if not request.htmx:
        return redirect(f"{reverse('setups')}?{urlencode({'body': slug})}")
    shown = get_object_or_404(Body.objects.only("slug"), slug=slug)
    response = render(request, "setups/_posted_for.html", {"body": shown, "setups": posted_for(shown)})
    patch_vary_headers(response, ["HX-Request"])
    return response


@require_safe
def check(request: HttpRequest, slug: str) -> HttpResponse:
    """One's own chassis under the body: what fails, what to change, what to buy; all in the address."""
    shown = get_object_or_404(_bodies(), slug=slug)
    platforms = list(platforms_for(shown))
    named = request.GET.get("platform", "")
    platform = next((one for one in platforms if one.slug == named), platforms[0] if platforms else None)
    context = {
        "body": shown,
        "platforms": platforms,
        "platform": platform,
        "wrong_platform": _wrong_platform(request, platform),
    }
    if platform is not None:
        context |= _checked(request, shown, platform)
    # A page that the browser goes back to is asked for whole.
    part = request.htmx and not request.htmx.history_restore_request
    response = render(request, "setups/_checked.html" if part else "setups/check.html", context)
    patch_vary_headers(response, ["HX-Request"])
    if part:
        response["Cache-Control"] = "no-store"
    return response


def _checked(request: HttpRequest, shown: Body, platform: Platform) -> dict[str, object]:
    shelf = shelf_for([platform], shown)
    catalogue = shelf.catalogues[platform.pk]
    asked = any(request.GET.get(slot.value) for slot in Slot)
    form = ChassisForm(
        request.GET if asked else None, platform=platform, catalogue=catalogue, parts=shelf.parts
    )
    context: dict[str, object] = {"form": form, "asked": asked, "parts": shelf.parts}
    if not asked:
        context["supplied"] = _supplied(platform, form)
        return context
    if not form.is_valid():
        return context
    needs = body_of(shown)
    filled = form.chosen()
    missing = form.missing()
    report = None
    if not missing:
        configuration = build_configuration(
            catalogue.platform,
            filled[Slot.POSITION],
            {slot.value: part for slot, part in filled.items() if slot is not Slot.POSITION},
        )
        report = evaluate(configuration, needs, catalogue.pairs)
    (found,) = solved(
        [platform],
        shelf,
        needs,
        owned=parts_in(filled),
        limit=WEIGHED,
        misses=1,
        order=Order.FEWEST_CHANGES,
    )
    return context | {
        "missing": missing,
        "report": report,
        "found": found,
        "ways": _ways(found, filled, report)[:WAYS],
    }


def _ways(found: PlatformAnswer, filled: Filled, report: FitReport | None) -> list[Way]:
    """The ways to make a chassis fit, fewest changes first; of one that fits, the clearer ones."""
    every = ways(filled, found.solution.matches)
    if report is None or not report.fits:
        return every
    return [way for way in every if way.match.report.verdict.gravity < report.verdict.gravity]


def _supplied(platform: Platform, form: ChassisForm) -> list[tuple[str, str]]:
    """Sets as supplied for the platform: name, and the query that fills in what goes under this body."""
    first = platform.configurations.order_by("name")[:SETS]
    rows = ConfigurationPart.objects.filter(configuration__in=first.values("pk"))
    named: dict[tuple[str, int], dict[str, str]] = {}
    for row in rows.select_related("configuration").order_by("configuration__name", "pk"):
        one = row.configuration
        query = named.setdefault(
            (one.name, one.pk), {"platform": platform.slug, Slot.POSITION.value: str(one.position_id)}
        )
        if form.offers(row.slot, row.part_id):
            query[row.slot] = str(row.part_id)
    return [(name, urlencode(query)) for (name, _), query in named.items()]
