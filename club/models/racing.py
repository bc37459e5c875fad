"""What the club races: its classes."""

from __future__ import annotations

from django.db import models


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
