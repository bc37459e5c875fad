"""Cars side by side, and what is different in one revision from another."""

from __future__ import annotations

from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import ValidationError

from fitcalc import parts as calc
from fitcalc.fit import FitReport, evaluate
from fitcalc.parts import PairRules, Slot
from fitcalc.tuning import TUNING
from setups import models
from setups.services.cars import content_of, reports_of, with_car
from setups.services.comparing import EFFECTS, FEWEST, MOST, EffectRow
from setups.translate import body_of

from . import examples
from .asked import ById, ConfigurationInput, Named
from .computing import Build, Compute, body_given, stored
from .geometry import BodyInput, Strict, Whole
from .records import library_pairs
from .reports import (
    SLOTS,
    NamedThingSerializer,
    Names,
    ReportSerializer,
    named,
    quantity_or_none,
    write_report,
)
from .setups import Revisions
from .shared import SETUPS, Shared, nobody, setup_or_refused
from .views import COMPUTING
from .written import RevisionSerializer, revision_address


class RevisionInput(Strict):
    """A posted setup's car: that of ``revision``, the newest without it."""

    setup = Whole(min_value=1, max_value=2**63 - 1, help_text="Number of a setup.")
    revision = Whole(min_value=1, max_value=2**31 - 1, required=False)


class Car(serializers.Field):
    """A setup, a configuration of the library by its number, or one put together."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, dict) and "setup" in data:
            return RevisionInput().run_validation(data)
        return ById().to_internal_value(data)


class CarSchema(OpenApiSerializerFieldExtension):
    target_class = Car

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        whole = auto_schema.resolve_serializer(ConfigurationInput(), direction).ref
        revision = auto_schema.resolve_serializer(RevisionInput(), direction).ref
        return {"oneOf": [{"type": "integer", "description": "Number of a configuration."}, revision, whole]}


class CompareInput(Strict):
    """Two to six cars, under one body: that in ``body``, else the first setup’s, else as bare chassis."""

    cars = serializers.ListField(child=Car(), min_length=FEWEST, max_length=MOST)
    body = Named(BodyInput(), "slug of a body", required=False, allow_null=True)


class ComparedCarSerializer(serializers.Serializer):
    """One car: ``setup`` and ``revision`` are null for a bare configuration."""

    name = serializers.CharField()
    setup = serializers.IntegerField(allow_null=True)
    revision = serializers.IntegerField(allow_null=True)
    report = ReportSerializer()


def _each(schema: str) -> dict[str, Any]:
    """A list with an entry a car, null where the car has none."""
    one = {"oneOf": [{"$ref": f"#/components/schemas/{schema}"}, {"type": "null"}]}
    return {"type": "array", "items": one}


@extend_schema_field(_each("NamedPart"))
class EachPart(serializers.Field):
    """Each car’s part."""


@extend_schema_field(_each("Quantity"))
class EachQuantity(serializers.Field):
    """Each car’s figure."""


class PartRowSerializer(serializers.Serializer):
    """One slot: each car’s part or position, null where it is empty."""

    slot = serializers.ChoiceField(SLOTS)
    same = serializers.BooleanField()
    parts = EachPart()


class EffectRowSerializer(serializers.Serializer):
    """One computed figure, each car’s; null where it is not known."""

    label = serializers.CharField()
    meaning = serializers.CharField()
    same = serializers.BooleanField()
    values = EachQuantity()


@extend_schema_field({"type": ["number", "string", "null"]})
class Said(serializers.Field):
    """What is said, null where nothing is."""


class SettingRowSerializer(serializers.Serializer):
    """One setting, each car’s."""

    setting = serializers.CharField()
    same = serializers.BooleanField()
    values = serializers.ListField(child=Said())


class CompareAnswerSerializer(serializers.Serializer):
    """The cars, and row by row what they are made of, what that does, and what is set on them."""

    body = NamedThingSerializer(allow_null=True)
    cars = ComparedCarSerializer(many=True)
    parts = PartRowSerializer(many=True)
    effects = EffectRowSerializer(many=True)
    settings = SettingRowSerializer(many=True)


class Compare(Compute):
    @extend_schema(
        operation_id="compare",
        tags=[COMPUTING],
        summary="How do these cars differ?",
        description="Two to six setups, revisions or configurations. Stores nothing.",
        request=CompareInput,
        examples=examples.COMPARE,
        responses=CompareAnswerSerializer,
    )
    def post(self, request: Request) -> Response:
        asked = CompareInput(data=request.data)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        cars, rows = _cars(given["cars"])
        body = body_given(given["body"]) if given.get("body") else _body_of(cars)
        shell = _shell(body, cars[0][0])
        pairs = library_pairs(rows) if rows else PairRules()
        judged = [evaluate(configuration, shell, pairs) for configuration, _ in cars]
        names = Names.of(rows)
        settings = [{} if revision is None else revision.tuning for _, revision in cars]
        answer = {
            "body": body and named(body),
            "cars": [
                {
                    "name": configuration.platform.name if revision is None else revision.name,
                    "setup": revision and revision.setup_id,
                    "revision": revision and revision.number,
                    "report": write_report(one, names),
                }
                for (configuration, revision), one in zip(cars, judged, strict=True)
            ],
            "parts": [_part_row(slot, judged, names) for slot in Slot],
            "effects": [
                {
                    "label": row.label,
                    "meaning": row.meaning,
                    "same": row.same,
                    "values": [quantity_or_none(value) for value in row.values],
                }
                for row in _effects(judged)
            ],
            "settings": [_setting_row(key, settings) for key in TUNING if any(key in s for s in settings)],
        }
        return self.answer(answer)


CarOf = tuple[calc.Configuration, models.Revision | None]


def _cars(given: list[Any]) -> tuple[list[CarOf], list[models.Part]]:
    """Each car, and the parts of the library in all of them. Raises ValidationError that points at a car."""
    found: list[CarOf | None] = [None] * len(given)
    rows: list[models.Part] = []
    errors: dict[int, Any] = {}
    revisions = _revisions(given, errors)
    for place, one in enumerate(given):
        try:
            if isinstance(one, int):
                configuration, _, parts = stored(one)
                found[place] = configuration, None
            elif "setup" in one:
                if place in errors:
                    continue
                revision, configuration = revisions[place]
                found[place], parts = (configuration, revision), [row.part for row in revision.slots.all()]
            else:
                build = Build(one)
                found[place], parts = (build.configuration(), None), list(build.rows.values())
            rows += parts
        except ValidationError as error:
            errors[place] = error.detail
    if errors:
        raise ValidationError({"cars": errors})
    return [one for one in found if one is not None], rows


def _revisions(
    given: list[Any], errors: dict[int, Any]
) -> dict[int, tuple[models.Revision, calc.Configuration]]:
    """The revisions among the cars, by place, with their configurations; in a constant number of queries."""
    asked = {place: one for place, one in enumerate(given) if isinstance(one, dict) and "setup" in one}
    if not asked:
        return {}
    setups = models.Setup.objects.exclude(state=models.Setup.State.DRAFT)
    setups = setups.filter(pk__in={one["setup"] for one in asked.values()})
    current = dict(setups.values_list("pk", "current__number"))
    rows = with_car(models.Revision.objects.filter(setup__in=list(current))).prefetch_related("photos")
    wanted = {(one["setup"], one.get("revision", current.get(one["setup"]))) for one in asked.values()}
    rows = rows.filter(number__in={number for _, number in wanted if number is not None})
    by_key = {(row.setup_id, row.number): row for row in rows if (row.setup_id, row.number) in wanted}
    reports = dict(zip(by_key, reports_of([content_of(row) for row in by_key.values()]), strict=True))
    found = {}
    for place, one in asked.items():
        key = one["setup"], one.get("revision", current.get(one["setup"]))
        if key in by_key:
            found[place] = by_key[key], reports[key].configuration
        else:
            field = "revision" if one["setup"] in current else "setup"
            errors[place] = {field: ["There is none of this number: /api/v1/setups/ lists the setups."]}
    return found


def _body_of(cars: list[CarOf]) -> models.Body | None:
    return next((revision.body for _, revision in cars if revision is not None), None)


def _shell(body: models.Body | calc.Body | None, first: calc.Configuration) -> calc.Body:
    """What the cars are judged under: a body, or nothing that anything could touch."""
    if body is None:
        return calc.Body(id=0, name="no body", scale=first.platform.scale)
    return body_of(body) if isinstance(body, models.Body) else body


def _effects(judged: list[FitReport]) -> list[EffectRow]:
    """The computed figures that are known of any car."""
    rows = [EffectRow(label, meaning, [of(one.geometry) for one in judged]) for label, meaning, of in EFFECTS]
    return [row for row in rows if any(value is not None for value in row.values)]


def _part_row(slot: Slot, reports: list[Any], names: Names) -> dict[str, Any]:
    parts = [report.configuration.part(slot) for report in reports]
    return {
        "slot": slot.value,
        "same": len({None if part is None else part.id for part in parts}) == 1,
        "parts": [None if part is None else names(part) for part in parts],
    }


def _setting_row(key: str, settings: list[dict[str, Any]]) -> dict[str, Any]:
    values = [one.get(key) for one in settings]
    return {"setting": key, "same": len(set(values)) == 1, "values": values}


# One revision and another


class FieldChangeSerializer(serializers.Serializer):
    """One thing that differs, such as ``parts/front_wheel``, ``tuning/caster`` or ``notes``."""

    field = serializers.CharField()
    was = Said()
    now = Said()


class ChangesSerializer(serializers.Serializer):
    """What is different in revision ``now`` from revision ``was``, which is null before the first one."""

    setup = serializers.IntegerField()
    was = serializers.IntegerField(allow_null=True)
    now = serializers.IntegerField()
    what_changed = serializers.CharField(allow_blank=True)
    changes = FieldChangeSerializer(many=True)


SINCE = "since"
_COMPARED = (
    *("name", "body", "platform", "position", "race_class", "surface", "circuit", "best_lap"),
    *("result", "notes"),
)


class Changes(Shared):
    """What a revision changed."""

    def parameters(self) -> set[str]:
        return {SINCE}

    @extend_schema(
        operation_id="get_changes",
        tags=[SETUPS],
        summary="What a revision changed",
        description="From the revision before, or from that of the parameter.",
        parameters=[
            OpenApiParameter(SINCE, OpenApiTypes.INT, description="Number of a revision to compare with.")
        ],
        responses=ChangesSerializer,
    )
    def get(self, request: Request, setup: int, number: int) -> Response:
        given = request.query_params.get(SINCE, str(number - 1))
        if not (given.isascii() and given.isdigit() and len(given) < 10):
            raise ValidationError({SINCE: ["Give the number of a revision."]})
        owner = setup_or_refused(setup)
        joined = [path for paths in Revisions.joined.values() for path in paths]
        rows = owner.revisions.select_related(*joined).prefetch_related("slots__part")
        numbers = {number, int(given)} - {0}
        known = {row.number: row for row in rows.filter(number__in=[n for n in numbers if n < 2**31])}
        if absent := sorted(numbers - set(known)):
            raise nobody("revision", absent[0], revision_address(owner.current).rsplit("/", 2)[0] + "/")
        was, now = known.get(int(given)), known[number]
        before, after = ({} if row is None else _flat(row) for row in (was, now))
        changes = [
            {"field": key, "was": before.get(key), "now": after.get(key)}
            for key in dict.fromkeys([*after, *before])
            if before.get(key) != after.get(key)
        ]
        return Response(
            {
                "setup": owner.pk,
                "was": was and was.number,
                "now": now.number,
                "what_changed": now.what_changed,
                "changes": changes,
            }
        )


def _flat(revision: models.Revision) -> dict[str, Any]:
    """What a revision says, by the path to it; empty text is nothing."""
    fields = RevisionSerializer().fields
    found = {}
    for name in _COMPARED:
        value = fields[name].get_attribute(revision)
        found[name] = None if value is None else fields[name].to_representation(value)
    slots = {row.slot: row.part.slug for row in revision.slots.all()}
    nested = {f"parts/{slot.value}": slots.get(slot.value) for slot in Slot if slot is not Slot.POSITION}
    nested |= {f"tuning/{key}": value for key, value in revision.tuning.items()}
    return {key: value for key, value in (found | nested).items() if value not in (None, "")}
