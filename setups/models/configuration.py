"""Configurations: one part a slot and a mounting position."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fitcalc.parts import Slot

from .body import Body
from .part import Part
from .platform import MountingPosition, Platform

SLOT_CHOICES = [(slot.value, slot.label) for slot in Slot if slot is not Slot.POSITION]


class Configuration(models.Model):
    """A named set of parts on a platform, for a body where one is meant (as supplied, as raced)."""

    name = models.CharField(max_length=120)
    platform = models.ForeignKey(Platform, on_delete=models.CASCADE, related_name="configurations")
    position = models.ForeignKey(MountingPosition, on_delete=models.PROTECT, related_name="configurations")
    body = models.ForeignKey(
        Body, on_delete=models.CASCADE, null=True, blank=True, related_name="configurations"
    )

    class Meta:
        ordering = ["platform", "name"]
        constraints = [
            models.UniqueConstraint(fields=["platform", "name"], name="configuration_name_once_a_platform")
        ]

    def __str__(self) -> str:
        return self.name


class ConfigurationPart(models.Model):
    configuration = models.ForeignKey(Configuration, on_delete=models.CASCADE, related_name="slots")
    slot = models.CharField(max_length=20, choices=SLOT_CHOICES)
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="configuration_slots")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["configuration", "slot"], name="configuration_slot_once"),
            models.CheckConstraint(
                condition=Q(slot__in=[value for value, _ in SLOT_CHOICES]), name="configuration_slot_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.slot}: {self.part}"
