"""Setups: what a member runs, draft and posted, revision by revision.

A ``Setup`` is the thing that has an address and a standing; what it says is in its revisions, which never
change once they are posted (a trigger guards that), and in its draft, which keeps what was typed as it was
typed. The columns of ``Setup`` that tell what the current revision says are there for searching.
"""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from django.conf import settings
from django.db import connections, models
from django.db.models import F, Q
from django.urls import reverse
from django.utils import timezone

from fitcalc.findings import Verdict
from fitcalc.said import said
from setups.words import words_in

from .body import Body
from .configuration import SLOT_CHOICES
from .part import Part
from .platform import MountingPosition, Platform

VERDICT_CHOICES = [(one.value, one.value) for one in Verdict]


class Surface(models.TextChoices):
    CARPET = "carpet", said("carpet")
    FOAM = "foam", said("foam tiles")
    ASPHALT = "asphalt", said("asphalt")
    WOOD = "wood", said("wooden floor")
    OTHER = "other", said("another surface")


LISTED = ("verified", "posted", "disputed")
"""The states in which a setup is listed for everybody."""


class MatchesWords(models.Func):
    """Whether the folded words of a column match a PostgreSQL tsquery, given as text.

    ``setup_lexemes`` (migration 0007) takes the words as they stand, so that both databases see the same
    ones; an index is kept of it.
    """

    output_field = models.BooleanField()
    template = "setup_lexemes(%(expressions)s::tsquery"
    arg_joiner = ") @@ "


class SetupQuerySet(models.QuerySet["Setup"]):
    def listed(self) -> SetupQuerySet:
        """What everybody finds: neither drafts nor what was withdrawn."""
        return self.filter(state__in=LISTED)

    def matching(self, text: str) -> SetupQuerySet:
        """Setups in which every word of ``text`` begins a word; accents and case do not matter."""
        words = words_in(text)
        if text and not words:
            return self.none()
        if connections[self.db].vendor == "postgresql":
            asked = " & ".join(f"'{word}':*" for word in words)
            return self.filter(MatchesWords("words", models.Value(asked))) if words else self
        found = self
        for word in words:
            found = found.filter(Q(words__startswith=word) | Q(words__contains=f" {word}"))
        return found


class Setup(models.Model):
    """A member's car as it is run; what it says is in ``current`` and, while being written, in ``draft``.

    ``verdict`` is the fit by the library's figures of today, that of the revision by those of its day.
    ``confirmations`` is how many members bear out each quantity that has to be measured, at the least.
    Widths, offsets and wheelbase in mm, ``best_lap`` in seconds.
    """

    class State(models.TextChoices):
        DRAFT = "draft", said("draft")
        POSTED = "posted", said("posted")
        VERIFIED = "verified", said("verified")
        DISPUTED = "disputed", said("disputed")
        WITHDRAWN = "withdrawn", said("withdrawn")

    author = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="setups")
    name = models.CharField(max_length=120, blank=True)
    state = models.CharField(max_length=9, choices=State, default=State.DRAFT)
    current = models.OneToOneField(
        "setups.Revision", on_delete=models.RESTRICT, null=True, blank=True, related_name="current_of"
    )
    started_from = models.ForeignKey(
        "setups.Revision", on_delete=models.SET_NULL, null=True, blank=True, related_name="taken_up_by"
    )
    created = models.DateTimeField(auto_now_add=True)
    posted_at = models.DateTimeField(null=True, blank=True)

    body = models.ForeignKey(Body, on_delete=models.PROTECT, null=True, blank=True, related_name="setups")
    platform = models.ForeignKey(
        Platform, on_delete=models.PROTECT, null=True, blank=True, related_name="setups"
    )
    race_class = models.ForeignKey(
        "club.RaceClass", on_delete=models.PROTECT, null=True, blank=True, related_name="setups"
    )
    surface = models.CharField(max_length=7, choices=Surface, blank=True)
    circuit = models.CharField(max_length=80, blank=True)
    best_lap = models.DecimalField(max_digits=7, decimal_places=3, null=True, blank=True)
    front_width = models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)
    rear_width = models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)
    front_offset = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    rear_offset = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    wheelbase = models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)
    verdict = models.CharField(max_length=7, choices=VERDICT_CHOICES, blank=True)
    confirmations = models.PositiveSmallIntegerField(default=0)
    words = models.TextField(blank=True, editable=False)
    """What a search by words looks in, as ``setups.words.folded``."""

    objects = SetupQuerySet.as_manager()

    class Meta:
        ordering = ["-posted_at", "-pk"]
        indexes = [
            # Best borne out first: "verified", "posted" and "disputed" fall in the order of the alphabet.
            models.Index(
                F("state").desc(),
                F("confirmations").desc(),
                F("posted_at").desc(),
                F("id").desc(),
                condition=Q(state__in=LISTED),
                name="setup_by_evidence",
            ),
            models.Index(
                F("posted_at").desc(),
                F("id").desc(),
                condition=Q(state__in=LISTED),
                name="setup_by_age",
            ),
            models.Index("circuit", "best_lap", "id", condition=Q(state__in=LISTED), name="setup_by_lap"),
            # What a body's page shows of them.
            models.Index(
                F("body"),
                F("state").desc(),
                F("posted_at").desc(),
                F("id").desc(),
                condition=Q(state__in=LISTED),
                name="setup_of_body",
            ),
            # Holds all that the facets of the search count, so that they need not read the rows.
            models.Index(
                fields=[
                    "body",
                    "platform",
                    "state",
                    "surface",
                    "race_class",
                    "author",
                    "circuit",
                    "front_width",
                    "front_offset",
                    "rear_offset",
                    "wheelbase",
                ],
                condition=Q(state__in=LISTED),
                name="setup_facets",
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(state="draft", current__isnull=True, posted_at__isnull=True)
                | ~Q(state="draft")
                & Q(
                    current__isnull=False, posted_at__isnull=False, body__isnull=False, platform__isnull=False
                )
                & ~Q(verdict=""),
                name="setup_posted_has_revision",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["draft", "posted", "verified", "disputed", "withdrawn"]),
                name="setup_state_known",
            ),
        ]

    def __str__(self) -> str:
        return self.name or "setup without a name"

    def get_absolute_url(self) -> str:
        return reverse("setup", args=[self.pk])

    @property
    def is_public(self) -> bool:
        """True once it is posted: a draft is seen by its author only."""
        return self.state != self.State.DRAFT


class Draft(models.Model):
    """What is being written: field -> text, as typed and not yet judged. ``version`` counts the savings."""

    setup = models.OneToOneField(Setup, on_delete=models.CASCADE, related_name="draft")
    typed = models.JSONField(default=dict)
    version = models.PositiveIntegerField(default=1)
    saved_at = models.DateTimeField(auto_now=True)

    def __str__(self) -> str:
        return f"draft of {self.setup}"


class Revision(models.Model):
    """What a setup said when it was posted; never changes.

    ``build`` is a digest of what the geometry hangs on (body, platform, position, parts): a measurement of
    the car holds for every revision of one build. ``tuning`` is as of ``fitcalc.tuning.read``. ``geometry``
    and ``findings`` are what was computed then, as ``setups.services.cars`` writes them.
    """

    setup = models.ForeignKey(Setup, on_delete=models.CASCADE, related_name="revisions")
    number = models.PositiveIntegerField()
    author = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="revisions")
    posted_at = models.DateTimeField()
    what_changed = models.CharField(max_length=300, blank=True)

    name = models.CharField(max_length=120)
    body = models.ForeignKey(Body, on_delete=models.PROTECT, related_name="revisions")
    platform = models.ForeignKey(Platform, on_delete=models.PROTECT, related_name="revisions")
    position = models.ForeignKey(MountingPosition, on_delete=models.PROTECT, related_name="revisions")
    race_class = models.ForeignKey(
        "club.RaceClass", on_delete=models.PROTECT, null=True, blank=True, related_name="revisions"
    )
    surface = models.CharField(max_length=7, choices=Surface, blank=True)
    circuit = models.CharField(max_length=80, blank=True)
    best_lap = models.DecimalField(max_digits=7, decimal_places=3, null=True, blank=True)
    result = models.CharField(max_length=120, blank=True)
    notes = models.TextField(max_length=4000, blank=True)
    tuning = models.JSONField(default=dict)
    photos = models.ManyToManyField("setups.Photo", blank=True, related_name="revisions")

    build = models.CharField(max_length=32, db_index=True)
    geometry = models.JSONField(default=dict)
    findings = models.JSONField(default=list)
    verdict = models.CharField(max_length=7, choices=VERDICT_CHOICES)

    LONG = ("notes", "tuning", "geometry", "findings")
    """What a list that names revisions need not read."""

    class Meta:
        ordering = ["setup", "number"]
        constraints = [
            models.UniqueConstraint(fields=["setup", "number"], name="revision_number_once"),
            models.CheckConstraint(
                condition=Q(number__gte=1) & (Q(best_lap__isnull=True) | Q(best_lap__gt=0)),
                name="revision_figures_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name}, revision {self.number}"

    def get_absolute_url(self) -> str:
        return reverse("revision", args=[self.setup_id, self.number])


class RevisionPart(models.Model):
    revision = models.ForeignKey(Revision, on_delete=models.CASCADE, related_name="slots")
    slot = models.CharField(max_length=20, choices=SLOT_CHOICES)
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="revision_slots")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["revision", "slot"], name="revision_slot_once"),
            models.CheckConstraint(
                condition=Q(slot__in=[value for value, _ in SLOT_CHOICES]), name="revision_slot_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.slot}: {self.part}"


def photo_path(photo: Photo, filename: str) -> str:
    """Where a photo is kept: a name of our own, whatever the file was called."""
    name = uuid4().hex
    return f"setups/{name[:2]}/{name}.webp"


class Photo(models.Model):
    """A picture of the car, encoded anew by the library; ``removed`` ones stay with older revisions."""

    setup = models.ForeignKey(Setup, on_delete=models.CASCADE, related_name="photos")
    image = models.ImageField(upload_to=photo_path, width_field="width", height_field="height")
    width = models.PositiveIntegerField(default=0)
    height = models.PositiveIntegerField(default=0)
    caption = models.CharField(max_length=120, blank=True)
    added = models.DateTimeField(auto_now_add=True)
    removed = models.BooleanField(default=False)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.caption or f"photo {self.pk}"


class Dispute(models.Model):
    """A measurement says that the car is not as it is computed; a steward settles who is right.

    It is about one build of the setup. Open until it has an outcome.
    """

    class Outcome(models.TextChoices):
        SET_ASIDE = "set_aside", said("the measurement is set aside")
        UPHELD = "upheld", said("the setup is not as posted")
        WITHDRAWN = "withdrawn", said("the measurement no longer stands against it")

    setup = models.ForeignKey(Setup, on_delete=models.CASCADE, related_name="disputes")
    build = models.CharField(max_length=32)
    measurement = models.ForeignKey("setups.Measurement", on_delete=models.CASCADE, related_name="disputes")
    opened_at = models.DateTimeField(default=timezone.now)
    outcome = models.CharField(max_length=9, choices=Outcome, blank=True)
    reason = models.TextField(max_length=1000, blank=True)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="settled_disputes",
    )
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["opened_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["setup"], condition=Q(outcome=""), name="dispute_open_once_a_setup"
            ),
            models.CheckConstraint(
                condition=Q(outcome="", settled_at__isnull=True, settled_by__isnull=True)
                | Q(outcome="withdrawn", settled_at__isnull=False)
                | Q(outcome__in=["set_aside", "upheld"], settled_at__isnull=False, settled_by__isnull=False)
                & ~Q(reason=""),
                name="dispute_settled_with_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"dispute over {self.setup}"

    @property
    def is_open(self) -> bool:
        return not self.outcome


class Decision(models.Model):
    """One line of a setup's record: what happened, who did it (nobody: by rule), and why. Never changes."""

    class Action(models.TextChoices):
        POSTED = "posted", said("posted")
        REVISED = "revised", said("revised")
        VERIFIED = "verified", said("verified")
        UNVERIFIED = "unverified", said("no longer verified")
        DISPUTED = "disputed", said("disputed")
        SETTLED = "settled", said("dispute settled")
        WITHDRAWN = "withdrawn", said("withdrawn")
        RESTORED = "restored", said("posted again")
        VERDICT = "verdict", said("fit computed anew")

    setup = models.ForeignKey(Setup, on_delete=models.CASCADE, related_name="decisions")
    revision = models.ForeignKey(Revision, on_delete=models.CASCADE, null=True, related_name="decisions")
    action = models.CharField(max_length=10, choices=Action)
    member = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="decisions"
    )
    reason = models.CharField(max_length=1000)
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["pk"]
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="decision_has_reason")]

    def __str__(self) -> str:
        return f"{self.get_action_display()}: {self.reason}"


def typed_of(revision: Revision) -> dict[str, Any]:
    """A draft's fields that say what ``revision`` says; reads its slots."""
    shown = {
        "name": revision.name,
        "body": str(revision.body_id),
        "platform": str(revision.platform_id),
        "position": str(revision.position_id),
        "race_class": str(revision.race_class_id or ""),
        "surface": revision.surface,
        "circuit": revision.circuit,
        "best_lap": "" if revision.best_lap is None else f"{revision.best_lap:f}",
        "result": revision.result,
        "notes": revision.notes,
    }
    shown |= {row.slot: str(row.part_id) for row in revision.slots.all()}
    return shown | {f"tuning_{key}": _plain(value) for key, value in revision.tuning.items()}


def _plain(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:g}"
