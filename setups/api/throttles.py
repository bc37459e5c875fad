"""How often a caller may ask: a member, or whoever is behind one network address.

The counts are in the site's cache, so that all processes share them. Each rate is a setting, ``600/minute``;
an empty one is no limit.
"""

from __future__ import annotations

import re
from typing import Any

from django.core.exceptions import ImproperlyConfigured
from rest_framework.permissions import SAFE_METHODS
from rest_framework.request import Request
from rest_framework.settings import api_settings
from rest_framework.throttling import SimpleRateThrottle

SETTINGS = {"reading": "API_READ_RATE", "writing": "API_WRITE_RATE", "computing": "API_RATE"}
"""The setting that each rate comes from."""


class Rate(SimpleRateThrottle):
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


def rate_for(request: Any) -> Rate:
    """The rate that a request counts towards, computations apart."""
    return Reading() if request.method in SAFE_METHODS else Writing()
