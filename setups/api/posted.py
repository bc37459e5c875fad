"""What is posted as a setup: judged, its names looked up, and made into the services' ``Content``."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.serializers import ValidationError

from fitcalc.dimensions import DimensionKind, Unit
from fitcalc.parts import OPTIONAL_SLOTS, Slot
from fitcalc.tuning import TUNING, TuningError, read
from setups import models
from setups.services.cars import Content, wrong_slots
from setups.translate import SLOT_KINDS

from .computing import absent
from .geometry import LONGEST_NAME, Number, Strict, Text, Whole

LAP = DimensionKind("best_lap", "The best lap", Unit.NONE, 0.001, 9999.999, "Seconds.")
"""What the column holds."""
MOST_PHOTOS = 50
RaceClass: Any = models.Setup._meta.get_field("race_class").related_model


PartsInput = type(
    "PartsInput",
    (Strict,),
    {"__doc__": "The slug of a part for each slot; a slot that may be empty is left out or null."}
    | {
        slot.value: Text(
            max_length=LONGEST_NAME + 20,
            required=slot not in OPTIONAL_SLOTS,
            allow_null=slot in OPTIONAL_SLOTS,
            help_text=f"Slug of a {kind.label}.",
        )
        for slot, kind in SLOT_KINDS.items()
    },
)


@extend_schema_field(
    {
        "type": "object",
        "properties": {
            key: {"type": ["string", "null"]}
            if field.in_words
            else {"type": ["number", "string", "null"], "minimum": field.low, "maximum": field.high}
            for key, field in TUNING.items()
        },
        "additionalProperties": False,
    }
)
class TuningInput(serializers.Field):
    """Settings by name, as ``fitcalc.tuning.read`` takes them."""

    def to_internal_value(self, data: Any) -> dict[str, float | str]:
        if not isinstance(data, Mapping):
            raise ValidationError("Give an object with settings and their values.")
        wrong: dict[str, Any] = {
            key: ["Give a number or text."]
            for key, value in data.items()
            if isinstance(value, bool) or not isinstance(value, (int, float, str, type(None)))
        }
        typed = {key: "" if value is None else str(value) for key, value in data.items() if key not in wrong}
        try:
            kept = read(typed)
        except TuningError as error:
            raise ValidationError(wrong | {key: [said] for key, said in error.wrong.items()}) from error
        if wrong:
            raise ValidationError(wrong)
        return kept


def _text(most: int, **extra: Any) -> Text:
    return Text(max_length=most, required=False, default="", allow_blank=True, **extra)


class ContentInput(Strict):
    """A setup as it is run: its body, its configuration, what is set on it, and what came of it."""

    name = Text(max_length=120)
    body = Text(max_length=LONGEST_NAME + 20, help_text="Slug of the body.")
    platform = Text(max_length=LONGEST_NAME + 20, help_text="Slug of the platform.")
    position = Text(max_length=LONGEST_NAME, help_text="Name of one of the platform’s mounting positions.")
    parts = PartsInput()
    race_class = Text(max_length=80, required=False, allow_null=True, help_text="Slug of a race class.")
    surface = serializers.ChoiceField(models.Surface.choices, required=False, allow_blank=True, default="")
    circuit = _text(80)
    best_lap = Number(LAP, required=False, allow_null=True, help_text="Seconds.")
    result = _text(120)
    notes = _text(4000)
    tuning = TuningInput(required=False, default=dict)
    photos = serializers.ListField(
        child=Whole(min_value=1, max_value=2**63 - 1),
        required=False,
        max_length=MOST_PHOTOS,
        help_text="Numbers of photos of this setup; all that were not removed, without it.",
    )
    what_changed = _text(300, help_text="What is different from the revision before.")


def content_from(given: Mapping[str, Any], setup: models.Setup | None = None) -> Content:
    """What a valid ``ContentInput`` says, of ``setup`` if it is revised.

    Raises ValidationError that points at each name that is not known and each part that does not go there.
    """
    errors: dict[str, Any] = {}

    def find(name: str, rows: Any, places: str) -> Any:
        row = rows.filter(slug=given[name]).first()
        if row is None:
            errors[name] = absent(rows.model._meta.verbose_name, given[name], places)
        return row

    body = find("body", models.Body.objects.select_related("maker"), "/api/v1/bodies/")
    platform = find(
        "platform",
        models.Platform.objects.select_related("maker").prefetch_related("positions"),
        "/api/v1/platforms/",
    )
    race_class = None
    if given.get("race_class"):
        race_class = find("race_class", RaceClass.objects.all(), "the page of race classes")
    position = None if platform is None else _position(platform, given["position"], errors)
    parts = _parts(given["parts"], errors)
    photos = _photos(given, setup, errors)
    if errors:
        raise ValidationError(errors)
    content = Content(
        body=body,
        platform=platform,
        position=position,
        parts=parts,
        race_class_id=race_class and race_class.pk,
        best_lap=None if given.get("best_lap") is None else Decimal(str(round(given["best_lap"], 3))),
        photos=photos,
        **{
            name: given[name]
            for name in ("name", "surface", "circuit", "result", "notes", "tuning", "what_changed")
        },
    )
    if wrong := wrong_slots(content):
        raise ValidationError({"parts": {slot.value: [said] for slot, said in wrong.items()}})
    return content


def _position(platform: models.Platform, name: str, errors: dict[str, Any]) -> models.MountingPosition | None:
    positions = {row.name: row for row in platform.positions.all()}
    if name not in positions:
        has = ", ".join(positions) or "none"
        errors["position"] = [f"The {platform} has no position of this name; it has {has}."]
    return positions.get(name)


def _parts(given: Mapping[str, str | None], errors: dict[str, Any]) -> dict[Slot, models.Part]:
    slugs = {slug for slug in given.values() if slug}
    rows = models.Part.objects.filter(slug__in=slugs).select_related("maker")
    known = {row.slug: row for row in rows.prefetch_related("dimensions", "body_rules", "fitments")}
    unknown = {
        slot: absent("part", slug, f"/api/v1/parts/?kind={SLOT_KINDS[Slot(slot)].value}")
        for slot, slug in given.items()
        if slug and slug not in known
    }
    if unknown:
        errors["parts"] = unknown
    return {Slot(slot): known[slug] for slot, slug in given.items() if slug in known}


def _photos(
    given: Mapping[str, Any], setup: models.Setup | None, errors: dict[str, Any]
) -> list[models.Photo]:
    if "photos" not in given:
        return [] if setup is None else list(setup.photos.filter(removed=False))
    rows = {} if setup is None else {row.pk: row for row in setup.photos.all()}
    unknown = {
        index: ["This setup has no photo of this number."]
        for index, key in enumerate(given["photos"])
        if key not in rows
    }
    if unknown:
        errors["photos"] = unknown
    return [rows[key] for key in dict.fromkeys(given["photos"]) if key in rows]
