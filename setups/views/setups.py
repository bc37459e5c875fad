"""Find a setup: words and facets, all of them in the address."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from setups.marks import BODIES, CATALOGUE, NAMES, SETUPS
from setups.models import Body, Platform, Setup
from setups.services.near import near_names
from setups.services.search_setups import A_PAGE, SetupSearch
from setups.views.keeping import kept_for_visitors
from setups.views.paging import page_of, searched


@require_safe
@kept_for_visitors(BODIES, CATALOGUE, NAMES, SETUPS)
def setups(request: HttpRequest) -> HttpResponse:
    """The setups that the address asks for; to htmx only the part of the page that changes."""
    search = SetupSearch(request.GET, member=request.user.pk)
    page, note = page_of(search.ordered(), request.GET.get("page"), A_PAGE, count=search.total)
    near = [] if search.total or not search.text else near_names(search.text, (Setup, Body, Platform))
    context = {
        "search": search,
        "page": page,
        "page_note": note,
        "near": near,
        "without_facets": search.total_of_words() if search.narrowed and not search.total else 0,
        "empty_library": not search.total and not Setup.objects.listed().exists(),
    }
    return searched(request, "setups/setups", context)
