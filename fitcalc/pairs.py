"""Which parts go together: the library's pair rules applied to a set of filled slots."""

from __future__ import annotations

from collections.abc import Mapping

from fitcalc.parts import PairRules, PartId, Slot, Tyre, Wheel

RIM_DIAMETER_PLAY = 0.5
"""A tyre sits on a rim whose diameter is within this of the tyre's own, mm; common practice, no source."""

_FRONT_END = frozenset({Slot.FRONT_SUSPENSION, Slot.FRONT_WHEEL, Slot.FRONT_TYRE, Slot.FRONT_SPACER})
_REAR_END = frozenset({Slot.REAR_AXLE, Slot.REAR_WHEEL, Slot.REAR_TYRE, Slot.REAR_SPACER})


def meet(first: Slot, second: Slot) -> bool:
    """True if parts in the two slots touch each other: a front wheel has nothing to do with a rear tyre."""
    if first in _FRONT_END:
        return second not in _REAR_END
    if first in _REAR_END:
        return second not in _FRONT_END
    return True


def clashes(filled: Mapping[Slot, PartId], pairs: PairRules) -> list[tuple[PartId, PartId | None]]:
    """The pairs among ``filled`` that must not be; ``(part, None)`` lacks the partner it needs."""
    found: list[tuple[PartId, PartId | None]] = []
    for slot, part in filled.items():
        around = [(other_slot, other) for other_slot, other in filled.items() if other_slot is not slot]
        for partners in pairs.only_with.get(part, ()):
            if not any(other in partners and meet(slot, other_slot) for other_slot, other in around):
                found.append((part, None))
        for other_slot, other in around:
            if slot < other_slot and meet(slot, other_slot) and frozenset((part, other)) in pairs.never:
                found.append((part, other))
    return found


def tyre_sits_on(tyre: Tyre, rim: Wheel) -> bool:
    """True unless both rim diameters are known and differ by more than RIM_DIAMETER_PLAY."""
    if tyre.rim_diameter is None or rim.rim_diameter is None:
        return True
    return bool(abs(tyre.rim_diameter.value - rim.rim_diameter.value) <= RIM_DIAMETER_PLAY)
