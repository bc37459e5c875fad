"""From validated JSON to ``fitcalc``'s records, inline figures and things of the library alike."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from rest_framework.serializers import ValidationError

from fitcalc import parts as calc
from fitcalc.dimensions import PartKind
from fitcalc.parts import PairRules
from fitcalc.quantities import Quantity, exact
from setups import models
from setups.translate import LISTS, body_record, pair_rules, part_record


class Inline(NamedTuple):
    """The id of a part or position that came with the request."""

    name: str
    of: str = "part"


def _known(dimensions: Mapping[str, Quantity | None]) -> dict[str, Quantity]:
    return {key: quantity for key, quantity in dimensions.items() if quantity is not None}


def inline_body(given: Mapping[str, Any]) -> calc.Body:
    layouts, designated = given.get("layouts", {}), given.get("designated", {})
    return body_record(
        id=Inline(given["name"], "body"),
        name=given["name"],
        scale=given["scale"],
        known=_known(given.get("dimensions", {})),
        takes_rear_motor=layouts.get("rear"),
        takes_mid_motor=layouts.get("mid"),
        full_size_wheelbase=given.get("full_size", {}).get("wheelbase"),
        designated_front_width=designated.get("front_width"),
        designated_front_offset=designated.get("front_offset"),
        designated_rear_offset=designated.get("rear_offset"),
    )


def inline_platform(given: Mapping[str, Any]) -> calc.Platform:
    offsets, chassis = given["offsets"], given.get("chassis_front_width")
    return calc.Platform(
        id=Inline(given["name"], "platform"),
        name=given["name"],
        scale=given["scale"],
        datum=given["datum"],
        offsets=calc.OffsetGrid(low=offsets["min"], high=offsets["max"], step=offsets["step"]),
        front_rim_width=exact(given["front_rim_width"]),
        chassis_front_width=None if chassis is None else exact(chassis),
        criteria=calc.Criteria(**given.get("criteria", {})),
    )


def inline_position(given: Mapping[str, Any]) -> calc.Position:
    return calc.Position(id=Inline(given["name"], "position"), name=given["name"], shift=given["shift"])


def inline_part(kind: PartKind, given: Mapping[str, Any], name: str) -> calc.Part:
    """The part; ``name`` is what it is called where it brings no id of its own."""
    part = part_record(
        kind,
        _known(given["dimensions"]),
        axle=given.get("axle") or "",
        layout=given.get("layout", ""),
        id=Inline(given.get("id", name)),
        name=given.get("name", given.get("id", name)),
        price=given.get("price"),
        pack_size=given["pack_size"],
    )
    assert part is not None  # the serializer asks for every dimension that the kind requires
    return part


def inline_catalogue(given: Mapping[str, Any]) -> calc.Catalogue:
    """The catalogue. Raises ValidationError for an id that is missing, stands twice or is nobody's."""
    errors: dict[str, Any] = {}
    kinds: dict[str, PartKind] = {}
    lists: dict[str, tuple[calc.Part, ...]] = {}
    for kind, name in LISTS.items():
        parts = []
        for index, one in enumerate(given.get(name, [])):
            said = None
            if "id" not in one:
                said = "Give each part of a catalogue an id: the answer names it by that."
            elif one["id"] in kinds:
                said = "Another part has this id: give each its own."
            if said:
                errors.setdefault(name, {})[index] = {"id": [said]}
                continue
            kinds[one["id"]] = kind
            parts.append(inline_part(kind, one, one["id"]))
        lists[name] = tuple(parts)
    positions = [inline_position(one) for one in given["positions"]]
    names = [position.name for position in positions]
    for index, name in enumerate(names):
        if name in names[:index]:
            said = "Another position has this name: give each its own."
            errors.setdefault("positions", {})[index] = {"name": [said]}
    pairs, wrong = _pairs(given.get("pairs", {}), kinds)
    if wrong:
        errors["pairs"] = wrong
    if errors:
        raise ValidationError(errors)
    return calc.Catalogue(
        platform=inline_platform(given["platform"]), positions=tuple(positions), pairs=pairs, **lists
    )


def _pairs(given: Mapping[str, Any], kinds: Mapping[str, PartKind]) -> tuple[PairRules, dict[str, Any]]:
    """The rules, and what is wrong with them."""
    errors: dict[str, Any] = {}

    def known(where: str, index: int, names: Iterable[str]) -> bool:
        absent = [name for name in names if name not in kinds]
        if absent:
            said = f"No part of the catalogue has the id {absent[0]!r}."
            errors.setdefault(where, {})[index] = [said]
        return not absent

    only_with: dict[Any, dict[PartKind, set[Any]]] = {}
    for index, rule in enumerate(given.get("only_with", [])):
        if known("only_with", index, [rule["part"], *rule["partners"]]):
            partners = only_with.setdefault(Inline(rule["part"]), {})
            for name in rule["partners"]:
                partners.setdefault(kinds[name], set()).add(Inline(name))
    never = set()
    for index, (one, other) in enumerate(given.get("never", [])):
        if known("never", index, [one, other]):
            if one == other:
                errors.setdefault("never", {})[index] = ["Name two parts: one cannot shun itself."]
            never.add(frozenset((Inline(one), Inline(other))))
    rules = PairRules(
        only_with={part: tuple(map(frozenset, by_kind.values())) for part, by_kind in only_with.items()},
        never=frozenset(never),
    )
    return rules, errors


def library_pairs(parts: Iterable[models.Part]) -> PairRules:
    """The library's rules about ``parts``, with all the partners that these go with; two queries."""
    kinds = {part.pk: PartKind(part.kind) for part in parts}
    partners = models.PartPair.objects.filter(part__in=list(kinds)).values_list("other_id", "other__kind")
    return pair_rules(kinds | {pk: PartKind(kind) for pk, kind in partners})
