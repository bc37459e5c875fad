"""Whether the site is well."""

from __future__ import annotations

import logging

from django.db import Error, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

log = logging.getLogger(__name__)


@never_cache
@require_safe
def health(request: HttpRequest) -> JsonResponse:
    """200 if the database answers, else 503; for load balancers and container health checks."""
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
    return JsonResponse({"status": "ok", "database": "ok"})
