"""Log lines that say which request they belong to, for people and for programs.

Every request has an id: that of the proxy's ``X-Request-ID`` where it gives a sane one, else a new one. It
stands in every log line of the request and in the answer's header, so that a member who sends it in can be
helped. With LOG_FORMAT=json each line is one JSON object, and each request leaves one.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Callable
from contextvars import ContextVar
from time import perf_counter
from uuid import uuid4

from django.http import HttpRequest, HttpResponse

_SANE = re.compile(r"[A-Za-z0-9._-]{8,64}")
_current: ContextVar[str] = ContextVar("request_id", default="-")
log = logging.getLogger("club.requests")


class RequestId(logging.Filter):
    """Puts the id of the request into each record, ``-`` outside of one."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.request_id = _current.get()
        return True


def path_of(request: HttpRequest) -> str:
    """The address as it may be logged: on one line, without its query, and of a link that was mailed only
    its beginning, since whoever reads the rest may use it."""
    match = request.resolver_match
    if match is not None and "key" in match.kwargs:
        return "/" + match.route.partition("(")[0].replace("^", "")
    return request.path.encode("unicode_escape").decode()


class Traced:
    """Gives the request its id, and logs what became of it; never what was typed, nor an address's query."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get("X-Request-ID", "")
        own = given if _SANE.fullmatch(given) else uuid4().hex
        token = _current.set(own)
        began = perf_counter()
        try:
            response = self.get_response(request)
            took = round((perf_counter() - began) * 1000, 1)
            log.log(
                logging.INFO if response.status_code < 500 else logging.ERROR,
                "%s %s %s in %s ms",
                request.method,
                path_of(request),
                response.status_code,
                took,
                extra={
                    "method": request.method,
                    "path": path_of(request),
                    "status": response.status_code,
                    "milliseconds": took,
                    # Who it was only where the view has asked: a log line costs no query.
                    "member": getattr(getattr(request, "_cached_user", None), "pk", None),
                },
            )
        finally:
            _current.reset(token)
        response["X-Request-ID"] = own
        return response
