"""How setups, their revisions, measurements and disputes are written as JSON."""

from __future__ import annotations

from typing import Any

from django.urls import reverse
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from fitcalc.dimensions import BODY_DIMENSIONS, CAR_DIMENSIONS, PART_DIMENSIONS
from fitcalc.findings import Rule
from fitcalc.instruments import Instrument
from fitcalc.tuning import TUNING
from setups import models
from setups.services.cars import KEPT, findings_then, geometry_then

from .reports import AXLES, UNITS, VERDICTS, choices, rounded
from .serializers import Address, PartsBySlot
from .serializers import number as figure


class MemberSerializer(serializers.Serializer):
    """A member: the name that they sign in with, and the one that others read."""

    username = serializers.CharField(source="get_username")
    name = serializers.CharField(source="__str__")

    def to_representation(self, member: Any) -> dict[str, str]:
        return {"username": member.get_username(), "name": str(member)}


def slug(**extra: Any) -> serializers.SlugRelatedField:
    return serializers.SlugRelatedField("slug", read_only=True, **extra)


class BlankOrNone(serializers.CharField):
    """Text; null where there is none."""

    def __init__(self, **extra: Any) -> None:
        super().__init__(read_only=True, allow_null=True, **extra)

    def to_representation(self, value: str) -> str | None:
        return value or None


class SetupSerializer(serializers.ModelSerializer):
    """A setup as it stands: what its newest revision says in short, and how far others bear it out.

    ``verdict`` is the fit by the library's figures of today; ``confirmations`` is how many members bear out
    each quantity that has to be measured, at the least. Widths, offsets and wheelbase in mm, best lap in s.
    """

    url = Address("api-setup-detail", "pk")
    number = serializers.IntegerField(source="pk", read_only=True)
    author = MemberSerializer(read_only=True)
    state = serializers.ChoiceField(models.Setup.State.choices, read_only=True)
    verdict = serializers.ChoiceField(VERDICTS, read_only=True)
    revision = serializers.IntegerField(
        source="current.number", read_only=True, help_text="Number of the newest revision."
    )
    body = slug()
    platform = slug()
    race_class = slug(allow_null=True)
    surface = BlankOrNone()
    circuit = BlankOrNone()
    best_lap = figure(allow_null=True)
    front_width = figure()
    rear_width = figure()
    front_offset = figure(allow_null=True)
    rear_offset = figure(allow_null=True)
    wheelbase = figure()

    class Meta:
        model = models.Setup
        fields = [
            "url",
            "number",
            "name",
            "author",
            "state",
            "verdict",
            "confirmations",
            "posted_at",
            "revision",
            "body",
            "platform",
            "race_class",
            "surface",
            "circuit",
            "best_lap",
            "front_width",
            "rear_width",
            "front_offset",
            "rear_offset",
            "wheelbase",
        ]
        read_only_fields = fields


@extend_schema_field(
    {
        "type": "object",
        "properties": {
            key: {
                "type": "string" if field.in_words else "number",
                "description": f"{field.label}, {field.unit.value}. {field.meaning}".replace(", .", "."),
            }
            for key, field in TUNING.items()
        },
        "additionalProperties": False,
    }
)
class Tuning(serializers.Field):
    """The settings that are said, by name."""

    def to_representation(self, kept: dict[str, Any]) -> dict[str, Any]:
        return kept


class KeptFigureSerializer(serializers.Serializer):
    """A figure as it was computed on the day: value, standard uncertainty, unit."""

    value = serializers.FloatField()
    u = serializers.FloatField()
    unit = serializers.ChoiceField(UNITS)


@extend_schema_field(
    {
        "type": "object",
        "properties": {
            key: {"oneOf": [{"$ref": "#/components/schemas/KeptFigure"}, {"type": "null"}]}
            for key in (*KEPT, "turning_circle")
        },
        "additionalProperties": False,
    }
)
class KeptGeometry(serializers.Field):
    """What was computed when the revision was posted; null where it could not be."""

    def __init__(self) -> None:
        super().__init__(source="*", read_only=True)

    def to_representation(self, revision: models.Revision) -> dict[str, Any]:
        known = geometry_then(revision)
        return {key: _kept(known.get(key)) for key in revision.geometry}


def _kept(quantity: Any) -> dict[str, Any] | None:
    return quantity and {
        "value": float(quantity.value),
        "u": float(quantity.u),
        "unit": quantity.unit.value,
    }


class KeptFindingSerializer(serializers.Serializer):
    """One rule's answer as it was on the day; the fields are those of a finding of today."""

    rule = serializers.ChoiceField(choices(Rule))
    axle = serializers.ChoiceField(AXLES, allow_null=True)
    verdict = serializers.ChoiceField(VERDICTS)
    found = KeptFigureSerializer(allow_null=True)
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    margin = serializers.FloatField(allow_null=True)
    probability = serializers.FloatField(allow_null=True)
    required_word = serializers.CharField(allow_blank=True)
    found_word = serializers.CharField(allow_blank=True)


@extend_schema_field(KeptFindingSerializer(many=True))
class KeptFindings(serializers.Field):
    """The findings as they were when the revision was posted."""

    def __init__(self) -> None:
        super().__init__(source="*", read_only=True)

    def to_representation(self, revision: models.Revision) -> list[dict[str, Any]]:
        return [
            {
                "rule": one.rule,
                "axle": one.axle,
                "verdict": one.verdict,
                "found": _kept(one.found),
                "low": rounded(one.low),
                "high": rounded(one.high),
                "margin": one.margin,
                "probability": one.probability,
                "required_word": one.required_word,
                "found_word": one.found_word,
            }
            for one in findings_then(revision)
        ]


class PhotoSerializer(serializers.ModelSerializer):
    """A picture of the car: its address relative to the site, and its size in pixels."""

    number = serializers.IntegerField(source="pk", read_only=True)
    image = serializers.SerializerMethodField()

    class Meta:
        model = models.Photo
        fields = ["number", "image", "width", "height", "caption", "added"]
        read_only_fields = fields

    @extend_schema_field({"type": "string", "format": "uri-reference"})
    def get_image(self, photo: models.Photo) -> str:
        return reverse("photo", args=[photo.setup_id, photo.pk])


class RevisionSerializer(serializers.ModelSerializer):
    """What a setup said when it was posted, and what was computed then; it never changes."""

    url = serializers.SerializerMethodField()
    setup = serializers.IntegerField(source="setup_id", read_only=True, help_text="Number of the setup.")
    author = MemberSerializer(read_only=True)
    body = slug()
    platform = slug()
    position = serializers.SlugRelatedField("name", read_only=True)
    parts = PartsBySlot(source="slots", read_only=True, help_text="Slot to slug of the part in it.")
    race_class = slug(allow_null=True)
    surface = BlankOrNone()
    circuit = BlankOrNone()
    best_lap = figure(allow_null=True)
    tuning = Tuning(read_only=True)
    photos = serializers.SerializerMethodField(help_text="Numbers of the setup’s photos that belong to it.")
    verdict = serializers.ChoiceField(VERDICTS, read_only=True, help_text="Of the day of posting.")
    geometry = KeptGeometry()
    findings = KeptFindings()

    class Meta:
        model = models.Revision
        fields = [
            "url",
            "setup",
            "number",
            "author",
            "posted_at",
            "what_changed",
            "name",
            "body",
            "platform",
            "position",
            "parts",
            "race_class",
            "surface",
            "circuit",
            "best_lap",
            "result",
            "notes",
            "tuning",
            "photos",
            "verdict",
            "geometry",
            "findings",
        ]
        read_only_fields = fields

    @extend_schema_field({"type": "string", "format": "uri-reference"})
    def get_url(self, revision: models.Revision) -> str:
        return revision_address(revision)

    @extend_schema_field({"type": "array", "items": {"type": "integer"}})
    def get_photos(self, revision: models.Revision) -> list[int]:
        return [photo.pk for photo in revision.photos.all()]


def revision_address(revision: models.Revision) -> str:
    return reverse("api-revision-detail", args=[revision.setup_id, revision.number])


class DraftSerializer(serializers.ModelSerializer):
    """What is being written: field to text, as typed and not yet judged."""

    url = Address("api-draft", "setup_id")
    setup = serializers.IntegerField(source="setup_id", read_only=True, help_text="Number of the setup.")
    typed = serializers.DictField(child=serializers.CharField(), read_only=True)

    class Meta:
        model = models.Draft
        fields = ["url", "setup", "version", "saved_at", "typed"]
        read_only_fields = fields


INSTRUMENTS, RULES = choices(Instrument), choices(Rule)
STATES, OUTCOMES = models.Setup.State.choices, models.Dispute.Outcome.choices
CAR_QUANTITIES = [(key, kind.label) for key, kind in CAR_DIMENSIONS.items()]
QUANTITIES = [(key, kind.label) for key, kind in (BODY_DIMENSIONS | PART_DIMENSIONS | CAR_DIMENSIONS).items()]


class MeasuredThingSerializer(serializers.Serializer):
    """What was measured: a body or part by its slug, or a car by its setup's and revision's number."""

    body = serializers.CharField(allow_null=True)
    part = serializers.CharField(allow_null=True)
    setup = serializers.IntegerField(allow_null=True)
    revision = serializers.IntegerField(allow_null=True)


class MeasurementSerializer(serializers.ModelSerializer):
    """One reading by one member. ``u`` is the standard uncertainty that the calculation uses.

    A reading that its member withdrew, or that a steward set aside, counts no more.
    """

    url = Address("api-measurement-detail", "pk")
    number = serializers.IntegerField(source="pk", read_only=True)
    member = MemberSerializer(read_only=True)
    of = serializers.SerializerMethodField()
    quantity = serializers.ChoiceField(QUANTITIES, read_only=True)
    value = figure()
    unit = serializers.ChoiceField(UNITS, source="kind.unit.value", read_only=True)
    instrument = serializers.ChoiceField(INSTRUMENTS, read_only=True)
    uncertainty = figure(allow_null=True)
    u = figure()
    counts = serializers.BooleanField(read_only=True)

    class Meta:
        model = models.Measurement
        fields = [
            "url",
            "number",
            "member",
            "of",
            "quantity",
            "value",
            "unit",
            "instrument",
            "uncertainty",
            "u",
            "measured_on",
            "note",
            "added",
            "counts",
            "withdrawn",
            "set_aside",
        ]
        read_only_fields = fields

    @extend_schema_field(MeasuredThingSerializer)
    def get_of(self, row: models.Measurement) -> dict[str, Any]:
        revision = row.revision
        return {
            "body": row.body and row.body.slug,
            "part": row.part and row.part.slug,
            "setup": revision and revision.setup_id,
            "revision": revision and revision.number,
        }


class DecisionSerializer(serializers.ModelSerializer):
    """One line of a setup's record: what happened, who did it (null: by rule), and why."""

    member = MemberSerializer(read_only=True, allow_null=True)
    revision = serializers.IntegerField(source="revision.number", read_only=True, allow_null=True)

    class Meta:
        model = models.Decision
        fields = ["action", "at", "member", "reason", "revision"]
        read_only_fields = fields


class DisputeSerializer(serializers.ModelSerializer):
    """A measurement that contradicts what is computed of a setup. ``outcome`` is null while it is open."""

    url = Address("api-dispute-detail", "pk")
    number = serializers.IntegerField(source="pk", read_only=True)
    setup = serializers.IntegerField(source="setup_id", read_only=True, help_text="Number of the setup.")
    measurement = MeasurementSerializer(read_only=True)
    outcome = serializers.SerializerMethodField()
    reason = BlankOrNone()
    settled_by = MemberSerializer(read_only=True, allow_null=True)

    class Meta:
        model = models.Dispute
        fields = [
            "url",
            "number",
            "setup",
            "measurement",
            "opened_at",
            "outcome",
            "reason",
            "settled_by",
            "settled_at",
        ]
        read_only_fields = fields

    @extend_schema_field({"type": ["string", "null"], "enum": [*models.Dispute.Outcome.values, None]})
    def get_outcome(self, dispute: models.Dispute) -> str | None:
        return dispute.outcome or None
