"""Whether the site is well: one address for each who asks.

``/health/``        does the database answer: for a container's own check
``/health/live/``   does this process answer: for whoever starts it anew if not
``/health/ready/``  should it be sent visitors: for a load balancer, with the state of all that it stands on
"""

from __future__ import annotations

import logging
import os
from collections.abc import Callable
from pathlib import Path
from time import monotonic
from typing import Any

from django.core.cache import cache
from django.core.files.storage import default_storage
from django.db import Error, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from club import replicas
from club.serving import draining

FRESH = 5.0
"""Seconds for which what was found of the cache, the replicas and the photos is told again."""

log = logging.getLogger(__name__)
_found: dict[str, tuple[float, Any]] = {}


@never_cache
@require_safe
def health(request: HttpRequest) -> JsonResponse:
    """200 if the database answers, else 503."""
    return _database_away() or JsonResponse({"status": "ok", "database": "ok"})


@never_cache
@require_safe
def live(request: HttpRequest) -> JsonResponse:
    """200 from a process that answers at all; asks nothing else."""
    return JsonResponse({"status": "ok"})


@never_cache
@require_safe
def ready(request: HttpRequest) -> JsonResponse:
    """503 while the server stops and while the database is away: other processes may do better.

    The site goes on without a replica (the primary answers), without photos and without the cache (nobody
    signs in then, and the interface counts nobody), so those that fail are told, with 200 and ``degraded``.
    """
    if draining():
        detail = "This server is stopping: send visitors to another one."
        return JsonResponse({"status": "draining", "detail": detail}, status=503)
    away = _database_away()
    if away is not None:
        return away
    state: dict[str, Any] = {"database": "ok"}
    for alias in replicas.replicas():
        state[alias] = _recent(alias, lambda alias=alias: {"behind_bytes": replicas.behind(alias)})
    state["cache"] = _recent("cache", _cache_counts)
    state["photos"] = _recent("photos", _photos_are_kept)
    status = "degraded" if "failing" in state.values() else "ok"
    return JsonResponse({"status": status} | state)


def _database_away() -> JsonResponse | None:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
    except Error:
        log.exception("The database does not answer")
        return JsonResponse(
            {
                "status": "failing",
                "database": "unreachable",
                "detail": "The database does not answer: check that it runs and that DATABASE_URL names it.",
            },
            status=503,
        )
    return None


def _recent(name: str, look: Callable[[], Any]) -> Any:
    """What ``look`` finds ("ok" for nothing, "failing" if it raises), asked every few seconds only."""
    when, state = _found.get(name, (0.0, None))
    if state is None or when + FRESH < monotonic():
        try:
            state = look() or "ok"
        except Exception:  # each library has errors of its own
            log.exception("The check of %s failed", name)
            state = "failing"
        _found[name] = monotonic(), state
    return state


def _cache_counts() -> None:
    cache.add("health", 0, 60)
    cache.incr("health")


def _photos_are_kept() -> None:
    answers = getattr(default_storage, "answers", None)
    if answers is not None:
        answers()
        return
    place = Path(default_storage.location)
    while not place.exists():  # made with the first photo
        place = place.parent
    if not (place.is_dir() and os.access(place, os.W_OK | os.X_OK)):
        raise PermissionError(f"{place} is no folder that can be written to")
