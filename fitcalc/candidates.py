"""Candidates for each group of slots: which parts may stand where, how each is judged and ranked.

The front end, the rear end and the wheelbase chain are independent given the platform and the body's
mount, except that the rear arch takes a rear tyre and a chain together and that a pair rule may span
groups. Each group is enumerated and judged by itself, over arrays (``fitcalc.fit``).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property, partial
from math import ceil
from typing import Any

import numpy as np

from fitcalc.findings import Check, Checks
from fitcalc.groups import (
    ChainGroup,
    EndGroup,
    Index,
    Placing,
    across_of,
    chain_group,
    front_group,
    placing_of,
    rear_arch_check,
    rear_group,
)
from fitcalc.pairs import clashes, meet, tyre_sits_on
from fitcalc.parts import Axle, Body, Catalogue, PairRules, Part, PartId, Position, Slot
from fitcalc.quantities import Quantity

FRONT_SLOTS = (Slot.FRONT_SUSPENSION, Slot.FRONT_WHEEL, Slot.FRONT_TYRE, Slot.FRONT_SPACER)
REAR_SLOTS = (Slot.REAR_AXLE, Slot.REAR_WHEEL, Slot.REAR_TYRE, Slot.REAR_SPACER)
CHAIN_SLOTS = (Slot.MOTOR_MOUNT, Slot.PLATE, Slot.POSITION)

WIDTH_AGREES = 0.25
"""A front end is the designated one if its width across is within this of the stated one, mm."""
OFFSET_AGREES = 0.1
"""An offset is the designated one within this, mm."""
UNKNOWN_PRICE = 1e6
"""What a part without a price weighs in the rank, so that priced ones come first."""


class Order(StrEnum):
    """What counts first after fitting."""

    BEST = "best"
    FEWEST_CHANGES = "fewest_changes"
    FEWEST_PARTS = "fewest_parts"

    @property
    def doubt_column(self) -> int:
        """Which column of the rank counts the rules met only doubtfully."""
        return 1 if self is Order.FEWEST_PARTS else 0


@dataclass(frozen=True)
class Group:
    """One group of slots: its parts, the candidates as indices into them, and their ranks.

    Candidates of equal figures are judged once: ``row`` says where in ``end`` each one is. ``geometry`` is
    one integer a candidate, equal where the nominal figures are.
    """

    slots: tuple[Slot, ...]
    parts: tuple[tuple[Any, ...], ...]
    index: Index
    end: EndGroup | ChainGroup
    row: Any
    rank: Any
    geometry: Any

    @property
    def checks(self) -> Checks:
        return self.end.checks

    @cached_property
    def failures(self) -> Any:
        """How many rules each candidate fails."""
        return self.checks.failures[self.row]

    @cached_property
    def ordered(self) -> Any:
        """The candidates by failed rules, then by how far they fall short, then by rank."""
        shortfall = np.round(self.checks.shortfall[self.row], 6)
        return np.lexsort((*self.rank.T[::-1], shortfall, self.failures))

    @cached_property
    def feasible(self) -> Any:
        """The candidates that hold all rules of the group, by rank."""
        return self.ordered[: np.count_nonzero(self.failures == 0)]

    @property
    def coupled(self) -> Any:
        """What the rear arch sees of each candidate, the smaller the better; ``None`` if nothing."""
        if isinstance(self.end, ChainGroup):
            return None if self.end.centring is None else np.abs(self.end.centring.value)[self.row]
        return self.end.tyre_diameter.value[self.row] if self.slots is REAR_SLOTS else None

    def picked(self, candidate: int) -> dict[Slot, Any]:
        """Slot -> part of one candidate; an empty slot is left out."""
        chosen = {
            slot: parts[int(i[candidate])]
            for slot, parts, i in zip(self.slots, self.parts, self.index, strict=True)
        }
        return {slot: part for slot, part in chosen.items() if part is not None}


@dataclass(slots=True)
class Search:
    """One body mount's worth of the search: three groups and what couples them."""

    body: Body
    catalogue: Catalogue
    mount: Any
    placing: Placing
    front: Group
    rear: Group
    chain: Group
    spanning: PairRules
    crossing: frozenset[PartId]
    order: Order = Order.BEST
    _signatures: dict[tuple[int, int], frozenset[tuple[Slot, PartId]]] = field(default_factory=dict)
    _marks: dict[int, tuple[Any, int]] = field(default_factory=dict)

    @property
    def groups(self) -> tuple[Group, Group, Group]:
        return self.front, self.rear, self.chain

    @property
    def placing_holds(self) -> bool:
        """True if the mount puts the body where it belongs."""
        return bool(np.all(self.placing.check.holds))

    def signature(self, which: int, candidate: int) -> frozenset[tuple[Slot, PartId]]:
        """What of a candidate a pair rule that spans groups can see."""
        key = (which, candidate)
        if key not in self._signatures:
            picked = self.groups[which].picked(candidate)
            self._signatures[key] = frozenset(
                (slot, part.id) for slot, part in picked.items() if part.id in self.crossing
            )
        return self._signatures[key]

    def marks(self, which: int) -> tuple[Any, int]:
        """One integer a candidate, equal where the signatures are, and how many there are."""
        if which not in self._marks:
            group = self.groups[which]
            seen = [
                [part.id if part is not None and part.id in self.crossing else None for part in parts]
                for parts in group.parts
            ]
            found, marks = np.unique(_equal(seen, group.index), return_inverse=True)
            self._marks[which] = marks, len(found)
        return self._marks[which]

    def together(self, *signatures: frozenset[tuple[Slot, PartId]]) -> bool:
        """True if no pair rule that spans groups forbids the candidates that show these signatures."""
        filled = {slot: part for signature in signatures for slot, part in signature}
        if self.mount is not None and self.mount.id in self.crossing:
            filled[Slot.BODY_MOUNT] = self.mount.id
        return not filled or not clashes(filled, self.spanning)

    def rear_arch(self, rear: Any, chain: Any) -> Check:
        """The rear arch check over pairs of candidates given as two index arrays of one shape."""
        end, links = self.rear.end, self.chain.end
        assert isinstance(end, EndGroup)
        assert isinstance(links, ChainGroup)
        centring = None if links.centring is None else links.centring.take(self.chain.row[chain])
        diameter = end.tyre_diameter.take(self.rear.row[rear])
        return rear_arch_check(self.body, self.catalogue.platform, diameter, centring)


def eligible(catalogue: Catalogue, body: Body) -> dict[Slot, tuple[Any, ...]]:
    """What may stand in each slot: parts for the axle; the body's own mounts, or none if it has none."""

    def at(parts: Sequence[Any], axle: Axle) -> tuple[Any, ...]:
        return tuple(part for part in parts if axle in part.axles)

    mounts = tuple(mount for mount in catalogue.body_mounts if not mount.bodies or body.id in mount.bodies)
    return {
        Slot.FRONT_SUSPENSION: catalogue.front_suspensions,
        Slot.FRONT_WHEEL: at(catalogue.wheels, Axle.FRONT),
        Slot.FRONT_TYRE: at(catalogue.tyres, Axle.FRONT),
        Slot.FRONT_SPACER: (None, *at(catalogue.spacers, Axle.FRONT)),
        Slot.REAR_AXLE: catalogue.rear_axles,
        Slot.REAR_WHEEL: at(catalogue.wheels, Axle.REAR),
        Slot.REAR_TYRE: at(catalogue.tyres, Axle.REAR),
        Slot.REAR_SPACER: (None, *at(catalogue.spacers, Axle.REAR)),
        Slot.MOTOR_MOUNT: catalogue.motor_mounts,
        Slot.PLATE: catalogue.plates,
        Slot.POSITION: catalogue.positions,
        Slot.BODY_MOUNT: mounts or (None,),
    }


def search_of(
    catalogue: Catalogue,
    body: Body,
    lists: dict[Slot, tuple[Any, ...]],
    mount: Any,
    owned: frozenset[PartId],
    order: Order,
    most_changes: int | None = None,
) -> Search | None:
    """The groups' candidates judged and ranked.

    With ``most_changes``, only candidates that can be part of a fit with so few parts to change: ``None`` as
    soon as a group has none, and what one group needs at least is no longer there for the next.
    """
    platform = catalogue.platform
    placing = placing_of(platform, body, mount)
    inside, spanning = _split_rules(catalogue.pairs, lists)

    left = most_changes
    if left is not None:
        left -= int(_slot_weights(Slot.BODY_MOUNT, (mount,), owned)[0][0])

    def changes_of(slots: tuple[Slot, ...], index: Any) -> Any:
        weights = [_slot_weights(slot, lists[slot], owned)[0] for slot in slots]
        return sum(weight[row] for weight, row in zip(weights, index, strict=True))

    def product(slots: tuple[Slot, ...]) -> Index:
        shape = tuple(len(lists[slot]) for slot in slots)
        index = np.indices(shape).reshape(len(slots), -1)
        if left is not None:
            index = index[:, changes_of(slots, index) <= left]
        keep = np.ones(index.shape[1], dtype=bool)
        for (first, second), allowed in inside.items():
            if first in slots and second in slots:
                keep &= allowed[index[slots.index(first)], index[slots.index(second)]]
        return tuple(index[:, keep])

    def group(slots: tuple[Slot, ...], judge: Callable[..., EndGroup | ChainGroup]) -> Group:
        parts, index = tuple(lists[slot] for slot in slots), product(slots)
        figures = [[_figures(part, body) for part in choices] for choices in parts]
        _, first, row = np.unique(_equal(figures, index), return_index=True, return_inverse=True)
        end = judge(*parts, tuple(i[first] for i in index))
        rank = _rank(slots, parts, index, end, row, catalogue, body, owned, order)
        if slots is FRONT_SLOTS:
            rank = rank + _mount_rank(mount, placing, owned, order)
        nominal = [list(map(_nominal, *of_slot)) for of_slot in zip(parts, figures, strict=True)]
        return Group(slots, parts, index, end, row, rank, _equal(nominal, index))

    judges: dict[tuple[Slot, ...], Callable[..., EndGroup | ChainGroup]] = {
        CHAIN_SLOTS: partial(chain_group, platform, body, placing),
        REAR_SLOTS: partial(rear_group, platform, body),
        FRONT_SLOTS: partial(front_group, platform, body, placing),
    }
    groups: list[Group] = []
    for slots, judge in judges.items():
        if left is not None and groups:
            # What the group before needs at least is no longer there for this one.
            before = groups[-1]
            feasible = changes_of(before.slots, before.index)[before.failures == 0]
            if not len(feasible):
                return None
            left -= int(feasible.min())
        groups.append(group(slots, judge))
    chain, rear, front = groups
    return Search(body, catalogue, mount, placing, front, rear, chain, spanning, _named(spanning), order)


def _split_rules(
    pairs: PairRules, lists: dict[Slot, tuple[Any, ...]]
) -> tuple[dict[tuple[Slot, Slot], Any], PairRules]:
    """Pair rules inside a group as tables (slot a, slot b), and the rules that span groups."""
    group_of = {slot: g for g, slots in enumerate((FRONT_SLOTS, REAR_SLOTS, CHAIN_SLOTS)) for slot in slots}
    where: dict[PartId, list[tuple[Slot, int]]] = defaultdict(list)
    for slot, parts in lists.items():
        for row, part in enumerate(parts):
            if part is not None:
                where[part.id].append((slot, row))
    tables: dict[tuple[Slot, Slot], Any] = {}

    def table(first: Slot, second: Slot) -> Any:
        return tables.setdefault(
            (first, second), np.ones((len(lists[first]), len(lists[second])), dtype=bool)
        )

    never: set[frozenset[PartId]] = set()
    only_with: dict[PartId, tuple[frozenset[PartId], ...]] = {}
    for pair in pairs.never:
        one, other = tuple(pair)
        for slot, row in where[one]:
            for other_slot, other_row in where[other]:
                if not meet(slot, other_slot):
                    continue
                if group_of.get(slot, -1) == group_of.get(other_slot, -2):
                    table(slot, other_slot)[row, other_row] = False
                else:
                    never.add(pair)
    for part, needs in pairs.only_with.items():
        for partners in needs:
            for slot, row in where[part]:
                seats = {
                    s for partner in partners for s, _ in where[partner] if s is not slot and meet(slot, s)
                }
                if len(seats) == 1 and group_of.get(slot, -1) == group_of.get(min(seats), -2):
                    (seat,) = seats
                    allowed = np.array(
                        [other is not None and other.id in partners for other in lists[seat]], dtype=bool
                    )
                    table(slot, seat)[row] &= allowed
                else:
                    only_with[part] = tuple(dict.fromkeys((*only_with.get(part, ()), partners)))
    for axle in ("front", "rear"):
        rims, tyres = lists[Slot(f"{axle}_wheel")], lists[Slot(f"{axle}_tyre")]
        sits = table(Slot(f"{axle}_wheel"), Slot(f"{axle}_tyre"))
        sits &= np.array([[tyre_sits_on(tyre, rim) for tyre in tyres] for rim in rims], dtype=bool)
    return tables, PairRules(only_with=only_with, never=frozenset(never))


def _named(rules: PairRules) -> frozenset[PartId]:
    """Ids of all the parts that some rule names."""
    partners = (partner for needs in rules.only_with.values() for group in needs for partner in group)
    return frozenset((*rules.only_with, *partners, *(part for pair in rules.never for part in pair)))


def pack_cost(part: Part, pieces: int) -> float | None:
    """Price of the packs that hold ``pieces`` of ``part``; ``None`` where the price is not known."""
    return None if part.price is None else ceil(pieces / part.pack_size) * part.price


def _columns(order: Order, doubts: Any, undesignated: Any, changes: Any, cost: Any, flush: Any) -> Any:
    if order is Order.FEWEST_PARTS:
        return np.stack(np.broadcast_arrays(changes, doubts, cost, undesignated, flush), axis=-1)
    if order is Order.FEWEST_CHANGES:
        return np.stack(np.broadcast_arrays(doubts, changes, cost, undesignated, flush), axis=-1)
    return np.stack(np.broadcast_arrays(doubts, undesignated, changes, cost, flush), axis=-1)


def _slot_weights(slot: Slot, parts: Sequence[Any], owned: frozenset[PartId]) -> tuple[Any, Any]:
    """Parts to change (0 or 1) and cost of each part of a slot; a position costs nothing."""
    changes = np.zeros(len(parts))
    cost = np.zeros(len(parts))
    for row, part in enumerate(parts):
        if isinstance(part, Part) and part.id not in owned:
            changes[row] = 1.0
            price = pack_cost(part, slot.pieces)
            cost[row] = UNKNOWN_PRICE if price is None else price
    return changes, cost


def _rank(
    slots: tuple[Slot, ...],
    parts: tuple[tuple[Any, ...], ...],
    index: Index,
    end: EndGroup | ChainGroup,
    row: Any,
    catalogue: Catalogue,
    body: Body,
    owned: frozenset[PartId],
    order: Order,
) -> Any:
    """The rank's columns for each candidate of a group, (n, 5)."""
    changes: Any = 0.0
    cost: Any = 0.0
    for slot, choices, i in zip(slots, parts, index, strict=True):
        slot_changes, slot_cost = _slot_weights(slot, choices, owned)
        changes, cost = changes + slot_changes[i], cost + slot_cost[i]
    undesignated: Any = np.zeros(len(index[0]))
    flush: Any = np.zeros(len(index[0]))
    if isinstance(end, EndGroup):
        if end.flush is not None:
            flush = np.abs(end.flush.value)[row]
        per_wheel = np.array([wrong_offset(slots, rim.offset.value, body) for rim in parts[1]], dtype=float)
        undesignated = undesignated + per_wheel[index[1]]
        if slots is FRONT_SLOTS:
            per_end = np.array([wrong_width(catalogue, s, body) for s in parts[0]], dtype=float)
            undesignated = undesignated + 2.0 * per_end[index[0]]
    elif end.centring is not None:
        flush = np.abs(end.centring.value)[row]
    return np.round(_columns(order, end.checks.doubts[row], undesignated, changes, cost, flush), 6)


def _mount_rank(mount: Any, placing: Placing, owned: frozenset[PartId], order: Order) -> Any:
    changes, cost = _slot_weights(Slot.BODY_MOUNT, (mount,), owned)
    doubt = float(not placing.check.met or placing.check.doubtful)
    return np.round(_columns(order, doubt, 0.0, changes[0], cost[0], 0.0), 6)


def wrong_offset(slots: tuple[Slot, ...], offset: float, body: Body) -> bool:
    stated = body.designated_front_offset if slots is FRONT_SLOTS else body.designated_rear_offset
    return stated is not None and abs(offset - stated) > OFFSET_AGREES


def wrong_width(catalogue: Catalogue, suspension: Any, body: Body) -> bool:
    stated = body.designated_front_width
    return stated is not None and abs(across_of(catalogue.platform, suspension) - stated) > WIDTH_AGREES


def _equal(keys: Sequence[Sequence[Hashable]], index: Index) -> Any:
    """One integer a candidate, equal where the keys of all its parts are; ``keys`` are those of each slot."""
    equal = np.zeros(len(index[0]), dtype=np.int64)
    for choices, i in zip(keys, index, strict=True):
        numbers: dict[Hashable, int] = {}
        which = np.array([numbers.setdefault(key, len(numbers)) for key in choices], dtype=np.int64)
        equal = equal * len(numbers) + which[i]
    return equal


_IDENTITY = frozenset((*Part.__dataclass_fields__, "axles"))
"""What of a part is not its geometry."""


def _figures(part: Part | Position | None, body: Body) -> tuple[Any, ...] | None:
    """All that the rules see of a part under a body, with its doubts."""
    if part is None:
        return None
    if isinstance(part, Position):
        return (part.shift,)
    names = part.__dataclass_fields__
    return (*(getattr(part, name) for name in names if name not in _IDENTITY), part.id in body.fouled_by)


def _nominal(part: Part | Position | None, figures: tuple[Any, ...] | None) -> Hashable:
    """A part's nominal geometry out of its figures; a position stands for itself."""
    if isinstance(part, Position):
        return part.id
    if figures is None:
        return None
    return tuple(figure.value if isinstance(figure, Quantity) else figure for figure in figures[:-1])
