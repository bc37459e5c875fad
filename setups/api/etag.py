"""No lost update: an ETag of what was read, asked back in If-Match before it is changed (RFC 9110, 13).

An ETag is that of the whole content as JSON without parameters: what ``conditional_page`` puts on the answer
to a GET, so that nobody computes it in two ways.
"""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.utils.cache import set_response_etag
from django.utils.http import parse_etags
from rest_framework.request import Request

from .problems import Problem
from .rendering import write


def etag_of(content: Any) -> str:
    """The strong ETag with which ``content`` is answered."""
    answer = HttpResponse(write(content))
    return set_response_etag(answer)["ETag"]


def match(request: Request, etag: str, what: str) -> None:
    """Raises a Problem unless the request's If-Match holds ``etag``: 428 without the header, 412 if stale.

    Call it with the row locked. A weak ETag never matches (RFC 9110, 13.1.1).
    """
    given = request.headers.get("If-Match")
    if given is None:
        raise Problem(
            "precondition-required",
            f"Read {what} first and send its ETag in the header If-Match, so that nobody’s change is lost.",
        )
    if given.strip() != "*" and etag not in parse_etags(given):
        raise Problem(
            "precondition-failed",
            f"Somebody changed {what} since you read it. Nothing was changed now: read it again, and send "
            "the change with the new ETag if it is still right.",
            headers={"ETag": etag},
        )


def match_none(request: Request, what: str) -> None:
    """Raises a Problem unless the request says ``If-None-Match: *``: it makes what must not be there yet."""
    if request.headers.get("If-None-Match", "").strip() != "*":
        if "If-Match" in request.headers:
            raise Problem("precondition-failed", f"There is no {what} any more. Nothing was changed.")
        raise Problem(
            "precondition-required",
            f"There is no {what} yet: send the header If-None-Match: * to make it, and to overwrite none.",
        )
