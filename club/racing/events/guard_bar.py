"""A limit with its guard band as a picture, and on the same line the value with its interval.

The scale hangs on the limit and the instrument alone, not on the value, so that a page can move the mark
while somebody types; what the mark then means stands in ``zones``, worked out by ``fitcalc.legality``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from django.utils.translation import gettext as _

from club.racing.looks import LOOKS
from fitcalc.consensus import COVERAGE
from fitcalc.dimensions import Unit
from fitcalc.legality import CLASS_QUANTITIES, Car, ClassVerdict, Limit, Ruling, judge_all
from fitcalc.legality_rules import acceptance_limits, guard_band
from fitcalc.quantities import Quantity
from setups.drawing.letters import number, text_width
from setups.printing import decimals_needed, figure, fixed, plus_minus

WIDTH, HEIGHT = 320.0, 58.0
_LINE, _SIDE = 30.0, 10.0
_TEXT = 12.0
_ROOM = 7.0
"""Beyond a limit so many guard bands are drawn, or a part of the tolerance if that is more."""


@dataclass(frozen=True, slots=True)
class Edge:
    """A limit of the clause: where it is drawn, and its figure."""

    x: float
    text: str
    text_x: float


@dataclass(frozen=True, slots=True)
class GuardBar:
    """The picture; all lengths are units of its view box, and ``low`` to ``high`` is what it shows."""

    look: str
    edges: tuple[Edge, ...]
    tolerance: tuple[float, float]
    guards: tuple[tuple[float, float], ...]
    value: float | None
    whiskers: tuple[float, float] | None
    found: str
    found_x: float
    description: str
    low: float
    high: float

    @property
    def view_box(self) -> str:
        return f"0 0 {WIDTH:g} {HEIGHT:g}"

    @property
    def axis_path(self) -> str:
        return f"M{number(_SIDE)} {_LINE:g}H{number(WIDTH - _SIDE)}"

    @property
    def tolerance_path(self) -> str:
        return _box(*self.tolerance, 7.0)

    @property
    def guard_path(self) -> str:
        return "".join(_box(left, right, 7.0) for left, right in self.guards)

    @property
    def edge_path(self) -> str:
        return "".join(f"M{number(edge.x)} {_LINE - 10:g}v20" for edge in self.edges)

    @property
    def value_path(self) -> str:
        return "" if self.value is None else f"M{number(self.value - 6)} {_LINE:g}l6 -6 6 6 -6 6Z"

    @property
    def doubt_path(self) -> str:
        if self.whiskers is None:
            return ""
        left, right = self.whiskers
        return (
            f"M{number(left)} {_LINE:g}H{number(right)}"
            f"M{number(left)} {_LINE - 5:g}v10M{number(right)} {_LINE - 5:g}v10"
        )

    @property
    def side(self) -> float:
        """Where the scale begins and, from the right, ends."""
        return _SIDE


def guard_bar(
    limit: Limit, u: float, value: Quantity | None = None, verdict: ClassVerdict | None = None
) -> GuardBar:
    """The picture of ``limit`` for an instrument of doubt ``u``, with ``value`` on it if there is one."""
    low, high = limit.low, limit.high
    doubt = u if value is None else float(value.u)
    band = float(guard_band(doubt, limit.factor))
    ends = list(dict.fromkeys(end for end in (low, high) if end is not None))
    size = abs(high - low) if low is not None and high is not None else max(abs(ends[0]), 1.0)
    room = max(_ROOM * max(band, COVERAGE * doubt), size / (4.0 if len(ends) == 2 else 100.0), 1e-6)
    least, most = min(ends) - room, max(ends) + room

    def at(x: float) -> float:
        """Where ``x`` is drawn; what lies outside the picture stands at its end."""
        place = _SIDE + (WIDTH - 2 * _SIDE) * (x - least) / (most - least)
        return min(max(place, _SIDE), WIDTH - _SIDE)

    accept_low, accept_high = acceptance_limits(
        least - 1.0 if low is None else low,
        most + 1.0 if high is None else high,
        limit.rule.inward,
        band,
    )
    guards = []
    if low is not None and accept_low != low:
        guards.append(tuple(sorted((at(low), at(accept_low)))))
    if high is not None and accept_high != high:
        guards.append(tuple(sorted((at(high), at(accept_high)))))
    edges = tuple(Edge(at(end), text := _bound(end, limit), _kept(at(end), text)) for end in ends)
    if len(edges) == 2:
        edges = _apart(edges)
    shown = None if value is None else float(value.value)
    found = "" if value is None else _found(value)
    return GuardBar(
        look=LOOKS[verdict or ClassVerdict.NOT_CHECKED],
        edges=edges,
        tolerance=(at(least if low is None else low), at(most if high is None else high)),
        guards=tuple(guards),
        value=None if shown is None else at(shown),
        whiskers=None if shown is None else (at(shown - COVERAGE * doubt), at(shown + COVERAGE * doubt)),
        found=found,
        found_x=WIDTH / 2 if shown is None else _kept(at(shown), found, 0.58),
        description=_said(limit, band, found),
        low=least,
        high=most,
    )


def bar_of(ruling: Ruling, u: float = 0.0) -> GuardBar | None:
    """The picture of a ruling on a limit; ``u`` is the instrument's where nothing was measured."""
    if not isinstance(ruling.clause, Limit):
        return None
    return guard_bar(ruling.clause, u, ruling.value, ruling.verdict)


def zones(limit: Limit, u: float) -> list[dict[str, Any]]:
    """What a measured value would mean, from the lowest up, for an instrument of doubt ``u``.

    Each zone ends at ``to`` (``None`` for the last); ``in`` is the verdict below its end and ``at`` the one
    on it, each with the rule's answer: ``["complies", true]``.
    """
    band = float(guard_band(u, limit.factor))
    points = {end for end in (limit.low, limit.high) if end is not None}
    low, high = acceptance_limits(limit.low or 0.0, limit.high or 0.0, limit.rule.inward, band)
    points |= {low} if limit.low is not None else set()
    points |= {high} if limit.high is not None else set()
    ends = sorted(points)
    inner = [(a + b) / 2 for a, b in pairwise(ends)]
    tried = [ends[0] - 1.0, *inner, ends[-1] + 1.0, *ends]
    unit = CLASS_QUANTITIES[limit.quantity].unit
    cars = [Car(measured={limit.quantity: Quantity(value, u, unit)}) for value in tried]
    rulings = judge_all([limit], cars)
    said = [_pair(rulings, i) for i in range(len(tried))]
    within, on = said[: len(ends) + 1], said[len(ends) + 1 :]
    return [{"to": end, "in": within[i], "at": on[i]} for i, end in enumerate(ends)] + [
        {"to": None, "in": within[-1], "at": within[-1]}
    ]


def _pair(rulings: Any, row: int) -> list[Any]:
    verdict = list(ClassVerdict)[int(rulings.verdicts[row, 0])]
    return [verdict.value, bool(rulings.passes[row, 0] == 1)]


def _found(value: Quantity) -> str:
    """The value with its doubt; what is counted as a plain number."""
    if value.unit is Unit.NONE:
        return fixed(float(value.value), decimals_needed(float(value.value), 0, 3))
    return plus_minus(value)


def _box(left: float, right: float, half: float) -> str:
    return f"M{number(left)} {_LINE - half:g}H{number(right)}v{2 * half:g}H{number(left)}Z"


def _bound(end: float, limit: Limit) -> str:
    return figure(end, limit.unit, decimals_needed(end, 0, 3))


def _said(limit: Limit, band: float, found: str) -> str:
    low = "" if limit.low is None else _bound(limit.low, limit)
    high = "" if limit.high is None else _bound(limit.high, limit)
    if low and high:
        text = _("Asked: at least {low} and at most {high}")
    else:
        text = _("Asked: at least {low}") if low else _("Asked: at most {high}")
    asked = text.format(low=low, high=high)
    if limit.rule.inward > 0 and band:
        asked += _(", guard band {width} inside").format(width=figure(band, limit.unit, 2))
    elif limit.rule.inward and band:
        asked += _(", guard band {width} outside").format(width=figure(band, limit.unit, 2))
    if not found:
        return _("{asked}. Nothing measured yet.").format(asked=asked)
    return _("{asked}. Found: {found}.").format(asked=asked, found=found)


def _kept(x: float, text: str, size: float = 0.5) -> float:
    """Where a text centred on ``x`` stands so that all of it is inside the picture."""
    half = text_width(text, _TEXT) * size
    return min(max(x, half), WIDTH - half)


def _apart(edges: Sequence[Edge]) -> tuple[Edge, Edge]:
    """The two figures moved from each other where they would collide."""
    left, right = edges
    need = (text_width(left.text, _TEXT) + text_width(right.text, _TEXT)) / 2 + 8.0
    short = need - (right.text_x - left.text_x)
    if short <= 0:
        return left, right
    return (
        Edge(left.x, left.text, _kept(left.text_x - short / 2, left.text)),
        Edge(right.x, right.text, _kept(right.text_x + short / 2, right.text)),
    )
