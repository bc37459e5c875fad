"""How long somebody waits after too many wrong passwords.

Failures are counted for one name from one network address, so that nobody can lock a member out from
elsewhere, and nobody at the same address waits for another's mistakes. Names that no member has are
counted alike: the answer does not tell who is a member.
"""

from __future__ import annotations

import math
import time
from typing import Any

from allauth.account.signals import password_reset
from allauth.core.internal import ratelimit
from django.core.cache import cache
from django.core.exceptions import ValidationError
from django.dispatch import receiver
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy, ngettext

FAILURES = {"app": "allauth.account", "action": "login_failed"}


class LockedOut(ValidationError):
    """Too many wrong passwords; ``seconds`` is how long to wait."""

    told = gettext_lazy(
        "Too many wrong passwords were typed for this name from here. "
        "Wait {time}, then try again; or ask for a new password now."
    )

    def __init__(self, seconds: int) -> None:
        self.seconds = seconds
        super().__init__(str(self.told).format(time=spoken(seconds)), code="locked_out")


def locked_out(form: BaseForm) -> LockedOut | None:
    """Why ``form`` was not even looked at, if that is why it was refused."""
    told = (error for errors in form.errors.as_data().values() for error in errors)
    return next((error for error in told if isinstance(error, LockedOut)), None)


def told_to_wait(answer: HttpResponse, locked: LockedOut | None) -> HttpResponse:
    """``answer`` as 429 with how long to wait, if there is anything to wait for."""
    if locked:
        answer.status_code = 429
        answer["Retry-After"] = str(locked.seconds)
    return answer


def counter(request: HttpRequest, username: str) -> str:
    """What failures are counted under: the network address (of IPv6 its /64) and the name."""
    return f"{ratelimit.get_ip(request)} {username.lower()}"


def seconds_left(request: HttpRequest, key: str) -> int:
    """Seconds until another try is counted under ``key``, rounded up; at least 1."""
    left = 1.0
    for rate in ratelimit.get_rates(**FAILURES):
        place = ratelimit.get_cache_key(request, **FAILURES, rate=rate, key=key)
        newest_first = cache.get(place, [])
        if len(newest_first) >= rate.amount:
            left = max(left, newest_first[-1] + rate.duration - time.time())
    return math.ceil(left)


def forget_the_future(request: HttpRequest, key: str) -> None:
    """Forget failures from before the clock was put back: nobody waits until it comes round to them again."""
    now = time.time()
    for rate in ratelimit.get_rates(**FAILURES):
        place = ratelimit.get_cache_key(request, **FAILURES, rate=rate, key=key)
        newest_first = cache.get(place, [])
        past = [at for at in newest_first if at < now + rate.duration]
        if past != newest_first:
            cache.set(place, past, rate.duration)


def spoken(seconds: int) -> str:
    """``seconds`` as a person says it: 40 seconds, 12 minutes, 2 hours; never less than it is."""
    if seconds > 1.5 * 3600:
        count = math.ceil(seconds / 3600)
        return ngettext("{count} hour", "{count} hours", count).format(count=count)
    if seconds > 1.5 * 60:
        count = math.ceil(seconds / 60)
        return ngettext("{count} minute", "{count} minutes", count).format(count=count)
    return ngettext("{count} second", "{count} seconds", seconds).format(count=seconds)


@receiver(password_reset)
def forget_failures(sender: Any, request: HttpRequest, user: Any, **_: Any) -> None:
    """Who has set a new password by the link in their mail need not wait to use it."""
    ratelimit.clear(request, **FAILURES, key=counter(request, user.get_username()))
