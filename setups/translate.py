"""From the library's tables to the calculation's records: the only place where the two meet.

Ids in ``fitcalc`` are primary keys; a mounting position's is ``("position", pk)``. A part that lacks a
dimension which its kind requires (``fitcalc.dimensions.REQUIRED``) cannot take part and is left out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from django.db import connections
from django.db.models import CharField, Q, QuerySet, Value

from fitcalc import parts as calc
from fitcalc.chain import KnownWheelbase
from fitcalc.dimensions import BODY_DIMENSIONS, PART_DIMENSIONS, REQUIRED, PartKind
from fitcalc.parts import Axle, Layout, OffsetGrid, PairRules, Slot
from fitcalc.quantities import Quantity, exact
from fitcalc.said import Listed, Said
from fitcalc.scale import predicted_wheelbase

from . import models
from .models.dimension import doubted

_FIELDS: dict[PartKind, tuple[type[calc.Part], dict[str, str]]] = {
    PartKind.FRONT_SUSPENSION: (calc.FrontSuspension, {}),
    PartKind.REAR_AXLE: (calc.RearAxle, {}),
    PartKind.MOTOR_MOUNT: (calc.MotorMount, {}),
    PartKind.PLATE: (calc.Plate, {}),
    PartKind.WHEEL: (calc.Wheel, {}),
    PartKind.TYRE: (calc.Tyre, {"tyre_diameter": "diameter", "tyre_width": "width"}),
    PartKind.SPACER: (calc.Spacer, {}),
    PartKind.FRONT_BODY_MOUNT: (calc.BodyMount, {}),
}
"""The kinds that take part in the fit, their record, and dimensions whose name differs from the field's."""

LISTS: dict[PartKind, str] = {
    PartKind.FRONT_SUSPENSION: "front_suspensions",
    PartKind.REAR_AXLE: "rear_axles",
    PartKind.MOTOR_MOUNT: "motor_mounts",
    PartKind.PLATE: "plates",
    PartKind.WHEEL: "wheels",
    PartKind.TYRE: "tyres",
    PartKind.SPACER: "spacers",
    PartKind.FRONT_BODY_MOUNT: "body_mounts",
}
"""Which list of a catalogue each kind stands in."""

_KINDS_OF_ANY_BODY = [kind.value for kind in _FIELDS if kind is not PartKind.FRONT_BODY_MOUNT]

SLOT_KINDS: dict[Slot, PartKind] = {
    Slot.FRONT_SUSPENSION: PartKind.FRONT_SUSPENSION,
    Slot.FRONT_WHEEL: PartKind.WHEEL,
    Slot.FRONT_TYRE: PartKind.TYRE,
    Slot.FRONT_SPACER: PartKind.SPACER,
    Slot.REAR_AXLE: PartKind.REAR_AXLE,
    Slot.REAR_WHEEL: PartKind.WHEEL,
    Slot.REAR_TYRE: PartKind.TYRE,
    Slot.REAR_SPACER: PartKind.SPACER,
    Slot.MOTOR_MOUNT: PartKind.MOTOR_MOUNT,
    Slot.PLATE: PartKind.PLATE,
    Slot.BODY_MOUNT: PartKind.FRONT_BODY_MOUNT,
}
"""Which kind of part each slot takes."""


def body_of(body: models.Body) -> calc.Body:
    """The body; reads ``dimensions`` and ``part_rules``, so prefetch both for lists.

    A body whose wheelbase nobody has measured but whose full-size car's is known gets the predicted one.
    """
    fouls = models.BodyPart.Rule.FOULS
    return _shell(
        body,
        {row.quantity: row.quantity_value() for row in body.dimensions.all()},
        frozenset(rule.part_id for rule in body.part_rules.all() if rule.rule == fouls),
    )


def _shell(body: models.Body, known: Mapping[str, Quantity], fouled_by: frozenset[int]) -> calc.Body:
    return body_record(
        id=body.pk,
        name=body.name,
        scale=body.scale,
        known=known,
        takes_rear_motor=body.takes_rear_motor,
        takes_mid_motor=body.takes_mid_motor,
        full_size_wheelbase=_number(body.full_size_wheelbase),
        designated_front_width=_number(body.designated_front_width),
        designated_front_offset=_number(body.designated_front_offset),
        designated_rear_offset=_number(body.designated_rear_offset),
        fouled_by=fouled_by,
    )


def body_record(
    *,
    scale: int,
    known: Mapping[str, Quantity],
    takes_rear_motor: bool | None,
    takes_mid_motor: bool | None,
    full_size_wheelbase: float | None,
    **fields: Any,
) -> calc.Body:
    """A body of ``known`` dimensions by name, wherever they come from; other fields as in the record."""
    wheelbase = known.get("wheelbase")
    predicted = wheelbase is None and full_size_wheelbase is not None
    if predicted:
        wheelbase = predicted_wheelbase(full_size_wheelbase, scale)
    tried = {Layout.REAR_MOTOR: takes_rear_motor, Layout.MID_MOTOR: takes_mid_motor}
    layouts = None
    if any(answer is not None for answer in tried.values()):
        layouts = frozenset(layout for layout, answer in tried.items() if answer)
    return calc.Body(
        scale=scale,
        layouts=layouts,
        wheelbase=wheelbase,
        wheelbase_predicted=predicted,
        **{name: quantity for name, quantity in known.items() if name != "wheelbase"},
        **fields,
    )


def platform_of(platform: models.Platform) -> calc.Platform:
    """The platform; no query."""
    chassis = platform.chassis_front_width
    return calc.Platform(
        id=platform.pk,
        name=platform.name,
        scale=platform.scale,
        datum=Quantity.from_tolerance(float(platform.datum), float(platform.datum_tolerance)),
        offsets=OffsetGrid(
            low=float(platform.offset_min), high=float(platform.offset_max), step=float(platform.offset_step)
        ),
        front_rim_width=exact(float(platform.front_rim_width)),
        chassis_front_width=None if chassis is None else exact(float(chassis)),
        criteria=calc.Criteria(
            flush_band=float(platform.flush_band),
            inset_limit=float(platform.inset_limit),
            centring_limit=float(platform.centring_limit),
            arch_clearance=float(platform.arch_clearance),
            steer_min=float(platform.steer_min),
        ),
    )


def position_of(position: models.MountingPosition) -> calc.Position:
    """The mounting position; no query."""
    return calc.Position(
        id=("position", position.pk),
        name=position.name,
        shift=Quantity.from_tolerance(float(position.shift), float(position.tolerance)),
    )


def part_of(part: models.Part) -> calc.Part | None:
    """The part, or ``None`` if its kind has no place in the fit or a required dimension is missing.

    Reads ``dimensions`` and, for a body mount, ``body_rules``: prefetch them for lists.
    """
    bodies: frozenset[int] = frozenset()
    if part.kind == PartKind.FRONT_BODY_MOUNT:
        made_for = models.BodyPart.Rule.MADE_FOR
        bodies = frozenset(rule.body_id for rule in part.body_rules.all() if rule.rule == made_for)
    return _record(part, _quantities(part.dimensions.all()), bodies)


def _quantities(dimensions: Iterable[models.PartDimension]) -> dict[str, Quantity]:
    return {row.quantity: row.quantity_value() for row in dimensions}


def _record(part: models.Part, known: Mapping[str, Quantity], bodies: frozenset[int]) -> calc.Part | None:
    return part_record(
        PartKind(part.kind),
        known,
        axle=part.axle,
        layout=part.layout,
        bodies=bodies,
        id=part.pk,
        name=part.name,
        price=_number(part.price),
        pack_size=part.pack_size,
    )


def part_record(
    kind: PartKind,
    known: Mapping[str, Quantity],
    *,
    axle: str = "",
    layout: str = "",
    bodies: frozenset[Any] = frozenset(),
    **fields: Any,
) -> calc.Part | None:
    """A part of ``known`` dimensions by name, wherever they come from; ``None`` as in ``part_of``.

    ``axle`` empty stands for either; ``layout`` is a motor mount's, ``bodies`` a front body mount's.
    """
    if kind not in _FIELDS or not all(name in known for name in REQUIRED[kind]):
        return None
    record, renamed = _FIELDS[kind]
    fields |= {renamed.get(name, name): value for name, value in known.items()}
    if kind in (PartKind.WHEEL, PartKind.TYRE, PartKind.SPACER):
        fields["axles"] = frozenset([Axle(axle)]) if axle else frozenset(Axle)
    elif kind is PartKind.MOTOR_MOUNT:
        fields["layout"] = Layout(layout)
    elif kind is PartKind.FRONT_BODY_MOUNT:
        fields["bodies"] = bodies
    return record(**fields)


class Figures:
    """What the calculation reads of some parts and bodies beside their own rows: dimensions and rules.

    ``rows`` is all of it as the tables hold it, in two queries: whoever computes from it alone gets the same
    as long as they are the same.
    """

    def __init__(self, parts: Collection[int], bodies: Collection[int]) -> None:
        """Of the parts and bodies with these primary keys."""
        keys = dict(zip(_stand_ins(len(parts), 0), parts, strict=True))
        keys |= zip(_stand_ins(len(bodies), 1), bodies, strict=True)
        using = models.PartDimension.objects.all().db
        found = []
        with connections[using].cursor() as cursor:
            for statement, params in _statements(len(parts), len(bodies)):
                cursor.execute(statement, [keys.get(one, one) for one in params])
                found.append(cursor.fetchall())
        dimensions, links = found
        rule = models.BodyPart.Rule
        self.rows = [*sorted(dimensions, key=_which), *sorted(links)]
        self._parts: dict[int, dict[str, Quantity]] = defaultdict(dict)
        self._bodies: dict[int, dict[str, Quantity]] = defaultdict(dict)
        for key, of, quantity, *figures in dimensions:
            known, kinds = (self._parts, PART_DIMENSIONS) if of == _PART else (self._bodies, BODY_DIMENSIONS)
            known[key][quantity] = doubted(kinds[quantity].unit, *figures)
        self._made_for: dict[int, set[int]] = defaultdict(set)
        self._fouled_by: dict[int, set[int]] = defaultdict(set)
        self.pairs: list[tuple[int, int, str, str]] = []
        for part, other, kind, of in links:
            if of != _BODY:
                self.pairs.append((part, other, kind, of))
            elif kind == rule.FOULS:
                self._fouled_by[other].add(part)
            else:
                self._made_for[part].add(other)

    def part(self, part: models.Part) -> calc.Part | None:
        """As ``part_of``; no query."""
        return _record(part, self._parts[part.pk], frozenset(self._made_for.get(part.pk, ())))

    def body(self, body: models.Body) -> calc.Body:
        """As ``body_of``; no query."""
        return _shell(body, self._bodies[body.pk], frozenset(self._fouled_by.get(body.pk, ())))


_PART, _BODY = "part", "body"


def _stand_ins(number: int, of: int) -> range:
    """What stands in a statement for so many primary keys until they are known: numbers that no key is.

    ``of`` 0 are parts and 1 bodies.
    """
    return range(-2 * number + of, of, 2)


@lru_cache(maxsize=500)
def _statements(parts: int, bodies: int) -> list[tuple[str, tuple[Any, ...]]]:
    """The two queries of ``Figures`` for so many parts and bodies, each with what it is given.

    Written once: Django takes longer over that than the database over the answer.
    """
    part_keys, body_keys = _stand_ins(parts, 0), _stand_ins(bodies, 1)
    values = ("quantity", "value", "tolerance", "uncertainty")
    of_parts = models.PartDimension.objects.filter(part__in=part_keys).order_by()
    of_bodies = models.BodyDimension.objects.filter(body__in=body_keys).order_by()
    rule = models.BodyPart.Rule
    counted = Q(body__in=body_keys, rule=rule.FOULS) | Q(part__in=part_keys, rule=rule.MADE_FOR)
    rules = models.BodyPart.objects.filter(counted).order_by()
    pairs = models.PartPair.objects.filter(part__in=part_keys).order_by()
    dimensions = of_parts.values_list("part", Value(_PART, CharField()), *values).union(
        of_bodies.values_list("body", Value(_BODY, CharField()), *values), all=True
    )
    links = rules.values_list("part", "body", "rule", Value(_BODY, CharField())).union(
        pairs.values_list(*_PAIR), all=True
    )
    return [one.query.sql_with_params() for one in (dimensions, links)]


def _which(row: tuple[Any, ...]) -> tuple[Any, ...]:
    return row[:3]


@dataclass(frozen=True, slots=True)
class Shelf:
    """What the library holds for some platforms: the calculation's catalogues, and the rows behind them."""

    catalogues: dict[int, calc.Catalogue]
    parts: dict[int, models.Part]
    positions: dict[int, list[models.MountingPosition]]


def shelf_for(platforms: Iterable[models.Platform], body: models.Body | None) -> Shelf:
    """Everything sold for ``platforms`` that could go under ``body``, in three queries.

    Of the front body mounts only those made for the body are fetched: each body has its own, and a large
    library holds as many as bodies; without a body, none. Reads the body's ``part_rules``.
    """
    return shelf_for_all(platforms, [] if body is None else [body])


def shelf_for_all(platforms: Iterable[models.Platform], bodies: Iterable[models.Body]) -> Shelf:
    """As ``shelf_for``, with the front body mounts of all of ``bodies``; reads their ``part_rules``."""
    platforms = list(platforms)
    keys = [platform.pk for platform in platforms]
    made_for: dict[int, set[int]] = defaultdict(set)
    for body in bodies:
        for rule in body.part_rules.all():
            if rule.rule == models.BodyPart.Rule.MADE_FOR:
                made_for[rule.part_id].add(body.pk)
    # Both conditions are on one table, so that its indexes find the parts: most are mounts of other bodies.
    going = models.Part.objects.filter(Q(kind__in=_KINDS_OF_ANY_BODY) | Q(pk__in=list(made_for))).order_by()
    sold = models.Fitment.objects.filter(part__in=going.values("pk"), platform__in=keys)
    rows = (
        models.PartDimension.objects.filter(part__in=sold.values("part"))
        .select_related("part__maker")
        .order_by("part_id", "pk")
    )
    dimensions: dict[int, list[models.PartDimension]] = defaultdict(list)
    parts: dict[int, models.Part] = {}
    for row in rows:
        parts.setdefault(row.part_id, row.part)
        dimensions[row.part_id].append(row)
    records = {
        pk: record
        for pk, part in parts.items()
        if (record := _record(part, _quantities(dimensions[pk]), frozenset(made_for.get(pk, ())))) is not None
    }
    kinds = {pk: PartKind(part.kind) for pk, part in parts.items()}
    fits: dict[int, list[int]] = defaultdict(list)
    rules = []
    for part_id, other_id, link, kind in _links(sold):
        if link != _SOLD_FOR:
            rules.append((part_id, other_id, link, kind))
        elif part_id in records:
            fits[other_id].append(part_id)
    pairs = pair_rules_among(rules, kinds)
    positions: dict[int, list[models.MountingPosition]] = defaultdict(list)
    holes = models.MountingPosition.objects.filter(platform__in=keys)
    for position in holes.order_by("order", "shift", "pk"):
        positions[position.platform_id].append(position)
    catalogues = {}
    for platform in platforms:
        lists: dict[str, list[Any]] = defaultdict(list)
        for part_id in sorted(fits[platform.pk]):
            lists[LISTS[kinds[part_id]]].append(records[part_id])
        catalogues[platform.pk] = calc.Catalogue(
            platform=platform_of(platform),
            positions=tuple(position_of(position) for position in positions[platform.pk]),
            pairs=pairs,
            **{name: tuple(found) for name, found in lists.items()},
        )
    return Shelf(catalogues, parts, positions)


_SOLD_FOR = "sold_for"


def _links(sold: QuerySet[models.Fitment]) -> Iterable[tuple[int, int, str, str]]:
    """What each part of ``sold`` goes with, in one query: (part, platform or other part, link, kind).

    The link is ``_SOLD_FOR`` a platform, with the part's own kind, or a pair's rule, with the other's kind.
    """
    fitments = sold.order_by().values_list(
        "part_id", "platform_id", Value(_SOLD_FOR, CharField()), "part__kind"
    )
    pairs = models.PartPair.objects.filter(part__in=sold.values("part")).order_by()
    return fitments.union(pairs.values_list(*_PAIR), all=True)


_PAIR = ("part_id", "other_id", "rule", "other__kind")
MOST_NAMED = 5000
"""A query names at most so many parts; beyond, it is quicker to read every pair."""


def pair_rules(kinds: Mapping[int, PartKind]) -> PairRules:
    """Pair rules among the parts at hand; a partner outside them counts as one that is not there.

    A part that goes only with some of a kind of which none is at hand (a spring's, a rear axle's on a page of
    mounts and plates) is not held to it.
    """
    return pair_rules_among(pair_rows(kinds), kinds)


def pair_rows(keys: Collection[int]) -> list[tuple[int, int, str, str]]:
    """The pair rules of the parts with these primary keys, for ``pair_rules_among``: one query."""
    pairs = models.PartPair.objects.all()
    if len(keys) < MOST_NAMED:
        pairs = pairs.filter(part__in=list(keys))
    return list(pairs.values_list(*_PAIR))


def pair_rules_among(rows: Iterable[tuple[int, int, str, str]], kinds: Mapping[int, PartKind]) -> PairRules:
    """As ``pair_rules``, from rows read before."""
    at_hand = {kind.value for kind in kinds.values()}
    only_with: dict[Any, dict[Any, set[Any]]] = defaultdict(lambda: defaultdict(set))
    never = set()
    for part, other, rule, kind in rows:
        if part not in kinds:
            continue
        if rule == models.PartPair.Rule.ONLY_WITH:
            if kind in at_hand:
                only_with[part][kind].add(other)
        elif other in kinds:
            never.add(frozenset((part, other)))
    return PairRules(
        only_with={
            part: tuple(frozenset(partners) for partners in by_kind.values())
            for part, by_kind in only_with.items()
        },
        never=frozenset(never),
    )


def configuration_of(configuration: models.Configuration) -> calc.Configuration:
    """The configuration. Reads its slots with their parts: prefetch ``slots__part__dimensions`` for lists.

    Raises ValueError, naming the slots, if one that a car cannot do without is empty or its part lacks a
    required dimension.
    """
    filled = {slot.slot: part_of(slot.part) for slot in configuration.slots.all()}
    return build_configuration(
        platform_of(configuration.platform), position_of(configuration.position), filled, chosen=filled
    )


def build_configuration(
    platform: calc.Platform,
    position: calc.Position,
    filled: Mapping[str, calc.Part | None],
    chosen: Collection[str] = (),
) -> calc.Configuration:
    """A configuration of parts by slot value; ValueError names what is missing.

    ``chosen`` are the slots in which the car has a part, also where it can do without one: a spacer of a
    thickness that nobody knows is not the same as none.
    """
    needed = [slot for slot in Slot if slot not in calc.OPTIONAL_SLOTS or slot.value in chosen]
    absent = [
        slot.label for slot in needed if slot is not Slot.POSITION and filled.get(slot.value) is None
    ]
    if absent:
        raise ValueError(Said("choose a part with known dimensions for: {slots}", slots=Listed(absent)))
    return calc.Configuration(platform=platform, position=position, **filled)  # type: ignore[arg-type]


def known_wheelbase_of(known: models.KnownWheelbase) -> KnownWheelbase:
    """A published wheelbase; no query."""
    return KnownWheelbase(
        motor_mount=known.motor_mount_id,
        plate=known.plate_id,
        position=("position", known.position_id),
        wheelbase=Quantity.from_tolerance(float(known.wheelbase), float(known.tolerance)),
    )


def _number(value: Any) -> float | None:
    return None if value is None else float(value)
