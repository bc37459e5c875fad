"""Bodies: what a shell needs of the chassis below it."""

from __future__ import annotations

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse

from fitcalc.dimensions import BODY_DIMENSIONS, DimensionKind
from fitcalc.said import said

from .dimension import Dimension, doubt_not_negative, plausible
from .part import Maker, Part, matching


class BodyQuerySet(models.QuerySet["Body"]):
    def matching(self, text: str) -> BodyQuerySet:
        """Bodies in whose name, maker, number or full-size car every word of ``text`` occurs."""
        return matching(self, ("name", "part_number", "full_size_car"), text)  # type: ignore[return-value]

    def with_dimensions(self) -> BodyQuerySet:
        """Maker and dimensions fetched along: two queries for any number of bodies."""
        return self.select_related("maker").prefetch_related("dimensions")


class Body(models.Model):
    """A body of one scale. Its geometry is in ``dimensions``; what nobody has measured has no row there.

    The designated figures are what the maker states: the front end's width across on zero-offset
    wheels (mm) and the wheel offsets (mm). The two layout fields are empty where nobody has tried.
    """

    class Material(models.TextChoices):
        POLYCARBONATE = "polycarbonate", said("polycarbonate")
        MOULDED = "moulded", said("moulded")

    name = models.CharField(max_length=120)
    slug = models.SlugField(max_length=140, unique=True)
    maker = models.ForeignKey(Maker, on_delete=models.PROTECT, related_name="bodies")
    part_number = models.CharField(max_length=40, blank=True)
    scale = models.PositiveSmallIntegerField(validators=[MinValueValidator(4), MaxValueValidator(64)])
    material = models.CharField(max_length=13, choices=Material, default=Material.POLYCARBONATE)
    price = models.DecimalField(max_digits=8, decimal_places=2, null=True, blank=True)
    full_size_car = models.CharField(max_length=120, blank=True)
    full_size_wheelbase = models.DecimalField(
        max_digits=7, decimal_places=1, null=True, blank=True, help_text="mm, of the full-size car."
    )
    takes_rear_motor = models.BooleanField(null=True, blank=True)
    takes_mid_motor = models.BooleanField(null=True, blank=True)
    designated_front_width = models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)
    designated_front_offset = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    designated_rear_offset = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    description = models.TextField(blank=True)
    added = models.DateTimeField(auto_now_add=True)

    objects = BodyQuerySet.as_manager()

    class Meta:
        ordering = ["name", "id"]
        verbose_name_plural = "bodies"
        indexes = [
            models.Index(fields=["name", "id"], name="body_name"),
            models.Index(fields=["scale", "name"], name="body_scale_name"),
            # Holds all that the facets of the search count, so that they need not read the rows.
            models.Index(
                fields=["scale", "takes_rear_motor", "takes_mid_motor", "designated_front_width", "maker"],
                name="body_facets",
            ),
        ]
        constraints = [
            models.CheckConstraint(condition=Q(scale__gte=4, scale__lte=64), name="body_scale_sane"),
            models.UniqueConstraint(
                fields=["maker", "part_number"], condition=~Q(part_number=""), name="body_number_once_a_maker"
            ),
            models.CheckConstraint(
                condition=Q(price__isnull=True) | Q(price__gte=0), name="body_price_not_negative"
            ),
            models.CheckConstraint(
                condition=(Q(designated_front_width__isnull=True) | Q(designated_front_width__gt=0))
                & (Q(full_size_wheelbase__isnull=True) | Q(full_size_wheelbase__gt=0)),
                name="body_sizes_positive",
            ),
            models.CheckConstraint(
                condition=(
                    Q(designated_front_offset__isnull=True)
                    | Q(designated_front_offset__gte=Decimal(-20), designated_front_offset__lte=Decimal(30))
                )
                & (
                    Q(designated_rear_offset__isnull=True)
                    | Q(designated_rear_offset__gte=Decimal(-20), designated_rear_offset__lte=Decimal(30))
                ),
                name="body_designated_offsets_sane",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("body", args=[self.slug])


class BodyDimension(Dimension):
    body = models.ForeignKey(Body, on_delete=models.CASCADE, related_name="dimensions")
    quantity = models.CharField(max_length=20, choices=[(k.key, k.label) for k in BODY_DIMENSIONS.values()])

    class Meta:
        ordering = ["body", "id"]
        indexes = [
            models.Index(fields=["quantity", "value"], name="body_dimension_value"),
            # For the facet: the value of one dimension of each body that the other facets leave.
            models.Index(fields=["quantity", "body", "value"], name="body_dimension_facet"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["body", "quantity"], name="body_dimension_once"),
            models.CheckConstraint(condition=plausible(BODY_DIMENSIONS), name="body_dimension_plausible"),
            models.CheckConstraint(condition=doubt_not_negative(), name="body_dimension_doubt"),
        ]

    @property
    def kind(self) -> DimensionKind:
        return BODY_DIMENSIONS[self.quantity]


class BodyPart(models.Model):
    """A part made for a body (its front mount), or one that fouls it (a mount against its floor)."""

    class Rule(models.TextChoices):
        MADE_FOR = "made_for", said("made for this body")
        FOULS = "fouls", said("fouls this body")

    body = models.ForeignKey(Body, on_delete=models.CASCADE, related_name="part_rules")
    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="body_rules")
    rule = models.CharField(max_length=8, choices=Rule)
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["body", "part"], name="body_part_once")]

    def __str__(self) -> str:
        return f"{self.part}: {self.get_rule_display()}"
