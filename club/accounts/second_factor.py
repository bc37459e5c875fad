"""The second factor of a member: codes of an app on their phone (TOTP, RFC 6238), and recovery codes.

The rows, the stage of signing in and the signals are allauth's mfa app; here are its words, how its secrets
are kept, and that a code is taken once. A code is of half a minute and is taken half a minute early or late
(RFC 6238, 5.2), since a phone's clock and a person's typing are never exact.
"""

from __future__ import annotations

import logging
import time
from io import BytesIO

import segno
from allauth.core import context
from allauth.core.internal.cryptokit import compare_user_code
from allauth.mfa import app_settings as of_mfa
from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.base import forms as theirs
from allauth.mfa.base.internal.flows import check_rate_limit
from allauth.mfa.models import Authenticator
from allauth.mfa.totp import forms as theirs_of_apps
from allauth.mfa.totp.internal import auth
from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MaxLengthValidator
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club import security_log
from club.accounts import lockout, sealed
from club.models import Member

log = logging.getLogger(__name__)
TOTP, RECOVERY = Authenticator.Type.TOTP, Authenticator.Type.RECOVERY_CODES


class Adapter(DefaultMFAAdapter):
    error_messages = DefaultMFAAdapter.error_messages | {
        "incorrect_code": gettext_lazy(
            "That code is not right, or it was used already. Each is good for half a minute: wait for the "
            "next one and type that. If none is taken, look whether the clock of your phone is right."
        ),
    }

    def get_totp_label(self, user: Member) -> str:
        return user.get_username()

    def get_totp_issuer(self) -> str:
        # The colon would end it, as the app reads the address.
        return settings.CLUB_NAME.replace(":", " ")

    def build_totp_svg(self, url: str) -> str:
        """A QR code of ``url``, black on white in either scheme of colours: a camera has to read it."""
        drawn = BytesIO()
        code = segno.make(url, error="m", micro=False)
        code.save(drawn, kind="svg", xmldecl=False, scale=4, dark="#000", light="#fff")
        return drawn.getvalue().decode()

    def encrypt(self, text: str) -> str:
        return sealed.seal(text)

    def decrypt(self, encrypted_text: str) -> str:
        return sealed.unseal(encrypted_text)


class CodesLocked(lockout.LockedOut):
    """Too many wrong codes for one member, from wherever: who types one has the password already."""

    told = gettext_lazy(
        "Too many wrong codes were typed for this account. Wait {time}, then try again. Was it not you? Then "
        "somebody knows your password: set a new one now."
    )


class _Coded:
    """Fields and failures of a form that takes a code of ``self.user``."""

    def __init__(self, *args, **given) -> None:  # type: ignore[no-untyped-def]
        super().__init__(*args, **given)
        field = self.fields["code"]  # type: ignore[attr-defined]
        field.label = gettext_lazy("Code")
        field.validators.append(MaxLengthValidator(40))
        field.error_messages |= {
            "required": gettext_lazy("Type the code."),
            "max_length": gettext_lazy("That is longer than any code: type the digits of one only."),
        }
        field.widget.attrs = {
            "autocomplete": "one-time-code",
            "autocapitalize": "none",
            "spellcheck": "false",
            "inputmode": "numeric",
        }

    def counted(self):  # type: ignore[no-untyped-def]
        """Count a try as wrong; what is returned takes all of them back. Raises CodesLocked."""
        key = f"mfa-auth-user-{self.user.pk}"  # type: ignore[attr-defined]
        lockout.forget_the_future(context.request, key)
        try:
            return check_rate_limit(self.user)  # type: ignore[attr-defined]
        except ValidationError as error:
            security_log.note("locked-out", self.user.pk, level=logging.WARNING)  # type: ignore[attr-defined]
            raise CodesLocked(lockout.seconds_left(context.request, key)) from error


class Code(_Coded, theirs.AuthenticateForm):
    """The code that signing in asks for after the password: one of the app, or a recovery code."""

    def clean_code(self) -> str:
        right = self.counted()
        code: str = self.cleaned_data["code"]
        theirs_all = list(Authenticator.objects.filter(user=self.user, type__in=(TOTP, RECOVERY)))
        for one in sorted(theirs_all, key=lambda one: one.type != TOTP):
            try:
                taken = takes(one, code)
            except sealed.Unreadable as error:
                log.error("The second factor of member %s was sealed with another SECRET_KEY", self.user.pk)
                raise ValidationError(
                    _(
                        "The site has another key than when you turned the second factor on, and cannot "
                        "check your code. Ask the club to take the second factor off your account."
                    )
                ) from error
            if taken:
                one.user = self.user
                self.authenticator = one
                right()
                return code
        for one in theirs_all:
            if one.type == TOTP:
                self._emit_authentication_failed(one)
        raise Adapter().validation_error("incorrect_code")


class FirstCode(_Coded, theirs_of_apps.ActivateTOTPForm):
    """The code that shows that the app has the key: its ``step`` is used up with it."""

    step = 0

    def clean_code(self) -> str:
        right = self.counted()
        code: str = self.cleaned_data["code"]
        step = step_of(self.secret, code)
        if step is None:
            raise Adapter().validation_error("incorrect_code")
        self.step = step
        right()
        return code


def step_of(secret: str, code: str) -> int | None:
    """The half minute, counted from 1970, whose code of ``secret`` (base32) this is; None for none of now."""
    for step in auth.yield_hotp_counters_from_time():
        if compare_user_code(actual=code, expected=auth.format_hotp_value(auth.hotp_value(secret, step))):
            return step
    return None


def takes(authenticator: Authenticator, code: str) -> bool:
    """Whether ``code`` is right and was not used; it is used up with this. Raises Unreadable.

    RFC 6238, 5.2: what was accepted once is not accepted again, nor is an earlier one. It is kept in the row,
    so that it holds for every process. A step ahead of the clock is from before the clock was put back.
    """
    if authenticator.type != TOTP:
        return bool(authenticator.wrap().validate_code(code))
    with transaction.atomic():
        locked = Authenticator.objects.select_for_update().get(pk=authenticator.pk)
        step = step_of(sealed.unseal(locked.data["secret"]), code)
        ahead = time.time() // of_mfa.TOTP_PERIOD + of_mfa.TOTP_TOLERANCE
        used = locked.data.get("step", 0)
        if step is None or step <= used <= ahead:
            return False
        locked.data["step"] = step
        locked.save(update_fields=["data"])
    return True


def codes_left(member: Member) -> int:
    """How many recovery codes ``member`` has not used."""
    row = Authenticator.objects.filter(user=member, type=RECOVERY).first()
    return of_mfa.RECOVERY_CODE_COUNT - row.data["used_mask"].bit_count() if row else 0


def take_off(member: Member) -> bool:
    """Take the second factor off ``member``, with the recovery codes; False if there was none."""
    gone, _rows = Authenticator.objects.filter(user=member).delete()
    if gone:
        security_log.note("second-factor-taken-off", member.pk, level=logging.WARNING)
    return bool(gone)


def readable(authenticator: Authenticator) -> bool:
    """Whether the site has the SECRET_KEY that ``authenticator`` was sealed with."""
    try:
        sealed.unseal(authenticator.data[_SEALED[authenticator.type]])
    except sealed.Unreadable:
        return False
    return True


def seal_anew() -> tuple[int, int]:
    """Seal every second factor with today's SECRET_KEY; how many rows were, and how many cannot be read."""
    done = unreadable = 0
    for key in Authenticator.objects.filter(type__in=_SEALED).values_list("pk", flat=True):
        with transaction.atomic():
            row = Authenticator.objects.select_for_update().get(pk=key)
            name = _SEALED[row.type]
            try:
                row.data[name] = sealed.seal_anew(row.data[name])
            except sealed.Unreadable:
                unreadable += 1
            else:
                row.save(update_fields=["data"])
                done += 1
    return done, unreadable


_SEALED = {TOTP.value: "secret", RECOVERY.value: "seed"}
"""What is sealed in a row's data, by its type."""
