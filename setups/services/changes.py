"""From one set of parts to another: what goes in, what comes out, what has to be bought."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fitcalc.parts import Configuration, Part, Position, Slot
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


@dataclass(frozen=True, slots=True)
class Step:
    """One change on the way from a chassis as built; ``part`` is what has to be bought for it, if any."""

    change: Change
    part: Part | None


def steps(was: Filled, match: Match) -> list[Step]:
    """What to do to a chassis that has ``was`` to make ``match`` of it."""
    to_buy = dict(match.to_buy)
    return [Step(change, to_buy.get(change.slot)) for change in changes(was, match.report.configuration)]
