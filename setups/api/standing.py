"""Where a setup stands: what is computed of it, what members measured, and whether that agrees."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from fitcalc.consensus import Agreement
from fitcalc.verification import Held, Status, Tested
from setups import models
from setups.services.standing import Standing, standing_of

from .reports import (
    Names,
    QuantitySerializer,
    ReportSerializer,
    choices,
    quantity_or_none,
    rounded,
    write_report,
)
from .shared import SETUPS, Shared, setup_or_refused
from .written import CAR_QUANTITIES, MemberSerializer


class HeldSerializer(serializers.Serializer):
    """One member's readings of a quantity, pooled, against what is computed.

    ``en`` is the normalised error of ISO/IEC 17043: it agrees if that is at most 1 either way. Null where
    nothing is computed to hold it against.
    """

    member = MemberSerializer()
    value = serializers.FloatField()
    u = serializers.FloatField()
    readings = serializers.IntegerField()
    en = serializers.FloatField(allow_null=True)
    agrees = serializers.BooleanField()


class SettledSerializer(serializers.Serializer):
    """What the members other than the author settle."""

    quantity = QuantitySerializer()
    agreement = serializers.ChoiceField(choices(Agreement))
    outliers = MemberSerializer(many=True)


class TestedSerializer(serializers.Serializer):
    """One quantity of the car. ``wanted``: so many more members have to measure it; null where none must."""

    quantity = serializers.ChoiceField(CAR_QUANTITIES)
    required = serializers.BooleanField()
    computed = QuantitySerializer(allow_null=True)
    settled = SettledSerializer(allow_null=True)
    held = HeldSerializer(many=True)
    by_author = HeldSerializer(many=True, help_text="The author’s own readings, which do not count.")
    wanted = serializers.IntegerField()


class StandingSerializer(serializers.Serializer):
    """Where a setup stands today.

    ``verification``: unproven, verified, or contradicted by a measurement. ``confirmations``: how many
    members bear out every required quantity, at the least. ``dispute``: number of the dispute that decides.
    """

    setup = serializers.IntegerField()
    revision = serializers.IntegerField()
    state = serializers.ChoiceField(models.Setup.State.choices)
    verification = serializers.ChoiceField(choices(Status))
    confirmations = serializers.IntegerField()
    tested = TestedSerializer(many=True)
    dispute = serializers.IntegerField(allow_null=True)
    report = ReportSerializer(help_text="The fit by the library’s figures of today.")


def write_standing(standing: Standing, revision: models.Revision) -> dict[str, Any]:
    """What a ``StandingSerializer`` describes; reads the members of the measurements."""
    setup, found = standing.setup, standing.verification
    people = {row.member_id: _person(row.member) for row in standing.measurements}
    parts = [row.part for row in revision.slots.all()]
    return {
        "setup": setup.pk,
        "revision": revision.number,
        "state": setup.state,
        "verification": found.status.value,
        "confirmations": found.confirmations,
        "tested": [_tested(one, people) for one in found.tested],
        "dispute": standing.dispute and standing.dispute.pk,
        "report": write_report(standing.report, Names.of(parts)),
    }


def _person(member: Any) -> dict[str, str]:
    return {"username": member.get_username(), "name": str(member)}


def _tested(one: Tested, people: dict[Any, dict[str, str]]) -> dict[str, Any]:
    settled = one.settled
    return {
        "quantity": one.quantity,
        "required": one.required,
        "computed": quantity_or_none(one.computed),
        "settled": settled
        and {
            "quantity": quantity_or_none(settled.value),
            "agreement": settled.agreement.value,
            "outliers": [people[key] for key in settled.outliers],
        },
        "held": [_held(row, people) for row in one.held],
        "by_author": [_held(row, people) for row in one.by_author],
        "wanted": one.wanted,
    }


def _held(row: Held, people: dict[Any, dict[str, str]]) -> dict[str, Any]:
    return {
        "member": people[row.measurer],
        "value": rounded(row.value),
        "u": rounded(row.u),
        "readings": row.readings,
        "en": rounded(row.en),
        "agrees": row.agrees,
    }


class StandingOfSetup(Shared):
    """Where a setup stands by its newest revision: its fit today, its measurements, E_n by E_n."""

    @extend_schema(
        operation_id="get_standing",
        tags=[SETUPS],
        summary="Where a setup stands",
        responses=StandingSerializer,
    )
    def get(self, request: Request, setup: int) -> Response:
        found = setup_or_refused(setup)
        assert found.current is not None
        revision = models.Revision.objects.prefetch_related("slots__part").get(pk=found.current_id)
        return Response(write_standing(standing_of(found), revision))
