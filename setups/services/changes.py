"""From one set of parts to another: what goes in, what comes out, what has to be bought."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import inf

from fitcalc.findings import Verdict
from fitcalc.matches import shopping_cost
from fitcalc.parts import Configuration, Part, PartId, Position, Slot
from fitcalc.solver import Match

Filled = Mapping[Slot, Part | Position | None]
"""What is in each slot; a slot that is absent or ``None`` is open."""


@dataclass(frozen=True, slots=True)
class Change:
    """One slot whose part differs: ``was`` comes out, ``now`` goes in, either may be ``None``."""

    slot: Slot
    was: Part | Position | None
    now: Part | Position | None


def slots_of(configuration: Configuration) -> Filled:
    """What a configuration has in each slot."""
    return {slot: configuration.part(slot) for slot in Slot}


def changes(was: Filled, configuration: Configuration) -> list[Change]:
    """The slots in which ``configuration`` differs from what was there, in the order of the slots."""
    found = [Change(slot, was.get(slot), configuration.part(slot)) for slot in Slot]
    return [one for one in found if (one.was and one.was.id) != (one.now and one.now.id)]


def parts_in(filled: Filled) -> set[PartId]:
    """Ids of the parts that are there; a mounting position is none."""
    return {part.id for part in filled.values() if isinstance(part, Part)}


@dataclass(frozen=True, slots=True)
class Way:
    """What it takes to make ``match`` of a chassis as built: the changes, and which of them are bought.

    The solver takes a part that is at hand for enough; here its pieces are counted, so that one pair of
    wheels does not serve two axles. ``cost`` is that of the packs, ``None`` where a price is not known.
    """

    match: Match
    changes: list[Change]
    to_buy: dict[Slot, Part]

    @property
    def cost(self) -> float | None:
        return shopping_cost(list(self.to_buy.items()))

    @property
    def _rank(self) -> tuple[int, int, float]:
        doubts = sum(finding.verdict is not Verdict.FITS for finding in self.match.report.findings)
        cost = self.cost
        return doubts, len(self.to_buy), inf if cost is None else cost


def way(was: Filled, match: Match) -> Way:
    """What it takes to make ``match`` of a chassis that has ``was`` and nothing else."""
    changed = changes(was, match.report.configuration)
    stock: Counter[PartId] = Counter()
    for change in changed:
        if isinstance(change.was, Part):
            stock[change.was.id] += change.slot.pieces
    to_buy = {}
    for change in changed:
        if not isinstance(change.now, Part):
            continue
        if stock[change.now.id] >= change.slot.pieces:
            stock[change.now.id] -= change.slot.pieces
        else:
            to_buy[change.slot] = change.now
    return Way(match, changed, to_buy)


def ways(was: Filled, matches: Iterable[Match]) -> list[Way]:
    """The ways from ``was`` to each of ``matches``: fewest doubts first, then fewest parts, then cost."""
    return sorted((way(was, match) for match in matches), key=lambda one: one._rank)
