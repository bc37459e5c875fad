"""Addresses that programs look for on every site, under /.well-known/."""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

GOOD_FOR = timedelta(days=180)
"""So long what is said may be relied on; RFC 9116, 2.5.5 wants less than a year."""


@require_safe
def security(request: HttpRequest) -> HttpResponse:
    """security.txt (RFC 9116): where to report a weakness of this site. 404 where the club names no place."""
    if not settings.SECURITY_CONTACT:
        raise Http404("This site names no place to report a weakness to: write to the club.")
    expires = (timezone.now() + GOOD_FOR).replace(hour=0, minute=0, second=0, microsecond=0)
    lines = [
        *(f"Contact: {one}" for one in settings.SECURITY_CONTACT),
        f"Expires: {expires:%Y-%m-%dT%H:%M:%SZ}",
        "Preferred-Languages: en, de",
        f"Canonical: {request.build_absolute_uri(request.path)}",
    ]
    return HttpResponse("\n".join(lines) + "\n", content_type="text/plain; charset=utf-8")


@require_safe
def change_password(request: HttpRequest) -> HttpResponse:
    """Where a password manager sends its owner (W3C, A Well-Known URL for Changing Passwords)."""
    return redirect(reverse("account_change_password"))
