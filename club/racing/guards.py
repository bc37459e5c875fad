"""Triggers: a published edition never changes, nor do its clauses and what they name.

They stand beside those of ``setups.guards``, which says how they are installed. An edition can still be taken
out as a whole, its own row first (the demo does); a clause of an edition that stands published cannot.
"""

from __future__ import annotations

from setups import guards
from setups.guards import Guard

_MESSAGE = "published_edition_never_changes"
_PUBLISHED = "SELECT 1 FROM club_rulebookedition e WHERE e.published_at IS NOT NULL AND e.id = {edition}"
_ITEMS = """SELECT 1 FROM club_clause c JOIN club_rulebookedition e ON e.id = c.edition_id
            WHERE e.published_at IS NOT NULL AND c.id = {clause}"""

GUARDS = (
    Guard(
        "edition_unchanging",
        "club_rulebookedition",
        _MESSAGE,
        "SELECT 1 WHERE OLD.published_at IS NOT NULL",
        ("update",),
    ),
    Guard("clause_into_published", "club_clause", _MESSAGE, _PUBLISHED.format(edition="NEW.edition_id")),
    Guard(
        "clause_of_published",
        "club_clause",
        _MESSAGE,
        _PUBLISHED.format(edition="OLD.edition_id"),
        ("update",),
    ),
    Guard(
        "clause_out_of_published",
        "club_clause",
        _MESSAGE,
        _PUBLISHED.format(edition="OLD.edition_id"),
        ("delete",),
    ),
    Guard("item_into_published", "club_clauseitem", _MESSAGE, _ITEMS.format(clause="NEW.clause_id")),
    Guard(
        "item_of_published", "club_clauseitem", _MESSAGE, _ITEMS.format(clause="OLD.clause_id"), ("update",)
    ),
    Guard(
        "item_out_of_published",
        "club_clauseitem",
        _MESSAGE,
        _ITEMS.format(clause="OLD.clause_id"),
        ("delete",),
    ),
)

_TABLES = {"club_clause", "club_clauseitem", "club_rulebookedition"}


def install(using: str) -> None:
    """Put the guards on the database ``using``, in place of what is there by their names."""
    guards.install(using, GUARDS, _TABLES)


def remove(using: str) -> None:
    """Take the guards off the database ``using``."""
    guards.remove(using, GUARDS)
