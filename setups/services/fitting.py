"""What does this body need? Every platform of its scale, solved."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from fitcalc import parts as calc
from fitcalc.solver import Match, Order, Solution, solve
from setups.models import Body, Part, Platform
from setups.translate import Shelf, body_of, shelf_for


@dataclass(frozen=True, slots=True)
class PlatformAnswer:
    """One platform's answer for a body."""

    platform: Platform
    solution: Solution

    @property
    def best(self) -> Match | None:
        """The best configuration that fits, or ``None``."""
        return self.solution.matches[0] if self.solution.matches else None

    @property
    def nearest(self) -> Match | None:
        """The nearest configuration that does not fit, or ``None``."""
        return self.solution.near_misses[0] if self.solution.near_misses else None

    @property
    def gaps(self) -> list[str]:
        """Names of the slots that the library has no part for."""
        return [slot.label for slot in self.solution.gaps]


@dataclass(frozen=True, slots=True)
class Answer:
    """All platforms' answers for a body, the one to show first first, and the parts that they speak of."""

    body: Body
    platforms: list[PlatformAnswer]
    shelf: Shelf

    @property
    def parts(self) -> dict[int, Part]:
        """The rows of all parts that the answers can name, by primary key."""
        return self.shelf.parts


def platforms_for(body: Body) -> QuerySet[Platform]:
    """The platforms of the body's scale."""
    return Platform.objects.filter(scale=body.scale).select_related("maker")


def answer(
    body: Body,
    platforms: Iterable[Platform] | None = None,
    owned: Collection[int] = (),
    limit: int = 24,
    misses: int = 5,
    order: Order = Order.BEST,
) -> Answer:
    """Solve ``body`` on ``platforms`` (without them, all of its scale), in four queries at most.

    The body should come with ``dimensions`` and ``part_rules`` prefetched.
    """
    platforms = list(platforms_for(body) if platforms is None else platforms)
    shelf = shelf_for(platforms, body)
    found = solved(platforms, shelf, body_of(body), owned=owned, limit=limit, misses=misses, order=order)
    return Answer(body, found, shelf)


def solved(
    platforms: Iterable[Platform], shelf: Shelf, needs: calc.Body, **options: Any
) -> list[PlatformAnswer]:
    """``needs`` solved on each of ``platforms``, the one to show first first; ``options`` as of ``solve``."""
    found = (PlatformAnswer(one, solve(shelf.catalogues[one.pk], needs, **options)) for one in platforms)
    return sorted(found, key=_order)


def _order(found: PlatformAnswer) -> tuple[int, int, int, int, str]:
    """Fits before near; clear before doubtful; designated first; fewest parts, then the name."""
    best = found.best or found.nearest
    if best is None:
        return (9, 0, 0, 0, found.platform.name)
    return (
        0 if found.best else 1,
        best.report.verdict.gravity,
        0 if best.designated else 1,
        best.parts_to_change,
        found.platform.name,
    )
