"""A member's garage: parts owned, chassis as built, bodies owned.

A part is counted once, wherever it is: what is fitted to a chassis is among ``OwnedPart.count``, and what
is offered to other members is what no chassis holds.
"""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext_lazy

from fitcalc.parts import Slot
from setups.models import Body, MountingPosition, Part, Platform
from setups.models.configuration import SLOT_CHOICES

from .member import Member

MOST_PIECES = 999


class OwnedPart(models.Model):
    """How many pieces of a part a member has, and whether the loose ones are offered to others.

    ``price`` is asked for one piece, and only of what is parted with.
    """

    class Offer(models.TextChoices):
        NONE = "none", gettext_lazy("not offered")
        LEND = "lend", gettext_lazy("to lend")
        PART_WITH = "part_with", gettext_lazy("to part with")

    member = models.ForeignKey(Member, on_delete=models.CASCADE, related_name="owned_parts")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="owners")
    count = models.PositiveSmallIntegerField(
        default=1, validators=[MinValueValidator(1), MaxValueValidator(MOST_PIECES)]
    )
    offer = models.CharField(max_length=9, choices=Offer, default=Offer.NONE)
    price = models.DecimalField(
        max_digits=8, decimal_places=2, null=True, blank=True, validators=[MinValueValidator(0)]
    )

    class Meta:
        ordering = ["part__kind", "part__name", "pk"]
        indexes = [
            models.Index(fields=["part"], condition=~Q(offer="none"), name="owned_part_on_offer"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["member", "part"], name="owned_part_once_a_member"),
            models.CheckConstraint(
                condition=Q(count__gte=1, count__lte=MOST_PIECES), name="owned_part_count_sane"
            ),
            models.CheckConstraint(
                condition=Q(offer__in=["none", "lend", "part_with"]), name="owned_part_offer_known"
            ),
            models.CheckConstraint(
                condition=Q(price__isnull=True) | Q(offer="part_with", price__gte=0),
                name="owned_part_price_of_what_is_parted_with",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count} × {self.part}"


class OwnedBody(models.Model):
    member = models.ForeignKey(Member, on_delete=models.CASCADE, related_name="owned_bodies")
    body = models.ForeignKey(Body, on_delete=models.PROTECT, related_name="owners")

    class Meta:
        ordering = ["body__name", "pk"]
        constraints = [models.UniqueConstraint(fields=["member", "body"], name="owned_body_once_a_member")]

    def __str__(self) -> str:
        return str(self.body)


class Chassis(models.Model):
    """A chassis as it is built now. Any slot may be open; its platform is that of its mounting position."""

    member = models.ForeignKey(Member, on_delete=models.CASCADE, related_name="chassis")
    name = models.CharField(max_length=80)
    position = models.ForeignKey(MountingPosition, on_delete=models.PROTECT, related_name="chassis")

    class Meta:
        ordering = ["name", "pk"]
        verbose_name_plural = "chassis"
        constraints = [models.UniqueConstraint(fields=["member", "name"], name="chassis_name_once_a_member")]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("chassis", args=[self.pk])

    @property
    def platform(self) -> Platform:
        """The platform; reads ``position__platform``."""
        return self.position.platform

    def filled(self) -> dict[str, int]:
        """Slot -> key of the part in it; reads ``slots``."""
        return {row.slot: row.part_id for row in self.slots.all()}


class ChassisPart(models.Model):
    chassis = models.ForeignKey(Chassis, on_delete=models.CASCADE, related_name="slots")
    slot = models.CharField(max_length=20, choices=SLOT_CHOICES)
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="chassis_slots")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["chassis", "slot"], name="chassis_slot_once"),
            models.CheckConstraint(
                condition=Q(slot__in=[value for value, _ in SLOT_CHOICES]), name="chassis_slot_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.slot}: {self.part}"

    @property
    def pieces(self) -> int:
        """How many pieces of the part stand in the slot."""
        return Slot(self.slot).pieces
