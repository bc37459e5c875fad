"""Look round what the library holds besides bodies: platforms and parts."""

from __future__ import annotations

from django.db.models import Count
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from setups.filters import PartFilter, search_text, taken_by
from setups.models import Body, Part, Platform
from setups.services.parts import PartSheet
from setups.services.platforms import offered
from setups.services.search import with_layouts
from setups.translate import platform_of
from setups.translated import within_a_sentence
from setups.views.paging import page_of

PLATFORMS_A_PAGE = 50
PARTS_A_PAGE = 48
BODIES_SHOWN = 12


@require_safe
def platforms(request: HttpRequest) -> HttpResponse:
    """Every chassis family with its scale, drive and what is sold for it."""
    listed = (
        Platform.objects.select_related("maker")
        .annotate(part_count=Count("fitments"))
        .order_by("scale", "name")
    )
    page, note = page_of(listed, request.GET.get("page"), PLATFORMS_A_PAGE)
    return render(request, "setups/platforms.html", {"page": page, "page_note": note})


@require_safe
def platform(request: HttpRequest, slug: str) -> HttpResponse:
    """One chassis family: figures, reach, front ends, offsets, parts, bodies and what counts as a fit."""
    shown = get_object_or_404(with_layouts().select_related("maker"), slug=slug)
    bodies = Body.objects.filter(taken_by(shown))
    calculated = platform_of(shown)
    context = {
        "platform": shown,
        "datum": calculated.datum,
        "confidence": calculated.criteria.confidence,
        "offered": offered(shown),
        "bodies": bodies.select_related("maker")[:BODIES_SHOWN],
        "body_count": bodies.count(),
        "scale_count": Body.objects.filter(scale=shown.scale).count(),
    }
    return render(request, "setups/platform.html", context)


@require_safe
def parts(request: HttpRequest) -> HttpResponse:
    """Every part, narrowed by words, kind, platform and axle."""
    data = request.GET.copy()
    data["q"], cut = search_text(data.get("q", ""))
    found = PartFilter(data, Part.objects.all())
    listed = (
        found.qs.select_related("maker")
        .prefetch_related("dimensions", "platforms")
        .order_by("kind", "name", "pk")
    )
    page, note = page_of(listed, request.GET.get("page"), PARTS_A_PAGE)
    refused = [
        _("There is no such {field}: every one is listed.").format(
            field=within_a_sentence(str(found.form.fields[name].label))
        )
        for name in found.form.errors
    ]
    if cut:
        said = _("That text is too long to search for: this is what “{text}” finds.")
        refused.append(said.format(text=data["q"]))
    context = {
        "filter": found,
        "page": page,
        "sheets": [PartSheet(part) for part in page],
        "notes": [*refused, *([note] if note else [])],
        "narrowed": any(data.get(name) for name in found.form.fields),
        "empty_library": not page.paginator.count and not Part.objects.exists(),
    }
    return render(request, "setups/parts.html", context)


@require_safe
def part(request: HttpRequest, slug: str) -> HttpResponse:
    """One part: its dimensions and where they come from, what it fits, and what it goes with."""
    shown = (
        Part.objects.select_related("maker")
        .prefetch_related("dimensions", "platforms__maker")
        .filter(slug=slug)
        .first()
    )
    if shown is None:
        raise Http404("There is no such part in the library")
    return render(request, "setups/part.html", {"sheet": PartSheet(shown), "part": shown})
