"""What is in a garage, as JSON, and what is sent to change it."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from club.models import Chassis, OwnedBody, OwnedPart
from club.models.garage import MOST_PIECES
from fitcalc.dimensions import DimensionKind, Unit
from fitcalc.parts import Slot
from setups.api.geometry import LONGEST_NAME, Number, Strict, Text, Whole
from setups.api.serializers import Address, PartsBySlot
from setups.api.serializers import number as figure
from setups.translate import SLOT_KINDS

PRICE = DimensionKind("price", "The price", Unit.NONE, 0, 999_999.99, "For one, in the club’s currency.")
OFFERED = OwnedPart.Offer.choices
_SLUG = {"max_length": LONGEST_NAME + 20}


class OwnedPartSerializer(serializers.ModelSerializer):
    """Pieces of a part: ``count`` is all that are owned, ``fitted`` those on one's chassis, ``loose`` the
    rest, which ``offer`` is about; ``price`` is asked for one."""

    url = Address("api-owned-part-detail", "pk")
    number = serializers.IntegerField(source="pk", read_only=True)
    part = serializers.SlugRelatedField("slug", read_only=True)
    fitted = serializers.SerializerMethodField()
    loose = serializers.SerializerMethodField()
    price = figure(allow_null=True)

    class Meta:
        model = OwnedPart
        fields = ["url", "number", "part", "count", "fitted", "loose", "offer", "price"]
        read_only_fields = fields

    def get_fitted(self, row: OwnedPart) -> int:
        return self.context["fitted"].get(row.part_id, 0)

    def get_loose(self, row: OwnedPart) -> int:
        return row.count - self.get_fitted(row)


class OwnedBodySerializer(serializers.ModelSerializer):
    """A body that one has."""

    url = Address("api-owned-body-detail", "pk")
    number = serializers.IntegerField(source="pk", read_only=True)
    body = serializers.SlugRelatedField("slug", read_only=True)

    class Meta:
        model = OwnedBody
        fields = ["url", "number", "body"]
        read_only_fields = fields


class ChassisSerializer(serializers.ModelSerializer):
    """A chassis as it is built now; a slot that is not there is open."""

    url = Address("api-chassis-detail", "pk")
    number = serializers.IntegerField(source="pk", read_only=True)
    platform = serializers.SlugRelatedField("slug", read_only=True)
    position = serializers.SlugRelatedField("name", read_only=True)
    parts = PartsBySlot(source="slots", read_only=True, help_text="Slot to slug of the part in it.")

    class Meta:
        model = Chassis
        fields = ["url", "number", "name", "platform", "position", "parts"]
        read_only_fields = fields


class MorePartsInput(Strict):
    """So many pieces more of a part."""

    part = Text(**_SLUG, help_text="Slug of a part.")
    count = Whole(min_value=1, max_value=MOST_PIECES)


class OwnedPartInput(Strict):
    """All that is said of a part that one has."""

    count = Whole(min_value=1, max_value=MOST_PIECES, help_text="Those on one's chassis counted.")
    offer = serializers.ChoiceField(OFFERED, default=OwnedPart.Offer.NONE.value)
    price = Number(PRICE, required=False, allow_null=True, default=None)


class BodyInput(Strict):
    """A body that one has."""

    body = Text(**_SLUG, help_text="Slug of a body.")

    class Meta:
        ref_name = "OwnedBodyInput"


ChassisPartsInput: Any = type(
    "ChassisPartsInput",
    (Strict,),
    {"__doc__": "The slug of a part for each slot; one that is left out or null is open."}
    | {
        slot.value: Text(**_SLUG, required=False, allow_null=True, help_text=f"Slug of a {kind.label}.")
        for slot, kind in SLOT_KINDS.items()
        if slot is not Slot.BODY_MOUNT
    },
)


class ChassisInput(Strict):
    """A chassis as it is built: the front body mount belongs to a body and is not part of it."""

    name = Text(max_length=80)
    platform = Text(**_SLUG, help_text="Slug of the platform.")
    position = Text(max_length=LONGEST_NAME, help_text="Name of one of its mounting positions.")
    parts = ChassisPartsInput(required=False, default=dict)
