"""A match: one configuration of an answer, with what it takes to build it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcalc.candidates import FRONT_SLOTS, REAR_SLOTS, Search, pack_cost, wrong_offset, wrong_width
from fitcalc.fit import FitReport, Judged
from fitcalc.groups import ChainGroup, EndGroup
from fitcalc.parts import Configuration, Part, PartId, Slot


@dataclass(frozen=True, slots=True)
class Match:
    """One configuration of the answer.

    ``alternatives`` names, a slot, the other parts of the same geometry that do as well. ``to_buy`` lists
    what is not owned; ``cost`` is that of the packs to buy, ``None`` where a price is not known.
    ``designated`` is true if it meets all that the body's maker states about front end and offsets.
    """

    report: FitReport
    alternatives: dict[Slot, tuple[Part, ...]]
    to_buy: tuple[tuple[Slot, Part], ...]
    cost: float | None
    designated: bool

    @property
    def parts_to_change(self) -> int:
        """How many slots need a part that is not owned."""
        return len(self.to_buy)


Twins = dict[Slot, tuple[Part, ...]]
"""The other parts, a slot, of the feasible candidates that share a candidate's geometry."""


def reports_of(search: Search, triples: Sequence[tuple[int, int, int]]) -> list[FitReport]:
    """The reports of candidates (front, rear, chain), in order."""
    columns = [np.array(column, dtype=int) for column in zip(*triples, strict=True)]
    picked = {
        slot.value: [parts[row] for row in index[column].tolist()]
        for group, column in zip(search.groups, columns, strict=True)
        for slot, parts, index in zip(group.slots, group.parts, group.index, strict=True)
    }
    common = {"platform": search.catalogue.platform, "body_mount": search.mount}
    configurations = [
        Configuration(**common, **dict(zip(picked, chosen, strict=True)))
        for chosen in zip(*picked.values(), strict=True)
    ]
    front, rear, chain = (group.end for group in search.groups)
    assert isinstance(front, EndGroup)
    assert isinstance(rear, EndGroup)
    assert isinstance(chain, ChainGroup)
    f, r, c = (group.row[column] for group, column in zip(search.groups, columns, strict=True))
    arch = search.rear_arch(*columns[1:])
    judged = Judged(
        configurations,
        search.body,
        search.placing,
        (front, f),
        (rear, r),
        (chain, c),
        (arch, np.arange(len(triples))),
    )
    return judged.reports()


def match_of(
    search: Search, report: FitReport, owned: frozenset[PartId], twins: Sequence[Twins] = ()
) -> Match:
    """The match of ``report``; ``twins`` of its candidates in each group."""
    configuration = report.configuration
    to_buy = tuple((slot, part) for slot, part in configuration.parts() if part.id not in owned)
    return Match(
        report=report,
        alternatives={slot: parts for same in twins for slot, parts in same.items()},
        to_buy=to_buy,
        cost=shopping_cost(to_buy),
        designated=_designated(search, configuration),
    )


def shopping_cost(to_buy: Sequence[tuple[Slot, Part]]) -> float | None:
    """Price of the packs for a list of slots and parts, a part used twice counted together."""
    pieces: dict[PartId, int] = defaultdict(int)
    parts: dict[PartId, Part] = {}
    for slot, part in to_buy:
        pieces[part.id] += slot.pieces
        parts[part.id] = part
    costs = [pack_cost(part, pieces[part_id]) for part_id, part in parts.items()]
    known = [cost for cost in costs if cost is not None]
    return sum(known) if len(known) == len(costs) else None


def _designated(search: Search, configuration: Configuration) -> bool:
    body = search.body
    return not (
        wrong_width(search.catalogue, configuration.front_suspension, body)
        or wrong_offset(FRONT_SLOTS, configuration.front_wheel.offset.value, body)
        or wrong_offset(REAR_SLOTS, configuration.rear_wheel.offset.value, body)
    )
