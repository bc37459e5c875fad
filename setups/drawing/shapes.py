"""What a drawing is made of: plain records in sheet coordinates, which are millimetres, y downward.

A shape's ``kind`` is what it is on the car ("tyre", "arch", "dimension"); the style sheet says how such a
thing looks. ``Drawing.paths`` joins the shapes of a kind, so a page carries a dozen elements a drawing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import hypot
from typing import NamedTuple

from django.utils.html import conditional_escape
from django.utils.safestring import SafeString

from setups.drawing.letters import Box, Label, number

Point = tuple[float, float]

KINDS = (
    "shell",
    "chassis",
    "sweep",
    "sketch",
    "ground",
    "tyre",
    "rim",
    "hub",
    "spacer",
    "lock",
    "fan",
    "arm",
    "pin",
    "second",
    "second-shell",
    "travel",
    "arch",
    "lip",
    "centreline",
    "lens",
    "lens-tyre",
    "gap fits",
    "gap unknown",
    "gap close",
    "gap fails",
    "hatch close",
    "hatch fails",
    "lens-shell",
    "lens-edge",
    "leader",
    "projection",
    "extension",
    "dimension",
    "dimension-body",
    "arrow",
    "segment",
    "segment-total",
    "segment-body",
    "segment-arrow",
    "step",
    "edge close",
    "edge fails",
)
"""Every kind, in the order in which they are laid on the sheet."""


def _at(*points: Point) -> str:
    return " ".join(f"{number(x)} {number(y)}" for x, y in points)


@dataclass(frozen=True, slots=True)
class Line:
    """A line through two or more points, closed to an area if asked."""

    kind: str
    points: tuple[Point, ...]
    closed: bool = False

    @property
    def path(self) -> str:
        return f"M{_at(self.points[0])}L{_at(*self.points[1:])}{'Z' if self.closed else ''}"

    @property
    def extent(self) -> tuple[Point, ...]:
        return self.points


@dataclass(frozen=True, slots=True)
class Curve:
    """Cubic Béziers one behind the other: a start, then three points a piece."""

    kind: str
    points: tuple[Point, ...]
    closed: bool = False

    @property
    def path(self) -> str:
        return f"M{_at(self.points[0])}C{_at(*self.points[1:])}{'Z' if self.closed else ''}"

    @property
    def extent(self) -> tuple[Point, ...]:
        return self.points


@dataclass(frozen=True, slots=True)
class Circle:
    kind: str
    centre: Point
    radius: float

    @property
    def path(self) -> str:
        (x, y), r = self.centre, number(self.radius)
        return (
            f"M{_at((x - self.radius, y))}A{r} {r} 0 1 1 {_at((x + self.radius, y))}"
            f"A{r} {r} 0 1 1 {_at((x - self.radius, y))}Z"
        )

    @property
    def extent(self) -> tuple[Point, ...]:
        (x, y), r = self.centre, self.radius
        return ((x - r, y - r), (x + r, y + r))


@dataclass(frozen=True, slots=True)
class Arc:
    """A circular arc between two points; ``clockwise`` as seen on the sheet; ``closed`` by its chord."""

    kind: str
    start: Point
    end: Point
    radius: float
    clockwise: bool
    large: bool = False
    closed: bool = False
    hub: Point | None = None
    """With a hub, the arc is closed over it, as a slice of a cake."""

    @property
    def path(self) -> str:
        r = number(self.radius)
        d = f"M{_at(self.start)}A{r} {r} 0 {int(self.large)} {int(self.clockwise)} {_at(self.end)}"
        if self.hub is not None:
            d += f"L{_at(self.hub)}Z"
        return d + "Z" if self.closed and self.hub is None else d

    @property
    def extent(self) -> tuple[Point, ...]:
        return (self.start, self.end)


class Size(NamedTuple):
    """How a dimension line is drawn, in text heights."""

    arrow: float = 0.75
    arrow_half: float = 0.17
    beyond: float = 0.45
    gap: float = 0.35
    text_gap: float = 0.34


SIZE = Size()


@dataclass(frozen=True, slots=True)
class Dimension:
    """A dimension line on the sheet, from ``start`` to ``end``, with its text and its extension lines.

    ``features`` are the two points that are measured; an extension line runs from near each of them to
    just past the dimension line. The line is upright or level, its text reads from below or from the
    right, as ISO 129-1 has it.
    """

    start: Point
    end: Point
    features: tuple[Point, Point]
    text: str
    text_size: float
    kind: str = "dimension"

    @property
    def upright(self) -> bool:
        return abs(self.end[0] - self.start[0]) < abs(self.end[1] - self.start[1])

    @property
    def length(self) -> float:
        return hypot(self.end[0] - self.start[0], self.end[1] - self.start[1])

    @property
    def label(self) -> Label:
        """The text, in the middle above the line, or left of an upright one."""
        x, y = (self.start[0] + self.end[0]) / 2, (self.start[1] + self.end[1]) / 2
        off = SIZE.text_gap * self.text_size
        kind = f"{self.kind}-text"
        if self.upright:
            return Label(self.text, x - off, y, self.text_size, "middle", -90, kind)
        return Label(self.text, x, y - off, self.text_size, "middle", 0, kind)

    @property
    def shapes(self) -> tuple[Line, ...]:
        """Line, arrowheads and extension lines."""
        t = self.text_size
        unit = ((self.end[0] - self.start[0]) / self.length, (self.end[1] - self.start[1]) / self.length)
        inside = self.length > 3 * SIZE.arrow * t
        reach = 0.0 if inside else 2 * SIZE.arrow * t
        run = (
            (self.start[0] - unit[0] * reach, self.start[1] - unit[1] * reach),
            (self.end[0] + unit[0] * reach, self.end[1] + unit[1] * reach),
        )
        heads = (
            arrowhead(self.start, unit if inside else (-unit[0], -unit[1]), t),
            arrowhead(self.end, (-unit[0], -unit[1]) if inside else unit, t),
        )
        extensions = tuple(
            _extension(feature, at, t)
            for feature, at in zip(self.features, (self.start, self.end), strict=True)
        )
        return (Line(self.kind, run), *heads, *(line for line in extensions if line is not None))


def arrowhead(tip: Point, into: Point, text_size: float, kind: str = "arrow") -> Line:
    """A slim filled arrowhead with its ``tip`` here and its body along the unit vector ``into``."""
    length, half = SIZE.arrow * text_size, SIZE.arrow_half * text_size
    back = (tip[0] + into[0] * length, tip[1] + into[1] * length)
    across = (-into[1] * half, into[0] * half)
    return Line(
        kind,
        (tip, (back[0] + across[0], back[1] + across[1]), (back[0] - across[0], back[1] - across[1])),
        closed=True,
    )


def _extension(feature: Point, at: Point, text_size: float) -> Line | None:
    dx, dy = at[0] - feature[0], at[1] - feature[1]
    distance = hypot(dx, dy)
    gap, beyond = SIZE.gap * text_size, SIZE.beyond * text_size
    if distance <= gap:
        return None
    unit = (dx / distance, dy / distance)
    return Line(
        "extension",
        (
            (feature[0] + unit[0] * gap, feature[1] + unit[1] * gap),
            (at[0] + unit[0] * beyond, at[1] + unit[1] * beyond),
        ),
    )


Shape = Line | Curve | Circle | Arc


class Path(NamedTuple):
    """All shapes of one kind as one SVG path."""

    kind: str
    d: SafeString


@dataclass(frozen=True, slots=True)
class Drawing:
    """One view, ready for the sheet.

    ``sheet`` is the box that is shown, ``text_size`` the text height, both mm on the car; ``title`` and
    ``description`` say the same in words.
    """

    view: str
    sheet: Box
    text_size: float
    shapes: tuple[Shape, ...]
    labels: tuple[Label, ...]
    title: str
    description: str

    @property
    def paths(self) -> list[Path]:
        """One path a kind, in the order of ``KINDS``."""
        joined: dict[str, list[str]] = {}
        for shape in self.shapes:
            joined.setdefault(shape.kind, []).append(shape.path)
        return [Path(kind, "".join(joined[kind])) for kind in sorted(joined, key=KINDS.index)]

    @property
    def elements(self) -> SafeString:
        """Paths and letters as SVG: a template takes five times as long over these hundred elements."""
        paths = [f'<path class="d-{kind}" d="{d}"/>' for kind, d in self.paths]
        texts = [
            f'<text class="{one.kind}" {one.place}>{conditional_escape(one.text)}</text>'
            for one in self.labels
        ]
        return SafeString("".join(paths + texts))

    @property
    def view_box(self) -> str:
        left, top, right, bottom = self.sheet
        return " ".join(number(v) for v in (left, top, right - left, bottom - top))

    @property
    def font_size(self) -> str:
        return number(self.text_size)


def bounds(shapes: Iterable[Shape], labels: Sequence[Label], margin: float) -> Box:
    """The smallest sheet that holds everything, with ``margin`` round it."""
    points = [point for shape in shapes for point in shape.extent]
    box = Box(
        min(x for x, _ in points),
        min(y for _, y in points),
        max(x for x, _ in points),
        max(y for _, y in points),
    )
    for label in labels:
        box = box.around(label.box)
    return Box(box.left - margin, box.top - margin, box.right + margin, box.bottom + margin)
