"""Events: making one, what it races, and the edition of each class's rulebook that holds there."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Count, Prefetch, Q, QuerySet
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.models import Clause, Entry, Event, EventClass, RaceClass, RulebookEdition
from club.racing.cars import clause_of
from club.racing.checking import Rulebook
from club.racing.editions import ITEMS
from club.racing.events.entries import EntryError, demand_director


def may_inspect(member: Any) -> bool:
    """True for those who run events and inspect cars."""
    return bool(getattr(member, "directs_races", False))


def may_see_sheet(entry: Entry, member: Any) -> bool:
    """True for race directors and for the driver of the car."""
    return may_inspect(member) or (entry.member_id is not None and entry.member_id == member.pk)


def listed(member: Any) -> QuerySet[Event]:
    """The events that ``member`` sees, the latest first, with ``entered``, ``here`` and their classes."""
    standing = Q(entries__withdrawn=False)
    return (
        Event.objects.filter(pk__in=Event.objects.seen_by(member).values("pk"))
        .annotate(
            entered=Count("entries", filter=standing, distinct=True),
            here=Count("entries", filter=standing & Q(entries__checked_in_at__isnull=False), distinct=True),
        )
        .prefetch_related(Prefetch("raced", EventClass.objects.select_related("race_class")))
        .order_by("-date", "name", "pk")
    )


def rulebooks_of(event: Event) -> dict[int, Rulebook | None]:
    """Key of each class raced -> the rulebook that holds at the event, ``None`` where none does.

    In the order of the classes' names; four queries.
    """
    raced = list(event.raced.with_edition().order_by("race_class__name"))
    clauses = Prefetch("clauses", Clause.objects.prefetch_related(ITEMS).order_by("place", "pk"))
    editions = (
        RulebookEdition.objects.filter(pk__in=[one.edition_key for one in raced if one.edition_key])
        .select_related("race_class")
        .prefetch_related(clauses)
    )
    books = {}
    for edition in editions:
        rows = list(edition.clauses.all())
        books[edition.pk] = Rulebook(edition, rows, [clause_of(row) for row in rows])
    return {one.race_class_id: books.get(one.edition_key) for one in raced}


def rulebook_for(entry: Entry) -> Rulebook | None:
    """The rulebook that an entry is inspected under."""
    return rulebooks_of(entry.event).get(entry.race_class_id)


def clause_holds(entry: Entry, clause: int) -> bool:
    """True if the clause of this key is of the edition that an entry is inspected under; two queries."""
    raced = entry.event.raced.with_edition().filter(race_class=entry.race_class_id).first()
    edition = None if raced is None else raced.edition_key
    return edition is not None and Clause.objects.filter(pk=clause, edition=edition).exists()


def save(
    event: Event,
    given: Mapping[str, Any],
    raced: Mapping[RaceClass, RulebookEdition | None],
    by: Any,
) -> Event:
    """Store an event and the classes it races, each with its pinned edition or ``None``.

    Raises EntryError if a class that has entries is left out.
    """
    demand_director(by)
    with transaction.atomic():
        for field, value in given.items():
            setattr(event, field, value)
        if event.pk is None:
            event.made_by = by
            event.slug = _free_slug(event.name, event.date)
        try:
            with transaction.atomic():
                event.save()
        except IntegrityError as error:
            raise EntryError(_("Somebody has just made an event of that name: look at it first.")) from error
        standing = {one.race_class_id: one for one in event.raced.select_related("race_class")}
        kept = {race_class.pk for race_class in raced}
        for key, row in standing.items():
            if key not in kept:
                entered = Entry.objects.filter(event=event, race_class=key).count()
                if entered:
                    why = ngettext(
                        "{race_class} has {count} entry here, so it stays: change their class first.",
                        "{race_class} has {count} entries here, so it stays: change their class first.",
                        entered,
                    )
                    raise EntryError(why.format(race_class=row.race_class, count=entered), "classes")
                row.delete()
        for race_class, pinned in raced.items():
            EventClass.objects.update_or_create(
                event=event, race_class=race_class, defaults={"pinned": pinned}
            )
    return event


def _free_slug(name: str, on: date) -> str:
    """The name as an address, with the year, and a number where that is taken."""
    base = f"{slugify(name)[:100] or 'event'}-{on:%Y}"
    taken = set(Event.objects.filter(slug__startswith=base).values_list("slug", flat=True))
    slug, number = base, 2
    while slug in taken:
        slug, number = f"{base}-{number}", number + 1
    return slug
