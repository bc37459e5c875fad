"""Measurements of bodies, parts and cars: lists, new ones, withdrawing one's own."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, ClassVar

from django.core.exceptions import ValidationError as Wrong
from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import ValidationError

from fitcalc.dimensions import CAR_DIMENSIONS, DimensionKind, Unit
from setups import models
from setups.services import measuring, ruling, verifying

from . import examples
from .computing import absent
from .etag import etag_of, match
from .geometry import LONGEST_NAME, Number, Strict, Text, Whole
from .idempotency import once
from .problems import Problem
from .reports import VERDICTS, QuantitySerializer, quantity_or_none
from .setup_filters import MeasurementFilter
from .shared import IF_MATCH, KEY, MEASURING, Shared, changed, made, nobody, refusing, setup_or_refused
from .views import Library, described
from .written import INSTRUMENTS, QUANTITIES, MeasurementSerializer

_SHOWN = ("member", "body", "part", "revision")
# What the columns hold; what is plausible hangs on the dimension, and the model says it.
VALUE = DimensionKind("value", "The value", Unit.NONE, -99999.999, 99999.999, "What the instrument shows.")
DOUBT = DimensionKind("uncertainty", "The doubt", Unit.NONE, 0, 999.999, "One standard deviation.")


class SubjectInput(Strict):
    """A body, a part, or a setup's car: one of them. A car is that of ``revision``, the newest without it."""

    body = Text(max_length=LONGEST_NAME + 20, required=False, help_text="Slug of a body.")
    part = Text(max_length=LONGEST_NAME + 20, required=False, help_text="Slug of a part.")
    setup = Whole(min_value=1, max_value=2**63 - 1, required=False, help_text="Number of a setup.")
    revision = Whole(min_value=1, max_value=2**31 - 1, required=False)

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        if len([name for name in ("body", "part", "setup") if name in given]) != 1:
            raise ValidationError("Say what was measured: a body, a part or a setup, one of them.")
        if "revision" in given and "setup" not in given:
            raise ValidationError({"revision": ["Only a setup has revisions: leave it out."]})
        return given


class MeasurementInput(Strict):
    """One reading with one instrument. ``uncertainty``: without it, what the instrument leaves."""

    of = SubjectInput()
    quantity = serializers.ChoiceField(QUANTITIES)
    value = Number(VALUE)
    instrument = serializers.ChoiceField(INSTRUMENTS)
    uncertainty = Number(DOUBT, required=False, allow_null=True)
    measured_on = serializers.DateField(required=False, help_text="Today without it.")
    note = Text(max_length=200, required=False, allow_blank=True, default="")


class TurnSerializer(serializers.Serializer):
    """A setup whose verdict or state went."""

    setup = serializers.IntegerField()
    verdict_before = serializers.ChoiceField(VERDICTS)
    verdict_after = serializers.ChoiceField(VERDICTS)
    state_before = serializers.ChoiceField(models.Setup.State.choices)
    state_after = serializers.ChoiceField(models.Setup.State.choices)

    class Meta:
        ref_name = "SetupTurn"


class EffectSerializer(serializers.Serializer):
    """What a reading did: the library's figure before and after (of a body or part), and the setups that
    changed by it; ``left`` of them are worked out later."""

    before = QuantitySerializer(allow_null=True)
    after = QuantitySerializer(allow_null=True)
    setups = TurnSerializer(many=True)
    left = serializers.IntegerField()


class ChangedMeasurementSerializer(MeasurementSerializer):
    """A measurement and what it, or its withdrawal, did."""

    effect = EffectSerializer()

    class Meta(MeasurementSerializer.Meta):
        fields = [*MeasurementSerializer.Meta.fields, "effect"]
        read_only_fields = fields


def address_of(row: models.Measurement) -> str:
    return reverse("api-measurement-detail", args=[row.pk])


def written(pk: int) -> dict[str, Any]:
    """The measurement as a GET has it; one query."""
    return MeasurementSerializer(models.Measurement.objects.select_related(*_SHOWN).get(pk=pk)).data


class Measurements(Shared, Library):
    """What members measured, of bodies, parts and cars; nothing is ever deleted."""

    model = models.Measurement
    queryset = models.Measurement.objects.all()
    serializer_class = MeasurementSerializer
    filterset_class = MeasurementFilter
    lookup_field = "pk"
    lookup_value_converter = "int"
    joined: ClassVar[dict[str, tuple[str, ...]]] = {
        "member": ("member",),
        "of": ("body", "part", "revision"),
    }
    columns: ClassVar[dict[str, tuple[str, ...]]] = {
        "member": ("username", "display_name"),
        "body": ("slug",),
        "part": ("slug",),
        "revision": ("setup", "number"),
    }

    def parameters(self) -> set[str]:
        return set() if self.request.method == "POST" else super().parameters()

    def get_object(self) -> models.Measurement:
        if self.kwargs["pk"] >= 2**63:
            raise nobody("measurement", self.kwargs["pk"], reverse("api-measurement-list"))
        return super().get_object()

    @extend_schema(
        operation_id="post_measurement",
        parameters=[KEY],
        tags=[MEASURING],
        summary="Add a measurement",
        description="It is settled with the others at once; effect tells what that changed.",
        request=MeasurementInput,
        examples=examples.MEASUREMENT,
        responses={201: ChangedMeasurementSerializer},
    )
    @once
    def create(self, request: Request) -> Response:
        asked = MeasurementInput(data=request.data)
        asked.is_valid(raise_exception=True)
        row = _row(asked.validated_data, request.user)
        with refusing():
            if row.revision is not None:
                effect = _of_car(row, verifying.add(row))
            else:
                effect = _of_outcome(measuring.add(row))
        answer = made(written(row.pk), address_of(row))
        answer.data = dict(answer.data) | {"effect": effect}
        return answer


Measurements = described(Measurements, MEASURING)  # type: ignore[misc]


class WithdrawMeasurement(Shared):
    @extend_schema(
        operation_id="withdraw_measurement",
        parameters=[IF_MATCH, KEY],
        tags=[MEASURING],
        summary="Withdraw a measurement of one’s own",
        description="It stays, and counts no more. Nothing is sent but the ETag in If-Match.",
        request=None,
        responses=ChangedMeasurementSerializer,
    )
    @once
    def post(self, request: Request, pk: int) -> Response:
        with refusing(), transaction.atomic():
            row = _locked(pk)
            if row.member_id != request.user.pk:
                raise PermissionError("Only the member who measured can withdraw a measurement.")
            match(request, etag_of(written(row.pk)), "the measurement")
            if row.withdrawn:
                raise Problem("conflict", "That measurement is withdrawn already. Nothing was changed.")
            if row.revision is not None:
                effect = _of_car(row, verifying.withdraw(row, request.user))
            else:
                effect = _of_outcome(measuring.withdraw(row, request.user))
        answer = changed(written(row.pk), address_of(row))
        answer.data = dict(answer.data) | {"effect": effect}
        return answer


def _locked(pk: int) -> models.Measurement:
    """The measurement, its subject locked first, as all do that change measurements. Raises a Problem."""
    rows = models.Measurement.objects.select_related(*_SHOWN)
    row = rows.filter(pk=pk).first() if pk < 2**63 else None
    if row is None:
        raise nobody("measurement", pk, reverse("api-measurement-list"))
    subject = row.revision.setup if row.revision is not None else row.subject
    type(subject)._default_manager.select_for_update(no_key=True).get(pk=subject.pk)
    return rows.get(pk=pk)


def _row(given: Mapping[str, Any], member: Any) -> models.Measurement:
    """An unsaved measurement that is valid. Raises ValidationError."""
    row = models.Measurement(
        member=member,
        quantity=given["quantity"],
        value=_decimal(given["value"], "value"),
        instrument=given["instrument"],
        uncertainty=None
        if given.get("uncertainty") is None
        else _decimal(given["uncertainty"], "uncertainty"),
        note=given["note"],
        **{name: given[name] for name in ("measured_on",) if name in given},
    )
    known = _put_subject(row, given["of"])
    if row.quantity not in known:
        said = f"That is not measured of it. What is: {', '.join(known)}."
        raise ValidationError({"quantity": [said]})
    if row.measured_on > timezone.localdate():
        raise ValidationError({"measured_on": ["That day lies ahead: give the day of the measurement."]})
    try:
        row.full_clean(validate_constraints=False)
    except Wrong as error:
        raise ValidationError(error.message_dict) from error
    return row


def _decimal(value: float, name: str) -> Decimal:
    found = Decimal(str(value))
    if round(found, 3) != found:
        raise ValidationError({name: ["Give three decimals at the most."]})
    return found


def _put_subject(row: models.Measurement, of: Mapping[str, Any]) -> list[str]:
    """Say what the row is of; returns the dimensions that can be measured of that."""
    if "setup" in of:
        posted = models.Setup.objects.exclude(state=models.Setup.State.DRAFT).select_related("current")
        setup = posted.filter(pk=of["setup"]).first()
        if setup is None:
            said = "No setup has this number: /api/v1/setups/ lists those that there are."
            raise ValidationError({"of": {"setup": [said]}})
        row.revision = setup.current
        if "revision" in of:
            row.revision = setup.revisions.filter(number=of["revision"]).first()
        if row.revision is None:
            raise ValidationError({"of": {"revision": ["The setup has no revision of this number."]}})
        return list(CAR_DIMENSIONS)
    name = "body" if "body" in of else "part"
    model, places = (models.Body, "bodies") if name == "body" else (models.Part, "parts")
    found = model._default_manager.filter(slug=of[name]).first()
    if found is None:
        raise ValidationError({"of": {name: absent(name, of[name], f"/api/v1/{places}/")}})
    setattr(row, name, found)
    return [kind.key for kind in measuring.measurable(found)]


def _of_car(row: models.Measurement, turn: ruling.Turn) -> dict[str, Any]:
    """What a reading of a car did, as an ``EffectSerializer`` has it."""
    assert row.revision is not None
    setup = setup_or_refused(row.revision.setup_id)
    turns = [_turn(setup, setup.verdict, turn)] if turn.changed else []
    return {"before": None, "after": None, "setups": turns, "left": 0}


def _of_outcome(outcome: measuring.Outcome) -> dict[str, Any]:
    """What a reading of a body or part did, likewise."""
    rechecked = outcome.setups
    return {
        "before": quantity_or_none(outcome.before),
        "after": quantity_or_none(outcome.after),
        "setups": [_turn(*one) for one in rechecked.changed] if rechecked else [],
        "left": rechecked.left if rechecked else 0,
    }


def _turn(setup: models.Setup, verdict: str, turn: ruling.Turn) -> dict[str, Any]:
    return {
        "setup": setup.pk,
        "verdict_before": verdict,
        "verdict_after": setup.verdict,
        "state_before": turn.before,
        "state_after": turn.after,
    }
