"""Parts: what can be bought and fitted, what it fits, and what goes with what."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from fitcalc.dimensions import PART_DIMENSIONS, DimensionKind, PartKind
from fitcalc.parts import Axle, Layout
from fitcalc.said import said

from .dimension import Dimension, doubt_not_negative, plausible
from .platform import Platform

KIND_CHOICES = [(kind.value, kind.label) for kind in PartKind]
LAYOUT_CHOICES = [
    (Layout.REAR_MOTOR.value, said("rear motor")),
    (Layout.MID_MOTOR.value, said("mid motor")),
]
AXLE_CHOICES = [(Axle.FRONT.value, said("front")), (Axle.REAR.value, said("rear"))]


class Said(models.Func):
    """What a row's own columns say in words, as PostgreSQL's indexes of trigrams have it (migration 0008).

    A space parts the columns: no word that is looked for holds one.
    """

    output_field = models.TextField()
    template = "(%(expressions)s)"
    arg_joiner = " || ' ' || "


def matching(rows: models.QuerySet, columns: tuple[str, ...], text: str) -> models.QuerySet:
    """Those of ``rows`` in whose ``columns`` or whose maker's name every word of ``text`` occurs."""
    found = rows.alias(said=Said(*columns))
    for word in text.split():
        # Makers are few. With their keys at hand, both indexes are asked.
        makers = Maker.objects.filter(name__icontains=word).order_by().values_list("pk", flat=True)
        found = found.filter(Q(said__icontains=word) | Q(maker__in=list(makers)))
    return found


class Maker(models.Model):
    name = models.CharField(max_length=80, unique=True)
    slug = models.SlugField(max_length=80, unique=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class PartQuerySet(models.QuerySet["Part"]):
    def of_kind(self, kind: PartKind) -> PartQuerySet:
        return self.filter(kind=kind)

    def for_platform(self, platform: Platform) -> PartQuerySet:
        return self.filter(fitments__platform=platform)

    def matching(self, text: str) -> PartQuerySet:
        """Parts in whose name, maker or number every word of ``text`` occurs."""
        return matching(self, ("name", "part_number"), text)  # type: ignore[return-value]


class Part(models.Model):
    """A thing sold in a pack. Its geometry is in ``dimensions``; ``price`` is of the whole pack.

    ``axle`` empty means either axle; ``layout`` is set for motor mounts and for nothing else.
    """

    kind = models.CharField(max_length=20, choices=KIND_CHOICES)
    name = models.CharField(max_length=120)
    slug = models.SlugField(max_length=140, unique=True)
    maker = models.ForeignKey(Maker, on_delete=models.PROTECT, related_name="parts")
    part_number = models.CharField(max_length=40, blank=True)
    axle = models.CharField(max_length=5, choices=AXLE_CHOICES, blank=True)
    layout = models.CharField(max_length=4, choices=LAYOUT_CHOICES, blank=True)
    price = models.DecimalField(max_digits=8, decimal_places=2, null=True, blank=True)
    pack_size = models.PositiveSmallIntegerField(default=1)
    mass = models.DecimalField(
        max_digits=7, decimal_places=2, null=True, blank=True, help_text="Grams, one piece."
    )
    description = models.TextField(blank=True)
    platforms = models.ManyToManyField(Platform, through="Fitment", related_name="parts")

    objects = PartQuerySet.as_manager()

    class Meta:
        ordering = ["kind", "name"]
        indexes = [models.Index(fields=["kind", "name"], name="part_kind_name")]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=[k.value for k in PartKind]), name="part_kind_known"),
            models.UniqueConstraint(
                fields=["maker", "part_number"], condition=~Q(part_number=""), name="part_number_once_a_maker"
            ),
            models.CheckConstraint(
                condition=(Q(kind=PartKind.MOTOR_MOUNT) & ~Q(layout=""))
                | (~Q(kind=PartKind.MOTOR_MOUNT) & Q(layout="")),
                name="part_layout_for_motor_mounts",
            ),
            models.CheckConstraint(
                condition=(Q(price__isnull=True) | Q(price__gte=0))
                & Q(pack_size__gte=1)
                & (Q(mass__isnull=True) | Q(mass__gt=0)),
                name="part_figures_positive",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("part", args=[self.slug])


class PartDimension(Dimension):
    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="dimensions")
    quantity = models.CharField(max_length=20, choices=[(k.key, k.label) for k in PART_DIMENSIONS.values()])

    class Meta:
        ordering = ["part", "id"]
        constraints = [
            models.UniqueConstraint(fields=["part", "quantity"], name="part_dimension_once"),
            models.CheckConstraint(condition=plausible(PART_DIMENSIONS), name="part_dimension_plausible"),
            models.CheckConstraint(condition=doubt_not_negative(), name="part_dimension_doubt"),
        ]

    @property
    def kind(self) -> DimensionKind:
        return PART_DIMENSIONS[self.quantity]


class Fitment(models.Model):
    """The part fits the platform. A wheel's offset must be on the platform's grid: a trigger guards it."""

    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="fitments")
    platform = models.ForeignKey(Platform, on_delete=models.CASCADE, related_name="fitments")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["part", "platform"], name="fitment_once")]

    def __str__(self) -> str:
        return f"{self.part} on {self.platform}"


class PartPair(models.Model):
    """Two parts that need each other or must not meet."""

    class Rule(models.TextChoices):
        ONLY_WITH = "only_with", said("goes only with")
        NEVER = "never", said("must not meet")

    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="pairs")
    other = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="paired_by")
    rule = models.CharField(max_length=10, choices=Rule)
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["part", "other"], name="part_pair_once"),
            models.CheckConstraint(condition=~Q(part=F("other")), name="part_pair_of_two"),
        ]

    def __str__(self) -> str:
        return f"{self.part} {self.get_rule_display()} {self.other}"
