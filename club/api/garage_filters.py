"""What the lists of a garage can be narrowed by."""

from __future__ import annotations

from django_filters import rest_framework as filters

from club.models import Chassis, OwnedBody, OwnedPart
from setups.api.filters import choice, slug
from setups.models import Body, Part, Platform
from setups.models.part import KIND_CHOICES


class OwnedPartFilter(filters.FilterSet):
    part = slug(Part, "parts", "Slug of the part.")
    kind = choice(KIND_CHOICES, field_name="part__kind", help_text="Kind of part.")
    platform = slug(
        Platform, "platforms", "Slug of a platform that it is sold for.", field_name="part__platforms"
    )
    offer = choice(OwnedPart.Offer.choices, help_text="Whether the loose ones are offered to others.")

    class Meta:
        model = OwnedPart
        fields: list[str] = []


class OwnedBodyFilter(filters.FilterSet):
    body = slug(Body, "bodies", "Slug of the body.")

    class Meta:
        model = OwnedBody
        fields: list[str] = []


class ChassisFilter(filters.FilterSet):
    platform = slug(Platform, "platforms", "Slug of the platform.", field_name="position__platform")

    class Meta:
        model = Chassis
        fields: list[str] = []
