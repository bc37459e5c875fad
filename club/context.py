"""What every page prints."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest


def site(request: HttpRequest) -> dict[str, str]:
    return {"club_name": settings.CLUB_NAME, "currency": settings.CURRENCY}
