"""Pages that are kept for readers who are signed out, as long as nothing that they show has changed.

A page is found again under the marks of all the tables that it reads (``setups.marks``), its address, the
language, the unit and whether it is the part for htmx. The marks are asked for before anything is read, so
that a page is never older than its marks. Each process keeps its own, while it runs the same code.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.conf import settings
from django.contrib.messages import get_messages
from django.core.cache import caches
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.utils.safestring import SafeString

from setups.marks import mark_of_all
from setups.services.kept import key_of, packed

_TOKEN = re.compile(rb'(name="csrfmiddlewaretoken" value=")\w*(")')
"""The one thing on such a page that is a reader's own."""

View = Callable[..., HttpResponse]


def kept_for_visitors(*marks: str) -> Callable[[View], View]:
    """For a view that gives all who are signed out the same, and reads nothing but tables of ``marks``."""

    def keeping(view: View) -> View:
        @wraps(view)
        def kept(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            own = request.user.is_authenticated or len(get_messages(request))
            if own or settings.DEBUG or not (mark := mark_of_all(marks)):
                return view(request, *args, **kwargs)
            pages, key = caches["pages"], _key(request, mark)
            if (found := pages.get(key)) is not None:
                headers, content = found
                token = get_token(request).encode()
                return HttpResponse(
                    _TOKEN.sub(rb"\g<1>%s\g<2>" % token, zlib.decompress(content)), headers=headers
                )
            response = view(request, *args, **kwargs)
            if response.status_code == 200:
                content = packed(_TOKEN.sub(rb"\g<1>\g<2>", response.content))
                pages.set(key, (dict(response.headers), content))
            return response

        return kept

    return keeping


def kept_for_members(
    request: HttpRequest, made: Callable[[], tuple[str, SafeString]], *marks: str
) -> tuple[str, SafeString]:
    """What ``made`` gives, or gave before: the title and main part of a page for who is signed in.

    It reads nothing but tables of ``marks``, is the same for all members, and has no form to send. For who is
    signed out the whole page is kept.
    """
    if not request.user.is_authenticated or settings.DEBUG or not (mark := mark_of_all(marks)):
        return made()
    pages, key = caches["pages"], _key(request, f"{mark} of members")
    if (found := pages.get(key)) is not None:
        title, content = found
        return title, SafeString(zlib.decompress(content).decode())
    title, main = made()
    pages.set(key, (title, packed(main.encode())))
    return title, main


def _key(request: HttpRequest, mark: str) -> str:
    part = bool(request.htmx), bool(request.htmx.history_restore_request)  # type: ignore[attr-defined]
    return key_of("page", mark, request.get_full_path(), part)
