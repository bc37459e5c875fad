"""Reading from streaming replicas of PostgreSQL, without missing what one has just written.

A page that only reads goes to a replica. Who has written gets a signed mark of how far the primary's log
was then (its LSN), in a cookie, or under their token in the shared cache; as long as a replica has not
replayed the log up to there it does not answer them, the primary does. A request that may write reads from
the primary throughout, as does everything that is no request (commands, tests). A replica that is down is
left alone for a while.

How far the log is, and what a replica has replayed: PostgreSQL's ``pg_current_wal_insert_lsn`` and
``pg_last_wal_replay_lsn``.
"""

from __future__ import annotations

import logging
import random
import re
from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass
from hashlib import sha256
from time import monotonic
from typing import Any

from django.conf import settings
from django.core.cache import cache
from django.core.signing import BadSignature, TimestampSigner
from django.db import DEFAULT_DB_ALIAS, Error, connections
from django.http import HttpRequest, HttpResponse

from club.cookies import named

log = logging.getLogger(__name__)

COOKIE = named("written")
REMEMBERED = 3600
"""Seconds that a mark is kept: by then a replica has caught up, or is no use."""
LEFT_ALONE = 30
"""Seconds that a replica that did not answer is not asked again."""
_LSN = re.compile(r"[0-9A-F]{1,8}/[0-9A-F]{1,8}")
_down: dict[str, float] = {}


@dataclass(slots=True)
class _Route:
    """Where one request reads: ``replica`` is empty for the primary; ``wrote`` once it has written."""

    replica: str = ""
    wrote: bool = False


_route: ContextVar[_Route | None] = ContextVar("route", default=None)


class Router:
    """Django's database router: the request's replica for reads, the primary for all else."""

    def db_for_read(self, model: Any, **hints: Any) -> str:
        if _is_cache(model):
            return DEFAULT_DB_ALIAS
        route = _route.get()
        if route is None or route.wrote or connections[DEFAULT_DB_ALIAS].in_atomic_block:
            return DEFAULT_DB_ALIAS
        return route.replica or DEFAULT_DB_ALIAS

    def db_for_write(self, model: Any, **hints: Any) -> str:
        route = _route.get()
        if route is not None and not _is_cache(model):
            route.wrote = True
        return DEFAULT_DB_ALIAS

    def allow_relation(self, first: Any, second: Any, **hints: Any) -> bool:
        return True

    def allow_migrate(self, db: str, app_label: str, **hints: Any) -> bool:
        return db == DEFAULT_DB_ALIAS


def _is_cache(model: Any) -> bool:
    """True for the table of ``CACHE_URL=dbcache://``: a count that lags is none; to count is not to write."""
    return bool(model._meta.app_label == "django_cache")


class ReadYourOwnWrites:
    """Chooses where a request reads, and marks those who wrote."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        mark, replica = "", ""
        if request.method in ("GET", "HEAD", "OPTIONS"):
            try:
                mark = _mark_of(request)
                replica = _replica_for(mark)
            except Error:  # the cache is away: nobody can tell how far back a replica may be
                log.exception("The cache does not answer, so the primary is read from")
        token = _route.set(route := _Route(replica))
        try:
            response = self.get_response(request)
        finally:
            _route.reset(token)
        if route.wrote:
            _remember(request, response)
        elif mark and replica:
            response.delete_cookie(COOKIE)  # the replica has caught up
        return response


def replicas() -> list[str]:
    """The aliases of the replicas that are set up."""
    return [alias for alias in settings.DATABASES if alias != DEFAULT_DB_ALIAS]


def behind(alias: str) -> int:
    """Bytes of the primary's log that a replica has not replayed yet. Raises Error if it does not answer."""
    with connections[DEFAULT_DB_ALIAS].cursor() as cursor:
        cursor.execute("SELECT pg_current_wal_lsn()::text")
        written = cursor.fetchone()[0]
    with connections[alias].cursor() as cursor:
        cursor.execute("SELECT pg_wal_lsn_diff(%s::pg_lsn, pg_last_wal_replay_lsn())", [written])
        return max(0, int(cursor.fetchone()[0]))


def _replica_for(mark: str) -> str:
    """A replica that answers and has replayed the log up to ``mark``; empty for the primary."""
    up = [alias for alias in replicas() if _down.get(alias, 0) < monotonic()]
    for alias in random.sample(up, len(up)):
        try:
            if _has_replayed(alias, mark):
                return alias
        except Error:
            connections[alias].close()
            _down[alias] = monotonic() + LEFT_ALONE
    return ""


def _has_replayed(alias: str, mark: str) -> bool:
    """Whether a replica is up to ``mark``; without one it need only answer. Raises Error if it does not."""
    # Taking a cursor looks whether a connection that was kept is still alive.
    with connections[alias].cursor() as cursor:
        if not mark:
            return True
        cursor.execute("SELECT COALESCE(pg_last_wal_replay_lsn() >= %s::pg_lsn, true)", [mark])
        return bool(cursor.fetchone()[0])


def _mark_of(request: HttpRequest) -> str:
    """How far the log was when this caller last wrote; empty if they have not lately."""
    given = request.COOKIES.get(COOKIE, "")
    try:
        mark = TimestampSigner(salt=COOKIE).unsign(given, max_age=REMEMBERED) if given else ""
    except BadSignature:
        mark = ""
    if not mark and (key := _token_key(request)):
        mark = cache.get(key) or ""
    return mark if _LSN.fullmatch(mark) else ""


def _token_key(request: HttpRequest) -> str:
    """The cache's key for a caller who has no cookies but a token."""
    given = request.headers.get("Authorization", "")
    return f"written:{sha256(given.encode()).hexdigest()}" if given else ""


def _remember(request: HttpRequest, response: HttpResponse) -> None:
    with connections[DEFAULT_DB_ALIAS].cursor() as cursor:
        cursor.execute("SELECT pg_current_wal_insert_lsn()::text")
        mark = cursor.fetchone()[0]
    if key := _token_key(request):
        try:
            cache.set(key, mark, REMEMBERED)
        except Error:  # what was written stands, and until the cache is back the primary answers
            log.exception("The cache does not answer, so it is not noted who wrote")
        return
    response.set_cookie(
        COOKIE,
        TimestampSigner(salt=COOKIE).sign(mark),
        max_age=REMEMBERED,
        httponly=True,
        secure=settings.SESSION_COOKIE_SECURE,
        samesite="Lax",
    )
