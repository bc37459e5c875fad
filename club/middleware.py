"""What is refused before any view sees it."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

from django.conf import settings
from django.db import DataError
from django.http import HttpRequest, HttpResponse
from django.urls import Resolver404, resolve

from club import refusals

DRAINED = 32 * 1024 * 1024
"""Bytes of a refused body that are still read: a client that is sending hears no answer before it is done."""

FORM = 64 * 1024
"""Bytes that a form takes beside the file in it."""


class Readable:
    """Refuses requests that carry too much, and text that no database keeps.

    A NUL or a lone surrogate in an address or a form is answered here on every database; one that comes
    another way (JSON, a spreadsheet) is answered here when the database or its driver rejects it.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        length = _length(request)
        if length > settings.DATA_UPLOAD_MAX_MEMORY_SIZE:
            photo = _takes_a_photo(request)
            if not photo or length > settings.PHOTO_UPLOAD_MAX + FORM:
                _drain(request)
                return refusals.too_large(request, photo)
        if not all(map(_storable, _texts(request))):
            return refusals.unreadable_text(request)
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        lone_surrogate = isinstance(exception, UnicodeEncodeError) and "surrogates" in exception.reason
        nul = isinstance(exception, (DataError, ValueError)) and "NUL (0x00)" in str(exception)
        return refusals.unreadable_text(request) if lone_surrogate or nul else None


def _length(request: HttpRequest) -> int:
    try:
        return int(request.META.get("CONTENT_LENGTH") or 0)
    except ValueError:
        return 0


def _takes_a_photo(request: HttpRequest) -> bool:
    with suppress(Resolver404):
        return resolve(request.path_info).url_name in ("setup-photos", "api-photos")
    return False


def _drain(request: HttpRequest) -> None:
    left = DRAINED
    with suppress(OSError):  # the client has gone
        while left > 0 and (chunk := request.read(min(left, 65536))):
            left -= len(chunk)


def _texts(request: HttpRequest) -> list[str]:
    found = [request.path]
    fields = [request.GET]
    if request.content_type in ("application/x-www-form-urlencoded", "multipart/form-data"):
        with suppress(OSError):  # the client has gone; the view finds an empty form
            fields.append(request.POST)
    for field in fields:
        for name, values in field.lists():
            found += [name, *values]
    return found


def _storable(text: str) -> bool:
    return "\0" not in text and not any("\ud800" <= letter <= "\udfff" for letter in text)
