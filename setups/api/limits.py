"""How much work a posted catalogue may ask for, known before any of it is done."""

from __future__ import annotations

from math import prod

from fitcalc.candidates import CHAIN_SLOTS, FRONT_SLOTS, REAR_SLOTS, eligible
from fitcalc.parts import Body, Catalogue, PartId, Slot

from .problems import Problem

MOST_CANDIDATES = 100_000
"""Candidates of the front end, the rear end and the chain together, over all body mounts: about a second."""
MOST_CLASSES = 100_000
"""Pairings of what the groups see of each other, likewise."""


def refuse_the_endless(catalogue: Catalogue, body: Body) -> None:
    """Raises a Problem for a catalogue whose search would take longer than a request may.

    The solver weighs each group's candidates by themselves, once a body mount, and pairs classes of them:
    rear ends by tyre with chains by length, and all three by the parts that a pair rule names.
    """
    lists = eligible(catalogue, body)
    size = {slot: len(parts) for slot, parts in lists.items()}
    groups = {
        "front ends": prod(size[slot] for slot in FRONT_SLOTS),
        "rear ends": prod(size[slot] for slot in REAR_SLOTS),
        "wheelbase chains": prod(size[slot] for slot in CHAIN_SLOTS),
    }
    candidates = sum(groups.values()) * size[Slot.BODY_MOUNT]
    if candidates > MOST_CANDIDATES:
        largest, count = max(groups.items(), key=lambda item: item[1])
        raise Problem(
            "too-many-combinations",
            f"The parts make {candidates:,} candidates, {count:,} of them {largest} a body mount; at most "
            f"{MOST_CANDIDATES:,} are weighed in one request. Send fewer parts, or split the catalogue.",
        )
    ruled = _across(
        catalogue, {part.id for slot in (*CHAIN_SLOTS, Slot.BODY_MOUNT) for part in lists[slot] if part}
    )

    def marks(slots: tuple[Slot, ...]) -> int:
        """How many different things a pair rule can see in a group."""
        return prod(1 + sum(part is not None and part.id in ruled for part in lists[slot]) for slot in slots)

    fronts = min(groups["front ends"], marks(FRONT_SLOTS))
    rears = min(groups["rear ends"], marks(REAR_SLOTS) * size[Slot.REAR_TYRE])
    chains = groups["wheelbase chains"]
    if fronts * rears * chains * size[Slot.BODY_MOUNT] > MOST_CLASSES:
        raise Problem(
            "too-many-combinations",
            f"{fronts:,} kinds of front end, {rears:,} of rear end and {chains:,} wheelbase chains would "
            f"have to be paired; at most {MOST_CLASSES:,} pairings are made in one request. Send "
            "fewer rear tyres, mounts, plates, positions or pair rules.",
        )


def _across(catalogue: Catalogue, chain: set[PartId]) -> set[PartId]:
    """Parts that a pair rule ties to a part of the chain or a body mount, or the other way round.

    Rules within one group cost nothing, and front and rear ends do not meet.
    """
    rules = catalogue.pairs
    ties = [tuple(pair) for pair in rules.never]
    ties += [
        (part, partner) for part, groups in rules.only_with.items() for group in groups for partner in group
    ]
    return {part for tie in ties if len({end in chain for end in tie}) == 2 for part in tie}
