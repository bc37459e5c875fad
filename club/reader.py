"""Who reads: in which language, and with lengths in mm or inches.

A visitor's choice is in two cookies. A member's is kept with the member too, and put into the cookies of
whatever device they sign in on; so no request asks a table for it. What a program asks for (``/api/``, the
health check) is answered in English and mm always.
"""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib.auth.signals import user_logged_in
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse
from django.middleware.locale import LocaleMiddleware
from django.utils import translation
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_POST
from django.views.i18n import set_language

from club.cookies import named
from club.models import Member
from setups.units import Lengths, lengths_in

ENGLISH = "en-gb"
PROGRAMS = ("/api/", "/health/")
"""Addresses that programs read."""
FOR_PEOPLE = "/api/docs/"
"""The one page among them."""
UNITS_COOKIE = named("units")
YEAR = 365 * 24 * 60 * 60


class Reader(LocaleMiddleware):
    """Answers in the language and the units of who asks, and leaves both as they were."""

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with translation.override(ENGLISH):
            if request.path_info.startswith(PROGRAMS) and request.path_info != FOR_PEOPLE:
                request.LANGUAGE_CODE = ENGLISH
                return self.get_response(request)
            with lengths_in(_unit(request.COOKIES.get(UNITS_COOKIE, ""))):
                response = super().__call__(request)
        patch_vary_headers(response, ("Cookie",))
        if (member := getattr(request, "signed_in_now", None)) is not None:
            _remember(response, member.language, member.units)
        return response


@require_POST
def choose(request: HttpRequest) -> HttpResponse:
    """Keeps the language and the unit that were chosen, and goes back to where they were."""
    response = set_language(request)
    language, units = request.POST.get("language", ""), request.POST.get("units", "")
    language = language if language in dict(settings.LANGUAGES) else ""
    units = units if units in set(Lengths) else ""
    _remember(response, "", units)
    if request.user.is_authenticated:
        kept = {name: value for name, value in (("language", language), ("units", units)) if value}
        Member.objects.filter(pk=request.user.pk).update(**kept)
    return response


@receiver(user_logged_in)
def _as_they_like_it(sender: Any, request: HttpRequest, user: Member, **_: Any) -> None:
    request.signed_in_now = user


def _unit(given: str) -> Lengths:
    return Lengths.INCH if given == Lengths.INCH else Lengths.MM


def _remember(response: HttpResponse, language: str, units: str) -> None:
    """Puts what is chosen into cookies; what is empty stays as it was."""
    for name, value in ((settings.LANGUAGE_COOKIE_NAME, language), (UNITS_COOKIE, units)):
        if value:
            response.set_cookie(
                name,
                value,
                max_age=YEAR,
                secure=settings.SESSION_COOKIE_SECURE,
                httponly=True,
                samesite="Lax",
            )
