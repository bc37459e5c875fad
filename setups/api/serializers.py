"""How the library's rows are written as JSON. Lengths in mm, angles in degrees, masses in g."""

from __future__ import annotations

from typing import Any

from django.db.models import Manager
from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from fitcalc.dimensions import BODY_DIMENSIONS, PART_DIMENSIONS, DimensionKind, Unit
from setups import models
from setups.models.dimension import Basis
from setups.models.part import AXLE_CHOICES, LAYOUT_CHOICES

from .plain import address


class Address(serializers.SerializerMethodField):
    """The thing's own address, relative to the site."""

    def __init__(self, view: str, key: str = "slug") -> None:
        self.view, self.key = view, key
        super().__init__()

    def bind(self, field_name: str, parent: Any) -> None:
        serializers.Field.bind(self, field_name, parent)

    def to_representation(self, row: Any) -> str:
        return address(self.view, getattr(row, self.key))


class AddressSchema(OpenApiSerializerFieldExtension):
    target_class = Address

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        return {"type": "string", "format": "uri-reference", "readOnly": True}


def number(**extra: Any) -> serializers.FloatField:
    return serializers.FloatField(read_only=True, **extra)


class MakerName(serializers.ModelSerializer):
    class Meta:
        model = models.Maker
        fields = ["slug", "name"]
        read_only_fields = fields


class MakerSerializer(serializers.ModelSerializer):
    url = Address("api-maker-detail")

    class Meta:
        model = models.Maker
        fields = ["url", "slug", "name"]
        read_only_fields = fields


class DimensionSerializer(serializers.Serializer):
    """A value with its doubt: the half-width that a maker states, or the standard deviation of measurements.

    ``u`` is the standard uncertainty that the calculation uses; where neither doubt is given, that of an
    assumed tolerance of 0.1.
    """

    value = number()
    unit = serializers.ChoiceField([(unit.value, unit.value) for unit in Unit])
    tolerance = number(allow_null=True)
    uncertainty = number(allow_null=True)
    u = number()
    basis = serializers.ChoiceField(choices=Basis.choices)
    source = serializers.CharField(allow_blank=True)


class Dimensions(serializers.Field):
    """The known dimensions by name; one that nobody has measured is not there.

    The view gathers them for all of its rows (``setups.api.gathering``).
    """

    def __init__(self, kinds: dict[str, DimensionKind]) -> None:
        self.kinds = kinds
        super().__init__(read_only=True)


class DimensionsSchema(OpenApiSerializerFieldExtension):
    target_class = Dimensions

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        one = auto_schema.resolve_serializer(DimensionSerializer, direction).ref
        return {
            "type": "object",
            "properties": {
                key: {"allOf": [one], "description": kind.meaning} for key, kind in self.target.kinds.items()
            },
            "additionalProperties": False,
            "readOnly": True,
        }


class LengthSerializer(serializers.Serializer):
    """A length and the half-width of its tolerance, mm."""

    value = number()
    tolerance = number()


class Length(serializers.Field):
    """A column and its tolerance's as one ``LengthSerializer`` object."""

    def __init__(self, column: str, tolerance: str = "tolerance", **extra: Any) -> None:
        self.column, self.tolerance = column, tolerance
        super().__init__(read_only=True, source="*", **extra)

    def to_representation(self, row: Any) -> dict[str, float]:
        return {"value": float(getattr(row, self.column)), "tolerance": float(getattr(row, self.tolerance))}


class LengthSchema(OpenApiSerializerFieldExtension):
    target_class = Length

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        return auto_schema.resolve_serializer(LengthSerializer, direction).ref


class PositionSerializer(serializers.ModelSerializer):
    shift = Length("shift", help_text="Share of the wheelbase.")

    class Meta:
        model = models.MountingPosition
        fields = ["name", "shift"]
        read_only_fields = fields


class KnownWheelbaseSerializer(serializers.ModelSerializer):
    motor_mount = serializers.SlugRelatedField("slug", read_only=True)
    plate = serializers.SlugRelatedField("slug", read_only=True)
    position = serializers.SlugRelatedField("name", read_only=True)
    wheelbase = Length("wheelbase")

    class Meta:
        model = models.KnownWheelbase
        fields = ["motor_mount", "plate", "position", "wheelbase", "source"]
        read_only_fields = fields


class OffsetsSerializer(serializers.Serializer):
    """The wheel offsets sold, mm: from ``min`` to ``max`` in ``step``."""

    min = number(source="offset_min")
    max = number(source="offset_max")
    step = number(source="offset_step")


class CriteriaSerializer(serializers.Serializer):
    """What the club calls a fit on this platform, mm and degrees."""

    flush_band = number(help_text="A wheel within ± this of its arch is flush.")
    inset_limit = number(help_text="How far inside its arch a wheel may stand.")
    centring_limit = number(help_text="How far off the middle of its arch a wheel may stand.")
    arch_clearance = number(help_text="Gap that stays between tyre and opening.")
    steer_min = number(help_text="Steer angle that each way must reach, degrees.")


class PlatformSerializer(serializers.ModelSerializer):
    url = Address("api-platform-detail")
    maker = MakerName(read_only=True)
    datum = Length(
        "datum",
        "datum_tolerance",
        help_text="Front axle to the face that a motor mount's share starts from.",
    )
    front_rim_width = number(help_text="Rim that the widths across at zero offset are stated with, mm.")
    chassis_front_width = number(allow_null=True)
    offsets = OffsetsSerializer(source="*", read_only=True)
    criteria = CriteriaSerializer(source="*", read_only=True)
    positions = PositionSerializer(many=True, read_only=True)
    known_wheelbases = KnownWheelbaseSerializer(many=True, read_only=True)

    class Meta:
        model = models.Platform
        fields = [
            "url",
            "slug",
            "name",
            "maker",
            "scale",
            "drive",
            "description",
            "source",
            "datum",
            "front_rim_width",
            "chassis_front_width",
            "offsets",
            "criteria",
            "positions",
            "known_wheelbases",
        ]
        read_only_fields = fields


class OneOrNone(serializers.ChoiceField):
    """One of a few values; null where the column is empty."""

    def __init__(self, choices: Any, **extra: Any) -> None:
        super().__init__(choices, read_only=True, allow_null=True, **extra)

    def to_representation(self, value: str) -> str | None:
        return value or None


class PackSerializer(serializers.Serializer):
    """What is sold at once: so many pieces, at a price in the club's currency where it is known."""

    pieces = serializers.IntegerField(source="pack_size")
    price = number(allow_null=True)


class PairSerializer(serializers.Serializer):
    """A rule with another part: it goes ``only_with`` that, is ``needed_by`` that, or they ``never`` meet."""

    rule = serializers.ChoiceField(choices=["only_with", "needed_by", "never"])
    part = serializers.CharField(help_text="Slug of the other part.")
    reason = serializers.CharField(allow_blank=True)


class PartSerializer(serializers.ModelSerializer):
    url = Address("api-part-detail")
    maker = MakerName(read_only=True)
    axle = OneOrNone(AXLE_CHOICES, help_text="Null for either.")
    layout = OneOrNone(LAYOUT_CHOICES, help_text="Of a motor mount; null for all else.")
    mass = number(allow_null=True, help_text="One piece, g.")
    pack = PackSerializer(source="*", read_only=True)
    dimensions = Dimensions(PART_DIMENSIONS)
    platforms = serializers.ListField(
        child=serializers.CharField(), read_only=True, help_text="Slugs of the platforms that it is sold for."
    )
    pairs = PairSerializer(many=True, read_only=True)

    class Meta:
        model = models.Part
        fields = [
            "url",
            "slug",
            "name",
            "kind",
            "maker",
            "part_number",
            "axle",
            "layout",
            "mass",
            "pack",
            "description",
            "dimensions",
            "platforms",
            "pairs",
        ]
        read_only_fields = fields


class FullSizeSerializer(serializers.Serializer):
    """The full-size car that the body is drawn after; its wheelbase in mm."""

    car = serializers.CharField(source="full_size_car", allow_blank=True)
    wheelbase = number(source="full_size_wheelbase", allow_null=True)


class LayoutsSerializer(serializers.Serializer):
    """Whether the floor takes a motor there; null where nobody has tried."""

    rear = serializers.BooleanField(source="takes_rear_motor", allow_null=True)
    mid = serializers.BooleanField(source="takes_mid_motor", allow_null=True)


assert {value for value, _ in LAYOUT_CHOICES} == set(LayoutsSerializer().fields)


class DesignatedSerializer(serializers.Serializer):
    """What the maker states: the front end's width across at zero offset, and the wheel offsets, mm."""

    front_width = number(source="designated_front_width", allow_null=True)
    front_offset = number(source="designated_front_offset", allow_null=True)
    rear_offset = number(source="designated_rear_offset", allow_null=True)


class PartRuleSerializer(serializers.ModelSerializer):
    part = serializers.SlugRelatedField("slug", read_only=True)

    class Meta:
        model = models.BodyPart
        fields = ["rule", "part", "reason"]
        read_only_fields = fields


class BodySerializer(serializers.ModelSerializer):
    url = Address("api-body-detail")
    maker = MakerName(read_only=True)
    price = number(allow_null=True, help_text="In the club's currency.")
    full_size = FullSizeSerializer(source="*", read_only=True)
    layouts = LayoutsSerializer(source="*", read_only=True)
    designated = DesignatedSerializer(source="*", read_only=True)
    dimensions = Dimensions(BODY_DIMENSIONS)
    part_rules = PartRuleSerializer(many=True, read_only=True)

    class Meta:
        model = models.Body
        fields = [
            "url",
            "slug",
            "name",
            "maker",
            "part_number",
            "scale",
            "material",
            "price",
            "full_size",
            "layouts",
            "designated",
            "dimensions",
            "part_rules",
            "description",
            "added",
        ]
        read_only_fields = fields


@extend_schema_field({"type": "object", "additionalProperties": {"type": "string"}})
class PartsBySlot(serializers.Field):
    """Slot -> slug of the part in it, as ``/api/v1/fit`` takes it; an empty slot is not there."""

    def to_representation(self, slots: Manager[models.ConfigurationPart]) -> dict[str, str]:
        return {row.slot: row.part.slug for row in slots.all()}


class ConfigurationSerializer(serializers.ModelSerializer):
    url = Address("api-configuration-detail", "pk")
    platform = serializers.SlugRelatedField("slug", read_only=True)
    position = serializers.SlugRelatedField("name", read_only=True)
    body = serializers.SlugRelatedField("slug", read_only=True, allow_null=True)
    parts = PartsBySlot(source="slots", read_only=True, help_text="Slot to slug of the part in it.")

    class Meta:
        model = models.Configuration
        fields = ["url", "id", "name", "platform", "position", "body", "parts"]
        read_only_fields = fields


class KindSerializer(serializers.Serializer):
    """A kind of problem: the ``type`` that an answer of that kind has, and what it means."""

    type = serializers.CharField(help_text="The type's address, relative to the site.")
    title = serializers.CharField()
    status = serializers.IntegerField()
    meaning = serializers.CharField()
