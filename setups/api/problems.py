"""Errors as RFC 9457 problem details: what each means, how it is written, and how it is looked up.

``PROBLEMS`` is the one list; ``problem`` writes an answer, ``Problem`` raises one, ``problem_handler`` turns
the framework's own exceptions into them. ``errors`` points at each mistake: ``pointer`` is a JSON pointer
into the request's content as a URI fragment (RFC 6901, 6; RFC 9457, 3), ``parameter`` names one of the
address.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from math import ceil
from types import MappingProxyType
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils.encoding import escape_uri_path
from rest_framework import exceptions
from rest_framework.settings import api_settings

MEDIA_TYPE = "application/problem+json"
MOST_ERRORS = 100
"""So many mistakes are listed in one answer; the detail says how many more there are."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of problem: the last part of its type's address, its status, its name and its meaning."""

    code: str
    status: int
    title: str
    meaning: str

    @property
    def type(self) -> str:
        return f"/api/problems/{self.code}"


_KINDS = (
    Kind(
        "bad-request",
        400,
        "The request cannot be understood",
        "Something in the request is not as HTTP or this interface wants it; the detail says what.",
    ),
    Kind(
        "malformed-json",
        400,
        "The content is not JSON",
        "The request's content cannot be read as JSON in UTF-8. The detail says where it breaks off.",
    ),
    Kind(
        "invalid-content",
        400,
        "The content has mistakes in it",
        "The content is JSON, but some of it is missing, unknown, of the wrong type or not plausible. Each "
        "entry of errors points at one place and says what is wanted there. Lengths are in mm, angles in "
        "degrees, masses in g.",
    ),
    Kind(
        "too-many-combinations",
        400,
        "The catalogue has too many combinations",
        "The search weighs every combination of a group's parts. A catalogue beyond the limit in the detail "
        "is refused before any work is done: send fewer parts a kind, or split it.",
    ),
    Kind(
        "unknown-parameter",
        400,
        "The address has a parameter that is not known",
        "A parameter that is misspelt would be ignored, and the answer would look right and be wrong. The "
        "detail names the ones that this address takes.",
    ),
    Kind(
        "invalid-parameter",
        400,
        "A parameter has a value that cannot be used",
        "Each entry of errors names a parameter of the address and says what it takes.",
    ),
    Kind(
        "unauthenticated",
        401,
        "That needs a member",
        "The request is not known to come from a member. Send a token from /account/tokens/ in the header "
        "Authorization, as Bearer and the token, or sign in where a browser calls.",
    ),
    Kind(
        "forbidden",
        403,
        "That is not yours to do",
        "The request is understood and refused: it wants rights that the caller does not have.",
    ),
    Kind(
        "insufficient-scope",
        403,
        "The token does not go that far",
        "The member may do this, but the token in the request may not: its scopes were chosen when it was "
        "made. The header WWW-Authenticate names the scope that is wanted.",
    ),
    Kind(
        "not-found",
        404,
        "There is nothing here",
        "The address, or the thing that it names, does not exist: /api/v1/ lists what there is.",
    ),
    Kind(
        "method-not-allowed",
        405,
        "That method is not taken here",
        "The header Allow names the methods that this address takes.",
    ),
    Kind(
        "not-acceptable",
        406,
        "No answer in that format",
        "The header Accept asks for a format that this address does not have. Leave it out, or send "
        "application/json.",
    ),
    Kind(
        "conflict",
        409,
        "Things stand otherwise",
        "The request is understood, and what it speaks of is not in a state for it: the detail says what to "
        "do first. Nothing was changed.",
    ),
    Kind(
        "precondition-failed",
        412,
        "It was changed meanwhile",
        "The ETag in If-Match is not that of what stands now. Nothing was changed: read it again, look at "
        "what is different, and send the change with the new ETag.",
    ),
    Kind(
        "content-too-large",
        413,
        "That is too much at once",
        "The request's content is larger than the site takes in one piece: send it in parts.",
    ),
    Kind(
        "unsupported-media-type",
        415,
        "Content of that type is not taken",
        "Send JSON with the header Content-Type: application/json.",
    ),
    Kind(
        "key-used",
        422,
        "That key was used for something else",
        "A request with another content or address had the same Idempotency-Key within the last 24 hours. "
        "Each thing to be done has a key of its own; only the very same request is sent with it again.",
    ),
    Kind(
        "precondition-required",
        428,
        "Say which version you change",
        "What is changed must have been read: send its ETag in the header If-Match, so that no change of "
        "somebody else is lost.",
    ),
    Kind(
        "too-many-requests",
        429,
        "Too many requests",
        "Each member, and each place that others call from, may read, write and compute so many times a "
        "minute. The header Retry-After says in how many seconds to try again.",
    ),
    Kind(
        "server-error",
        500,
        "The site made a mistake",
        "It has been noted. Try again later; if it stays, tell the club.",
    ),
    Kind(
        "unavailable",
        503,
        "The site cannot do that just now",
        "The database, the cache or the place where photos are kept is away or busy. What was asked for was "
        "done as a whole or not at all: after the seconds in the header Retry-After, send it again, a post "
        "with the Idempotency-Key that it had.",
    ),
)
PROBLEMS: dict[str, Kind] = {kind.code: kind for kind in _KINDS}
_BY_STATUS = {kind.status: kind for kind in reversed(_KINDS)}


class Problem(exceptions.APIException):
    """A problem to be answered: ``raise Problem("not-found", "No body has the slug 'heron'.")``."""

    def __init__(
        self,
        code: str,
        detail: str,
        errors: Iterable[Mapping[str, str]] = (),
        headers: Mapping[str, str] = MappingProxyType({}),
    ) -> None:
        super().__init__(detail, code)
        self.kind = PROBLEMS[code]
        self.status_code = self.kind.status
        self.errors = list(errors)
        self.headers = dict(headers)


def problem(
    request: HttpRequest,
    kind: Kind | int,
    detail: str = "",
    errors: Iterable[Mapping[str, str]] = (),
) -> HttpResponse:
    """The answer for ``kind``, or for the general kind of a status."""
    status = kind if isinstance(kind, int) else kind.status
    if isinstance(kind, int):
        kind = _BY_STATUS.get(kind, PROBLEMS["bad-request" if kind < 500 else "server-error"])
    errors = list(errors)
    if len(errors) > MOST_ERRORS:
        detail = f"{detail} The first {MOST_ERRORS} of {len(errors)} mistakes are listed.".strip()
    content: dict[str, Any] = {
        "type": kind.type,
        "title": kind.title,
        "status": status,
        "detail": detail or kind.meaning,
        "instance": escape_uri_path(request.path),
    }
    if errors:
        content["errors"] = errors[:MOST_ERRORS]
    answer = JsonResponse(content, status=status, content_type=MEDIA_TYPE)
    answer["Cache-Control"] = "no-store"
    return answer


def shown(value: Any, most: int = 60) -> str:
    """``value`` as it can be quoted in a message: no longer than ``most`` characters."""
    text = repr(value[: most + 1] if isinstance(value, str) else value)
    return text if len(text) <= most + 2 else f"{text[:most]}…"


def pointer(path: Iterable[str | int]) -> str:
    """A JSON pointer as a URI fragment: ``#/body/dimensions/wheelbase``."""
    steps = (str(step).replace("~", "~0").replace("/", "~1") for step in path)
    return "#" + "".join(f"/{escape_uri_path(step).replace('%7E', '~')}" for step in steps)


Path = tuple[str | int, ...]


def mistakes(detail: Any, at: Path = ()) -> Iterator[tuple[Path, str]]:
    """Each message of a nested validation error with the path to what it speaks of."""
    if isinstance(detail, Mapping):
        for key, below in detail.items():
            yield from mistakes(below, at if key == api_settings.NON_FIELD_ERRORS_KEY else (*at, key))
    elif isinstance(detail, list):
        for index, below in enumerate(detail):
            yield from mistakes(below, (*at, index) if isinstance(below, (Mapping, list)) else at)
    else:
        yield at, str(detail)


def problem_handler(exc: Exception, context: Mapping[str, Any]) -> HttpResponse | None:
    """The answer to an exception in a view; ``None`` leaves a mistake of ours to Django, which notes it."""
    request: HttpRequest = context["request"]
    if isinstance(exc, Http404):
        said = str(exc.args[0]) if exc.args else ""
        exc = Problem("not-found", "" if said.endswith("matches the given query.") else said)
    elif isinstance(exc, PermissionDenied):
        exc = Problem("forbidden", str(exc))
    if not isinstance(exc, exceptions.APIException):
        return None
    answer = _answer(request, exc, context)
    if wait := getattr(exc, "wait", None):
        answer["Retry-After"] = str(max(1, ceil(wait)))
    if wanted := getattr(exc, "auth_header", None):
        answer["WWW-Authenticate"] = wanted
    for name, value in getattr(exc, "headers", {}).items():
        answer[name] = value
    return answer


def _answer(request: HttpRequest, exc: exceptions.APIException, context: Mapping[str, Any]) -> HttpResponse:
    if isinstance(exc, Problem):
        return problem(request, exc.kind, str(exc.detail), exc.errors)
    if isinstance(exc, exceptions.ValidationError):
        found = list(mistakes(exc.detail))
        if request.method in ("GET", "HEAD"):
            errors = [{"parameter": str(path[0]) if path else "", "detail": text} for path, text in found]
            return problem(request, PROBLEMS["invalid-parameter"], _summary(errors, "parameter"), errors)
        errors = [{"pointer": pointer(path), "detail": text} for path, text in found]
        return problem(request, PROBLEMS["invalid-content"], _summary(errors, "pointer"), errors)
    if isinstance(exc, exceptions.ParseError):
        return problem(request, PROBLEMS["malformed-json"], f"{exc.detail}")
    if isinstance(exc, exceptions.MethodNotAllowed):
        allowed = ", ".join(context["view"].allowed_methods)
        return problem(request, 405, f"{request.method} is not taken at this address: use {allowed}.")
    if isinstance(exc, exceptions.NotAcceptable):
        types = sorted({renderer.media_type for renderer in context["view"].renderer_classes})
        return problem(request, 406, f"This address answers in {', '.join(types)}: ask for that in Accept.")
    if isinstance(exc, exceptions.UnsupportedMediaType):
        return problem(request, 415)
    if isinstance(exc, exceptions.Throttled):
        after = f"Try again in {exc.wait} seconds." if exc.wait else "Try again in a minute."
        return problem(
            request, 429, f"That is more than this address takes from one place at a time. {after}"
        )
    if isinstance(exc, exceptions.NotAuthenticated):
        return problem(request, 401)
    if isinstance(exc, exceptions.PermissionDenied) and str(exc.detail).startswith("CSRF Failed"):
        return problem(
            request,
            403,
            "A browser that writes here sends the site’s CSRF token in the header X-CSRFToken; a program "
            "sends a token of its member’s in Authorization.",
        )
    return problem(request, exc.status_code, str(exc.detail))


def _summary(errors: list[dict[str, str]], where: str) -> str:
    if len(errors) == 1:
        place = errors[0][where]
        return f"{place}: {errors[0]['detail']}" if place else errors[0]["detail"]
    return f"{len(errors)} places need another value: each entry of errors names one and says what it takes."
