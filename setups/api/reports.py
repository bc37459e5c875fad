"""Findings, reports and solutions as JSON: the one place where ``fitcalc``'s answers are written.

The functions write; the serializers describe to the schema what is written, and ``test_api_schema.py`` fails
for a field that only one of the two has. Numbers are rounded to a millionth of their unit, which is beyond
any measurement. A part is named by its slug, or by the ``id`` that came with an inline one; ``Names`` knows
them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields
from math import isfinite
from types import MappingProxyType
from typing import Any

from django.urls import reverse
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from fitcalc import parts as calc
from fitcalc.dimensions import BODY_DIMENSIONS, PART_DIMENSIONS, Unit
from fitcalc.findings import Action, Finding, Remedy, Rule, Verdict
from fitcalc.fit import FitReport, Geometry
from fitcalc.parts import Axle, Slot
from fitcalc.quantities import Quantity
from fitcalc.solver import Match
from fitcalc.steering import Turn
from setups import models

from .plain import address
from .records import Inline


def rounded(value: Any) -> float | None:
    """``value`` as JSON writes it; ``None`` for what is not known or has no bound."""
    return None if value is None or not isfinite(value) else round(float(value), 6)


class Names:
    """What parts, positions and platforms are called: slugs for those of the library."""

    def __init__(self, parts: Mapping[Any, str] = MappingProxyType({})) -> None:
        self._slugs = parts
        self._written: dict[Any, dict[str, Any]] = {}
        self._once: dict[int, tuple[Any, Any]] = {}

    @classmethod
    def of(cls, parts: Iterable[models.Part]) -> Names:
        return cls({part.pk: part.slug for part in parts})

    def __call__(self, part: calc.Part | calc.Position) -> dict[str, Any]:
        if part.id not in self._written:
            self._written[part.id] = self._write(part)
        return self._written[part.id]

    def once(self, thing: Any, write: Callable[[Any], Any]) -> Any:
        """``write(thing)``, which is written once however many configurations share it."""
        known = self._once.get(id(thing))
        if known is None:
            known = self._once[id(thing)] = (thing, write(thing))
        return known[1]

    def _write(self, part: calc.Part | calc.Position) -> dict[str, Any]:
        if isinstance(part, calc.Position):
            return {"part": part.name, "name": part.name, "url": None}
        if isinstance(part.id, Inline):
            return {"part": part.id.name, "name": part.name or part.id.name, "url": None}
        slug = self._slugs[part.id]
        return {"part": slug, "name": part.name, "url": address("api-part-detail", slug)}


def choices(enum: Any) -> list[tuple[str, str]]:
    """Values with their words."""
    return [(one.value, getattr(one, "label", one.value.replace("_", " "))) for one in enum]


SLOTS, AXLES, UNITS, VERDICTS = choices(Slot), choices(Axle), choices(Unit), choices(Verdict)


class QuantitySerializer(serializers.Serializer):
    """A value with its standard uncertainty ``u`` and the half-width ``limit`` of the worst case."""

    value = serializers.FloatField()
    u = serializers.FloatField()
    limit = serializers.FloatField()
    unit = serializers.ChoiceField(UNITS)


def write_quantity(quantity: Quantity) -> dict[str, Any]:
    return {
        "value": rounded(quantity.value),
        "u": rounded(quantity.u),
        "limit": rounded(quantity.limit),
        "unit": quantity.unit.value,
    }


def quantity_or_none(quantity: Quantity | None) -> dict[str, Any] | None:
    return None if quantity is None else write_quantity(quantity)


class NamedPartSerializer(serializers.Serializer):
    """A part by its slug, or by the id that you gave; a mounting position by its name."""

    part = serializers.CharField()
    name = serializers.CharField(allow_blank=True)
    url = serializers.CharField(allow_null=True, help_text="Address in the library; null for one of yours.")


class RemedySerializer(serializers.Serializer):
    """One thing to do about a finding.

    ``swap``: put ``part`` into ``slot``, or nothing where it is null. ``needs``: ``slot`` wants a part whose
    dimension ``quantity`` is ``figure``; ``sold`` tells whether the platform's range has it. ``measure``: the
    dimension ``quantity`` is not known.
    """

    action = serializers.ChoiceField(choices(Action))
    slot = serializers.ChoiceField(SLOTS, allow_null=True)
    part = NamedPartSerializer(allow_null=True)
    quantity = serializers.CharField(allow_blank=True)
    figure = serializers.FloatField(allow_null=True)
    unit = serializers.ChoiceField(UNITS, allow_null=True)
    sold = serializers.BooleanField()


def write_remedy(remedy: Remedy, name: Names) -> dict[str, Any]:
    kind = PART_DIMENSIONS.get(remedy.quantity) or BODY_DIMENSIONS.get(remedy.quantity)
    return {
        "action": remedy.action.value,
        "slot": remedy.slot and remedy.slot.value,
        "part": remedy.part and name(remedy.part),
        "quantity": remedy.quantity,
        "figure": rounded(remedy.figure),
        "unit": kind.unit.value if kind and remedy.figure is not None else None,
        "sold": remedy.sold,
    }


class FindingSerializer(serializers.Serializer):
    """One rule's answer.

    ``fits``: clearly inside. ``close``: too close to call. ``fails``: clearly outside. ``unknown``: the
    dimensions in ``missing`` are not known. ``holds`` is the bare nominal answer. ``found`` should lie from
    ``low`` to ``high``; ``margin`` is the distance to the nearer bound, positive inside; ``probability`` is
    that of meeting the rule. A rule about kinds has words instead of numbers.
    """

    rule = serializers.ChoiceField(choices(Rule))
    axle = serializers.ChoiceField(AXLES, allow_null=True)
    verdict = serializers.ChoiceField(VERDICTS)
    holds = serializers.BooleanField()
    found = QuantitySerializer(allow_null=True)
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    margin = serializers.FloatField(allow_null=True)
    probability = serializers.FloatField(allow_null=True, min_value=0, max_value=1)
    missing = serializers.ListField(child=serializers.CharField())
    required_word = serializers.CharField(allow_blank=True)
    found_word = serializers.CharField(allow_blank=True)
    remedies = RemedySerializer(many=True)


def write_finding(finding: Finding, name: Names) -> dict[str, Any]:
    return {
        "rule": finding.rule.value,
        "axle": finding.axle and finding.axle.value,
        "verdict": finding.verdict.value,
        "holds": bool(finding.holds),
        "found": quantity_or_none(finding.found),
        "low": rounded(finding.low),
        "high": rounded(finding.high),
        "margin": rounded(finding.margin),
        "probability": rounded(finding.probability),
        "missing": list(finding.missing),
        "required_word": finding.required_word,
        "found_word": finding.found_word,
        "remedies": [write_remedy(one, name) for one in finding.remedies],
    }


class LinkSerializer(serializers.Serializer):
    """One link of the wheelbase: the platform's datum (no slot), a part or the position."""

    name = serializers.CharField(allow_blank=True)
    slot = serializers.ChoiceField(SLOTS, allow_null=True)
    quantity = QuantitySerializer()


class ChainSerializer(serializers.Serializer):
    """The wheelbase as the sum of its links, and two ways to stack their tolerances, mm."""

    contributions = LinkSerializer(many=True)
    worst_case = serializers.FloatField()
    root_sum_square = serializers.FloatField()


class TurnSerializer(serializers.Serializer):
    """The tightest turn inside both locks: steer angles in degrees, radii in mm."""

    inner = serializers.FloatField()
    outer = serializers.FloatField()
    centre_radius = serializers.FloatField()
    outer_wheel_radius = serializers.FloatField()
    outer_corner_radius = serializers.FloatField(allow_null=True)


_TURN = tuple(field.name for field in fields(Turn))
_SURE = tuple(field.name for field in fields(Geometry) if str(field.type) == "Quantity")
_UNSURE = tuple(field.name for field in fields(Geometry) if str(field.type) == "Quantity | None")


class GeometrySerializer(serializers.Serializer):
    """Everything geometric that follows; null where a dimension that it hangs on is not known."""

    chain = ChainSerializer()
    turn = TurnSerializer(allow_null=True, help_text="Null where the wheels cannot steer.")

    def get_fields(self) -> dict[str, serializers.Field]:
        sure = {name: QuantitySerializer() for name in _SURE}
        return sure | {name: QuantitySerializer(allow_null=True) for name in _UNSURE} | super().get_fields()


def write_geometry(geometry: Geometry, name: Names) -> dict[str, Any]:
    chain, turn = geometry.chain, geometry.turn
    written: dict[str, Any] = {
        key: None if (figure := getattr(geometry, key)) is None else name.once(figure, write_quantity)
        for key in (*_SURE, *_UNSURE)
    }
    written["chain"] = {
        "contributions": [
            {
                "name": link.name,
                "slot": link.slot and link.slot.value,
                "quantity": name.once(link.quantity, write_quantity),
            }
            for link in chain.contributions
        ],
        "worst_case": rounded(chain.worst_case),
        "root_sum_square": rounded(chain.root_sum_square),
    }
    written["turn"] = turn and {key: rounded(getattr(turn, key)) for key in _TURN}
    return written


@extend_schema_field({"type": "object", "additionalProperties": {"$ref": "#/components/schemas/NamedPart"}})
class BySlot(serializers.Field):
    """Slot -> part; an empty slot is not there."""


class BuiltSerializer(serializers.Serializer):
    """A configuration: the part in each slot, and the mounting position."""

    platform = serializers.CharField(help_text="Name of the platform.")
    position = serializers.CharField(help_text="Name of the mounting position.")
    parts = BySlot(help_text="Slot to part; an empty slot is not there.")


def write_built(configuration: calc.Configuration, name: Names) -> dict[str, Any]:
    return {
        "platform": configuration.platform.name,
        "position": configuration.position.name,
        "parts": {slot.value: name(part) for slot, part in configuration.parts()},
    }


class ReportSerializer(serializers.Serializer):
    """A configuration under a body: the gravest verdict, whether every rule holds nominally, and why."""

    verdict = serializers.ChoiceField(VERDICTS)
    fits = serializers.BooleanField()
    configuration = BuiltSerializer()
    findings = FindingSerializer(many=True)
    geometry = GeometrySerializer()


def write_report(report: FitReport, name: Names) -> dict[str, Any]:
    return {
        "verdict": report.verdict.value,
        "fits": bool(report.fits),
        "configuration": write_built(report.configuration, name),
        "findings": [name.once(one, lambda one: write_finding(one, name)) for one in report.findings],
        "geometry": write_geometry(report.geometry, name),
    }


class PurchaseSerializer(serializers.Serializer):
    """A part to get, and how many pieces its slot takes."""

    slot = serializers.ChoiceField(SLOTS)
    pieces = serializers.IntegerField()
    part = NamedPartSerializer()


@extend_schema_field(
    {
        "type": "object",
        "additionalProperties": {"type": "array", "items": {"$ref": "#/components/schemas/NamedPart"}},
    }
)
class SeveralBySlot(serializers.Field):
    """Slot -> parts."""


class MatchSerializer(ReportSerializer):
    """One configuration of an answer and what it takes to build it.

    ``designated``: it meets all that the body's maker states. ``to_buy`` is what is not owned, ``cost`` the
    price of its packs, null where one is not known. ``alternatives`` do as well in their slot.
    """

    designated = serializers.BooleanField()
    parts_to_change = serializers.IntegerField()
    to_buy = PurchaseSerializer(many=True)
    cost = serializers.FloatField(allow_null=True)
    alternatives = SeveralBySlot()


def write_match(match: Match, name: Names) -> dict[str, Any]:
    return write_report(match.report, name) | {
        "designated": bool(match.designated),
        "parts_to_change": match.parts_to_change,
        "to_buy": [
            {"slot": slot.value, "pieces": slot.pieces, "part": name(part)} for slot, part in match.to_buy
        ],
        "cost": rounded(match.cost),
        "alternatives": {
            slot.value: [name(part) for part in parts] for slot, parts in match.alternatives.items()
        },
    }


class NamedThingSerializer(serializers.Serializer):
    """A body or platform of the library, or one of yours: then slug and url are null."""

    name = serializers.CharField()
    slug = serializers.CharField(allow_null=True)
    url = serializers.CharField(allow_null=True)


def named(thing: models.Body | models.Platform | calc.Body | calc.Platform) -> dict[str, Any]:
    """What a ``NamedThingSerializer`` writes."""
    if isinstance(thing, models.Body | models.Platform):
        view = f"api-{thing._meta.model_name}-detail"
        return {"name": thing.name, "slug": thing.slug, "url": reverse(view, args=[thing.slug])}
    return {"name": thing.name, "slug": None, "url": None}


class FitAnswerSerializer(ReportSerializer):
    """Whether a configuration fits under a body, and why."""

    body = NamedThingSerializer()
    platform = NamedThingSerializer()


class PlatformAnswerSerializer(serializers.Serializer):
    """One platform's answer.

    ``matches`` fit, best first; ``near_misses`` do not, each with the remedies of what fails. ``fitting``
    counts all combinations that fit and ``combinations`` all that there are; ``gaps`` names slots for which
    there is no part, in which case there is no combination at all. ``endless`` is true where the library has
    so many parts for the platform that nothing was tried.
    """

    platform = NamedThingSerializer()
    fitting = serializers.IntegerField()
    combinations = serializers.IntegerField()
    gaps = serializers.ListField(child=serializers.ChoiceField(SLOTS))
    endless = serializers.BooleanField()
    matches = MatchSerializer(many=True)
    near_misses = MatchSerializer(many=True)


class SolveAnswerSerializer(serializers.Serializer):
    """What fits a body, a platform at a time, the one with the best answer first."""

    body = NamedThingSerializer()
    platforms = PlatformAnswerSerializer(many=True)
