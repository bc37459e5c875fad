"""Platforms: chassis families with their datums, mounting positions and published wheelbases."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from fitcalc.said import said


class Drive(models.TextChoices):
    REAR = "rear", said("rear-wheel drive")
    ALL = "all", said("four-wheel drive")


class Platform(models.Model):
    """One chassis family; lengths in mm, angles in degrees.

    ``datum`` is the front axle's centre to the face that a motor mount's share of the wheelbase
    starts from. ``front_rim_width`` is the rim that the trade's "width across on zero-offset wheels" of a
    front end is stated with. The last block is what this club calls a fit on this platform.
    """

    name = models.CharField(max_length=80, unique=True)
    slug = models.SlugField(max_length=80, unique=True)
    maker = models.ForeignKey("setups.Maker", on_delete=models.PROTECT, related_name="platforms")
    scale = models.PositiveSmallIntegerField(
        help_text="The N of 1:N.", validators=[MinValueValidator(4), MaxValueValidator(64)]
    )
    drive = models.CharField(max_length=4, choices=Drive, default=Drive.REAR)
    description = models.TextField(blank=True)
    source = models.CharField(max_length=200, blank=True, help_text="Where the figures come from.")

    datum = models.DecimalField(max_digits=7, decimal_places=3)
    datum_tolerance = models.DecimalField(max_digits=6, decimal_places=3, default=0)
    front_rim_width = models.DecimalField(max_digits=6, decimal_places=3)
    chassis_front_width = models.DecimalField(
        max_digits=7,
        decimal_places=3,
        null=True,
        blank=True,
        help_text="Width of the chassis between the front wheels, for the steering lock.",
    )
    offset_min = models.DecimalField(max_digits=5, decimal_places=2)
    offset_max = models.DecimalField(max_digits=5, decimal_places=2)
    offset_step = models.DecimalField(max_digits=4, decimal_places=2)

    flush_band = models.DecimalField(max_digits=5, decimal_places=2, default="0.50")
    inset_limit = models.DecimalField(max_digits=5, decimal_places=2, default="1.50")
    centring_limit = models.DecimalField(max_digits=5, decimal_places=2, default="1.00")
    arch_clearance = models.DecimalField(max_digits=5, decimal_places=2, default="0.50")
    steer_min = models.DecimalField(max_digits=4, decimal_places=1, default="20.0")

    class Meta:
        ordering = ["scale", "name"]
        constraints = [
            models.CheckConstraint(condition=Q(scale__gte=4, scale__lte=64), name="platform_scale_sane"),
            models.CheckConstraint(
                condition=Q(datum__gt=-200, datum__lt=400, datum_tolerance__gte=0), name="platform_datum_sane"
            ),
            models.CheckConstraint(
                condition=Q(front_rim_width__gt=0)
                & (Q(chassis_front_width__isnull=True) | Q(chassis_front_width__gt=0)),
                name="platform_sizes_positive",
            ),
            models.CheckConstraint(
                condition=Q(offset_step__gt=0, offset_min__lte=F("offset_max")),
                name="platform_offset_grid_sane",
            ),
            models.CheckConstraint(
                condition=Q(
                    flush_band__gt=0,
                    inset_limit__gte=F("flush_band"),
                    centring_limit__gt=0,
                    arch_clearance__gte=0,
                    steer_min__gte=0,
                    steer_min__lte=60,
                ),
                name="platform_criteria_sane",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("platform", args=[self.slug])


class MountingPosition(models.Model):
    """A hole or notch that the rear end can be set to; ``shift`` is its share of the wheelbase, mm."""

    platform = models.ForeignKey(Platform, on_delete=models.CASCADE, related_name="positions")
    name = models.CharField(max_length=40)
    order = models.PositiveSmallIntegerField(default=0)
    shift = models.DecimalField(max_digits=7, decimal_places=3)
    tolerance = models.DecimalField(max_digits=6, decimal_places=3, default=0)

    class Meta:
        ordering = ["platform", "order", "shift"]
        constraints = [
            models.UniqueConstraint(fields=["platform", "name"], name="position_name_once_a_platform"),
            models.CheckConstraint(
                condition=Q(shift__gte=-100, shift__lte=100, tolerance__gte=0), name="position_shift_sane"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class KnownWheelbase(models.Model):
    """A published wheelbase of one mount, plate and position: a check on the computed chain."""

    platform = models.ForeignKey(Platform, on_delete=models.CASCADE, related_name="known_wheelbases")
    motor_mount = models.ForeignKey("setups.Part", on_delete=models.CASCADE, related_name="+")
    plate = models.ForeignKey("setups.Part", on_delete=models.CASCADE, related_name="+")
    position = models.ForeignKey(MountingPosition, on_delete=models.CASCADE, related_name="+")
    wheelbase = models.DecimalField(max_digits=7, decimal_places=3)
    tolerance = models.DecimalField(max_digits=6, decimal_places=3, default="0.2")
    source = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["platform", "wheelbase"]
        constraints = [
            models.UniqueConstraint(
                fields=["platform", "motor_mount", "plate", "position"], name="known_wheelbase_once"
            ),
            models.CheckConstraint(
                condition=Q(wheelbase__gt=0, tolerance__gte=0), name="known_wheelbase_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.wheelbase} mm"
