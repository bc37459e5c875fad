"""Every configuration of a catalogue that fits a body, best first, and the nearest misses with their remedy.

The front end, the rear end and the wheelbase chain are independent given the platform and the body's
mount, except that the rear arch takes a rear tyre and a chain together and that a pair rule may span
groups. So each group is enumerated and judged by itself (arrays, ``fitcalc.fit``), the feasible
candidates are sorted by rank, and the groups are merged best first as the k smallest sums of three
sorted lists, without walking the product. What couples groups is handled by classes: candidates of one
group that agree in what the other group sees of them form a class, and only classes that go together are
merged.

Rank, most important first: fewest rules met only doubtfully; the body's designated front end and offsets;
fewest parts to change from what is owned; cost; nearest to flush. ``Order.FEWEST_CHANGES`` puts the parts
to change and the cost before the designation, ``Order.FEWEST_PARTS`` the parts to change before all else.
A part used at both ends counts its packs for each end in the rank; ``Match.cost`` counts them together.
"""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from functools import cache, partial
from itertools import islice
from typing import Any

import numpy as np

from fitcalc.candidates import Order, Search, eligible, search_of
from fitcalc.groups import ChainGroup, EndGroup
from fitcalc.matches import Match, Twins, match_of, reports_of
from fitcalc.misses import Kind, near_misses
from fitcalc.parts import Body, Catalogue, PartId, Slot
from fitcalc.work import work_of

__all__ = ["Match", "Order", "Solution", "solve"]


@dataclass(frozen=True, slots=True)
class Solution:
    """The answer for one body and one catalogue.

    ``fitting`` counts all combinations that fit, ``combinations`` all that there are; ``gaps`` names
    slots that the catalogue has nothing for, in which case there is no combination at all. ``endless`` is
    true where the catalogue is so long that nothing was tried (``fitcalc.work``): that is no answer.
    """

    matches: tuple[Match, ...]
    near_misses: tuple[Match, ...]
    fitting: int
    combinations: int
    gaps: tuple[Slot, ...] = ()
    endless: bool = False


def solve(
    catalogue: Catalogue,
    body: Body,
    owned: Collection[PartId] = frozenset(),
    limit: int = 50,
    misses: int = 5,
    distinct: bool = True,
    order: Order = Order.BEST,
    most_changes: int | None = None,
) -> Solution:
    """The ``limit`` best configurations for ``body`` and the ``misses`` nearest that fail.

    ``owned`` are ids of parts at hand. With ``distinct`` each geometry is listed once, in its best parts,
    with the others as alternatives; without, every combination of parts stands for itself. Near misses are
    the nearest of each kind of failure, fewest failed rules first, then the smallest shortfall.

    With ``most_changes``, no match has more parts to change, and what has is mostly not looked at, which is
    quicker; ``fitting`` and the near misses then tell only of what was. Use it with ``Order.FEWEST_PARTS``,
    since the bound is applied to the best ``limit``.
    """
    owned = frozenset(owned)
    lists = eligible(catalogue, body)
    gaps = tuple(slot for slot, parts in lists.items() if not parts)
    if gaps:
        return Solution((), (), 0, 0, gaps)
    total = 1
    for parts in lists.values():
        total *= len(parts)
    if not work_of(lists, catalogue.pairs).within():
        return Solution((), (), 0, total, endless=True)
    found: list[tuple[tuple[float, ...], Match]] = []
    missed: list[tuple[tuple[float, ...], Kind, Match]] = []
    fitting = 0
    for mount in lists[Slot.BODY_MOUNT]:
        search = search_of(catalogue, body, lists, mount, owned, order, most_changes)
        if search is None:
            continue
        count, matches = _matches(search, owned, limit, distinct)
        fitting += count
        found += matches
        if misses:
            missed += near_misses(search, owned, misses)
    if most_changes is not None:
        found = [(rank, match) for rank, match in found if match.parts_to_change <= most_changes]
    found.sort(key=lambda pair: pair[0])
    missed.sort(key=lambda row: row[0])
    nearest: dict[Kind, Match] = {}
    for _, failing, match in missed:
        nearest.setdefault(failing, match)
    return Solution(
        tuple(match for _, match in found[:limit]), tuple(nearest.values())[:misses], fitting, total
    )


Classes = list[tuple[Any, list[int]]]


def _representatives(search: Search, which: int) -> Any:
    """Of a group's feasible candidates, by rank, the first of each geometry."""
    group = search.groups[which]
    keys = group.geometry[group.feasible]
    if search.crossing:
        marks, signatures = search.marks(which)
        keys = keys * max(1, signatures) + marks[group.feasible]
    _, first = np.unique(keys, return_index=True)
    return group.feasible[np.sort(first)]


def _classes(search: Search, which: int, candidates: Any) -> Classes:
    """Sorted candidates split by what the other groups see of them."""
    group = search.groups[which]
    seen: Any = None
    if which == 1:
        assert isinstance(group.end, EndGroup)
        seen = group.end.tyre_diameter
    elif which == 2:
        assert isinstance(group.end, ChainGroup)
        seen = group.end.centring
    labels: dict[Any, int] = {}
    alike = np.zeros(len(group.checks.failures), dtype=int)
    if seen is not None:
        figures = np.round(np.stack([seen.value, seen.u], axis=1), 9).tolist()
        alike = np.array([labels.setdefault(tuple(row), len(labels)) for row in figures], dtype=int)
    alike = alike[group.row[candidates]]
    if search.crossing:
        marks, signatures = search.marks(which)
        alike = alike * max(1, signatures) + marks[candidates]
    split: dict[int, list[int]] = {}
    for candidate, mark in zip(candidates.tolist(), alike.tolist(), strict=True):
        split.setdefault(mark, []).append(candidate)
    return [
        (search.signature(which, members[0]) if search.crossing else frozenset(), members)
        for members in split.values()
    ]


def _compatible(
    search: Search, classes: tuple[Classes, Classes, Classes]
) -> dict[tuple[int, int, int], bool]:
    """Class triples that go together -> whether the rear arch is met only doubtfully."""
    fronts, rears, chains = classes
    if not (fronts and rears and chains):
        return {}
    heads = [np.array([members[0] for _, members in group]) for group in (rears, chains)]
    r, c = (axis.ravel() for axis in np.meshgrid(*heads, indexing="ij"))
    check = search.rear_arch(r, c)
    shape = (len(rears), len(chains))
    holds = np.broadcast_to(check.holds, r.shape).reshape(shape)
    doubtful = np.broadcast_to(check.doubtful, r.shape).reshape(shape)
    return {
        (i, j, k): bool(doubtful[j, k])
        for i, (front_mark, _) in enumerate(fronts)
        for j, k in zip(*(axis.tolist() for axis in np.nonzero(holds)), strict=True)
        if not search.crossing or search.together(front_mark, rears[j][0], chains[k][0])
    }


def _best_first(
    search: Search, classes: tuple[Classes, Classes, Classes], compatible: dict[tuple[int, int, int], bool]
) -> Iterator[tuple[tuple[float, ...], tuple[int, int, int]]]:
    """Candidate triples by the sum of their ranks: three sorted lists merged for each class triple."""
    def entry(triple: tuple[int, int, int], at: tuple[int, int, int]) -> Any:
        chosen = tuple(classes[g][triple[g]][1][at[g]] for g in range(3))
        rows = [group.rank[c].tolist() for group, c in zip(search.groups, chosen, strict=True)]
        total = [round(sum(column), 6) for column in zip(*rows, strict=True)]
        total[search.order.doubt_column] += compatible[triple]
        return tuple(total), chosen, triple, at

    heap = [entry(triple, (0, 0, 0)) for triple in compatible]
    heapq.heapify(heap)
    while heap:
        rank, chosen, triple, at = heapq.heappop(heap)
        yield rank, chosen
        # Each position is reached from one parent only: step the last list, or an earlier one while the
        # later ones stand at their start.
        for g in (2, 1, 0):
            if at[g] + 1 < len(classes[g][triple[g]][1]):
                heapq.heappush(heap, entry(triple, (*at[:g], at[g] + 1, *at[g + 1 :])))
            if at[g] != 0:
                break


def _matches(
    search: Search, owned: frozenset[PartId], limit: int, distinct: bool
) -> tuple[int, list[tuple[tuple[float, ...], Match]]]:
    """How many combinations fit, and the best of them."""
    if not search.placing_holds:
        return 0, []
    count = _count(search)
    if not count:
        return 0, []
    listed = [_representatives(search, g) if distinct else search.groups[g].feasible for g in range(3)]
    classes = (_classes(search, 0, listed[0]), _classes(search, 1, listed[1]), _classes(search, 2, listed[2]))
    best = list(islice(_best_first(search, classes, _compatible(search, classes)), limit))
    if not best:
        return count, []
    ranks, triples = zip(*best, strict=True)
    twins_of = cache(partial(_twins, search)) if distinct else None
    matches = []
    for rank, triple, report in zip(ranks, triples, reports_of(search, triples), strict=True):
        twins = [twins_of(g, candidate) for g, candidate in enumerate(triple)] if twins_of else ()
        matches.append((rank, match_of(search, report, owned, twins)))
    return count, matches


def _count(search: Search) -> int:
    """How many combinations of feasible candidates go together."""
    front, rear, chain = (_classes(search, g, group.feasible) for g, group in enumerate(search.groups))
    classes = (front, rear, chain)
    sizes = [[len(members) for _, members in group] for group in classes]
    return sum(sizes[0][i] * sizes[1][j] * sizes[2][k] for i, j, k in _compatible(search, classes))


def _twins(search: Search, which: int, candidate: int) -> Twins:
    """The parts, a slot, of all other feasible candidates of the same geometry."""
    group = search.groups[which]
    same = group.feasible[group.geometry[group.feasible] == group.geometry[candidate]]
    twins: Twins = {}
    for slot, parts, index in zip(group.slots, group.parts, group.index, strict=True):
        if slot is not Slot.POSITION:
            chosen = parts[index[candidate]]
            others = (parts[row] for row in dict.fromkeys(index[same].tolist()))
            twins[slot] = tuple(part for part in others if part is not None and part.id != chosen.id)
    return {slot: parts for slot, parts in twins.items() if parts}
