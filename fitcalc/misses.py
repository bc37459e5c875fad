"""The nearest configurations that do not fit, and the parts of the library that would mend them."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np

from fitcalc.candidates import Search
from fitcalc.findings import Action, Finding, Remedy, Rule
from fitcalc.fit import FitReport
from fitcalc.matches import Match, match_of, reports_of
from fitcalc.parts import Axle, PartId

Kind = frozenset[tuple[Rule, Axle | None]]
"""Which rules a configuration fails, and where."""

_MISS_FEASIBLE = 3
_MISS_FAILING = 2
_MISS_KINDS = 10


def near_misses(
    search: Search, owned: frozenset[PartId], most: int
) -> list[tuple[tuple[float, ...], frozenset[tuple[Rule, Axle | None]], Match]]:
    """The nearest configuration of each kind of failure, with the part that would mend it."""
    chosen = [_miss_candidates(search, which) for which in range(3)]
    if any(len(candidates) == 0 for candidates in chosen):
        return []
    f, r, c = (axis.ravel() for axis in np.meshgrid(*chosen, indexing="ij"))
    arch = search.rear_arch(r, c)
    index = (f, r, c)
    arch_fails = ~np.broadcast_to(arch.holds, f.shape)
    mount_fails = float(not search.placing_holds)
    failures = (
        arch_fails
        + mount_fails
        + sum(group.checks.failures[i] for group, i in zip(search.groups, index, strict=True))
    )
    shortfall = np.broadcast_to(arch.shortfall, f.shape) + sum(
        group.checks.shortfall[i] for group, i in zip(search.groups, index, strict=True)
    )
    rank = sum(group.rank[i] for group, i in zip(search.groups, index, strict=True))
    rank[:, search.order.doubt_column] += np.broadcast_to(arch.doubtful, f.shape)
    failing = np.flatnonzero((failures > 0) & _go_together(search, chosen).ravel())
    columns = np.column_stack([failures, np.round(shortfall, 6), rank])[failing]
    kinds = np.column_stack(
        [arch_fails, *(g.checks.failed[i] for g, i in zip(search.groups, index, strict=True))]
    )[failing]
    ordered = np.lexsort(columns.T[::-1])
    codes = kinds[ordered] @ (1 << np.arange(kinds.shape[1], dtype=np.int64))
    _, first = np.unique(codes, return_index=True)
    rows = np.sort(first)[:most]
    at = failing[ordered[rows]]
    triples = list(zip(*(i[at].tolist() for i in index), strict=True))
    keys = [tuple(row) for row in columns[ordered[rows]].tolist()]
    if not triples:
        return []
    answer = []
    for key, triple, report in zip(keys, triples, reports_of(search, triples), strict=True):
        match = match_of(search, _with_swaps(search, report, triple), triple, owned)
        failed = frozenset((finding.rule, finding.axle) for finding in match.report.failing)
        answer.append((key, failed, match))
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
    columns = np.column_stack([group.checks.failures, np.round(group.checks.shortfall, 6), group.rank])
    ordered = np.lexsort(columns.T[::-1])
    codes = group.checks.failed @ (1 << np.arange(len(group.checks.checks), dtype=np.int64))
    marks: dict[Any, int] = {}
    if search.crossing:
        seen = [marks.setdefault(search.signature(which, c), len(marks)) for c in range(len(codes))]
        codes = codes + (np.array(seen, dtype=np.int64) << len(group.checks.checks))
    in_order = codes[ordered]
    kinds, first = np.unique(in_order, return_index=True)
    coupled = group.coupled
    kept: list[Any] = []
    for kind in kinds[np.argsort(first)][: _MISS_KINDS * max(1, len(marks))]:
        members = ordered[in_order == kind]
        most = _MISS_FAILING if group.checks.failures[members[0]] else _MISS_FEASIBLE
        kept.append(members[:most])
        if coupled is not None:
            kept.append(members[[np.argmin(coupled[members])]])
    return np.unique(np.concatenate(kept)) if kept else np.zeros(0, dtype=int)


_GROUP_RULES: tuple[frozenset[tuple[Rule, Axle | None]], ...] = (
    frozenset((rule, Axle.FRONT) for rule in Rule),
    frozenset((rule, Axle.REAR) for rule in Rule),
    frozenset((rule, None) for rule in Rule if rule is not Rule.BODY_MOUNT),
)


def _with_swaps(search: Search, report: FitReport, triple: tuple[int, int, int]) -> FitReport:
    """The report with, for each failed finding, the parts of the library that would mend it put first."""
    findings: list[Finding] = []
    for finding in report.findings:
        if not finding.holds:
            swaps = _swaps(search, triple, finding)
            finding = replace(finding, remedies=swaps + finding.remedies)
        findings.append(finding)
    return replace(report, findings=tuple(findings))


def _swaps(search: Search, triple: tuple[int, int, int], finding: Finding) -> tuple[Remedy, ...]:
    """The fewest parts to swap within one group so that the whole group holds beside the other two."""
    rear_arch = finding.rule is Rule.ARCH and finding.axle is Axle.REAR
    for which, group in enumerate(search.groups):
        if (finding.rule, finding.axle) not in _GROUP_RULES[which] and not (rear_arch and which == 2):
            continue
        feasible = np.flatnonzero(group.checks.failures == 0)
        if which > 0 and len(feasible):
            r = feasible if which == 1 else np.full(len(feasible), triple[1])
            c = feasible if which == 2 else np.full(len(feasible), triple[2])
            own_chain_fails = bool(search.chain.checks.failures[triple[2]])
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
