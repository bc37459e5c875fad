"""What every page prints."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils.translation import get_language

from club.offline import script_words
from setups.units import Lengths, lengths


@dataclass(frozen=True, slots=True)
class ReaderOf:
    """How a page is read: its language, the languages that there are, whether lengths are in inches."""

    language: str
    languages: list[tuple[str, str]]
    inches: bool

    @property
    def tag(self) -> str:
        """The language as HTML names it (RFC 5646): ``en-GB``."""
        name, _, region = self.language.partition("-")
        return f"{name}-{region.upper()}" if region else name


def site(request: HttpRequest) -> dict[str, Any]:
    reader = ReaderOf(
        get_language() or settings.LANGUAGE_CODE, settings.LANGUAGES, lengths() is Lengths.INCH
    )
    return {
        "club_name": settings.CLUB_NAME,
        "currency": settings.CURRENCY,
        "reader": reader,
        "script_words": script_words,
        "pages_are_kept": settings.OFFLINE_PAGES,
    }
