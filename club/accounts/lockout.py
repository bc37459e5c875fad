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
from django.http import HttpRequest
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

FAILURES = {"app": "allauth.account", "action": "login_failed"}


class LockedOut(ValidationError):
    """Too many wrong passwords; ``seconds`` is how long to wait."""

    def __init__(self, seconds: int) -> None:
        self.seconds = seconds
        told = _(
            "Too many wrong passwords were typed for this name from here. "
            "Wait {time}, then try again; or ask for a new password now."
        )
        super().__init__(told.format(time=spoken(seconds)), code="locked_out")


def counter(request: HttpRequest, username: str) -> str:
    """What failures are counted under: the network address (of IPv6 its /64) and the name."""
    return f"{ratelimit.get_ip(request)} {username.lower()}"


def seconds_left(request: HttpRequest, username: str) -> int:
    """Seconds until another password is tried for ``username`` from here, rounded up; at least 1."""
    key, left = counter(request, username), 1.0
    for rate in ratelimit.get_rates(**FAILURES):
        place = ratelimit.get_cache_key(request, **FAILURES, rate=rate, key=key)
        newest_first = cache.get(place, [])
        if len(newest_first) >= rate.amount:
            left = max(left, newest_first[-1] + rate.duration - time.time())
    return math.ceil(left)


def forget_the_future(request: HttpRequest, username: str) -> None:
    """Forget failures from before the clock was put back: nobody waits until it comes round to them again."""
    key, now = counter(request, username), time.time()
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
