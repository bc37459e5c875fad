"""The names of the site's cookies, and the one cookie whose name Django does not let the settings choose.

Over HTTPS each begins with ``__Host-``: browsers take such a cookie only from this very host, with Secure and
for all paths, so that no neighbour under the same domain can slip one in (RFC 6265bis, 4.1.3.2).
"""

from __future__ import annotations

from django.conf import settings
from django.contrib.messages.storage.cookie import CookieStorage
from django.contrib.messages.storage.fallback import FallbackStorage
from django.contrib.messages.storage.session import SessionStorage

PREFIX = "__Host-"


def named(name: str) -> str:
    """``name`` as it is sent to browsers under these settings."""
    return f"{PREFIX}{name}" if settings.SESSION_COOKIE_SECURE else name


class InCookie(CookieStorage):
    cookie_name = named("messages")


class Messages(FallbackStorage):
    """Messages in a cookie, or in the session where they are too long for one."""

    storage_classes = (InCookie, SessionStorage)
