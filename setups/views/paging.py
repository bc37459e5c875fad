"""Pages of a list, whatever number the address gives."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Page, Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _


def page_of(things: Any, asked: str | None, size: int, count: int | None = None) -> tuple[Page, str]:
    """The page that ``asked`` names, else the nearest that there is, with a line that says so.

    ``count`` spares the query where the number of ``things`` is known.
    """
    paginator = Paginator(things, size)
    if count is not None:
        paginator.count = count
    if not asked:
        return paginator.page(1), ""
    whole = asked.isascii() and asked.isdigit() and len(asked) < 10
    number = min(max(1, int(asked)), paginator.num_pages) if whole else 1
    if whole and number == int(asked):
        return paginator.page(number), ""
    shown = asked if len(asked) <= 20 else f"{asked[:20]}…"
    said = _("There is no page “{shown}”: this is page {number} of {pages}.")
    return paginator.page(number), said.format(shown=shown, number=number, pages=paginator.num_pages)


def whole_number(text: str, low: int, high: int, otherwise: int) -> int:
    """The whole number in ``text`` held between ``low`` and ``high``; ``otherwise`` where it is none."""
    if not (text.isascii() and text.isdigit() and len(text) < 9):
        return otherwise
    return min(high, max(low, int(text)))


def searched(request: HttpRequest, name: str, context: dict[str, Any]) -> HttpResponse:
    """The page ``name``.html of a search; to htmx, while somebody types, only ``name``_found.html."""
    part = request.htmx and not request.htmx.history_restore_request  # type: ignore[attr-defined]
    response = render(request, f"{name}_found.html" if part else f"{name}.html", context)
    patch_vary_headers(response, ["HX-Request"])
    if part:
        response["Cache-Control"] = "no-store"  # going back must not show a part as a page
    return response
