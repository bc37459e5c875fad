"""What belongs to several rows of the library, in one query for all: primary key -> what a field holds."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from functools import lru_cache
from typing import Any

from django.db.models import Q

from fitcalc.dimensions import BODY_DIMENSIONS, PART_DIMENSIONS, DimensionKind
from setups import models

Rows = list[dict[str, Any]]


def body_dimensions(bodies: list[int]) -> dict[int, dict[str, Any]]:
    """The known dimensions of each body by name, as ``DimensionSerializer`` has them."""
    return _dimensions(models.BodyDimension, BODY_DIMENSIONS, "body_id", bodies)


def part_dimensions(parts: list[int]) -> dict[int, dict[str, Any]]:
    """Likewise of each part."""
    return _dimensions(models.PartDimension, PART_DIMENSIONS, "part_id", parts)


def _dimensions(
    model: type[models.BodyDimension] | type[models.PartDimension],
    kinds: dict[str, DimensionKind],
    owner: str,
    keys: list[int],
) -> dict[int, dict[str, Any]]:
    found: dict[int, dict[str, Any]] = defaultdict(dict)
    rows = model.objects.filter(**{f"{owner}__in": keys}).order_by("pk")
    columns = ("quantity", "value", "tolerance", "uncertainty", "basis", "source")
    for key, quantity, value, tolerance, uncertainty, basis, source in rows.values_list(owner, *columns):
        found[key][quantity] = {
            "value": float(value),
            "unit": kinds[quantity].unit.value,
            "tolerance": None if tolerance is None else float(tolerance),
            "uncertainty": None if uncertainty is None else float(uncertainty),
            "u": _standard(tolerance, uncertainty),
            "basis": basis,
            "source": source,
        }
    return found


@lru_cache(maxsize=4096)
def _standard(tolerance: Decimal | None, uncertainty: Decimal | None) -> float:
    """The standard uncertainty that the calculation makes of a doubt, whatever the dimension."""
    row = models.BodyDimension(
        quantity="wheelbase", value=Decimal(1), tolerance=tolerance, uncertainty=uncertainty
    )
    return round(float(row.quantity_value().u), 6)


def part_rules(bodies: list[int]) -> dict[int, Rows]:
    """The rules of each body about parts, as ``PartRuleSerializer`` has them."""
    found: dict[int, Rows] = defaultdict(list)
    rows = models.BodyPart.objects.filter(body__in=bodies).order_by("pk")
    for body, rule, part, reason in rows.values_list("body_id", "rule", "part__slug", "reason"):
        found[body].append({"rule": rule, "part": part, "reason": reason})
    return found


def platforms(parts: list[int]) -> dict[int, list[str]]:
    """Slugs of the platforms that each part is sold for, sorted."""
    found: dict[int, list[str]] = defaultdict(list)
    for part, slug in models.Fitment.objects.filter(part__in=parts).values_list("part_id", "platform__slug"):
        found[part].append(slug)
    return {part: sorted(slugs) for part, slugs in found.items()}


def pairs(parts: list[int]) -> dict[int, Rows]:
    """The rules of each part with others, as ``PairSerializer`` has them: its own first, then the others'."""
    own: dict[int, Rows] = defaultdict(list)
    others: dict[int, Rows] = defaultdict(list)
    here = set(parts)
    rows = models.PartPair.objects.filter(Q(part__in=parts) | Q(other__in=parts)).order_by("pk")
    columns = ("part_id", "other_id", "rule", "part__slug", "other__slug", "reason")
    for part, other, rule, slug, other_slug, reason in rows.values_list(*columns):
        if part in here:
            own[part].append({"rule": rule, "part": other_slug, "reason": reason})
        if other in here:
            turned = rule if rule == models.PartPair.Rule.NEVER else "needed_by"
            others[other].append({"rule": turned, "part": slug, "reason": reason})
    return {part: own[part] + others[part] for part in own.keys() | others.keys()}
