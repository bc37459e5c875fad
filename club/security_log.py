"""What happens to accounts and rights, in the log ``club.security``: who came in, was refused, may do more.

Members are named by their number, never by a name or an address of theirs, and nothing that was typed is
repeated: what stands in the field for a name may be a password. Each line has the request's id (`club.logs`)
and, of a request, the network address that it came from; with LOG_FORMAT=json also ``event``, ``member``,
``address`` and what else is known as fields of their own.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from contextvars import ContextVar
from typing import Any

from allauth.account import signals as accounts
from allauth.account.adapter import get_adapter
from allauth.mfa import signals as factors
from allauth.mfa.models import Authenticator
from django.contrib.auth import signals
from django.core.exceptions import PermissionDenied
from django.db.models.signals import post_save, pre_save
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse

from club.logs import path_of
from club.models import Member, Token
from club.models.token import revoked

log = logging.getLogger("club.security")
RIGHTS = ("role", "is_active", "is_staff", "is_superuser")
"""The fields of a member that say what they may do."""
REFUSED = {401: "unknown", 403: "refused", 429: "too-often"}
"""The event that an answer with such a status is."""

_request: ContextVar[HttpRequest | None] = ContextVar("request", default=None)


def note(event: str, member: int | None = None, level: int = logging.INFO, **more: Any) -> None:
    """One line: ``event`` is a word or two with dashes, ``member`` the number of the one it happened to."""
    request = _request.get()
    fields = {"event": event, "member": member, "address": _address(request), **more}
    said = [f"{name}={value}" for name, value in fields.items() if name != "event" and value is not None]
    log.log(level, "%s", " ".join([event, *said]), extra=fields)


class Noted:
    """Notes every answer that refuses: not signed in, not allowed, too often."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        current = _request.set(request)
        try:
            response = self.get_response(request)
            if event := REFUSED.get(response.status_code):
                where = {"method": request.method, "path": path_of(request)}
                note(event, _member_of(request), logging.WARNING, **where)
            return response
        finally:
            _request.reset(current)


def _member_of(request: HttpRequest) -> int | None:
    # Only where the view has asked who it is: a log line costs no query.
    return getattr(getattr(request, "_cached_user", None), "pk", None)


def _address(request: HttpRequest | None) -> str | None:
    if request is None:
        return None
    try:
        return get_adapter().get_client_ip(request)
    except PermissionDenied:
        return None


@receiver(signals.user_logged_in)
def _signed_in(sender: Any, user: Member, **_: Any) -> None:
    note("signed-in", user.pk)


@receiver(signals.user_logged_out)
def _signed_out(sender: Any, user: Member | None, **_: Any) -> None:
    if user is not None:
        note("signed-out", user.pk)


@receiver(signals.user_login_failed)
def _failed(sender: Any, credentials: dict[str, Any], **_: Any) -> None:
    name = str(credentials.get("username") or "")
    found = Member.objects.filter(username__iexact=name).values_list("pk", flat=True).first()
    note("sign-in-failed", found, logging.WARNING)


def _of_accounts(event: str) -> Callable[..., None]:
    def noted(sender: Any, user: Member, **_: Any) -> None:
        note(event, user.pk)

    return noted


for _signal, _event in (
    (accounts.user_signed_up, "signed-up"),
    (accounts.password_changed, "password-changed"),
    (accounts.password_set, "password-set"),
    (accounts.password_reset, "password-reset"),
    (accounts.email_changed, "e-mail-changed"),
):
    _signal.connect(_of_accounts(_event), weak=False, dispatch_uid=f"club.security_log.{_event}")


def _of_factors(event: str, level: int) -> Callable[..., None]:
    def noted(sender: Any, user: Member, authenticator: Authenticator, **_: Any) -> None:
        note(event, user.pk, level, factor=authenticator.type)

    return noted


for _signal, _event, _level in (
    (factors.authenticator_added, "second-factor-on", logging.INFO),
    (factors.authenticator_removed, "second-factor-off", logging.WARNING),
    (factors.authenticator_reset, "recovery-codes-made", logging.INFO),
    (factors.authenticator_used, "second-factor-used", logging.INFO),
    (factors.authentication_failed, "second-factor-failed", logging.WARNING),
):
    _noted = _of_factors(_event, _level)
    _signal.connect(_noted, weak=False, dispatch_uid=f"club.security_log.{_event}")


@receiver(pre_save, sender=Member)
def _about_to_change(sender: Any, instance: Member, update_fields: Any, **_: Any) -> None:
    instance._rights_before = None
    if instance.pk and (update_fields is None or set(RIGHTS) & set(update_fields)):
        instance._rights_before = Member.objects.filter(pk=instance.pk).values(*RIGHTS).first()


@receiver(post_save, sender=Member)
def _changed(sender: Any, instance: Member, **_: Any) -> None:
    before = getattr(instance, "_rights_before", None) or {}
    for name, was in before.items():
        if (now := getattr(instance, name)) != was:
            note("rights-changed", instance.pk, logging.WARNING, right=name, before=was, now=now)


@receiver(post_save, sender=Token)
def _token_made(sender: Any, instance: Token, created: bool, **_: Any) -> None:
    if created:
        note("token-made", instance.member_id, token=instance.pk, scopes=instance.scopes)


@receiver(revoked)
def _token_revoked(sender: Any, instance: Token, **_: Any) -> None:
    note("token-revoked", instance.member_id, token=instance.pk)
