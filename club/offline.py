"""What a phone keeps for where there is no signal, and the site as something to install.

Which pages are kept stands here and nowhere else. An answer that may be kept says so in ``X-Keep`` (the kind
of page), and every page says in ``X-Reader`` for whom and how it was made; the worker
(``templates/club/worker.js``) keeps the one, and puts everything away when the other names somebody else. No
cache of HTTP is told anything by this: a member's page stays ``no-store`` (``club/headers.py``).
"""

from __future__ import annotations

import json
import textwrap
from collections.abc import Callable, Iterable
from functools import cache
from hashlib import sha256
from pathlib import Path

from django.conf import settings
from django.contrib.auth.decorators import login_required
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.template.loader import get_template
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import get_language, override
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from club.models import Chassis, OwnedBody, OwnedPart
from club.racing.events.events import may_inspect
from club.racing.views_events.asked import event_for, for_members
from setups.units import lengths

KINDS: dict[str, dict[str, int]] = {
    "garage": {"most": 60, "days": 30},
    "event": {"most": 80, "days": 3},
    "body": {"most": 20, "days": 30},
    "check": {"most": 20, "days": 30},
    "race-day": {"most": 60, "days": 1},
}
"""So many pages of a kind stay, those looked at last, and so long."""
KEPT = {
    **dict.fromkeys(("garage", "owned-part", "chassis", "chassis-fits", "garage-needs", "kit"), "garage"),
    **dict.fromkeys(("events", "event", "event-check", "event-record", "event-sheets"), "event"),
    **dict.fromkeys(("entry", "entry-record", "entry-sheet"), "event"),
    "body": "body",
    "check": "check",
    "inspect": "race-day",
}
"""The kind of a page by the name of its address. One that is not here is not kept."""
OF_ONE_PATH = ("body", "check")
"""Kinds of which the page looked at last takes the place of those with another query."""
AHEAD = {"garage": "garage-pages", "event": "event-pages"}
"""Pages with which others are fetched, those of the list under the second name."""
MOST_AHEAD = 40
PAPER, SHEET, INK = "#f8f5ee", "#fdfbf6", "#1d2328"
"""The colours of site.css: the page, the bar at the top by day, and by night."""


class Told:
    """Says of each page whether a phone may keep it, and for whom it was made."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        # Who it is only where the view has asked, as in club/headers.py.
        member = getattr(request, "_cached_user", None)
        if member is None or not response.headers.get("Content-Type", "").startswith("text/html"):
            return response
        response.headers["X-Reader"] = f"{member.pk or 0} {get_language()} {lengths()}"
        name = request.resolver_match.url_name if request.resolver_match else None
        if (settings.OFFLINE_PAGES or name == "inspect") and _may_be_kept(request, response, name):
            response.headers["X-Keep"] = KEPT[name]
            if name in AHEAD:
                response.headers["X-Keep-Also"] = reverse(AHEAD[name], kwargs=request.resolver_match.kwargs)
        return response


def _may_be_kept(request: HttpRequest, response: HttpResponse, name: str | None) -> bool:
    whole = request.method == "GET" and not request.headers.get("HX-Request")
    return whole and response.status_code == 200 and name in KEPT


@never_cache
@login_required
@require_safe
def garage_pages(request: HttpRequest) -> JsonResponse:
    """Addresses of the member's garage, for the worker to fetch ahead."""
    chassis = Chassis.objects.filter(member=request.user).order_by("-pk").values_list("pk", flat=True)
    bodies = (
        OwnedBody.objects.filter(member=request.user).order_by("-pk").values_list("body__slug", flat=True)
    )
    parts = OwnedPart.objects.filter(member=request.user).order_by("-pk").values_list("pk", flat=True)
    found = [reverse("garage"), reverse("kit")]
    found += [reverse(name, args=(pk,)) for pk in chassis[:10] for name in ("chassis", "chassis-fits")]
    found += [reverse("garage-needs", args=(slug,)) for slug in bodies[:8]]
    found += [reverse("owned-part", args=(pk,)) for pk in parts[:MOST_AHEAD]]
    return _listed(found)


@never_cache
@for_members
@require_safe
def event_pages(request: HttpRequest, slug: str) -> JsonResponse:
    """Addresses of an event: its check, the caller's own cars and their sheets, and then the others' cars."""
    event = event_for(request, slug)
    entries = event.entries.filter(withdrawn=False).order_by("number")
    mine = list(entries.filter(member=request.user).values_list("pk", flat=True))
    found = [reverse("event", args=(slug,)), reverse("event-check", args=(slug,))]
    if may_inspect(request.user):
        found.append(reverse("event-sheets", args=(slug,)))
    found += [reverse(name, args=(slug, pk)) for pk in mine for name in ("entry", "entry-sheet")]
    others = entries.exclude(pk__in=mine).values_list("pk", flat=True)
    return _listed([*found, *(reverse("entry", args=(slug, pk)) for pk in others[:MOST_AHEAD])])


def _listed(found: list[str]) -> JsonResponse:
    return JsonResponse({"pages": found[:MOST_AHEAD]})


@require_safe
def offline(request: HttpRequest) -> HttpResponse:
    """What this device keeps. The worker shows it, fetched in each language, in place of what is not kept."""
    asked = request.GET.get("in", "")
    with override(asked if asked in dict(settings.LANGUAGES) else get_language()):
        return render(request, "club/offline.html")


@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The script that keeps pages; it stands at the top so that it sees the whole site."""
    response = render(request, "club/worker.js", {"given": json.dumps(_given())})
    response.headers["Content-Type"] = "text/javascript; charset=utf-8"
    response.headers["Cache-Control"] = "no-cache"
    return response


@cache
def _given() -> dict[str, object]:
    names = _looks()
    content = [_content(name) for name in names]
    content.append(get_template("club/offline.html").template.source.encode())
    return {
        "version": sha256(b"\0".join(content)).hexdigest()[:12],
        "looks": [static(name) for name in names],
        "pages": {code: f"{reverse('offline')}?in={code}" for code, _name in settings.LANGUAGES},
        "kinds": KINDS,
        "ofOnePath": OF_ONE_PATH,
        "static": settings.STATIC_URL,
    }


def _looks() -> list[str]:
    """Every style sheet, script and drawing that pages load."""
    there = Path(settings.BASE_DIR, "club", "static", "club")
    return sorted(f"club/{one.name}" for one in there.iterdir() if one.suffix in (".css", ".js", ".svg"))


def _content(name: str) -> bytes:
    found = finders.find(name)
    return Path(found).read_bytes() if found else name.encode()


@require_safe
def manifest(request: HttpRequest) -> HttpResponse:
    """The site as an app on a phone's home screen (W3C, Web Application Manifest)."""
    icons: Iterable[tuple[str, str, str]] = (
        ("icon-192.png", "192x192", "any"),
        ("icon-512.png", "512x512", "any"),
        ("icon-maskable-512.png", "512x512", "maskable"),
    )
    told = {
        "id": "/",
        "name": settings.CLUB_NAME,
        "short_name": textwrap.shorten(settings.CLUB_NAME, 12, placeholder="") or settings.CLUB_NAME[:12],
        "description": _("Which chassis, parts and wheel offsets a body needs."),
        "lang": get_language(),
        "start_url": reverse("find"),
        "scope": "/",
        "display": "standalone",
        "background_color": PAPER,
        "theme_color": SHEET,
        "icons": [
            {"src": static(f"club/{name}"), "sizes": sizes, "type": "image/png", "purpose": purpose}
            for name, sizes, purpose in icons
        ],
        "shortcuts": [
            {"name": _("Find a body"), "url": reverse("find")},
            {"name": _("My garage"), "url": reverse("garage")},
            {"name": _("Events"), "url": reverse("events")},
        ],
    }
    return JsonResponse(
        told, content_type="application/manifest+json", json_dumps_params={"ensure_ascii": False}
    )


def script_words() -> str:
    """What ``signal.js`` says, in the reader's language, as JSON."""
    words = {
        "asOf": _("No signal: this is the page as it was on {when}."),
        "notSent": _(
            "No signal: this was not sent. What you typed stays here; send it when the signal is back."
        ),
        "noSignal": _("No signal: what is shown is from before. It is asked again when the signal is back."),
        "tooOften": _("Too much was asked for in a short time: wait a minute, then try again."),
        "signedOut": _("You are signed out: sign in, then try again."),
        "failed": _("The library could not answer: try again in a moment."),
    }
    return json.dumps(words, ensure_ascii=False)
