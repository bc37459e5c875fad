"""The kit plan as a computing endpoint: the cheapest packs for a list of bodies. Stores nothing."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.urls import reverse
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import ValidationError
from rest_framework.views import APIView

from club.garage.kit import MOST_BODIES, Kit, Shopping, kit_for
from fitcalc.kitplan import KitPlanError, OfferKind, Use
from setups.api.computing import Compute
from setups.api.geometry import LONGEST_NAME, Strict, Text, Truth
from setups.api.permissions import Asking
from setups.api.problems import Problem, shown
from setups.api.reports import (
    BuiltSerializer,
    NamedPartSerializer,
    NamedThingSerializer,
    Names,
    choices,
    named,
    rounded,
    write_built,
)
from setups.api.views import COMPUTING
from setups.api.written import MemberSerializer
from setups.models import Body, Part

OFFERS = choices(OfferKind)
EXAMPLE = OpenApiExample(
    "Two bodies, one at a time",
    {"bodies": ["dotterel-rally", "stormcock-coupe"], "use": "one_at_a_time", "borrow": True},
    request_only=True,
)


class KitInput(Strict):
    """Bodies to run, one at a time or at once. ``borrow``: count what other members offer."""

    bodies = serializers.ListField(
        child=Text(max_length=LONGEST_NAME + 20),
        min_length=1,
        max_length=MOST_BODIES,
        help_text="Slugs of bodies.",
    )
    use = serializers.ChoiceField(choices(Use), default=Use.ONE_AT_A_TIME.value)
    borrow = Truth(default=False)


class CountedPartSerializer(serializers.Serializer):
    """Pieces of a part."""

    part = NamedPartSerializer()
    pieces = serializers.IntegerField()


class ToBuySerializer(CountedPartSerializer):
    """Packs to buy; ``price`` is that of one, null where it is not known."""

    packs = serializers.IntegerField()
    price = serializers.FloatField(allow_null=True)
    cost = serializers.FloatField(allow_null=True)


class ToTakeSerializer(CountedPartSerializer):
    """Pieces that another member lends or parts with; ``price`` is that of one, null: yet to be agreed."""

    owner = MemberSerializer()
    offer = serializers.ChoiceField(OFFERS)
    price = serializers.FloatField(allow_null=True)
    cost = serializers.FloatField(allow_null=True)


class RunSerializer(serializers.Serializer):
    """How a body is run with the kit."""

    body = NamedThingSerializer()
    configuration = BuiltSerializer()


class LackingSerializer(serializers.Serializer):
    """A body that cannot be run, and what it lacks; nothing where no platform fits it at all."""

    body = NamedThingSerializer()
    missing = CountedPartSerializer(many=True)


class KitAnswerSerializer(serializers.Serializer):
    """The plan. ``cost`` sums the prices that are known; ``proven``: it is certain that none is cheaper
    among the ``weighed`` configurations."""

    use = serializers.ChoiceField(choices(Use))
    complete = serializers.BooleanField()
    cost = serializers.FloatField()
    cost_complete = serializers.BooleanField()
    proven = serializers.BooleanField()
    weighed = serializers.IntegerField()
    to_buy = ToBuySerializer(many=True)
    to_take = ToTakeSerializer(many=True)
    runs = RunSerializer(many=True)
    left_out = LackingSerializer(many=True)
    spare = CountedPartSerializer(many=True)


class KitPlan(Compute):
    permission_classes = [Asking]

    def get_authenticators(self) -> list[Any]:
        return APIView.get_authenticators(self)

    @extend_schema(
        operation_id="kit_plan",
        tags=[COMPUTING],
        summary="What do I need to run these bodies?",
        description="The cheapest packs, from what the member owns and what others offer. Stores nothing.",
        request=KitInput,
        examples=[EXAMPLE],
        responses=KitAnswerSerializer,
    )
    def post(self, request: Request) -> Response:
        asked = KitInput(data=request.data)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        bodies = _bodies(given["bodies"])
        try:
            kit = kit_for(request.user, bodies, Use(given["use"]), given["borrow"])
        except KitPlanError as error:
            raise Problem("conflict", f"No plan was found: {error}. Ask for fewer bodies.") from error
        return self.answer(_written(kit))


def _bodies(slugs: list[str]) -> list[Body]:
    rows = Body.objects.filter(slug__in=slugs).select_related("maker")
    known = {body.slug: body for body in rows.prefetch_related("dimensions", "part_rules")}
    said = "No body has the slug {}: /api/v1/bodies/ lists those that there are."
    errors = {place: [said.format(shown(slug))] for place, slug in enumerate(slugs) if slug not in known}
    if errors:
        raise ValidationError({"bodies": errors})
    return [known[slug] for slug in dict.fromkeys(slugs)]


def _written(kit: Kit) -> dict[str, Any]:
    built = [run.match.report.configuration for run in kit.runs]
    keys = {part.id for one in built for _, part in one.parts()} | set(kit.plan.spare)
    parts = {row.pk: row for row in Part.objects.filter(pk__in=[key for key in keys if isinstance(key, int)])}
    names = Names.of(parts.values())
    return {
        "use": kit.plan.use.value,
        "complete": kit.plan.complete,
        "cost": rounded(kit.plan.cost),
        "cost_complete": kit.plan.cost_complete,
        "proven": kit.plan.proven,
        "weighed": kit.weighed,
        "to_buy": [_line(one) | {"packs": one.line.count} for one in kit.to_buy],
        "to_take": [_line(one) | _of(one) for one in kit.to_take],
        "runs": [
            {"body": named(run.body), "configuration": write_built(one, names)}
            for run, one in zip(kit.runs, built, strict=True)
        ],
        "left_out": [{"body": named(one.body), "missing": _counted(one.parts)} for one in kit.left_out],
        "spare": _counted((parts[key], count) for key, count in kit.plan.spare.items() if count),
    }


def _counted(parts: Iterable[tuple[Part, int]]) -> list[dict[str, Any]]:
    return [{"part": _part(part), "pieces": count} for part, count in parts]


def _line(one: Shopping) -> dict[str, Any]:
    return {
        "part": _part(one.part),
        "pieces": one.pieces,
        "price": rounded(one.line.price),
        "cost": rounded(one.line.cost),
    }


def _of(one: Shopping) -> dict[str, Any]:
    assert one.offer is not None
    kind = OfferKind.LEND if one.offer.lent else OfferKind.PART_WITH
    owner = {"username": one.offer.owner.username, "name": str(one.offer.owner)}
    return {"owner": owner, "offer": kind.value}


def _part(part: Part) -> dict[str, Any]:
    return {"part": part.slug, "name": part.name, "url": reverse("api-part-detail", args=[part.slug])}
