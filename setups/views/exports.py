"""The library as files: choose what, as CSV or as JSON Lines."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from rest_framework.throttling import UserRateThrottle

from setups.api.throttles import Counted
from setups.exports.sources import OWN, rows_of
from setups.exports.writing import Format, written
from setups.imports.kinds import KINDS, LOAD_ORDER
from setups.imports.record_kinds import RECORDS


class Exporting(Counted, UserRateThrottle):
    """A member may fetch the whole library twice an hour in either format; no one needs it more often."""

    scope = "exporting"
    rate = "60/hour"


@never_cache
@require_safe
def exports(request: HttpRequest) -> HttpResponse:
    """What can be fetched, and what the files hold."""
    return _page(request)


def _page(request: HttpRequest, wait: float | None = None) -> HttpResponse:
    minutes = None if wait is None else max(1, round(wait / 60))
    rest = [kind for kind in RECORDS if not kind.whole]
    context = {
        "kinds": [kind for kind in KINDS.values() if not kind.whole and kind not in rest],
        "rest": rest,
        "order": [_(KINDS[key].many) for key in LOAD_ORDER if not KINDS[key].whole],
        "formats": list(Format),
        "minutes": minutes,
        "most_bytes": settings.DATA_UPLOAD_MAX_MEMORY_SIZE,
    }
    page = render(request, "setups/exports.html", context, status=200 if wait is None else 429)
    if wait is not None:
        page["Retry-After"] = str(int(wait) + 1)
    return page


@never_cache
@require_safe
@login_required
def export(request: HttpRequest, what: str, how: str) -> HttpResponseBase:
    """One file, sent as it is read; ``?mine=1``: only what the member posted or measured."""
    kind = KINDS.get(what)
    if kind is None or kind.whole or how not in list(Format):
        raise Http404("There is no such file: choose one from the list of exports")
    mine = bool(request.GET.get("mine")) and what in OWN
    limit: Any = Exporting()
    if request.method == "GET" and not limit.allow_request(request, None):
        return _page(request, limit.wait() or 60.0)
    rows = rows_of(kind, request.user if mine else None)
    response = StreamingHttpResponse(written(kind, rows, Format(how)), content_type=Format(how).content_type)
    name = f"{'my-' if mine else ''}{what}.{how}"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
