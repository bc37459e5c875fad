"""Marks: that something which is counted has changed."""

from __future__ import annotations

from django.db import models


class Mark(models.Model):
    """One change to the tables that ``of`` names; ``setups.marks`` writes and reads them."""

    of = models.CharField(max_length=10)
    token = models.BigIntegerField()

    class Meta:
        indexes = [models.Index(fields=["of", "id"], name="mark_of")]

    def __str__(self) -> str:
        return f"{self.of} {self.token}"
