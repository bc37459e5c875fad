"""The nearest configurations that do not fit, and the parts of the library that would mend them."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from itertools import product
from typing import Any

import numpy as np

from fitcalc.candidates import Search
from fitcalc.findings import Action, Finding, Remedy, Rule
from fitcalc.matches import Match, match_of, reports_of
from fitcalc.parts import Axle, PartId

Kind = frozenset[tuple[Rule, Axle | None]]
"""Which rules a configuration fails, and where."""

_MISS_FEASIBLE = 3
_MISS_FAILING = 2
_MISS_KINDS = 10


def near_misses(
    search: Search, owned: frozenset[PartId], most: int
) -> list[tuple[tuple[float, ...], Kind, Match]]:
    """The nearest configuration of each kind of failure, with the part that would mend it."""
    chosen = [_miss_candidates(search, which) for which in range(3)]
    if any(len(candidates) == 0 for candidates in chosen):
        return []
    grid = np.ix_(*chosen)
    arch = search.rear_arch(*np.ix_(*chosen[1:]))
    rows = [group.row[i] for group, i in zip(search.groups, grid, strict=True)]
    checks = [group.checks for group in search.groups]
    failures: Any = ~arch.holds + sum(one.failures[i] for one, i in zip(checks, rows, strict=True))
    failures = failures + (not search.placing_holds)
    kinds: Any = ~arch.holds
    for one, i in zip(checks, rows, strict=True):
        kinds = (kinds << len(one.checks)) + one.kinds[i]
    failing = np.flatnonzero((failures > 0) & _go_together(search, chosen))
    if not len(failing):
        return []
    failures, kinds = failures.ravel()[failing], kinds.ravel()[failing]
    # A kind fails so many rules wherever it is met: what fails more than the nearest kinds is left out here.
    _, first = np.unique(kinds, return_index=True)
    enough = np.sort(failures[first])[:most][-1]
    near = failures <= enough
    at, kinds = failing[near], kinds[near]
    shape = tuple(len(candidates) for candidates in chosen)
    places = np.unravel_index(at, shape)
    triple = [candidates[place] for candidates, place in zip(chosen, places, strict=True)]
    pairs = places[1:]
    shortfall = np.broadcast_to(arch.shortfall, shape[1:])[pairs] + sum(
        one.shortfall[group.row[i]] for one, group, i in zip(checks, search.groups, triple, strict=True)
    )
    rank = sum(group.rank[i] for group, i in zip(search.groups, triple, strict=True))
    rank[:, search.order.doubt_column] += np.broadcast_to(arch.doubtful, shape[1:])[pairs]
    columns = np.column_stack([failures[near], np.round(shortfall, 6), rank])
    ordered = np.lexsort(columns.T[::-1])
    _, first = np.unique(kinds[ordered], return_index=True)
    nearest = ordered[np.sort(first)[:most]]
    triples = list(zip(*(i[nearest].tolist() for i in triple), strict=True))
    answer = []
    for row, at, report in zip(columns[nearest].tolist(), triples, reports_of(search, triples), strict=True):
        mended = replace(report, swaps=partial(_swaps, search, at))
        answer.append((tuple(row), mended.failed, match_of(search, mended, owned)))
    return answer


def _go_together(search: Search, chosen: list[Any]) -> Any:
    """Over the product of three lists of candidates: true where no pair rule across groups forbids."""
    shape = tuple(len(candidates) for candidates in chosen)
    if not search.crossing:
        return np.ones(shape, dtype=bool)
    marks: list[dict[Any, int]] = [{}, {}, {}]
    seen = [
        np.array([marks[g].setdefault(search.signature(g, c), len(marks[g])) for c in candidates.tolist()])
        for g, candidates in enumerate(chosen)
    ]
    table = np.empty(tuple(len(mark) for mark in marks), dtype=bool)
    for (f, i), (r, j), (c, k) in product(*(mark.items() for mark in marks)):
        table[i, j, k] = search.together(f, r, c)
    return table[np.ix_(*seen)]


def _miss_candidates(search: Search, which: int) -> Any:
    """The best feasible candidates and, for each kind of failure, the nearest ones.

    What the rear arch sees decides with whom a candidate goes, so of each kind the smallest tyre or the best
    centred chain is kept too; what pair rules across groups see tells kinds apart.
    """
    group = search.groups[which]
    codes = group.checks.kinds[group.row]
    signatures = 1
    if search.crossing:
        seen, signatures = search.marks(which)
        codes = codes + (seen.astype(np.int64) << len(group.checks.checks))
    in_order = codes[group.ordered]
    kinds, first = np.unique(in_order, return_index=True)
    coupled = group.coupled
    kept: list[Any] = []
    for kind in kinds[np.argsort(first)][: _MISS_KINDS * max(1, signatures)]:
        members = group.ordered[in_order == kind]
        most = _MISS_FAILING if group.failures[members[0]] else _MISS_FEASIBLE
        kept.append(members[:most])
        if coupled is not None:
            kept.append(members[[np.argmin(coupled[members])]])
    return np.unique(np.concatenate(kept)) if kept else np.zeros(0, dtype=int)


_GROUP_RULES: tuple[frozenset[tuple[Rule, Axle | None]], ...] = (
    frozenset((rule, Axle.FRONT) for rule in Rule),
    frozenset((rule, Axle.REAR) for rule in Rule),
    frozenset((rule, None) for rule in Rule if rule is not Rule.BODY_MOUNT),
)


def _swaps(search: Search, triple: tuple[int, int, int], finding: Finding) -> tuple[Remedy, ...]:
    """The fewest parts to swap within one group so that the whole group holds beside the other two."""
    rear_arch = finding.rule is Rule.ARCH and finding.axle is Axle.REAR
    for which, group in enumerate(search.groups):
        if (finding.rule, finding.axle) not in _GROUP_RULES[which] and not (rear_arch and which == 2):
            continue
        feasible = np.sort(group.feasible)
        if which > 0 and len(feasible):
            r = feasible if which == 1 else np.full(len(feasible), triple[1])
            c = feasible if which == 2 else np.full(len(feasible), triple[2])
            own_chain_fails = bool(search.chain.failures[triple[2]])
            if not (which == 1 and own_chain_fails and not rear_arch):
                holds = np.broadcast_to(search.rear_arch(r, c).holds, feasible.shape)
                feasible = feasible[holds]
        if not len(feasible):
            continue
        differing = sum((i[feasible] != i[triple[which]]).astype(float) for i in group.index)
        columns = np.column_stack([differing, group.rank[feasible]])
        for row in np.lexsort(columns.T[::-1]):
            candidate = int(feasible[row])
            other = list(triple)
            other[which] = candidate
            if search.crossing and not search.together(
                *(search.signature(g, c) for g, c in enumerate(other))
            ):
                continue
            new, old = group.picked(candidate), group.picked(triple[which])
            return tuple(
                Remedy(Action.SWAP, slot, new.get(slot))
                for slot in group.slots
                if (new.get(slot) and new[slot].id) != (old.get(slot) and old[slot].id)
            )
    return ()
