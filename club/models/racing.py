"""What the club races: its classes, the dated editions of their rulebooks, and the clauses.

A published edition never changes: triggers guard that (``club.racing.guards``). The edition that holds on a
day is the published one with the latest ``valid_from`` that is not after it, and no two of a class share a
date, so that there is never a question which one it is.
"""

from __future__ import annotations

from datetime import date
from typing import Self

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, OuterRef, Q, Subquery
from django.urls import reverse
from django.utils.translation import gettext_lazy

from fitcalc.dimensions import PartKind
from fitcalc.legality import BODY, CLASS_QUANTITIES, DecisionRule
from setups.models import Body, Part

MOST_FACTOR = 5

QUANTITY_CHOICES = [(kind.key, gettext_lazy(kind.label)) for kind in CLASS_QUANTITIES.values()]
THING_CHOICES = [(BODY, gettext_lazy("body")), *((kind.value, gettext_lazy(kind.label)) for kind in PartKind)]
RULE_CHOICES = [
    (DecisionRule.SIMPLE.value, gettext_lazy("the value alone decides")),
    (DecisionRule.GUARDED_ACCEPTANCE.value, gettext_lazy("fails unless clearly inside")),
    (DecisionRule.GUARDED_REJECTION.value, gettext_lazy("passes unless clearly outside")),
]


class RaceClass(models.Model):
    """A class of cars that race together, under whatever edition of its rulebook holds on the day."""

    name = models.CharField(max_length=80, unique=True)
    slug = models.SlugField(max_length=80, unique=True)
    description = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "race classes"

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("race-class", args=[self.slug])


class EditionQuerySet(models.QuerySet["RulebookEdition"]):
    def published(self) -> Self:
        return self.filter(published_at__isnull=False)

    def holding(self, on: date) -> Self:
        """The edition of each class that holds on the day ``on``."""
        dated = RulebookEdition.objects.published().filter(
            race_class=OuterRef("race_class"), valid_from__lte=on
        )
        return self.filter(pk=Subquery(dated.order_by("-valid_from").values("pk")[:1]))


class RulebookEdition(models.Model):
    """One dated edition of a class's rulebook: a draft that a race director writes, until it is published."""

    race_class = models.ForeignKey(RaceClass, on_delete=models.PROTECT, related_name="editions")
    name = models.CharField(max_length=60)
    valid_from = models.DateField()
    note = models.TextField(max_length=2000, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    published_at = models.DateTimeField(null=True, blank=True)
    published_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="published_editions",
    )

    objects = EditionQuerySet.as_manager()

    class Meta:
        ordering = ["race_class", "-valid_from"]
        constraints = [
            models.UniqueConstraint(fields=["race_class", "valid_from"], name="edition_date_once_a_class"),
            models.UniqueConstraint(fields=["race_class", "name"], name="edition_name_once_a_class"),
            models.CheckConstraint(condition=~Q(name=""), name="edition_has_name"),
            models.CheckConstraint(
                condition=Q(published_at__isnull=True, published_by__isnull=True)
                | Q(published_at__isnull=False, published_by__isnull=False),
                name="edition_published_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.race_class}, {self.name}"

    def get_absolute_url(self) -> str:
        return reverse("edition", args=[self.race_class.slug, self.pk])

    @property
    def is_published(self) -> bool:
        return self.published_at is not None


class Clause(models.Model):
    """One clause of an edition, as of ``fitcalc.legality``: a limit, a list, or a required thing.

    ``low`` and ``high`` are in the unit of ``quantity``; ``factor`` is that of the guard band. ``thing`` is
    what a list or a requirement is about: a kind of part, or bodies; empty for a required thing that only an
    inspector can see. ``allows`` is of a list: only what is on it, or anything but.
    """

    class Kind(models.TextChoices):
        LIMIT = "limit", gettext_lazy("limit")
        LIST = "list", gettext_lazy("list")
        REQUIRED = "required", gettext_lazy("required")

    edition = models.ForeignKey(RulebookEdition, on_delete=models.CASCADE, related_name="clauses")
    place = models.PositiveIntegerField()
    number = models.CharField(max_length=20)
    wording = models.TextField(max_length=1000)
    kind = models.CharField(max_length=8, choices=Kind)
    quantity = models.CharField(max_length=20, choices=QUANTITY_CHOICES, blank=True)
    low = models.DecimalField(max_digits=9, decimal_places=3, null=True, blank=True)
    high = models.DecimalField(max_digits=9, decimal_places=3, null=True, blank=True)
    rule = models.CharField(max_length=18, choices=RULE_CHOICES, default=DecisionRule.SIMPLE.value)
    factor = models.DecimalField(
        max_digits=4,
        decimal_places=2,
        default=1,
        validators=[MinValueValidator(0), MaxValueValidator(MOST_FACTOR)],
    )
    thing = models.CharField(max_length=20, choices=THING_CHOICES, blank=True)
    allows = models.BooleanField(default=True)

    class Meta:
        ordering = ["edition", "place", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["edition", "number"], name="clause_number_once_an_edition"),
            models.CheckConstraint(
                condition=~Q(number="") & ~Q(wording=""), name="clause_numbered_and_worded"
            ),
            models.CheckConstraint(
                condition=Q(
                    kind="limit",
                    quantity__in=[key for key, _ in QUANTITY_CHOICES],
                    thing="",
                )
                & (Q(low__isnull=False) | Q(high__isnull=False))
                & (Q(low__isnull=True) | Q(high__isnull=True) | Q(low__lte=F("high")))
                | Q(
                    kind="list",
                    thing__in=[key for key, _ in THING_CHOICES],
                    quantity="",
                    low__isnull=True,
                    high__isnull=True,
                )
                | Q(
                    kind="required",
                    thing__in=["", *(key for key, _ in THING_CHOICES)],
                    quantity="",
                    low__isnull=True,
                    high__isnull=True,
                ),
                name="clause_says_what_its_kind_needs",
            ),
            models.CheckConstraint(
                condition=Q(
                    rule__in=[key for key, _ in RULE_CHOICES], factor__gte=0, factor__lte=MOST_FACTOR
                ),
                name="clause_rule_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.wording}"[:80]


class ClauseItem(models.Model):
    """One part or body that a clause names."""

    clause = models.ForeignKey(Clause, on_delete=models.CASCADE, related_name="items")
    part = models.ForeignKey(
        Part, on_delete=models.PROTECT, null=True, blank=True, related_name="clause_items"
    )
    body = models.ForeignKey(
        Body, on_delete=models.PROTECT, null=True, blank=True, related_name="clause_items"
    )

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(part__isnull=True, body__isnull=False) | Q(part__isnull=False, body__isnull=True),
                name="clause_item_names_one_thing",
            ),
            models.UniqueConstraint(fields=["clause", "part"], name="clause_item_part_once"),
            models.UniqueConstraint(fields=["clause", "body"], name="clause_item_body_once"),
        ]

    def __str__(self) -> str:
        return str(self.part or self.body)

    @property
    def thing(self) -> Part | Body:
        found = self.part if self.part_id is not None else self.body
        assert found is not None
        return found
