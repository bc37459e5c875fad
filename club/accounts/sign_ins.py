"""A member's sign-ins: where each is, with which browser, since when; and to end them.

Of each the network is kept that it came from (an IPv4 address without its last part, of IPv6 the first half),
what the browser calls itself, when it began and when it was last seen. All of it goes with the session.
"""

from __future__ import annotations

import ipaddress
import logging
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import ua_parser
from allauth.account.adapter import get_adapter
from allauth.account.decorators import reauthentication_required
from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import SESSION_KEY
from django.contrib.auth.decorators import login_required
from django.contrib.sessions.models import Session
from django.core.exceptions import PermissionDenied
from django.db import DatabaseError
from django.db.models import QuerySet
from django.db.models.signals import pre_save
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from club.accounts.sessions import NOTED_EVERY
from club.models import Member
from club.security_log import note

log = logging.getLogger(__name__)


class Seen:
    """Notes, every few minutes, that a signed-in session was used, and from where."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        # Only where the view has asked who it is: the session is read then, and it is its member's.
        member = getattr(request, "_cached_user", None)
        if member is not None and member.is_authenticated:
            self._note(request)
        return response

    def _note(self, request: HttpRequest) -> None:
        seen, now = getattr(request.session, "seen", None), timezone.now()
        if seen is None or abs(now - seen) < NOTED_EVERY or not request.session.session_key:
            return
        found = {"last_seen_at": now, "user_agent": _calls_itself(request)}
        try:
            found["ip"] = network_of(get_adapter().get_client_ip(request))
            UserSession.objects.filter(session_key=request.session.session_key).update(**found)
        except (DatabaseError, PermissionDenied):  # a page that was made is shown all the same
            log.exception("It could not be noted that a session was used")


@receiver(pre_save, sender=UserSession)
def _keep_the_network_only(sender: Any, instance: UserSession, **_: Any) -> None:
    instance.ip = network_of(instance.ip)


def _calls_itself(request: HttpRequest) -> str:
    most = UserSession._meta.get_field("user_agent").max_length
    return request.headers.get("User-Agent", "")[:most]


def network_of(address: str) -> str:
    """The first address of the network that ``address`` is in: of IPv4 a /24, of IPv6 a /64."""
    bits = 24 if ipaddress.ip_address(address).version == 4 else 64
    return str(ipaddress.ip_network(f"{address}/{bits}", strict=False).network_address)


@dataclass(frozen=True, slots=True)
class SignIn:
    """One that has not ended, as its member sees it."""

    key: int
    browser: str
    system: str
    network: str
    began: datetime
    seen: datetime
    here: bool

    @classmethod
    def of(cls, row: UserSession) -> SignIn:
        parsed = ua_parser.parse(row.user_agent)
        return cls(
            row.pk,
            parsed.user_agent.family if parsed.user_agent else "",
            parsed.os.family if parsed.os else "",
            f"{row.ip.rpartition('.')[0]}.…" if "." in row.ip else f"{row.ip}…",
            row.created_at,
            row.last_seen_at,
            row.is_current(),
        )

    @property
    def told(self) -> str:
        """With what, in the reader's language."""
        if self.browser and self.system:
            return _("{browser} on {system}").format(browser=self.browser, system=self.system)
        return self.browser or self.system or _("A browser that does not say what it is")


@login_required
@never_cache
@require_safe
def sign_ins(request: HttpRequest) -> HttpResponse:
    """One's sign-ins, this one first, then those seen last."""
    mine = [SignIn.of(row) for row in UserSession.objects.purge_and_list(request.user)]
    mine.sort(key=lambda one: (not one.here, -one.seen.timestamp()))
    context = {
        "sign_ins": mine,
        "others": sum(not one.here for one in mine),
        "days": settings.SESSION_COOKIE_AGE // (24 * 3600),
        "idle": settings.SESSION_IDLE_HOURS,
        "idle_days": settings.SESSION_IDLE_HOURS // 24 if settings.SESSION_IDLE_HOURS % 24 == 0 else 0,
    }
    return render(request, "account/sign_ins.html", context)


@login_required
@never_cache
@require_POST
@reauthentication_required
def end(request: HttpRequest, pk: int) -> HttpResponse:
    """End one sign-in of one's own; that in hand is ended by signing out."""
    row = get_object_or_404(UserSession, pk=pk, user=request.user)
    if row.is_current():
        return redirect("sign-out")
    row.end()
    note("sign-in-ended", request.user.pk, ended=1)
    messages.success(request, _("That sign-in has ended: whoever used it has to sign in again."))
    return redirect("sign-ins")


@login_required
@never_cache
@require_POST
@reauthentication_required
def end_others(request: HttpRequest) -> HttpResponse:
    """End all sign-ins of one's own but the one in hand."""
    ended = 0
    for row in UserSession.objects.filter(user=request.user).exclude(session_key=request.session.session_key):
        row.end()
        ended += 1
    for session in _unlisted_of(request.user):
        if session.session_key != request.session.session_key:
            session.delete()
            ended += 1
    note("sign-in-ended", request.user.pk, ended=ended)
    said = ngettext("{count} other sign-in has ended.", "{count} other sign-ins have ended.", ended)
    messages.success(request, said.format(count=ended) if ended else _("You are signed in nowhere else."))
    return redirect("sign-ins")


def clear_out(members: QuerySet[Member], **_: Any) -> None:
    """Takes what the demo's members signed in with, and where, out with them."""
    UserSession.objects.filter(user__in=members).delete()
    Authenticator.objects.filter(user__in=members).delete()


def _unlisted_of(member: Member) -> Iterator[Session]:
    """Sessions of ``member`` of which nothing is kept: they began before the site kept any."""
    listed = UserSession.objects.values("session_key")
    for session in Session.objects.exclude(session_key__in=listed).iterator():
        if session.get_decoded().get(SESSION_KEY) == str(member.pk):
            yield session
