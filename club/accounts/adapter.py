"""Where the club's accounts differ from the library's defaults."""

from __future__ import annotations

import logging
from ipaddress import ip_address
from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club import security_log
from club.accounts import sessions
from club.accounts.lockout import LockedOut, counter, forget_the_future, seconds_left
from club.models import Member

log = logging.getLogger(__name__)
SIGNS_IN_WITH = "signs_in_with"
"""Under this a session has which password began signing in: the code after it counts for no newer one."""


class Adapter(DefaultAccountAdapter):
    error_messages = DefaultAccountAdapter.error_messages | {
        "username_password_mismatch": gettext_lazy(
            "No member has that name with that password. Capital "
            "letters count in the password: type it again."
        ),
        "username_taken": gettext_lazy("Another member has that name: choose a different one."),
        "username_blacklisted": gettext_lazy("That name is kept for the site: choose a different one."),
        "enter_current_password": gettext_lazy("That is not your present password: type it again."),
        "incorrect_password": gettext_lazy("That is not your password: type it again."),
        "duplicate_email": gettext_lazy("That is your address already. Type the new one."),
        "invalid_password_reset": gettext_lazy("That link does not work any more."),
    }

    def _get_login_attempts_cache_key(self, request: HttpRequest, **credentials: Any) -> str:
        return counter(request, credentials.get("username") or "")

    def pre_authenticate(self, request: HttpRequest, **credentials: Any) -> None:
        key = counter(request, credentials.get("username") or "")
        forget_the_future(request, key)
        try:
            super().pre_authenticate(request, **credentials)
        except ValidationError as error:
            security_log.note("locked-out", level=logging.WARNING)
            raise LockedOut(seconds_left(request, key)) from error

    def get_client_ip(self, request: HttpRequest) -> str:
        """Of an IPv4 address that a socket for both tells as IPv6 (RFC 4291, 2.5.5.2) the IPv4 address: their
        first halves are all alike."""
        address = ip_address(super().get_client_ip(request))
        return str(getattr(address, "ipv4_mapped", None) or address)

    def pre_login(self, request: HttpRequest, user: Member, **given: Any) -> HttpResponse | None:
        request.session[SIGNS_IN_WITH] = user.get_session_auth_hash()
        answer: HttpResponse | None = super().pre_login(request, user, **given)
        return answer

    def login(self, request: HttpRequest, user: Member) -> None:
        super().login(request, user)
        request.session.pop(SIGNS_IN_WITH, None)
        sessions.begin(request)

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        """Send, and where the mail server fails say so; what was being done goes on."""
        try:
            super().send_mail(template_prefix, email, context)
        except OSError:  # every smtplib error is one
            log.exception("Mail could not be sent: check EMAIL_URL")
            trouble = _("The site could not send its e-mail: try again later, or tell the club.")
            messages.error(self.request, trouble)

    def clean_email(self, email: str) -> str:
        longest = Member._meta.get_field("email").max_length
        if len(email) > longest:
            raise ValidationError(
                _("An e-mail address has {longest} letters at most: type it again.").format(longest=longest)
            )
        return email

    def is_reauthentication_required(self, *, app: str, **given: Any) -> bool:
        """Not of who has no password yet, and is about to set one."""
        member = self.request.user
        return member.has_usable_password() and super().is_reauthentication_required(app=app, **given)

    def is_ajax(self, request: HttpRequest) -> bool:
        """Never: an answer in JSON would repeat the password that was typed."""
        return False

    def get_signup_redirect_url(self, request: HttpRequest) -> str:
        return request.user.get_absolute_url()

    def get_password_change_redirect_url(self, request: HttpRequest) -> str:
        return reverse("account")
