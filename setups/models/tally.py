"""How many setups are listed with what, kept up by every change; ``setups.tallies`` writes and reads them."""

from __future__ import annotations

from django.db import models
from django.db.models import F

_LONGEST = {"scope": 80, "facet": 10, "value": 160}


class Tally(models.Model):
    """Within ``scope``, so many listed setups have the value of the facet; nought is none."""

    scope = models.CharField(max_length=_LONGEST["scope"])
    facet = models.CharField(max_length=_LONGEST["facet"])
    value = models.CharField(max_length=_LONGEST["value"])
    number = models.IntegerField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["scope", "facet", "value"], name="tally_once")]
        indexes = [
            # The most frequent values are the first.
            models.Index(F("scope"), F("facet"), F("number").desc(), F("value"), name="tally_by_number"),
        ]

    def __str__(self) -> str:
        return f"{self.scope} {self.facet} {self.value}: {self.number}"


class TallyChange(models.Model):
    """What one change adds to a tally, or takes from it, and is not added to its row yet (PostgreSQL)."""

    scope = models.CharField(max_length=_LONGEST["scope"])
    facet = models.CharField(max_length=_LONGEST["facet"])
    value = models.CharField(max_length=_LONGEST["value"])
    number = models.IntegerField()

    class Meta:
        indexes = [models.Index(fields=["scope", "facet"], name="tally_change_of")]

    def __str__(self) -> str:
        return f"{self.scope} {self.facet} {self.value}: {self.number:+}"
