"""What would make a car legal, as JSON."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from club.api.racing_rulings import Names as Things
from club.api.racing_rulings import RulingSerializer, write_ruling
from club.racing.mending import Mending
from setups.api.reports import SLOTS, BuiltSerializer, NamedPartSerializer, Names, write_built
from setups.models import Part


class StepSerializer(serializers.Serializer):
    """One slot: ``was`` comes out and ``now`` goes in, null for nothing; ``buy``: it is not at hand."""

    slot = serializers.ChoiceField(SLOTS)
    was = NamedPartSerializer(allow_null=True)
    now = NamedPartSerializer(allow_null=True)
    buy = serializers.BooleanField()

    class Meta:
        ref_name = "MendingStep"


class MendingSerializer(serializers.Serializer):
    """The least that makes the car legal.

    ``configuration`` is what it becomes, null where none was found among the ``looked_at`` geometries that
    fit the body, or nothing of the parts is amiss. ``short``: pieces to get besides. ``left`` are clauses
    still too close to call, ``nearest`` what fails in the nearest configuration where none is legal,
    ``by_hand`` failing limits that no part decides. ``barred``: the body itself is not allowed.
    """

    configuration = BuiltSerializer(allow_null=True)
    steps = StepSerializer(many=True)
    short = NamedPartSerializer(many=True)
    buys = serializers.IntegerField()
    left = RulingSerializer(many=True)
    nearest = RulingSerializer(many=True)
    by_hand = RulingSerializer(many=True)
    barred = serializers.BooleanField()
    looked_at = serializers.IntegerField()


def write_mending(found: Mending) -> dict[str, Any]:
    """What a ``MendingSerializer`` describes."""
    built = None if found.match is None else found.match.report.configuration
    keys = {part.id for _, part in built.parts()} if built else set()
    keys |= {one.id for step in found.steps for one in (step.change.was, step.change.now) if one is not None}
    keys |= {part.id for part in found.short}
    ids = [key for key in keys if isinstance(key, int)]
    name = Names.of(Part.objects.filter(pk__in=ids) if ids else [])
    things = Things()
    things.learn([*found.left, *found.nearest, *found.by_hand])
    return {
        "configuration": None if built is None else write_built(built, name),
        "steps": [
            {
                "slot": step.change.slot.value,
                "was": None if step.change.was is None else name(step.change.was),
                "now": None if step.change.now is None else name(step.change.now),
                "buy": step.part is not None,
            }
            for step in found.steps
        ],
        "short": [name(part) for part in found.short],
        "buys": found.buys,
        "left": [write_ruling(one, things) for one in found.left],
        "nearest": [write_ruling(one, things) for one in found.nearest],
        "by_hand": [write_ruling(one, things) for one in found.by_hand],
        "barred": found.barred,
        "looked_at": found.looked_at,
    }
