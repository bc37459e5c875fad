"""How often a caller may ask: a member, or whoever is behind one network address.

The counts are in the site's cache, so that all processes share them. Each rate is a setting, ``600/minute``;
an empty one is no limit.
"""

from __future__ import annotations

import logging
import re
from typing import Any

from django.core.exceptions import ImproperlyConfigured
from rest_framework.permissions import SAFE_METHODS
from rest_framework.request import Request
from rest_framework.settings import api_settings
from rest_framework.throttling import SimpleRateThrottle

SETTINGS = {
    "reading": "API_READ_RATE",
    "writing": "API_WRITE_RATE",
    "computing": "API_RATE",
    "searching": "SEARCH_RATE",
    "sending": "FORM_RATE",
    "checking": "IMPORT_RATE",
}
"""The setting that each rate comes from."""

log = logging.getLogger(__name__)


class Counted(SimpleRateThrottle):
    """So many requests in a period that begins with a caller's first one.

    Django REST framework keeps a list of times, reads it and writes it back: of two requests at once, in two
    processes, one is lost. Here the cache itself adds one to a count. A cache that does not answer limits
    nobody: what is read here is worth more than its limit.
    """

    left = 0.0

    def allow_request(self, request: Any, view: Any) -> bool:
        if self.rate is None:
            return True
        self.key = self.get_cache_key(request, view)
        if self.key is None:
            return True
        now = self.timer()
        try:
            began, count = self._count(now)
        except Exception:  # each cache's library has errors of its own
            log.exception("The cache does not answer, so requests are not counted")
            return True
        # Nobody is told to wait for longer than the period, whatever the clock does.
        self.left = min(max(began + self.duration - now, 1.0), float(self.duration))
        return count <= self.num_requests

    def _count(self, now: float) -> tuple[float, int]:
        """When the caller's period began (seconds), and how many requests were in it, this one included."""
        began, fresh = self.cache.get(self.key), int(now * 1000)
        if began is None:
            self.cache.add(self.key, fresh, self.duration)
            began = self.cache.get(self.key, fresh)
        elif abs(now - began / 1000) >= self.duration:
            # A clock was put back or forward: machines' clocks differ a little, but not by a whole period.
            self.cache.set(self.key, fresh, self.duration)
            began = self.cache.get(self.key, fresh)
        counter = f"{self.key}_{began}"
        try:
            return began / 1000, self.cache.incr(counter)
        except ValueError:
            # It outlives its period, so that no request finds the period without its count.
            self.cache.add(counter, 0, 2 * self.duration)
            return began / 1000, self.cache.incr(counter)

    def wait(self) -> float:
        """Seconds until the period ends."""
        return self.left


class Rate(Counted):
    """So many requests a period from one member, or from one address for those who are none."""

    def get_rate(self) -> str | None:
        rate = api_settings.DEFAULT_THROTTLE_RATES.get(self.scope)
        if rate and not re.fullmatch(r"[1-9][0-9]*/(second|minute|hour|day)", rate):
            name = SETTINGS[self.scope]
            raise ImproperlyConfigured(f"{name} is {rate!r}: write a number a period, such as 300/minute")
        return rate or None

    def get_cache_key(self, request: Request, view: Any) -> str:
        known = request.user is not None and request.user.is_authenticated
        who = f"member-{request.user.pk}" if known else self.get_ident(request)
        return self.cache_format % {"scope": self.scope, "ident": who}


class Reading(Rate):
    scope = "reading"


class Writing(Rate):
    scope = "writing"


class Computing(Rate):
    scope = "computing"


class Searching(Rate):
    """Of the site's pages, by ``club.limits``."""

    scope = "searching"


class Sending(Rate):
    """Of the forms on the site's pages, by ``club.limits``."""

    scope = "sending"


class Checking(Rate):
    """Of files that visitors have checked, by the page of imports."""

    scope = "checking"


def rate_for(request: Any) -> Rate:
    """The rate that a request counts towards, computations apart."""
    return Reading() if request.method in SAFE_METHODS else Writing()
