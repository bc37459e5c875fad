"""Answers that are kept for a day, so that a request that is sent twice is done once."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class KeptAnswer(models.Model):
    """What was answered to a member's request with an Idempotency-Key; ``asked`` is a digest of the request.

    ``status`` is empty only within the transaction that does what was asked.
    """

    member = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="kept_answers"
    )
    key = models.CharField(max_length=255)
    asked = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True)
    headers = models.JSONField(default=dict)
    content = models.TextField(blank=True)
    kept_at = models.DateTimeField(db_index=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["member", "key"], name="kept_answer_once_a_key"),
        ]

    def __str__(self) -> str:
        return f"answer to {self.key}"
