"""Race days: events, who is entered with what, and what was inspected.

An inspection never changes and never goes while its entry stands, nor does a line of an entry's log
(``club.racing.events.guards``). What was wrong is corrected by a new inspection that names the old one.
"""

from __future__ import annotations

from typing import Any, Self
from uuid import uuid4

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy

from fitcalc.instruments import Instrument
from fitcalc.legality import ClassVerdict
from setups.models import Body, Platform, Revision

from .racing import Clause, RaceClass, RulebookEdition

MOST_NUMBER = 9999
MOST_RUNS = 99


class EventQuerySet(models.QuerySet["Event"]):
    def seen_by(self, member: Any) -> Self:
        """Public events, and for a race director the others too."""
        if getattr(member, "directs_races", False):
            return self
        return self.filter(Q(is_public=True) | Q(entries__member=member)).distinct()


class Event(models.Model):
    """A day on which the club races; members see it once it is public."""

    name = models.CharField(max_length=120)
    slug = models.SlugField(max_length=120, unique=True)
    date = models.DateField(db_index=True)
    venue = models.CharField(max_length=120, blank=True)
    note = models.TextField(max_length=2000, blank=True)
    is_public = models.BooleanField(default=True)
    classes = models.ManyToManyField(RaceClass, through="club.EventClass", related_name="events")
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="events_made"
    )

    objects = EventQuerySet.as_manager()

    class Meta:
        ordering = ["-date", "name", "pk"]
        constraints = [models.CheckConstraint(condition=~Q(name="") & ~Q(slug=""), name="event_has_name")]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("event", args=[self.slug])


class EventClassQuerySet(models.QuerySet["EventClass"]):
    def with_edition(self) -> Self:
        """``edition_key``: the pinned edition, or the one that holds on the event's date, else ``None``."""
        dated = RulebookEdition.objects.published().filter(
            race_class=OuterRef("race_class"), valid_from__lte=OuterRef("event__date")
        )
        newest = Subquery(dated.order_by("-valid_from").values("pk")[:1])
        return self.annotate(edition_key=Coalesce(F("pinned"), newest))


class EventClass(models.Model):
    """A class raced at an event, and the edition of its rulebook if a director pinned one."""

    event = models.ForeignKey(Event, on_delete=models.CASCADE, related_name="raced")
    race_class = models.ForeignKey(RaceClass, on_delete=models.PROTECT, related_name="raced")
    pinned = models.ForeignKey(
        RulebookEdition, on_delete=models.PROTECT, null=True, blank=True, related_name="pinned_by"
    )

    objects = EventClassQuerySet.as_manager()

    class Meta:
        ordering = ["race_class__name", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["event", "race_class"], name="event_class_once"),
        ]

    def __str__(self) -> str:
        return f"{self.race_class} at {self.event}"


class Entry(models.Model):
    """One car at an event: who drives it, under which number, and what it is.

    The car is a ``revision`` of a setup; without one, as much as is known: ``body`` and ``platform``.
    ``driver`` is the name on the list, also of somebody who is no member.
    """

    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="entries")
    race_class = models.ForeignKey(RaceClass, on_delete=models.PROTECT, related_name="entries")
    number = models.PositiveIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(MOST_NUMBER)],
    )
    driver = models.CharField(max_length=80)
    member = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="entries"
    )
    revision = models.ForeignKey(
        Revision, on_delete=models.PROTECT, null=True, blank=True, related_name="entries"
    )
    body = models.ForeignKey(Body, on_delete=models.PROTECT, null=True, blank=True, related_name="entries")
    platform = models.ForeignKey(
        Platform, on_delete=models.PROTECT, null=True, blank=True, related_name="entries"
    )
    checked_in_at = models.DateTimeField(null=True, blank=True)
    checked_in_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    withdrawn = models.BooleanField(default=False)

    class Meta:
        ordering = ["event", "number"]
        verbose_name_plural = "entries"
        constraints = [
            models.UniqueConstraint(fields=["event", "number"], name="entry_number_once_an_event"),
            models.CheckConstraint(
                condition=Q(number__gte=1, number__lte=MOST_NUMBER), name="entry_number_on_a_shell"
            ),
            models.CheckConstraint(condition=~Q(driver=""), name="entry_has_driver"),
            models.CheckConstraint(
                condition=Q(revision__isnull=True) | Q(body__isnull=True, platform__isnull=True),
                name="entry_car_said_once",
            ),
            models.CheckConstraint(
                condition=Q(checked_in_at__isnull=True, checked_in_by__isnull=True)
                | Q(checked_in_at__isnull=False, checked_in_by__isnull=False, withdrawn=False),
                name="entry_checked_in_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.driver}"

    def get_absolute_url(self) -> str:
        return reverse("entry", args=[self.event.slug, self.pk])

    @property
    def car_body(self) -> Body | None:
        return self.body if self.revision is None else self.revision.body

    @property
    def car_platform(self) -> Platform | None:
        return self.platform if self.revision is None else self.revision.platform


class EntryChange(models.Model):
    """One line of an entry's log: what was changed, who did it and why. Never changes.

    ``changes`` is a list of [what, before, after], in words.
    """

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="log")
    at = models.DateTimeField(default=timezone.now, editable=False)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    why = models.CharField(max_length=300)
    changes = models.JSONField(default=list)

    class Meta:
        ordering = ["pk"]
        constraints = [models.CheckConstraint(condition=~Q(why=""), name="entry_change_has_reason")]

    def __str__(self) -> str:
        return self.why


class Inspection(models.Model):
    """What an inspector found on a car under one clause: a value, or what was seen. Never changes.

    ``value`` is the mean of ``readings`` and ``u`` its standard uncertainty, in the unit of the clause's
    quantity; ``doubt`` that of one reading. ``computed`` is what the library computed for the car then.
    The verdict is that of the day; with the clause, whose edition never changes, it can be found again from
    these numbers. ``key`` is made where the reading was typed: a second sending of it stores nothing.
    """

    class Stage(models.TextChoices):
        BEFORE = "before", gettext_lazy("before the run")
        AFTER = "after", gettext_lazy("after the run")

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="inspections")
    clause = models.ForeignKey(Clause, on_delete=models.PROTECT, related_name="inspections")
    stage = models.CharField(max_length=6, choices=Stage)
    run = models.PositiveSmallIntegerField(
        default=1, validators=[MinValueValidator(1), MaxValueValidator(MOST_RUNS)]
    )
    value = models.DecimalField(max_digits=10, decimal_places=4, null=True, blank=True)
    u = models.DecimalField(max_digits=9, decimal_places=5, null=True, blank=True)
    readings = models.JSONField(default=list, blank=True)
    instrument = models.CharField(
        max_length=11, blank=True, choices=[(i.value, gettext_lazy(i.label)) for i in Instrument]
    )
    doubt = models.DecimalField(max_digits=8, decimal_places=4, null=True, blank=True)
    seen = models.BooleanField(null=True, blank=True)
    computed = models.DecimalField(max_digits=10, decimal_places=4, null=True, blank=True)
    computed_u = models.DecimalField(max_digits=9, decimal_places=5, null=True, blank=True)
    verdict = models.CharField(max_length=15, choices=[(v.value, v.value) for v in ClassVerdict])
    passes = models.BooleanField()
    probability = models.FloatField(null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="inspections")
    taken_at = models.DateTimeField()
    at = models.DateTimeField(default=timezone.now, editable=False)
    corrects = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )
    reason = models.CharField(max_length=300, blank=True)
    key = models.UUIDField(unique=True, default=uuid4, editable=False)

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["entry", "clause"], name="inspection_entry_clause")]
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    value__isnull=False, u__isnull=False, u__gte=0, doubt__isnull=False, seen__isnull=True
                )
                | Q(value__isnull=True, u__isnull=True, doubt__isnull=True, seen__isnull=False),
                name="inspection_measured_or_seen",
            ),
            models.CheckConstraint(
                condition=Q(run__gte=1, run__lte=MOST_RUNS), name="inspection_run_counted"
            ),
            models.CheckConstraint(
                condition=Q(stage__in=["before", "after"])
                & Q(verdict__in=["complies", "too_close", "does_not_comply"]),
                name="inspection_words_known",
            ),
            models.CheckConstraint(
                condition=Q(corrects__isnull=True, reason="") | Q(corrects__isnull=False) & ~Q(reason=""),
                name="inspection_corrected_with_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.clause.number} on car {self.entry.number}"
