"""A second factor that the club demands: of whom, and what they come to before they have one.

SECOND_FACTOR_FOR names roles. Who has one of them and is signed in without a second factor comes to the page
that turns it on, whatever they ask for, until they have done so or have signed out. Tokens of programs go on:
no code is asked for them, and a new one is made after that page only.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from allauth.mfa.models import Authenticator
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from club import refusals
from club.models import Member

OPEN = {
    *("choose-reader", "offline", "worker", "manifest", "health", "live", "ready", "security-txt"),
    "well-known-change-password",
}
"""Pages for everybody that show nothing of a member; but for tokens those of the account are open too."""


def demanded_of(member: Member) -> bool:
    """Whether the club demands a second factor of ``member``; the role member stands for everybody."""
    roles = settings.SECOND_FACTOR_FOR
    return bool(roles) and (member.role in roles or Member.Role.MEMBER in roles or member.is_superuser)


def has_second_factor(member: Member) -> bool:
    """Whether ``member`` turned one on; one query."""
    return bool(Authenticator.objects.filter(user=member, type=Authenticator.Type.TOTP).exists())


class Demanded:
    """Leads who lacks the second factor that is demanded of them to where it is turned on."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> HttpResponse | None:
        if not settings.SECOND_FACTOR_FOR or _is_open(request):
            return None
        program = request.path.startswith("/api/")
        if program and request.headers.get("Authorization", "").strip():
            return None  # it is its token's, or is refused: its cookies count for nothing
        member = request.user
        if not member.is_authenticated or not demanded_of(member) or has_second_factor(member):
            return None
        is_page = request.method in ("GET", "HEAD") and not request.headers.get("HX-Request")
        if is_page and not program:
            return redirect("mfa_index")
        return refusals.refuse(
            request,
            403,
            _("Your role needs a second factor"),
            _("Turn it on at {address}, then do this again.").format(address=reverse("mfa_index")),
        )


def _is_open(request: HttpRequest) -> bool:
    name = request.resolver_match.url_name if request.resolver_match else None
    return name in OPEN or (request.path.startswith(reverse("account")) and name != "tokens")
