"""How many setups are listed with what, kept up by every change; ``setups.tallies`` writes and reads them."""

from __future__ import annotations

from django.db import models
from django.db.models import F


class _Number(models.Model):
    """A number of setups with the value of the facet within ``scope``."""

    scope = models.CharField(max_length=80)
    facet = models.CharField(max_length=10)
    value = models.CharField(max_length=160)
    number = models.IntegerField()

    class Meta:
        abstract = True


class Tally(_Number):
    """Within ``scope``, so many listed setups have the value of the facet; nought is none."""

    class Meta:
        constraints = [models.UniqueConstraint(fields=["scope", "facet", "value"], name="tally_once")]
        indexes = [
            # The most frequent values are the first.
            models.Index(F("scope"), F("facet"), F("number").desc(), F("value"), name="tally_by_number"),
        ]

    def __str__(self) -> str:
        return f"{self.scope} {self.facet} {self.value}: {self.number}"


class TallyChange(_Number):
    """What one change adds to a tally, or takes from it, and is not added to its row yet (PostgreSQL)."""

    class Meta:
        indexes = [models.Index(fields=["scope", "facet"], name="tally_change_of")]

    def __str__(self) -> str:
        return f"{self.scope} {self.facet} {self.value}: {self.number:+}"
