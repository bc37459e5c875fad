"""Posted setups for the pages of other things: of a body, of a member; best borne out first."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet

from setups.models import Body, Setup

SHOWN = 6
"""So many are shown on the page of something else."""


def _listed(*joined: str) -> QuerySet[Setup]:
    """What everybody sees in lists, verified ones first, then the newest; with what is told of ``joined``.

    "Verified", "posted" and "disputed" fall in the order of the alphabet, and an index has a body's so.
    """
    told = [column for name in joined for column in _TOLD[name]]
    rows = Setup.objects.listed().select_related(*joined).only(*_OWN, *told)
    return rows.order_by("-state", "-posted_at", "-pk")


_OWN = ("name", "state", "verdict", "surface", "best_lap", "posted_at")
_TOLD = {
    "author": ("author__username", "author__display_name"),
    "body": ("body__name",),
    "platform": ("platform__name",),
}


def posted_for(body: Body) -> list[Setup]:
    """A few posted setups of ``body``, and one more if there are more; one query."""
    return list(_listed("author", "platform").filter(body=body)[: SHOWN + 1])


def posted_by(member: Any) -> list[Setup]:
    """A few setups that ``member`` posted, the newest first, and one more if there are more; one query."""
    return list(_listed("body", "platform").filter(author=member).order_by("-posted_at", "-pk")[: SHOWN + 1])
