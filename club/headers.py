"""Headers that every answer carries besides those of Django, django-csp and django-permissions-policy."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from setups.api.problems import problem


class NoPlainPrograms:
    """Refuses programs that ask over plain HTTP, where a browser would be sent on to HTTPS.

    A program that is sent on works, and goes on sending its token where anybody on the way can read it.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if settings.SECURE_SSL_REDIRECT and request.path.startswith("/api/") and not request.is_secure():
            said = (
                "This interface is asked over https:// only. A token that came with this request may have "
                "been read on the way: revoke it at /account/tokens/ and make a new one."
            )
            return problem(request, 403, said)
        return self.get_response(request)


class Headers:
    """Keeps other sites from loading what is here, and a member's pages out of every cache.

    A page that was made for somebody who is signed in is ``no-store``, unless its view says how it is to be
    kept: the next person at a shared computer must not find it by going back.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        if _shows_a_member(request, response):
            response.headers.setdefault("Cache-Control", "no-store, private")
        return response


def _shows_a_member(request: HttpRequest, response: HttpResponse) -> bool:
    # Who it is only where the view has asked: a page that has not shows nothing of them.
    member = getattr(request, "_cached_user", None)
    return (
        member is not None
        and member.is_authenticated
        and response.headers.get("Content-Type", "").startswith("text/html")
    )
