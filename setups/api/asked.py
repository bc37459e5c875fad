"""What may be asked of the computing addresses, and how it is described."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from rest_framework import serializers
from rest_framework.serializers import ValidationError

from fitcalc.parts import OPTIONAL_SLOTS
from fitcalc.solver import Order
from setups.translate import SLOT_KINDS

from .geometry import (
    LONGEST_NAME,
    PART_INPUTS,
    BodyInput,
    CatalogueInput,
    PlatformInput,
    PositionInput,
    Strict,
    Text,
    Truth,
    Whole,
)
from .reports import choices

MOST_MATCHES = 200
MOST_MISSES = 20
MOST_PLATFORMS = 50
MOST_OWNED = 1000


class Slug(str):
    """A name of something in the library."""


class Named(serializers.Field):
    """Something of the library by its slug, or an object with its figures."""

    def __init__(self, inline: serializers.Serializer, what: str, **extra: Any) -> None:
        self.inline, self.what = inline, what
        super().__init__(help_text=f"{what}, or its figures.", **extra)

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, str):
            if not 0 < len(data) <= LONGEST_NAME + 20:
                raise ValidationError(f"Give the {self.what}: this is none.")
            return Slug(data)
        if not isinstance(data, Mapping):
            raise ValidationError(f"Give the {self.what} as text, or an object with its figures.")
        return self.inline.run_validation(data)


class NamedSchema(OpenApiSerializerFieldExtension):
    target_class = Named

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        figures = auto_schema.resolve_serializer(self.target.inline, direction).ref
        return {"oneOf": [{"type": "string", "description": self.target.what}, figures]}


SlotsInput = type(
    "SlotsInput",
    (Strict,),
    {"__doc__": "A part for each slot: the slug of one in the library, or its figures."}
    | {
        slot.value: Named(
            PART_INPUTS[kind](),
            f"slug of a {kind.label}",
            required=slot not in OPTIONAL_SLOTS,
            allow_null=slot in OPTIONAL_SLOTS,
        )
        for slot, kind in SLOT_KINDS.items()
    },
)


class ConfigurationInput(Strict):
    """A platform, a mounting position, and a part a slot."""

    platform = Named(PlatformInput(), "slug of a platform")
    position = Named(PositionInput(), "name of one of the platform's mounting positions")
    parts = SlotsInput()


class ById(serializers.Field):
    """A configuration of the library by its number, or one put together."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, int) and not isinstance(data, bool):
            return data
        if not isinstance(data, Mapping):
            raise ValidationError(
                "Give the number of a configuration, or an object with platform, position and parts."
            )
        return ConfigurationInput().run_validation(data)


class ByIdSchema(OpenApiSerializerFieldExtension):
    target_class = ById

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        whole = auto_schema.resolve_serializer(ConfigurationInput(), direction).ref
        return {"oneOf": [{"type": "integer", "description": "Number of a configuration."}, whole]}


class FitInput(Strict):
    """A configuration and a body, each of the library or by its figures."""

    configuration = ById()
    body = Named(BodyInput(), "slug of a body")


class SolveInput(Strict):
    """A body, and what may be fitted: ``platforms`` of the library, or a ``catalogue`` of your own.

    Without either, every platform of the body's scale is searched. ``owned`` names parts at hand by slug, or
    by the ids of the catalogue; one that is owned counts as enough pieces for every slot.
    """

    body = Named(BodyInput(), "slug of a body")
    platforms = serializers.ListField(
        child=Text(max_length=LONGEST_NAME),
        required=False,
        min_length=1,
        max_length=MOST_PLATFORMS,
        help_text="Slugs of platforms.",
    )
    catalogue = CatalogueInput(required=False)
    owned = serializers.ListField(
        child=Text(max_length=LONGEST_NAME + 20), required=False, default=list, max_length=MOST_OWNED
    )
    limit = Whole(min_value=1, max_value=MOST_MATCHES, default=24, help_text="So many matches a platform.")
    misses = Whole(min_value=0, max_value=MOST_MISSES, default=5, help_text="So many near misses a platform.")
    most_changes = Whole(
        required=False,
        min_value=0,
        max_value=len(SLOT_KINDS),
        help_text="Look only at configurations with at most so many parts to buy; fitting counts those only.",
    )
    order = serializers.ChoiceField(
        choices(Order),
        default=Order.BEST.value,
        help_text="best: what the maker designates first; fewest_changes: what changes the fewest parts.",
    )
    distinct = Truth(
        default=True, help_text="List each geometry once, in its best parts, with the others beside."
    )

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        if "platforms" in given and "catalogue" in given:
            said = "Give platforms or a catalogue, not both: the one is the library's, the other yours."
            raise ValidationError({"catalogue": [said]})
        return given
