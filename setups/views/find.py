"""Find a body: words and facets, all of them in the address."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from setups.marks import BODIES, CATALOGUE
from setups.models import Body
from setups.services.cards import Card
from setups.services.near import near_names
from setups.services.search import Search
from setups.views.keeping import kept_for_visitors
from setups.views.paging import page_of, searched

A_PAGE = 24


@require_safe
@kept_for_visitors(BODIES, CATALOGUE)
def find(request: HttpRequest) -> HttpResponse:
    """The bodies that the address asks for; to htmx only the part of the page that changes."""
    search = Search(request.GET)
    page, note = page_of(search.ordered(), request.GET.get("page"), A_PAGE, count=search.total)
    context = {
        "search": search,
        "page": page,
        "page_note": note,
        "cards": [Card.of_body(body) for body in page],
        "near": [] if search.total or not search.text else near_names(search.text),
        "without_facets": search.total_of_words() if search.narrowed and not search.total else 0,
        "empty_library": not search.total and not Body.objects.exists(),
    }
    return searched(request, "setups/find", context)
