"""Who is entered with what: entering, late changes with their log, checking in.

Every function that writes is for race directors and raises PermissionError for others, and EntryError, whose
text says what to do, where the rules of an entry list would be broken.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from club.models import Entry, EntryChange, Event, EventClass
from club.models.events import MOST_NUMBER
from setups.services.writing import locked_first

FIELDS = {
    "number": gettext_noop("race number"),
    "race_class": gettext_noop("class"),
    "driver": gettext_noop("driver"),
    "member": gettext_noop("member"),
    "revision": gettext_noop("setup"),
    "body": gettext_noop("body"),
    "platform": gettext_noop("platform"),
}
"""What of an entry can be changed, in words; the log keeps them in English, and they are told when shown."""
ENTERED, FROM_A_LIST = gettext_noop("Entered"), gettext_noop("Entered from a list")
CHECKED_IN, NOT_CHECKED_IN = gettext_noop("Checked in"), gettext_noop("Not checked in after all")
REASONS = frozenset({ENTERED, FROM_A_LIST, CHECKED_IN, NOT_CHECKED_IN})
"""What the log says by itself, as it is kept."""
REASONS_WITH = {
    "Withdrawn: ": gettext_noop("Withdrawn: {why}"),
    "Put back: ": gettext_noop("Put back: {why}"),
}
"""How a line of the log begins that goes on with what a person wrote, and how it is told."""
MOST_ENTRIES = 2000
"""An event has up to so many entries."""


class EntryError(ValueError):
    """Why an entry cannot be written; the text says what to do. ``field`` is the form field it is about."""

    def __init__(self, text: str, field: str = "") -> None:
        super().__init__(text)
        self.field = field


def demand_director(member: Any) -> None:
    """Raises PermissionError for all but race directors."""
    if not getattr(member, "directs_races", False):
        raise PermissionError("Only a race director does that.")


def next_number(event: Event) -> int:
    """The number after the highest; the lowest free one once that is the last there is."""
    highest = event.entries.aggregate(most=Max("number"))["most"] or 0
    if highest < MOST_NUMBER:
        return highest + 1
    taken = set(event.entries.values_list("number", flat=True))
    return next(number for number in range(1, MOST_NUMBER + 1) if number not in taken)


def enter(event: Event, given: Mapping[str, Any], by: Any) -> Entry:
    """A new entry of ``given`` fields (those of ``FIELDS``)."""
    demand_director(by)
    with transaction.atomic():
        Event.objects.select_for_update().get(pk=event.pk)
        if event.entries.count() >= MOST_ENTRIES:
            raise EntryError(
                _("An event takes up to {most_entries} entries: make a second event of it.").format(
                    most_entries=MOST_ENTRIES
                )
            )
        entry = Entry(event=event, **given)
        _store(entry)
        EntryChange.objects.create(entry=entry, by=by, why=ENTERED, changes=_said(entry))
    return entry


def change(entry: Entry, given: Mapping[str, Any], by: Any, why: str) -> bool:
    """Change an entry and log what changed; ``False`` if nothing did.

    After scrutineering the class stays: its clauses are what the car was inspected under.
    """
    demand_director(by)
    with transaction.atomic():
        locked = _locked(entry)
        if locked.withdrawn:
            raise EntryError(_("The entry is withdrawn: put it back first, then change it."))
        before = dict(_words(locked))
        moved = "race_class" in given and given["race_class"].pk != locked.race_class_id
        if moved and locked.inspections.exists():
            raise EntryError(
                _(
                    "The car has been inspected under the rules of its class, so the class "
                    "stays: withdraw this entry and enter the car again in the other class, "
                    "under another number."
                ),
                "race_class",
            )
        for field, value in given.items():
            setattr(locked, field, value)
        changes = [[what, before[what], now] for what, now in _words(locked) if before[what] != now]
        if not changes:
            return False
        if not why.strip():
            raise EntryError(_("Say why it is changed: the reason is kept with the entry."), "why")
        _store(locked)
        EntryChange.objects.create(entry=locked, by=by, why=why.strip()[:300], changes=changes)
    entry.refresh_from_db()
    return True


def check_in(entry: Entry, by: Any, here: bool = True) -> None:
    """The car is here, or was checked in by mistake; doing it twice changes nothing."""
    demand_director(by)
    with transaction.atomic():
        locked = _locked(entry)
        if locked.withdrawn:
            raise EntryError(_("The entry is withdrawn: put it back first, then check it in."))
        if here == (locked.checked_in_at is not None):
            return
        locked.checked_in_at, locked.checked_in_by = (timezone.now(), by) if here else (None, None)
        locked.save(update_fields=["checked_in_at", "checked_in_by"])
        why = CHECKED_IN if here else NOT_CHECKED_IN
        EntryChange.objects.create(entry=locked, by=by, why=why)
    entry.refresh_from_db()


def withdraw(entry: Entry, by: Any, why: str, out: bool = True) -> None:
    """Take an entry off the list, or put it back; its number stays its own and its record stands."""
    demand_director(by)
    if not why.strip():
        raise EntryError(_("Say why: the reason is kept with the entry."), "why")
    with transaction.atomic():
        locked = _locked(entry)
        if locked.withdrawn == out:
            return
        locked.withdrawn = out
        if out:
            locked.checked_in_at = locked.checked_in_by = None
        locked.save(update_fields=["withdrawn", "checked_in_at", "checked_in_by"])
        word = "Withdrawn" if out else "Put back"
        EntryChange.objects.create(entry=locked, by=by, why=f"{word}: {why.strip()}"[:300])
    entry.refresh_from_db()


def enter_many(rows: list[Entry], by: Any, why: str, at: datetime | None = None) -> None:
    """Many new entries in the caller's transaction; raises IntegrityError where a number is taken."""
    Entry.objects.bulk_create(rows, batch_size=500)
    EntryChange.objects.bulk_create(
        [EntryChange(entry=row, by=by, why=why, changes=_said(row), at=at or timezone.now()) for row in rows],
        batch_size=500,
    )


def _locked(entry: Entry) -> Entry:
    rows = Entry.objects.filter(pk=entry.pk)
    return locked_first(
        rows.select_related("event", "race_class", "member", "revision", "body", "platform")
    ).get()


def _store(entry: Entry) -> None:
    others = Entry.objects.filter(event=entry.event, number=entry.number).exclude(pk=entry.pk)
    taken = others.first()
    if taken is not None:
        raise EntryError(
            _("Number {number} is {driver}'s: choose another, such as {next_number}.").format(
                number=entry.number, driver=taken.driver, next_number=next_number(entry.event)
            ),
            "number",
        )
    raced = EventClass.objects.filter(event=entry.event, race_class=entry.race_class)
    if not raced.exists():
        raise EntryError(
            _("{race_class} is not raced at this event: choose one of its classes.").format(
                race_class=entry.race_class
            ),
            "race_class",
        )
    if entry.revision_id is not None:
        entry.body = entry.platform = None
    try:
        with transaction.atomic():
            entry.save()
    except IntegrityError as error:
        raise EntryError(
            _("Somebody has just entered a car under that number: choose another."), "number"
        ) from error


def _words(entry: Entry) -> list[tuple[str, str]]:
    """What an entry says, in words, by what it says it of."""
    return [(what, _word(field, getattr(entry, field))) for field, what in FIELDS.items()]


def _word(field: str, value: Any) -> str:
    if value is None:
        return ""
    return f"{value}, setup {value.setup_id}" if field == "revision" else str(value)


def _said(entry: Entry) -> list[list[str]]:
    return [[what, "", now] for what, now in _words(entry) if now]
