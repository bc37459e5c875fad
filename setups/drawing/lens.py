"""The edge of an arch and the face of its wheel, enlarged: tenths of a millimetre decide, and do not show.

As a detail on a workshop drawing: a ring round the place, a leader, and the same place at 2, 5, 10 or 20
times the size. The gap in the lens is to scale.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import atan2, cos, hypot, pi, sin, sqrt

from django.utils.translation import pgettext

from fitcalc.findings import Verdict
from setups.drawing.car import Car, End
from setups.drawing.letters import Label
from setups.drawing.shapes import Circle, Line, Point, Shape, arrowhead
from setups.drawing.sheet import Sheet
from setups.printing import plain, plus_minus

Place = Callable[[float, float], Point]
"""From outboard and forward of the lens' centre to a point of the sheet."""

RADIUS = 2.5
"""Of the lens, in text heights."""
_POWERS = (20, 10, 5, 2, 1)
_FILLED = 1.15
"""How much of the lens' radius the gap may take."""
_GAP = 1.0
FLUSH_WITHIN = 0.05
"""A gap below this prints as flush, mm."""


def power_for(gap: float, radius: float) -> int:
    """The strongest magnification that still shows the whole ``gap`` (mm) in a lens of ``radius``."""
    return next((power for power in _POWERS if abs(gap) * power <= _FILLED * radius), 1)


def lens(end: End, car: Car, sheet: Sheet, size: float) -> tuple[list[Shape], list[Label]]:
    """The lens beside one axle and its words; nothing where the arch's width is not known."""
    if end.flush is None or end.arch_face is None:
        return [], []
    gap = float(end.flush.value)
    radius = RADIUS * size
    power = power_for(gap, radius)
    half = max(max(one.face, one.arch_face or 0.0) for one in car.ends)
    centre = (end.x, -(half + _GAP * size + radius))

    def at(out: float, along: float) -> Point:
        """A point of the lens: outboard and forward of its centre, mm on the sheet."""
        return sheet.point(centre[0] + along, centre[1] - out)

    face, edge = gap * power / 2, -gap * power / 2
    verdict = end.flush_verdict.value
    shapes: list[Shape] = [
        Circle("lens", sheet.point(*centre), radius),
        Line("lens-tyre", tuple(at(*p) for p in _below(face, radius)), closed=True),
    ]
    if abs(gap) > 1e-6:
        band = [at(*p) for p in _between(min(face, edge), max(face, edge), radius)]
        if end.flush_verdict in (Verdict.CLOSE, Verdict.FAILS):
            shapes.append(Line(f"gap {verdict}", tuple(band), closed=True))
            if gap > 0:
                shapes += hatch(band, 0.42 * size, f"hatch {verdict}")
    shapes += [
        Line("lens-edge", tuple(at(face, v) for v in _chord(face, radius))),
        Line("lens-shell", tuple(at(edge, v) for v in _chord(edge, radius))),
        *_arrows(at, face, edge, size),
        *_leader(end, centre, power, radius, size, sheet),
    ]
    return shapes, _labels(end, gap, power, at, radius, size, sheet)


def _chord(out: float, radius: float) -> tuple[float, float]:
    half = sqrt(max(0.0, radius**2 - out**2))
    return -half, half


def _arc(start: float, end: float, radius: float) -> list[Point]:
    """Points (out, along) of the lens' rim between two angles; 0 is forward, a quarter turn outboard."""
    return [
        (radius * sin(start + (end - start) * i / 12), radius * cos(start + (end - start) * i / 12))
        for i in range(13)
    ]


def _angle(out: float, radius: float) -> float:
    return atan2(out, sqrt(max(0.0, radius**2 - out**2)))


def _below(out: float, radius: float) -> list[Point]:
    """The part of the lens inboard of ``out``."""
    angle = _angle(out, radius)
    return _arc(angle, -pi - angle, radius)


def _between(low: float, high: float, radius: float) -> list[Point]:
    """The part of the lens between two ordinates."""
    a, b = _angle(low, radius), _angle(high, radius)
    return _arc(a, b, radius) + _arc(pi - b, pi - a, radius)


def _arrows(at: Place, face: float, edge: float, size: float) -> list[Shape]:
    """Two arrowheads from outside the gap, pointing at its edges, as for any narrow dimension."""
    low, high = min(face, edge), max(face, edge)
    shapes: list[Shape] = []
    for tip, way in ((low, -1), (high, 1)):
        start, end = at(tip, 0.0), at(tip + way, 0.0)
        unit = (end[0] - start[0], end[1] - start[1])
        shapes.append(arrowhead(start, unit, 0.8 * size))
        shapes.append(Line("dimension", (start, at(tip + way * 1.1 * size, 0.0))))
    return shapes


def _leader(end: End, centre: Point, power: int, radius: float, size: float, sheet: Sheet) -> list[Shape]:
    place = (end.x, -(end.face + (end.arch_face or end.face)) / 2)
    ring = max(radius / power, 0.22 * size)
    return [
        Circle("leader", sheet.point(*place), ring),
        Line(
            "leader",
            (sheet.point(end.x, place[1] - ring), sheet.point(end.x, centre[1] + radius)),
        ),
    ]


def gap_word(gap: float) -> str:
    """``proud``, ``inset`` or ``flush``, beside a figure."""
    if abs(gap) < FLUSH_WITHIN:
        return pgettext("how a wheel stands to its arch", "flush")
    if gap > 0:
        return pgettext("how a wheel stands to its arch", "proud")
    return pgettext("how a wheel stands to its arch", "inset")


def _labels(
    end: End, gap: float, power: int, at: Place, radius: float, size: float, sheet: Sheet
) -> list[Label]:
    assert end.flush is not None
    kind = f"lens-text {end.flush_verdict.value}"
    word = gap_word(gap)
    if sheet.up:
        x, y = at(0.0, -radius)
        figure = plain(abs(end.flush), 2)
        return [
            Label(figure, x, y + 1.15 * size, size, "middle", 0, f"strong {kind}"),
            Label(word, x, y + 2.3 * size, size, "middle", 0, kind),
        ]
    x, y = at(0.0, -radius)
    x += 0.5 * size
    return [
        Label(plus_minus(abs(end.flush)), x, y - 0.25 * size, size, "start", 0, f"strong {kind}"),
        Label(f"{word}, {power}:1", x, y + 1.0 * size, size, "start", 0, kind),
    ]


def hatch(area: Sequence[Point], spacing: float, kind: str) -> list[Line]:
    """Lines at 45 degrees, ``spacing`` apart, inside a convex ``area``."""
    across = [(x + y) / sqrt(2) for x, y in area]
    lines = []
    first = int(min(across) // spacing) + 1
    for row in range(first, int(max(across) // spacing) + 1):
        crossing = _crossings(area, across, row * spacing)
        if (
            len(crossing) == 2
            and hypot(crossing[0][0] - crossing[1][0], crossing[0][1] - crossing[1][1]) > 0.05 * spacing
        ):
            lines.append(Line(kind, (crossing[0], crossing[1])))
    return lines


def _crossings(area: Sequence[Point], across: Sequence[float], level: float) -> list[Point]:
    """Where the edges of a convex area meet the hatching line at ``level``."""
    found = []
    for i in range(len(area)):
        a, b = across[i - 1], across[i]
        if (a < level) != (b < level):
            share = (level - a) / (b - a)
            (x0, y0), (x1, y1) = area[i - 1], area[i]
            found.append((x0 + (x1 - x0) * share, y0 + (y1 - y0) * share))
    return found
