"""Triggers for race days: what was inspected stays as it was, and an entry is of a class that is raced.

They stand beside those of ``setups.guards``, which says how they are installed. An event can still be taken
out as a whole, its entries' rows first (the demo does); an inspection of an entry that stands cannot.
"""

from __future__ import annotations

from setups import guards
from setups.guards import Guard

_NEVER = "inspection_never_changes"
_LOGGED = "entry_log_never_changes"
_ENTRY_STANDS = "SELECT 1 FROM club_entry e WHERE e.id = OLD.entry_id"

GUARDS = (
    Guard(
        "edition_pinned_fits",
        "club_eventclass",
        "pinned_edition_of_another_class_or_unpublished",
        """SELECT 1 FROM club_rulebookedition e WHERE e.id = NEW.pinned_id
           AND (e.race_class_id <> NEW.race_class_id OR e.published_at IS NULL)""",
    ),
    Guard(
        "entry_of_raced_class",
        "club_entry",
        "entry_class_not_raced_at_event",
        """SELECT 1 WHERE NOT EXISTS (SELECT 1 FROM club_eventclass c
           WHERE c.event_id = NEW.event_id AND c.race_class_id = NEW.race_class_id)""",
    ),
    Guard(
        "raced_class_out_from_under_entries",
        "club_eventclass",
        "class_has_entries",
        """SELECT 1 FROM club_entry e WHERE e.event_id = OLD.event_id
           AND e.race_class_id = OLD.race_class_id""",
        ("delete",),
    ),
    Guard("inspection_unchanging", "club_inspection", _NEVER, "SELECT 1", ("update",)),
    Guard("inspection_staying", "club_inspection", _NEVER, _ENTRY_STANDS, ("delete",)),
    Guard(
        "inspection_under_its_class",
        "club_inspection",
        "inspection_clause_of_another_class_or_unpublished",
        """SELECT 1 FROM club_clause c JOIN club_rulebookedition e ON e.id = c.edition_id
           JOIN club_entry n ON n.id = NEW.entry_id WHERE c.id = NEW.clause_id
           AND (e.race_class_id <> n.race_class_id OR e.published_at IS NULL)""",
        ("insert",),
    ),
    Guard(
        "inspection_corrects_its_own",
        "club_inspection",
        "correction_of_another_car_or_clause",
        """SELECT 1 FROM club_inspection i WHERE i.id = NEW.corrects_id
           AND (i.entry_id <> NEW.entry_id OR i.clause_id <> NEW.clause_id
                OR i.stage <> NEW.stage OR i.run <> NEW.run)""",
        ("insert",),
    ),
    Guard("entry_log_unchanging", "club_entrychange", _LOGGED, "SELECT 1", ("update",)),
    Guard("entry_log_staying", "club_entrychange", _LOGGED, _ENTRY_STANDS, ("delete",)),
)

_TABLES = {
    "club_clause",
    "club_entry",
    "club_entrychange",
    "club_eventclass",
    "club_inspection",
    "club_rulebookedition",
}


def install(using: str) -> None:
    """Put the guards on the database ``using``, in place of what is there by their names."""
    guards.install(using, GUARDS, _TABLES)


def remove(using: str) -> None:
    """Take the guards off the database ``using``."""
    guards.remove(using, GUARDS)
