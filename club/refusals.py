"""What is said when a request cannot be answered: a page for a person, problem details for a program.

Everything under /api/ is answered as RFC 9457 problem details, the rest as a page in the site's look.
"""

from __future__ import annotations

import logging
import sys
from contextlib import suppress

from django.conf import settings
from django.core.exceptions import BadRequest, RequestDataTooBig, TooManyFieldsSent
from django.http import Http404, HttpRequest, HttpResponse
from django.template.defaultfilters import filesizeformat
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from club.caching import CacheAway
from club.context import site
from club.outages import RETRY_AFTER, is_outage
from setups.api.problems import problem

log = logging.getLogger(__name__)

MOST_SENT_AGAIN = 200_000
"""So many characters of a form are given back to be sent again."""


def refuse(
    request: HttpRequest, status: int, title: str = "", detail: str = "", template: str = ""
) -> HttpResponse:
    """An answer with ``status``; ``title`` says what is wrong and ``detail`` what to do about it.

    ``template`` is the page (that of the status without it) and words what is left empty.
    """
    if request.path.startswith("/api/"):
        return problem(request, status, f"{title}. {detail}" if title and detail else title or detail)
    page = render_to_string(
        template or f"{status}.html", {"status": status, "title": title, "detail": detail}, request
    )
    return HttpResponse(page, status=status)


def too_large(request: HttpRequest, photo: bool = False) -> HttpResponse:
    """413: the request carries more than the site takes; of a photo that is more than of all else."""
    if photo:
        limit = filesizeformat(settings.PHOTO_UPLOAD_MAX)
        return refuse(
            request,
            413,
            _("That photo has more than {limit}").format(limit=limit),
            _("Nothing else is lost: the draft is as it was. Go back and send a smaller copy of the photo."),
            "400.html",
        )
    limit = filesizeformat(settings.DATA_UPLOAD_MAX_MEMORY_SIZE)
    return refuse(
        request,
        413,
        _("That is more than {limit} at once").format(limit=limit),
        _(
            "The library takes up to {limit} in one request. Split the file or text and send it in parts."
        ).format(limit=limit),
        "400.html",
    )


def unreadable_text(request: HttpRequest) -> HttpResponse:
    """400: text with characters that stand for nothing and that no database keeps."""
    return refuse(
        request,
        400,
        _("That text has characters in it that cannot be read"),
        _(
            "It holds a NUL or half of a character pair, which no text needs. Type it again, "
            "or save the file as plain UTF-8 text, and send it once more."
        ),
    )


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """400, for ``handler400``; what a view says in a ``BadRequest`` is passed on."""
    if isinstance(exception, RequestDataTooBig):
        return too_large(request)
    if isinstance(exception, TooManyFieldsSent):
        return refuse(
            request,
            400,
            _("That form has too many fields"),
            _("Up to {most} are taken in one request: send it in parts.").format(
                most=settings.DATA_UPLOAD_MAX_NUMBER_FIELDS
            ),
        )
    return refuse(request, 400, detail=str(exception) if isinstance(exception, BadRequest) else "")


def not_allowed(request: HttpRequest, exception: Exception) -> HttpResponse:
    """403, for ``handler403``; what a view says in its ``PermissionDenied`` is passed on."""
    return refuse(request, 403, detail=str(exception))


def form_expired(request: HttpRequest, reason: str = "") -> HttpResponse:
    """403, for ``CSRF_FAILURE_VIEW``."""
    return refuse(
        request,
        403,
        _("That form is no longer valid"),
        _(
            "It was opened before you signed in or out, or your browser sends no cookies to "
            "this site. Go back, load the page again, and send it once more."
        ),
    )


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """404, for ``handler404``; what a view says in its ``Http404`` is passed on."""
    said = exception.args[0] if isinstance(exception, Http404) and exception.args else ""
    if not isinstance(said, str) or said.endswith("matches the given query."):
        said = ""
    return refuse(request, 404, said)


def too_often(request: HttpRequest, exception: Exception | None = None, seconds: int = 60) -> HttpResponse:
    """429, for ``handler429``: more of one kind in a minute than a person asks; ``seconds`` is the wait."""
    answer = refuse(request, 429)
    answer["Retry-After"] = str(seconds)
    return answer


def failed(request: HttpRequest) -> HttpResponse:
    """500, for ``handler500``, or 503 where the database, the cache or the photos' store does not answer.

    Reads neither the database nor the session, which may be what failed.
    """
    error = sys.exc_info()[1]
    if is_outage(error):
        log.error("The database does not answer: %s", error)
        return away(request, isinstance(error, CacheAway))
    if request.path.startswith("/api/"):
        return problem(request, 500)
    return HttpResponse(render_to_string("500.html", site(request)), status=500)


def away(request: HttpRequest, cache: bool = False) -> HttpResponse:
    """503: what the site stands on is away or busy. What a form held is on the page, to be sent again.

    Without the ``cache`` nobody is let in, since wrong passwords are counted there: who wants to sign in is
    told so, and keeps the name.
    """
    if request.path.startswith("/api/"):
        answer = problem(request, 503)
    else:
        context = site(request) | {"sent": _sent(request), "address": request.get_full_path()}
        if cache and _signs_in(request):
            context |= {"name": request.POST.get("login", ""), "beside": _beside_the_password(request)}
            context["signing_in"] = True
        answer = HttpResponse(render_to_string("503.html", context), status=503)
        answer["Cache-Control"] = "no-store"
    answer["Retry-After"] = str(RETRY_AFTER)
    return answer


def _signs_in(request: HttpRequest) -> bool:
    found = request.resolver_match
    return found is not None and found.url_name in ("sign-in", "account_login") and request.method == "POST"


def _beside_the_password(request: HttpRequest) -> list[tuple[str, str]]:
    """What a form for signing in holds besides the name and the password: where to go after, its token."""
    return [(name, request.POST[name]) for name in request.POST if name not in ("login", "password")]


def _sent(request: HttpRequest) -> list[tuple[str, str]]:
    """The fields of a form as they came, its own token of this site among them; none of a form with a
    password, a code or a file.

    Another site's form could be here as well: sent again it is refused, since its token is no better then.
    """
    with suppress(OSError):  # the client has gone
        fields = [(name, text) for name, texts in request.POST.lists() for text in texts]
        secret = any("password" in name or name == "code" for name, text in fields)
        if not secret and not request.FILES and sum(len(text) for name, text in fields) <= MOST_SENT_AGAIN:
            return fields
    return []
