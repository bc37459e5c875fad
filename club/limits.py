"""How often pages may be asked for from one place, beyond what the accounts' own limits say.

Searching is the dearest thing that anybody may ask for, and forms are what fills the library. A member is
counted by themselves and a visitor by their network address, so that a hall full of members who share one
does not lock itself out. The counting is that of the REST interface, in the shared cache.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from math import ceil
from typing import Any

from django.core.exceptions import ImproperlyConfigured
from django.http import HttpRequest, HttpResponse

COUNTED = frozenset(
    ("find", "setups", "body-setups", "parts", "platforms", "compare", "check", "exports", "export")
)
"""The pages, by name, that search or compute for whoever asks."""
SAFE = ("GET", "HEAD", "OPTIONS")


def per_minute(name: str, rate: str) -> str:
    """``20/minute`` as django-allauth writes it, for one network address. ``name`` is the setting's."""
    if not re.fullmatch(r"[1-9][0-9]*/minute", rate):
        raise ImproperlyConfigured(f"{name} is {rate!r}: write a number a minute, such as 20/minute")
    return rate.removesuffix("inute") + "/ip"


class Limited:
    """Answers 429 with ``Retry-After`` to who searches more than SEARCH_RATE or sends more than FORM_RATE."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> HttpResponse | None:
        from club import refusals
        from setups.api import throttles  # REST framework reads the settings, which read this file

        if request.method not in SAFE and not request.path.startswith("/api/"):
            rate: throttles.Rate = throttles.Sending()
        elif request.resolver_match is not None and request.resolver_match.url_name in COUNTED:
            rate = throttles.Searching()
        else:
            return None
        if rate.allow_request(request, view):
            return None
        return refusals.too_often(request, seconds=ceil(rate.wait() or 60))
