"""Rulebooks: starting, copying, comparing and publishing editions, and writing their clauses.

Everything that writes locks the edition and refuses with an EditionError, whose text says what to do, once it
is published; the triggers of ``club.racing.guards`` stand behind that.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Count, Max, Prefetch, QuerySet
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import slugify
from django.utils.translation import gettext as _

from club.models import Clause, ClauseItem, Member, RaceClass, RulebookEdition
from fitcalc.legality import BODY
from setups.models import Body, Part

MOST_CLAUSES = 200
"""A rulebook has up to so many clauses."""
MOST_ITEMS = 200
"""A clause names up to so many parts or bodies."""

ITEMS = Prefetch("items", ClauseItem.objects.select_related("part__maker", "body__maker"))
"""What a list of clauses is read with."""


class EditionError(ValueError):
    """Why an edition cannot be written or published; the text says what to do.

    ``field`` is the form field that it is about, if any.
    """

    def __init__(self, text: str, field: str = "") -> None:
        super().__init__(text)
        self.field = field


def today() -> date:
    return timezone.localdate()


def holds_on(race_class: RaceClass, on: date) -> RulebookEdition | None:
    """The edition of ``race_class`` that holds on the day ``on``; ``None`` before the first one."""
    dated = race_class.editions.published().filter(valid_from__lte=on)
    found: RulebookEdition | None = dated.order_by("-valid_from").first()
    return found


def clauses_of(edition: RulebookEdition) -> list[Clause]:
    """The clauses in their order, with what they name; three queries."""
    return list(edition.clauses.prefetch_related(ITEMS).order_by("place", "pk"))


def editions_of(race_class: RaceClass) -> QuerySet[RulebookEdition]:
    """Every edition, the latest first, with how many clauses it has as ``clause_count``."""
    found: QuerySet[RulebookEdition] = race_class.editions.annotate(clause_count=Count("clauses"))
    return found.select_related("race_class", "published_by").order_by("-valid_from", "-pk")


def add_class(name: str, description: str = "") -> RaceClass:
    """A new class. Raises EditionError where there is one of that name."""
    slug = slugify(name)[:80]
    if not slug or slug == "new":
        raise EditionError(_("Give the class a name with a letter or a figure in it, and more than “new”."))
    try:
        with transaction.atomic():
            return RaceClass.objects.create(name=name, slug=slug, description=description)
    except IntegrityError as error:
        raise EditionError(
            _("There is a class of this name, or of one very like it: choose another.")
        ) from error


def start(
    race_class: RaceClass,
    name: str,
    valid_from: date,
    note: str = "",
    after: RulebookEdition | None = None,
) -> RulebookEdition:
    """A new draft, with the clauses of ``after``. Raises EditionError where the name or the date is taken."""
    _free(race_class, name, valid_from)
    try:
        with transaction.atomic():
            edition = RulebookEdition.objects.create(
                race_class=race_class, name=name, valid_from=valid_from, note=note
            )
            if after is not None:
                _copy_clauses(clauses_of(after), edition)
    except IntegrityError as error:
        raise _taken() from error
    return edition


def _taken() -> EditionError:
    return EditionError(
        _("Somebody has just started an edition of that name or date: look at it, or choose another.")
    )


def change(edition: RulebookEdition, name: str, valid_from: date, note: str) -> None:
    """Another name, date or note for a draft."""
    with transaction.atomic():
        draft = _draft(edition.pk)
        _free(draft.race_class, name, valid_from, but=draft.pk)
        draft.name, draft.valid_from, draft.note = name, valid_from, note
        try:
            with transaction.atomic():
                draft.save(update_fields=["name", "valid_from", "note"])
        except IntegrityError as error:
            raise _taken() from error
    edition.refresh_from_db()


def discard(edition: RulebookEdition) -> None:
    """Take a draft out, with its clauses."""
    with transaction.atomic():
        _draft(edition.pk).delete()


def publish(edition: RulebookEdition, by: Member, on: date | None = None) -> RulebookEdition:
    """From now on the edition never changes, and holds from its date on.

    ``on`` is the day of publishing, today unless said. An edition cannot begin to hold before that day: which
    rules held on a day that is over would change.
    """
    if not by.directs_races:
        raise PermissionError("Only a race director publishes a rulebook.")
    day = on or today()
    with transaction.atomic():
        draft = _draft(edition.pk)
        if not draft.clauses.exists():
            raise EditionError(_("The edition has no clause yet: write one before it is published."))
        if draft.valid_from < day:
            raise EditionError(
                _(
                    "It would hold from {valid_from}, which is over, and so change what held "
                    "then. Set a date from today on, then publish."
                ).format(valid_from=date_format(draft.valid_from, _("j F Y")))
            )
        draft.published_at, draft.published_by = timezone.now(), by
        draft.save(update_fields=["published_at", "published_by"])
    edition.refresh_from_db()
    return edition


def save_clause(clause: Clause, things: Sequence[Part | Body] = ()) -> Clause:
    """Store a new or changed clause of a draft and what it names; a new one comes last.

    The clause must be valid (``club.racing.forms`` sees to that). Raises EditionError where its number is
    taken.
    """
    with transaction.atomic():
        draft = _draft(clause.edition_id)
        if clause.pk is None:
            if draft.clauses.count() >= MOST_CLAUSES:
                raise EditionError(
                    _("A rulebook has up to {most_clauses} clauses: take one out first.").format(
                        most_clauses=MOST_CLAUSES
                    )
                )
            clause.place = _next_place(draft)
        try:
            with transaction.atomic():
                clause.save()
        except IntegrityError as error:
            raise EditionError(
                _("Number {number} is taken in this edition: choose another, or change that clause.").format(
                    number=clause.number
                ),
                "number",
            ) from error
        clause.items.all().delete()
        ClauseItem.objects.bulk_create(_items(clause, things))
    return clause


def remove_clause(clause: Clause) -> None:
    with transaction.atomic():
        _draft(clause.edition_id)
        clause.delete()


def move(clause: Clause, up: bool) -> None:
    """The clause changes places with the one before it or after it; at the end nothing happens."""
    with transaction.atomic():
        draft = _draft(clause.edition_id)
        order = list(draft.clauses.order_by("place", "pk"))
        at = next(i for i, one in enumerate(order) if one.pk == clause.pk)
        to = at - 1 if up else at + 1
        if 0 <= to < len(order):
            order[at], order[to] = order[to], order[at]
        for place, one in enumerate(order, start=1):
            one.place = place
        Clause.objects.bulk_update(order, ["place"])


@dataclass(frozen=True, slots=True)
class ClauseChange:
    """One clause in two editions; ``fields`` are the names of what differs, empty where nothing does."""

    before: Clause | None
    after: Clause | None
    fields: tuple[str, ...] = ()

    @property
    def what(self) -> str:
        """ "added", "removed", "changed" or "same"."""
        if self.before is None:
            return "added"
        if self.after is None:
            return "removed"
        return "changed" if self.fields else "same"


def compare(before: RulebookEdition, after: RulebookEdition) -> list[ClauseChange]:
    """What changed from one edition to another, in the order of ``after``, what was taken out last.

    Clauses go together by their number; one that only has another number now goes with its old self.
    """
    old, new = clauses_of(before), clauses_of(after)
    by_number = {clause.number: clause for clause in old}
    numbers = {clause.number for clause in new}
    moved = {_said(clause): clause for clause in old if clause.number not in numbers}
    found = []
    kept = set()
    for clause in new:
        was = by_number.get(clause.number) or moved.get(_said(clause))
        if was is None or was.pk in kept:
            found.append(ClauseChange(None, clause))
            continue
        kept.add(was.pk)
        then, now = _fields(was), _fields(clause)
        found.append(ClauseChange(was, clause, tuple(name for name in now if then[name] != now[name])))
    return found + [ClauseChange(clause, None) for clause in old if clause.pk not in kept]


def _said(clause: Clause) -> tuple[Any, ...]:
    """All that a clause says, its number apart."""
    return tuple(value for name, value in _fields(clause).items() if name != "number")


def _fields(clause: Clause) -> dict[str, Any]:
    return {
        "number": clause.number,
        "wording": clause.wording,
        "what": (
            clause.kind,
            clause.quantity,
            clause.thing,
            clause.allows if clause.kind == "list" else None,
        ),
        "limits": (clause.low, clause.high),
        "decision": (clause.rule, clause.factor) if clause.kind == "limit" else None,
        "items": frozenset((item.part_id, item.body_id) for item in clause.items.all()),
    }


def _draft(key: int) -> RulebookEdition:
    """The edition, locked; EditionError if it is published or gone."""
    editions = RulebookEdition.objects.select_for_update(of=("self",)).select_related("race_class")
    found = editions.filter(pk=key).first()
    if found is None:
        raise EditionError(_("The edition is gone: another race director has discarded it."))
    if found.is_published:
        raise EditionError(_("The edition is published and never changes: copy it, and change the copy."))
    return found


def _free(race_class: RaceClass, name: str, valid_from: date, but: int | None = None) -> None:
    others = race_class.editions.exclude(pk=but)
    if others.filter(valid_from=valid_from).exists():
        raise EditionError(
            _(
                "Another edition of this class holds from {valid_from}: choose another date, "
                "so that it is clear which one holds."
            ).format(valid_from=date_format(valid_from, _("j F Y")))
        )
    if others.filter(name=name).exists():
        raise EditionError(_("This class has an edition of that name: choose another name."))


def _next_place(edition: RulebookEdition) -> int:
    return (edition.clauses.aggregate(last=Max("place"))["last"] or 0) + 1


def _items(clause: Clause, things: Iterable[Part | Body]) -> list[ClauseItem]:
    """Rows for what a clause names; a clause names bodies or one kind of part."""
    of_bodies, kind = clause.thing == BODY, clause.get_thing_display()
    rows = []
    for thing in dict.fromkeys(things):
        if isinstance(thing, Body) != of_bodies or (isinstance(thing, Part) and thing.kind != clause.thing):
            raise EditionError(_("{thing} is no {kind}: choose among those.").format(thing=thing, kind=kind))
        rows.append(ClauseItem(clause=clause, **{"body" if of_bodies else "part": thing}))
    if len(rows) > MOST_ITEMS:
        raise EditionError(
            _("A clause names up to {most_items}: split it in two.").format(most_items=MOST_ITEMS)
        )
    return rows


def _copy_clauses(clauses: Iterable[Clause], edition: RulebookEdition) -> None:
    rows = []
    for clause in clauses:
        items = list(clause.items.all())
        copy = Clause(
            **{
                field.attname: getattr(clause, field.attname)
                for field in Clause._meta.concrete_fields
                if field.attname not in ("id", "edition_id")
            },
            edition=edition,
        )
        rows.append((copy, items))
    Clause.objects.bulk_create([copy for copy, _ in rows])
    ClauseItem.objects.bulk_create(
        ClauseItem(clause=copy, part_id=item.part_id, body_id=item.body_id)
        for copy, items in rows
        for item in items
    )
