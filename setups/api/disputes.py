"""Disputes: what a measurement says against a setup, and how a steward settles it."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import transaction
from django.urls import reverse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from setups import models
from setups.services import verifying

from .etag import etag_of, match
from .geometry import Strict, Text
from .idempotency import once
from .permissions import STEWARD
from .setup_filters import DisputeFilter
from .shared import IF_MATCH, KEY, MEASURING, Shared, changed, nobody, refusing
from .views import Library, described
from .written import DisputeSerializer

_SHOWN = (
    *("settled_by", "measurement__member", "measurement__body", "measurement__part"),
    "measurement__revision",
)
OUTCOMES = [
    (one.value, one.label) for one in (models.Dispute.Outcome.SET_ASIDE, models.Dispute.Outcome.UPHELD)
]


class SettleInput(Strict):
    """Who is right and why. set_aside: the measurement counts no more. upheld: the setup is not as posted."""

    outcome = serializers.ChoiceField(OUTCOMES)
    reason = Text(max_length=900, help_text="It is kept, and both members read it.")


def written(pk: int) -> dict[str, Any]:
    """The dispute as a GET has it; one query."""
    return DisputeSerializer(models.Dispute.objects.select_related(*_SHOWN).get(pk=pk)).data


class Disputes(Shared, Library):
    """Measurements that contradict a setup, open and settled ones."""

    model = models.Dispute
    queryset = models.Dispute.objects.all()
    serializer_class = DisputeSerializer
    filterset_class = DisputeFilter
    lookup_field = "pk"
    lookup_value_converter = "int"
    joined: ClassVar[dict[str, tuple[str, ...]]] = {
        "measurement": _SHOWN[1:],
        "settled_by": ("settled_by",),
    }

    def get_object(self) -> models.Dispute:
        if self.kwargs["pk"] >= 2**63:
            raise nobody("dispute", self.kwargs["pk"], reverse("api-dispute-list"))
        return super().get_object()


Disputes = described(Disputes, MEASURING)  # type: ignore[misc]


class Settle(Shared):
    scope = STEWARD

    @extend_schema(
        operation_id="settle_dispute",
        parameters=[IF_MATCH, KEY],
        tags=[MEASURING],
        summary="Settle a dispute",
        description="For stewards, with the scope steward; nobody settles what is their own.",
        request=SettleInput,
        responses=DisputeSerializer,
    )
    @once
    def post(self, request: Request, pk: int) -> Response:
        asked = SettleInput(data=request.data)
        rows = models.Dispute.objects.select_related("setup", "measurement")
        with refusing(), transaction.atomic():
            found = rows.filter(pk=pk).first() if pk < 2**63 else None
            if found is None:
                raise nobody("dispute", pk, reverse("api-dispute-list"))
            if why_not := verifying.why_not_settle(found, request.user):
                raise PermissionError(why_not)
            models.Setup.objects.select_for_update().get(pk=found.setup_id)
            match(request, etag_of(written(found.pk)), "the dispute")
            asked.is_valid(raise_exception=True)
            given = asked.validated_data
            verifying.settle(found, request.user, given["outcome"], given["reason"])
        return changed(written(found.pk), reverse("api-dispute-detail", args=[found.pk]))
