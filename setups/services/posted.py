"""Posted setups for the pages of other things: of a body, of a member; best borne out first."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet

from setups.models import Body, Setup

SHOWN = 6
"""So many are shown on the page of something else."""


def listed() -> QuerySet[Setup]:
    """What everybody sees in lists, verified ones first, then the newest.

    "Verified", "posted" and "disputed" fall in the order of the alphabet, and an index has a body's so.
    """
    rows = Setup.objects.listed().select_related("author", "body", "platform").defer("words")
    return rows.order_by("-state", "-posted_at", "-pk")


def posted_for(body: Body) -> list[Setup]:
    """A few posted setups of ``body``, and one more if there are more; one query."""
    return list(listed().filter(body=body)[: SHOWN + 1])


def posted_by(member: Any) -> list[Setup]:
    """A few setups that ``member`` posted, the newest first, and one more if there are more; one query."""
    return list(listed().filter(author=member).order_by("-posted_at", "-pk")[: SHOWN + 1])
