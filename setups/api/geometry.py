"""Bodies, platforms, parts and catalogues given as JSON instead of by name, down to the last figure.

Every figure is held against ``fitcalc.dimensions``: a finite number between the bounds of what it names. A
name that is not known is a mistake, not ignored: it may be a misspelt one. The serializers validate and
describe; ``records`` of this module turn what they let through into ``fitcalc``'s records.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from rest_framework import serializers
from rest_framework.settings import api_settings

from fitcalc import parts as calc
from fitcalc.dimensions import (
    BODY_DIMENSIONS,
    PART_DIMENSIONS,
    REQUIRED,
    DimensionKind,
    PartKind,
    Unit,
    dimensions_of,
)
from fitcalc.parts import Axle, Layout
from fitcalc.quantities import Quantity
from setups.models.dimension import Dimension
from setups.translate import LISTS

from .problems import shown

MOST_PARTS = 500
"""So many parts of a kind, or positions, are taken in one inline catalogue."""
MOST_MOUNTS = 10
"""Front body mounts likewise: the whole search is made for each."""
MOST_PAIRS = 200
LONGEST_NAME = 120

# The bounds of a platform's own columns, as in its table's constraints.
DATUM = DimensionKind("datum", "Datum", Unit.MM, -200, 400, "Front axle to the motor mount's face.")
SHIFT = DimensionKind("shift", "Shift", Unit.MM, -100, 100, "The position's share of the wheelbase.")
# What the columns would hold; nothing beyond it is a car's. Common practice, no source.
CHASSIS = DimensionKind("chassis_front_width", "Chassis width", Unit.MM, 1, 300, "Between the front wheels.")
FULL_SIZE = DimensionKind("wheelbase", "Full-size wheelbase", Unit.MM, 500, 10000, "Of the full-size car.")


class Strict(serializers.Serializer):
    """An object all of whose names are known."""

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, Mapping):
            said = f"Give an object with names and values, not {_what(data)}."
            raise serializers.ValidationError({api_settings.NON_FIELD_ERRORS_KEY: [said]})
        known = list(self.fields)
        errors: dict[str, Any] = {
            name: [f"There is no {shown(name)} here. Known are {', '.join(known)}."]
            for name in data
            if name not in known
        }
        try:
            value = super().to_internal_value(data)
        except serializers.ValidationError as error:
            errors |= error.detail
        if errors:
            raise serializers.ValidationError(errors)
        return value


def _what(data: Any) -> str:
    names = {bool: "true or false", str: "text", list: "a list", dict: "an object", type(None): "null"}
    return names.get(type(data), "a number")


def checked(data: Any, kind: DimensionKind) -> float:
    """``data`` as a float, if it is a number within the bounds of ``kind``; else a ValidationError."""
    unit = kind.unit.value
    if isinstance(data, bool) or not isinstance(data, (int, float)):
        raise serializers.ValidationError(f"Give a number{unit and f' in {unit}'}, not {_what(data)}.")
    if not kind.low <= data <= kind.high:
        bounds = f"{kind.label} must lie between {kind.low:g} and {kind.high:g} {unit}".rstrip()
        said = f"{bounds}; you gave {shown(data, 20)}. Check the unit and the decimal point."
        raise serializers.ValidationError(said)
    return float(data)


def doubt(kind: DimensionKind) -> DimensionKind:
    """What the doubt of a dimension may be: from nothing to all of its range."""
    label = f"The doubt of {kind.label.lower()}"
    return DimensionKind("doubt", label, kind.unit, 0, kind.high - kind.low, label)


class Number(serializers.Field):
    """A number within the bounds of a dimension, without doubt."""

    def __init__(self, kind: DimensionKind, **extra: Any) -> None:
        self.kind = kind
        super().__init__(**extra)

    def to_internal_value(self, data: Any) -> float:
        return checked(data, self.kind)


class Measured(serializers.Field):
    """A dimension: a bare number (± 0.1 is assumed) or an object with its doubt. Gives a ``Quantity``."""

    def __init__(self, kind: DimensionKind, **extra: Any) -> None:
        self.kind = kind
        super().__init__(help_text=kind.meaning, **extra)

    def to_internal_value(self, data: Any) -> Quantity:
        if not isinstance(data, Mapping):
            value, doubts = checked(data, self.kind), {}
        else:
            value, doubts = self._read(data)
        if "uncertainty" in doubts:
            return Quantity(value, doubts["uncertainty"], self.kind.unit)
        tolerance = doubts.get("tolerance", float(Dimension.ASSUMED_TOLERANCE))
        return Quantity.from_tolerance(value, tolerance, self.kind.unit)

    def _read(self, data: Mapping[str, Any]) -> tuple[float, dict[str, float]]:
        known = ("value", "unit", "tolerance", "uncertainty")
        errors: dict[str, list[str]] = {
            name: [f"There is no {shown(name)} here. Known are {', '.join(known)}."]
            for name in data
            if name not in known
        }
        unit = self.kind.unit.value
        if "unit" in data and data["unit"] != unit:
            errors["unit"] = [f"{self.kind.label} is taken in {unit or 'no unit'} only: convert it."]
        doubts = {name: data[name] for name in known[2:] if data.get(name) is not None}
        if len(doubts) > 1:
            errors["uncertainty"] = ["Give tolerance or uncertainty, not both: they state the same doubt."]
        found: dict[str, float] = {}
        for name, given in {"value": data.get("value"), **doubts}.items():
            try:
                found[name] = checked(given, self.kind if name == "value" else doubt(self.kind))
            except serializers.ValidationError as error:
                errors.setdefault(name, error.detail)
        if errors:
            raise serializers.ValidationError(errors)
        return found.pop("value"), found


class NumberSchema(OpenApiSerializerFieldExtension):
    target_class = Number

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        kind = self.target.kind
        return {"type": "number", "minimum": kind.low, "maximum": kind.high}


class MeasuredSchema(OpenApiSerializerFieldExtension):
    target_class = Measured

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        kind = self.target.kind
        value = {"type": "number", "minimum": kind.low, "maximum": kind.high}
        doubt = {"type": ["number", "null"], "minimum": 0, "maximum": kind.high - kind.low}
        return {
            "oneOf": [
                value,
                {
                    "type": "object",
                    "required": ["value"],
                    "properties": {
                        "value": value,
                        "unit": {"const": kind.unit.value},
                        "tolerance": doubt | {"description": "Half-width, as a maker states it."},
                        "uncertainty": doubt | {"description": "One standard deviation."},
                    },
                    "additionalProperties": False,
                },
            ]
        }


class Text(serializers.CharField):
    """Text that is text: a number or a truth value is not taken for one."""

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            raise serializers.ValidationError(f"Give text, not {_what(data)}.")
        return super().to_internal_value(data)


class Whole(serializers.IntegerField):
    """A whole number that is one: text or 2.5 is not taken for one."""

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, bool) or not isinstance(data, int):
            raise serializers.ValidationError(f"Give a whole number, not {_what(data)}.")
        return super().to_internal_value(data)


class Truth(serializers.BooleanField):
    """true or false, and not 1, "yes" or the like."""

    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            raise serializers.ValidationError(f"Give true or false, not {_what(data)}.")
        return data


def _dimensions(
    name: str, kinds: Mapping[str, DimensionKind], required: tuple[str, ...] = ()
) -> type[Strict]:
    """A serializer of dimensions by name; those that are not required may be left out or null."""
    fields = {
        key: Measured(kind, required=key in required, allow_null=key not in required)
        for key, kind in kinds.items()
    }
    return type(f"{name}DimensionsInput", (Strict,), fields)


class PartInput(Strict):
    """A part by its figures. ``id`` is what ``owned``, ``pairs`` and the answer call it."""

    id = Text(required=False, max_length=LONGEST_NAME)
    name = Text(required=False, max_length=LONGEST_NAME)
    price = Number(
        DimensionKind("price", "Price", Unit.NONE, 0, 999_999, "Of a pack."), required=False, allow_null=True
    )
    pack_size = Whole(required=False, min_value=1, max_value=1000, default=1)


def _part_input(kind: PartKind) -> type[PartInput]:
    name = kind.value.title().replace("_", "")
    kinds = {key: PART_DIMENSIONS[key] for key in dimensions_of(kind)}
    fields: dict[str, Any] = {"dimensions": _dimensions(name, kinds, REQUIRED[kind])()}
    if kind is PartKind.MOTOR_MOUNT:
        fields["layout"] = serializers.ChoiceField([layout.value for layout in Layout])
    if kind in (PartKind.WHEEL, PartKind.TYRE, PartKind.SPACER):
        fields["axle"] = serializers.ChoiceField(
            [axle.value for axle in Axle], required=False, allow_null=True, help_text="Null for either."
        )
    return type(f"{name}Input", (PartInput,), {"__doc__": f"A {kind.label} by its figures.", **fields})


PART_INPUTS: dict[PartKind, type[PartInput]] = {kind: _part_input(kind) for kind in LISTS}


class PositionInput(Strict):
    """A mounting position: what it adds to the wheelbase, mm."""

    name = Text(max_length=40)
    shift = Measured(SHIFT)


class OffsetsInput(Strict):
    """The wheel offsets sold for the platform, mm."""

    min = Number(PART_DIMENSIONS["offset"])
    max = Number(PART_DIMENSIONS["offset"])
    step = Number(DimensionKind("step", "Step", Unit.MM, 0.01, 10, "Between two offsets."))

    def validate(self, offsets: dict[str, float]) -> dict[str, float]:
        if offsets["min"] > offsets["max"]:
            raise serializers.ValidationError({"max": ["The largest offset is below the smallest one."]})
        return offsets


def _limit(key: str, low: float, high: float, unit: Unit = Unit.MM) -> Number:
    label = key.replace("_", " ").capitalize()
    return Number(DimensionKind(key, label, unit, low, high, label), required=False)


class CriteriaInput(Strict):
    """What counts as a fit, mm and degrees; what is left out is as on a new platform."""

    flush_band = _limit("flush_band", 0.01, 20)
    inset_limit = _limit("inset_limit", 0.01, 20)
    centring_limit = _limit("centring_limit", 0.01, 20)
    arch_clearance = _limit("arch_clearance", 0, 20)
    steer_min = _limit("steer_min", 0, 60, Unit.DEGREE)

    def validate(self, given: dict[str, float]) -> dict[str, float]:
        criteria = calc.Criteria(**given)
        if criteria.inset_limit < criteria.flush_band:
            raise serializers.ValidationError(
                {"inset_limit": [f"Must not be below the flush band of {criteria.flush_band:g} mm."]}
            )
        return given


class PlatformInput(Strict):
    """A platform by its figures."""

    name = Text(required=False, max_length=LONGEST_NAME, default="your platform")
    scale = Whole(min_value=4, max_value=64, help_text="The N of 1:N.")
    datum = Measured(DATUM)
    front_rim_width = Number(PART_DIMENSIONS["rim_width"])
    chassis_front_width = Number(CHASSIS, required=False, allow_null=True)
    offsets = OffsetsInput()
    criteria = CriteriaInput(required=False)


class LayoutsInput(Strict):
    """Whether the floor takes a motor there; null or left out where nobody has tried."""

    rear = Truth(required=False, allow_null=True)
    mid = Truth(required=False, allow_null=True)


class DesignatedInput(Strict):
    """What the body's maker states, mm; null or left out where nothing is."""

    front_width = Number(BODY_DIMENSIONS["front_arch_width"], required=False, allow_null=True)
    front_offset = Number(PART_DIMENSIONS["offset"], required=False, allow_null=True)
    rear_offset = Number(PART_DIMENSIONS["offset"], required=False, allow_null=True)


class FullSizeInput(Strict):
    """The full-size car: it predicts the wheelbase of a body that nobody has measured."""

    wheelbase = Number(FULL_SIZE)


BodyDimensionsInput = _dimensions("Body", BODY_DIMENSIONS)


class BodyInput(Strict):
    """A body by its figures; what hangs on one that is left out is answered as unknown."""

    name = Text(required=False, max_length=LONGEST_NAME, default="your body")
    scale = Whole(min_value=4, max_value=64, help_text="The N of 1:N.")
    layouts = LayoutsInput(required=False)
    dimensions = BodyDimensionsInput(required=False)
    designated = DesignatedInput(required=False)
    full_size = FullSizeInput(required=False)


class NeedsInput(Strict):
    """A part that goes only with one of some partners of each kind."""

    part = Text(max_length=LONGEST_NAME)
    partners = serializers.ListField(child=Text(max_length=LONGEST_NAME), min_length=1, max_length=MOST_PARTS)


class PairsInput(Strict):
    """Which parts go together, by their ids."""

    only_with = NeedsInput(many=True, required=False, max_length=MOST_PAIRS)
    never = serializers.ListField(
        child=serializers.ListField(child=Text(max_length=LONGEST_NAME), min_length=2, max_length=2),
        required=False,
        max_length=MOST_PAIRS,
    )


class _Catalogue(Strict):
    platform = PlatformInput()
    positions = PositionInput(many=True, max_length=MOST_PARTS)
    pairs = PairsInput(required=False)


CatalogueInput = type(
    "CatalogueInput",
    (_Catalogue,),
    {"__doc__": "All that may be fitted: a platform, its positions and parts, each part with an ``id``."}
    | {
        name: PART_INPUTS[kind](
            many=True,
            required=False,
            max_length=MOST_MOUNTS if kind is PartKind.FRONT_BODY_MOUNT else MOST_PARTS,
        )
        for kind, name in LISTS.items()
    },
)
