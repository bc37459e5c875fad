"""The car from its left side, to scale, and under it the wheelbase as a chain of named segments."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from django.utils.translation import gettext as _

from fitcalc.chain import Contribution
from fitcalc.findings import Verdict
from fitcalc.fit import FitReport
from fitcalc.parts import Axle, Slot
from setups.drawing.car import Car, End, car_drawn
from setups.drawing.letters import Box, Label, first_free, shortened, text_width
from setups.drawing.shapes import Arc, Circle, Curve, Drawing, Line, Point, Shape, arrowhead, bounds
from setups.drawing.sheet import Sheet
from setups.drawing.words import side_words
from setups.printing import is_nought, not_known, plain, plus_minus

_ROW = 2.15
"""Height of a row of the chain, in text heights: a line of text and its bar."""
_BAR = 0.34
_MARGIN = 1.0
"""Beside the car where no plan sets the width, in text heights."""


def side(
    report: FitReport | Car, sheet: Sheet, second: FitReport | Car | None = None, under: Drawing | None = None
) -> Drawing:
    """The side view of ``report`` on ``sheet`` (front to the left), with the chain of its wheelbase.

    ``under`` is a plan with its front to the left: the side view then takes its scale and its width, so
    that points stand under points.
    """
    car = car_drawn(report)
    size = under.text_size if under else sheet.text_size(car.nose_x - car.tail_x, 2.0)
    left = under.sheet.left if under else -car.nose_x - _MARGIN * size
    right = under.sheet.right if under else -car.tail_x + _MARGIN * size
    shapes: list[Shape] = [*_body(car), *_ground(car, size)]
    labels: list[Label] = []
    for end in car.ends:
        shapes += _wheel(car, end, size)
        labels += _gaps(car, end, size, [label.box for label in labels])
    if second is not None:
        other = car_drawn(second)
        for end in other.ends:
            shapes.append(Circle("second", (-end.x, -end.tyre_diameter / 2), end.tyre_diameter / 2))
    drawn, said = _chain(car, size, left + 0.4 * size, right - 0.4 * size)
    shapes += drawn
    labels += said
    title, description = side_words(car)
    around = bounds(shapes, labels, 0.4 * size)
    view = Box(left, around.top, right, around.bottom)
    return Drawing("side", view, size, tuple(shapes), tuple(labels), title, description)


def _half_chord(radius: float, level: float) -> float:
    return sqrt(max(0.0, radius**2 - level**2))


@dataclass(frozen=True, slots=True)
class _Opening:
    """An arch opening seen from the side: a circle round ``(x, z)``, cut by the sill."""

    x: float
    z: float
    radius: float
    sill: float

    @property
    def half(self) -> float:
        return _half_chord(self.radius, self.sill - self.z)

    @property
    def top(self) -> float:
        return self.z + self.radius


def _sill(car: Car) -> float:
    return 0.24 * min(end.tyre_diameter for end in car.ends)


def _opening(car: Car, end: End) -> _Opening | None:
    if end.arch_radius is None or end.arch_x is None:
        return None
    height = end.arch_radius if end.arch_height is None else end.arch_height
    return _Opening(end.arch_x, end.tyre_diameter / 2 + height - end.arch_radius, end.arch_radius, _sill(car))


def _body(car: Car) -> list[Shape]:
    """Openings as measured; bonnet, roof and tail as a sketch over them."""
    if car.front.arch_width is None and car.rear.arch_width is None and car.front.arch_radius is None:
        return []
    sill, nose, tail = _sill(car), car.nose_x, car.tail_x
    length = nose - tail
    openings = [_opening(car, end) for end in car.ends]
    tops = [
        (opening.top if opening else 1.1 * end.tyre_diameter)
        for opening, end in zip(openings, car.ends, strict=True)
    ]
    front_x = car.front.arch_x or 0.0
    rear_x = car.rear.x if car.rear.arch_x is None else car.rear.arch_x
    bonnet, deck = tops[0] + 0.018 * length, tops[1] + 0.03 * length
    roof = max(0.265 * length, deck + 0.05 * length)
    span = front_x - rear_x
    outline: list[Point] = [
        (nose, sill + 0.02 * length),
        (nose + 0.004 * length, 0.5 * bonnet),
        (nose - 0.006 * length, 0.68 * bonnet),
        (nose - 0.05 * length, 0.76 * bonnet),
        (nose - 0.35 * (nose - front_x), 0.92 * bonnet),
        (front_x + 0.08 * span, bonnet),
        (front_x - 0.14 * span, 1.03 * bonnet),
        (front_x - 0.25 * span, 1.06 * bonnet),
        (front_x - 0.36 * span, roof),
        (front_x - 0.56 * span, roof),
        (front_x - 0.74 * span, roof),
        (rear_x + 0.16 * span, 0.97 * roof),
        (rear_x - 0.03 * span, deck + 0.006 * length),
        (rear_x - 0.12 * span, deck - 0.002 * length),
        (tail + 0.07 * length, 0.99 * deck),
        (tail + 0.012 * length, 0.97 * deck),
        (tail - 0.004 * length, 0.9 * deck),
        (tail + 0.002 * length, 0.6 * deck),
        (tail + 0.016 * length, sill + 0.03 * length),
    ]
    floor: list[Shape] = []
    pieces: list[Point] = [(nose, sill + 0.02 * length)]
    edges: list[Point] = [(nose - 0.012 * length, sill)]
    for opening, end in zip(openings, car.ends, strict=True):
        middle = opening.x if opening else end.x
        half = opening.half if opening else end.tyre_diameter / 2
        edges += [(middle + half, sill), (middle - half, sill)]
        if opening:
            floor.append(_rim_of(opening, "lip"))
        else:
            floor.append(Line("sketch", (_to(middle + half, sill), _to(middle - half, sill))))
    edges.append((tail + 0.016 * length, sill + 0.03 * length))
    lines = [
        Line("sketch", (_to(*pieces[0]), _to(*edges[0]), _to(*edges[1]))),
        Line("sketch", (_to(*edges[2]), _to(*edges[3]))),
        Line("sketch", (_to(*edges[4]), _to(*edges[5]))),
    ]
    high, low = 0.945 * roof, deck + 0.12 * (roof - deck)
    glass = (
        (front_x - 0.31 * span, 1.09 * bonnet),
        (front_x - 0.39 * span, 0.93 * roof),
        (front_x - 0.46 * span, high),
        (front_x - 0.57 * span, high),
        (front_x - 0.7 * span, high),
        (rear_x + 0.2 * span, 0.91 * roof),
        (rear_x + 0.1 * span, low),
    )
    pillar = ((front_x - 0.6 * span, high), (front_x - 0.62 * span, (1.09 * bonnet + low) / 2))
    return [
        Curve("sketch", tuple(_to(*p) for p in outline)),
        *lines,
        *floor,
        Curve("sketch", tuple(_to(*p) for p in glass), closed=True),
        Line("sketch", tuple(_to(*p) for p in pillar)),
    ]


def _to(x: float, z: float) -> Point:
    return (-x, -z)


def _ground(car: Car, size: float) -> list[Shape]:
    return [Line("ground", ((-car.nose_x, 0.0), (-car.tail_x, 0.0)))]


def _wheel(car: Car, end: End, size: float) -> list[Shape]:
    radius = end.tyre_diameter / 2
    middle = _to(end.x, radius)
    reach = 1.12 * radius
    shapes: list[Shape] = [
        Circle("tyre", middle, radius),
        Circle("rim", middle, (end.rim_diameter or 0.8 * end.tyre_diameter) / 2),
        Circle("hub", middle, 0.1 * end.tyre_diameter),
        Line("centreline", ((middle[0] - reach, middle[1]), (middle[0] + reach, middle[1]))),
    ]
    if end.travel:
        x, y = middle[0], middle[1] - end.travel
        shapes.append(Arc("travel", (x - radius, y), (x + radius, y), radius, clockwise=True))
    opening = _opening(car, end)
    if opening is not None:
        x, top = _to(opening.x, opening.top)
        shapes.append(Line("lip", ((x, top - 0.5 * size), (x, top))))
        bad = _worse(end.clearance_verdict, end.bump_verdict)
        if bad in (Verdict.CLOSE, Verdict.FAILS):
            shapes.append(_rim_of(opening, f"edge {bad.value}"))
    return shapes


def _worse(one: Verdict, other: Verdict) -> Verdict:
    return max(one, other, key=lambda verdict: verdict.gravity)


def _rim_of(opening: _Opening, kind: str) -> Arc:
    """The edge of an opening above the sill."""
    return Arc(
        kind,
        _to(opening.x + opening.half, opening.sill),
        _to(opening.x - opening.half, opening.sill),
        opening.radius,
        clockwise=True,
        large=opening.sill < opening.z,
    )


def _gaps(car: Car, end: End, size: float, taken: list[Box]) -> list[Label]:
    """What stays free in the arch, and in bump where that is in question, written on the door."""
    opening = _opening(car, end)
    said = []
    if end.clearance is not None:
        said.append((_("gap {length}").format(length=plain(end.clearance)), end.clearance_verdict))
    if end.bump is not None and end.bump_verdict in (Verdict.CLOSE, Verdict.FAILS):
        said.append((_("in bump {length}").format(length=plain(end.bump)), end.bump_verdict))
    if opening is None:
        return []
    front = end.axle is Axle.FRONT
    x = -(opening.x - opening.radius) + 0.6 * size if front else -(opening.x + opening.radius) - 0.6 * size
    labels: list[Label] = []
    for text, verdict in said:
        kind = f"gap-text {verdict.value}"
        places = (
            Label(
                text, x, -opening.top + (0.9 + row * 1.25) * size, size, "start" if front else "end", 0, kind
            )
            for row in range(5)
        )
        labels.append(first_free(places, [*taken, *(label.box for label in labels)], 0.1 * size))
    return labels


def _chain(car: Car, size: float, left: float, right: float) -> tuple[list[Shape], list[Label]]:
    """Each link on a row of its own: its name, its share, and the bar that it adds; then both sums."""
    rear = -car.rear.x
    top = 0.9 * size
    shapes: list[Shape] = []
    labels: list[Label] = []
    row = top
    start = 0.0
    for link in car.chain.contributions:
        share = float(link.quantity.value)
        bar = row + 1.5 * size
        labels += _row_text(
            _name(link),
            plus_minus(link.quantity, plus=link.slot is not None),
            left,
            right,
            row + 1.0 * size,
            size,
            "chain-text",
        )
        shapes += _bar("segment", start, start + share, bar, size)
        start += share
        shapes.append(Line("step", ((start, bar - 0.5 * _BAR * size), (start, bar + _ROW * size))))
        row += _ROW * size
    bar = row + 1.5 * size
    labels += _row_text(
        _("Reaches"), plus_minus(car.wheelbase), left, right, row + 1.0 * size, size, "strong chain-text"
    )
    shapes += _bar("segment-total", 0.0, start, bar, size)
    row += _ROW * size
    if car.body_wheelbase is not None:
        drawn, said = _needed(car, row, left, right, size)
        shapes += drawn
        labels += said
        row += _ROW * size * (2 if len(said) > 2 else 1)
    else:
        labels += _row_text(_("Body needs"), not_known(), left, right, row + 1.0 * size, size, "chain-text")
        row += 1.4 * size
    bottom = row + 0.2 * size
    shapes += [
        Line("projection", ((0.0, -car.front.tyre_diameter / 2), (0.0, bottom))),
        Line("projection", ((rear, -car.rear.tyre_diameter / 2), (rear, bottom))),
    ]
    return shapes, labels


def _needed(car: Car, row: float, left: float, right: float, size: float) -> tuple[list[Shape], list[Label]]:
    """What the body asks for, from arch to arch, and how far the rear wheel stands off its middle."""
    assert car.body_wheelbase is not None
    bar = row + 1.5 * size
    name = _("Body needs (predicted)") if car.wheelbase_predicted else _("Body needs")
    labels = _row_text(
        name, plus_minus(car.body_wheelbase), left, right, row + 1.0 * size, size, "chain-text-body"
    )
    front = -float(car.front_centring.value)
    rear = front + float(car.body_wheelbase.value)
    shapes: list[Shape] = list(_bar("segment-body", front, rear, bar, size))
    for end, x in ((car.front, front), (car.rear, rear)):
        shapes.append(
            Line("arch", ((x, -end.tyre_diameter / 2 - 0.6 * size), (x, -end.tyre_diameter / 2 + 0.6 * size)))
        )
    if car.rear_centring is not None:
        off = float(car.rear_centring.value)
        verdict = car.wheelbase_verdict.value
        wheel = -car.rear.x
        if abs(off) > 1e-6:
            low, high = sorted((wheel, rear))
            y = bar + 0.5 * _BAR * size
            shapes.append(
                Line(
                    f"gap {verdict}",
                    (
                        (low, y - 1.2 * _BAR * size),
                        (high, y - 1.2 * _BAR * size),
                        (high, y + 0.6 * size),
                        (low, y + 0.6 * size),
                    ),
                    closed=True,
                )
            )
        if is_nought(car.rear_centring):
            way = _("Rear wheel is off by")
        else:
            way = _("Rear wheel forward by") if off > 0 else _("Rear wheel back by")
        labels += _row_text(
            way,
            plus_minus(abs(car.rear_centring)),
            left,
            right,
            row + (_ROW + 1.0) * size,
            size,
            f"strong chain-text {verdict}",
        )
    return shapes, labels


def _name(link: Contribution) -> str:
    if link.slot is None:
        return _("{platform}, datum").format(platform=link.name)
    if link.slot is Slot.POSITION:
        return _("Position, {position}").format(position=link.name)
    return link.name


def _row_text(
    name: str, figure: str, left: float, right: float, y: float, size: float, kind: str
) -> list[Label]:
    """Name on the left, figure on the right; a name that would meet the figure is cut."""
    strong = "strong" in kind
    figure_width = text_width(figure, size, strong)
    name = shortened(name, size, right - left - figure_width - size, strong)
    labels = [Label(name, left, y, size, "start", 0, kind)]
    if figure:
        labels.append(Label(figure, right, y, size, "end", 0, kind))
    return labels


def _bar(kind: str, start: float, end: float, y: float, size: float) -> list[Shape]:
    """A bar from ``start`` to ``end`` with ticks; an arrow for a share that is short or goes forward."""
    half = _BAR * size / 2
    low, high = sorted((start, end))
    shapes: list[Shape] = []
    if high - low > 1e-6:
        shapes.append(
            Line(kind, ((low, y - half), (high, y - half), (high, y + half), (low, y + half)), closed=True)
        )
    if end < start:
        shapes.append(arrowhead((end, y), (1.0, 0.0), size, "segment-arrow"))
    return shapes
