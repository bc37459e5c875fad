"""What a kit plan is asked and answers: bodies and their ways, packs, offers, the shopping list.

Pieces are counted by part id; prices are in the club's currency, of a whole pack or of one piece offered.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from math import fsum

from fitcalc.parts import Configuration, Part, PartId


class KitPlanError(ValueError):
    """A question that no plan can answer."""


class Use(StrEnum):
    """How the bodies are to be run."""

    ONE_AT_A_TIME = "one_at_a_time"
    AT_ONCE = "at_once"


class OfferKind(StrEnum):
    LEND = "lend"
    PART_WITH = "part_with"


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One configuration with which a body can be run: pieces needed of each part."""

    id: Hashable
    pieces: Mapping[PartId, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A body to be run, with its ways, best first."""

    body: Hashable
    ways: tuple[Way, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pack:
    """What a shop sells as one: pieces of each part in it, and its price (``None`` if not known).

    ``available`` is how many can be had at all, ``None`` for as many as wanted.
    """

    id: Hashable
    pieces: Mapping[PartId, int]
    price: float | None
    available: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """What another member lends, at no cost, or parts with at ``price`` a piece (``None`` if yet to be
    agreed): up to ``count`` pieces."""

    id: Hashable
    part: PartId
    count: int
    kind: OfferKind = OfferKind.LEND
    price: float | None = 0.0


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the shopping list: ``count`` packs, or pieces of an offer, at ``price`` each.

    ``pieces`` is what all of them together bring. ``cost`` is ``None`` where the price is not known.
    """

    item: Pack | Offer
    count: int
    price: float | None
    pieces: Mapping[PartId, int]

    @property
    def cost(self) -> float | None:
        return None if self.price is None else self.count * self.price


@dataclass(frozen=True, slots=True)
class Shortfall:
    """A body that cannot be run: the way that comes nearest, and the pieces it lacks, with all that is on
    offer taken and the bodies of the plan served first. ``way`` is ``None`` for a body without any."""

    body: Hashable
    way: Way | None
    missing: Mapping[PartId, int]


@dataclass(frozen=True, slots=True)
class KitPlan:
    """What to buy and to take over or borrow, and how each body is then run.

    ``cost`` is the sum of all known prices; ``cost_complete`` is false where a pack of unknown price is on
    the list, so that the plan costs more. ``spare`` counts the pieces, owned or got, that no body uses.
    ``proven`` is false where time ran out before it was certain that no plan is cheaper.
    """

    use: Use
    chosen: Mapping[Hashable, Way]
    to_buy: tuple[Line, ...]
    to_take: tuple[Line, ...]
    spare: Mapping[PartId, int] = field(default_factory=dict)
    left_out: tuple[Shortfall, ...] = ()
    proven: bool = True

    @property
    def shopping_list(self) -> tuple[Line, ...]:
        """Packs first, then offers, each in the order in which they were given."""
        return self.to_buy + self.to_take

    @property
    def cost(self) -> float:
        return fsum(line.cost for line in self.shopping_list if line.cost is not None)

    @property
    def cost_complete(self) -> bool:
        return all(line.cost is not None for line in self.shopping_list)

    @property
    def complete(self) -> bool:
        """Whether all the wanted bodies can be run."""
        return not self.left_out


def way_of(configuration: Configuration, id: Hashable) -> Way:
    """The pieces of a configuration: two of a wheel, tyre or spacer at each end, one of the others."""
    pieces: Counter[PartId] = Counter()
    for slot, part in configuration.parts():
        pieces[part.id] += slot.pieces
    return Way(id=id, pieces=pieces)


def pack_of(part: Part) -> Pack:
    """The pack that a part is sold in."""
    return Pack(id=part.id, pieces={part.id: part.pack_size}, price=part.price)
