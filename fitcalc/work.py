"""How much work a search of a catalogue is, counted before any of it is done.

The solver weighs each group's candidates by themselves, once a body mount, and pairs classes of them: rear
ends by tyre with chains by length, and all three by the parts that a pair rule names. Both are products of
numbers of parts, so a catalogue can be so long that no machine holds its candidates.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import prod
from typing import Any

from fitcalc.candidates import CHAIN_SLOTS, FRONT_SLOTS, REAR_SLOTS
from fitcalc.parts import PairRules, PartId, Slot

MOST_CANDIDATES = 1_000_000
"""``fitcalc.solver`` weighs so many: 500 wheels with 300 tyres at either end are 300 000."""
MOST_PAIRINGS = 1_000_000
"""And pairs so many classes of them."""


@dataclass(frozen=True, slots=True)
class Work:
    """``groups`` are the candidates of each group of slots, for each of ``mounts`` body mounts.

    ``kinds`` is how many classes the front ends, the rear ends and the chains fall into at the most.
    """

    groups: Mapping[str, int]
    mounts: int
    kinds: tuple[int, int, int]

    @property
    def candidates(self) -> int:
        return sum(self.groups.values()) * self.mounts

    @property
    def pairings(self) -> int:
        return prod(self.kinds) * self.mounts

    def within(self, candidates: int = MOST_CANDIDATES, pairings: int = MOST_PAIRINGS) -> bool:
        """True if neither is exceeded."""
        return self.candidates <= candidates and self.pairings <= pairings


def work_of(lists: Mapping[Slot, tuple[Any, ...]], pairs: PairRules) -> Work:
    """The work that ``lists`` make, as of ``fitcalc.candidates.eligible``."""
    size = {slot: len(parts) for slot, parts in lists.items()}
    groups = {
        "front ends": prod(size[slot] for slot in FRONT_SLOTS),
        "rear ends": prod(size[slot] for slot in REAR_SLOTS),
        "wheelbase chains": prod(size[slot] for slot in CHAIN_SLOTS),
    }
    ruled = _across(
        pairs, {part.id for slot in (*CHAIN_SLOTS, Slot.BODY_MOUNT) for part in lists[slot] if part}
    )

    def marks(slots: tuple[Slot, ...]) -> int:
        """How many different things a pair rule can see in a group."""
        return prod(1 + sum(part is not None and part.id in ruled for part in lists[slot]) for slot in slots)

    kinds = (
        min(groups["front ends"], marks(FRONT_SLOTS)),
        min(groups["rear ends"], marks(REAR_SLOTS) * size[Slot.REAR_TYRE]),
        groups["wheelbase chains"],
    )
    return Work(groups, size[Slot.BODY_MOUNT], kinds)


def _across(rules: PairRules, chain: set[PartId]) -> set[PartId]:
    """Parts that a pair rule ties to a part of the chain or a body mount, or the other way round.

    Rules within one group cost nothing, and front and rear ends do not meet.
    """
    ties = [tuple(pair) for pair in rules.never]
    ties += [
        (part, partner) for part, groups in rules.only_with.items() for group in groups for partner in group
    ]
    return {part for tie in ties if len({end in chain for end in tie}) == 2 for part in tie}
