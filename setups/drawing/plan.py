"""The car from above, to scale: wheels, arches, what stands proud, the lock's sweep, widths and wheelbase."""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, hypot, radians, sin

from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from fitcalc.findings import Verdict
from fitcalc.fit import FitReport
from fitcalc.parts import Axle
from setups.drawing.car import Car, End, car_drawn
from setups.drawing.lens import lens
from setups.drawing.letters import Box, Label, first_free
from setups.drawing.shapes import Arc, Circle, Dimension, Drawing, Line, Point, Shape, bounds
from setups.drawing.sheet import Sheet
from setups.drawing.shell import plan_shell
from setups.drawing.words import plan_words
from setups.printing import plain

_STEP = 1.9
"""From one dimension line to the next, in text heights."""
_SWEEP_STEPS = 6


def plan(report: FitReport | Car, sheet: Sheet, second: FitReport | Car | None = None) -> Drawing:
    """The plan view of ``report`` on ``sheet``, with the car of ``second`` in another line over it."""
    car = car_drawn(report)
    shapes: list[Shape] = [*plan_shell(car, sheet), *_chassis(car, sheet)]
    for end in car.ends:
        for side in (1, -1):
            shapes += _wheel(car, end, side, sheet)
            shapes += _overhang(end, side, sheet)
    shapes += _sweep(car, sheet)
    if second is not None:
        shapes += _second(car_drawn(second), sheet)
    size = plan_text_size(car, sheet)
    shapes += _centrelines(car, sheet, size)
    drawn, labels = _annotations(car, sheet, size)
    shapes += drawn
    title, description = plan_words(car)
    return Drawing(
        "plan", bounds(shapes, labels, 0.4 * size), size, tuple(shapes), tuple(labels), title, description
    )


def plan_text_size(car: Car, sheet: Sheet) -> float:
    """Text height, mm, that makes the sheet's letters as large as it wants them."""
    if sheet.up:
        half = max(end.arch_face or end.face for end in car.ends)
        return sheet.text_size(2 * half, 10.2)
    return sheet.text_size(car.nose_x - car.tail_x, 8.6)


def _ring(sheet: Sheet, *points: Point) -> tuple[Point, ...]:
    return tuple(sheet.point(*p) for p in points)


def _rectangle(kind: str, sheet: Sheet, x: float, length: float, inner: float, outer: float) -> Line:
    """An upright rectangle of the car: centred on ``x``, between the ordinates ``inner`` and ``outer``."""
    half = length / 2
    corners = ((x + half, inner), (x + half, outer), (x - half, outer), (x - half, inner))
    return Line(kind, _ring(sheet, *corners), closed=True)


def _tyre(
    kind: str,
    sheet: Sheet,
    middle: Point,
    diameter: float,
    width: float,
    turn: float = 0.0,
    about: Point = (0, 0),
) -> Line:
    """A tyre with its shoulders cut, turned by ``turn`` degrees (leftward positive) about a point."""
    a, b = diameter / 2, width / 2
    cut = 0.16 * width
    outline = (
        (a, b - cut),
        (a - cut, b),
        (cut - a, b),
        (-a, b - cut),
        (-a, cut - b),
        (cut - a, -b),
        (a - cut, -b),
        (a, cut - b),
    )
    c, s = cos(radians(turn)), sin(radians(turn))
    points = []
    for dx, dy in outline:
        x, y = middle[0] + dx - about[0], middle[1] + dy - about[1]
        points.append((about[0] + x * c - y * s, about[1] + x * s + y * c))
    return Line(kind, _ring(sheet, *points), closed=True)


def _chassis(car: Car, sheet: Sheet) -> list[Shape]:
    """The plate up to the mount's face and the mount behind it; only the front width is a known figure."""
    half = (car.chassis_width or 0.62 * car.kingpin_spacing) / 2
    waist, tail = -0.16 * car.datum, -min(car.datum, 0.75 * -car.rear.x)
    wide = max(half, 0.3 * car.rear.hub_width)
    pod = 0.24 * car.rear.hub_width
    front = 0.42 * car.front.tyre_diameter
    plate = (
        (front, half * 0.8),
        (front * 0.8, half),
        (waist - 0.5 * car.front.tyre_diameter, half),
        (waist - 0.75 * car.front.tyre_diameter, wide),
        (tail, wide),
        (tail, -wide),
        (waist - 0.75 * car.front.tyre_diameter, -wide),
        (waist - 0.5 * car.front.tyre_diameter, -half),
        (front * 0.8, -half),
        (front, -half * 0.8),
    )
    end = car.rear.x - 0.22 * car.rear.tyre_diameter
    mount = ((tail, pod), (end, pod), (end, -pod), (tail, -pod))
    return [
        Line("chassis", _ring(sheet, *plate), closed=True),
        Line("chassis", _ring(sheet, *mount), closed=True),
    ]


def _wheel(car: Car, end: End, side: int, sheet: Sheet) -> list[Shape]:
    hub, track = end.hub_width / 2, float(end.track.value) / 2
    x = end.x
    shapes: list[Shape] = [
        _tyre("tyre", sheet, (x, side * track), end.tyre_diameter, end.tyre_width),
        _rectangle(
            "rim",
            sheet,
            x,
            end.rim_diameter or 0.8 * end.tyre_diameter,
            side * end.rim_start,
            side * (end.rim_start + end.rim_width),
        ),
    ]
    thick = 0.09 * end.tyre_diameter
    inner = car.kingpin_spacing / 2 if end.axle is Axle.FRONT else 0.0
    face = min(hub, end.rim_start + 0.6 * end.rim_width)
    shapes.append(
        _rectangle("hub", sheet, x, thick, side * inner, side * (end.rim_start + 0.75 * end.rim_width))
    )
    shapes.append(_rectangle("hub", sheet, x, 3.2 * thick, side * (face - 0.7 * thick), side * face))
    if end.spacer:
        shapes.append(_rectangle("spacer", sheet, x, 3.2 * thick, side * hub, side * (hub + end.spacer)))
    if end.axle is Axle.FRONT:
        pin = (0.0, side * inner)
        shapes.append(Circle("pin", sheet.point(*pin), 0.07 * end.tyre_diameter))
        if car.arm_length is not None:
            pivot = side * (inner - car.arm_length)
            spread = 0.24 * end.tyre_diameter
            shapes.append(Line("arm", _ring(sheet, (spread, pivot), pin, (-spread, pivot)), closed=True))
    return shapes


def _overhang(end: End, side: int, sheet: Sheet) -> list[Shape]:
    """The strip between wheel and arch, hatched where the wheel stands too far out or in."""
    if end.arch_face is None or end.flush_verdict in (Verdict.FITS, Verdict.UNKNOWN):
        return []
    inner, outer = sorted((end.face, end.arch_face))
    verdict = end.flush_verdict.value
    front, rear = end.x + end.tyre_diameter / 2, end.x - end.tyre_diameter / 2
    return [
        _rectangle(f"gap {verdict}", sheet, end.x, end.tyre_diameter, side * inner, side * outer),
        Line(f"edge {verdict}", _ring(sheet, (front, side * end.face), (rear, side * end.face))),
    ]


def _sweep(car: Car, sheet: Sheet) -> list[Shape]:
    """Where the front tyres go between their locks: the area that they sweep and their two ends."""
    end = car.front
    shapes: list[Shape] = []
    inward, outward = float(car.lock_inward.value), float(car.lock_outward.value)
    for side in (1, -1):
        pin = (0.0, side * car.kingpin_spacing / 2)
        middle = (0.0, side * float(end.track.value) / 2)
        # Turning the left wheel's front away from the car is a turn to the left, positive.
        lock = [side * outward, -side * inward]
        for step in range(_SWEEP_STEPS + 1):
            turn = lock[1] + (lock[0] - lock[1]) * step / _SWEEP_STEPS
            shapes.append(_tyre("sweep", sheet, middle, end.tyre_diameter, end.tyre_width, turn, pin))
        shapes += [
            _tyre("lock", sheet, middle, end.tyre_diameter, end.tyre_width, turn, pin) for turn in lock
        ]
    return shapes


def _second(car: Car, sheet: Sheet) -> list[Shape]:
    shapes: list[Shape] = list(plan_shell(car, sheet, "second-shell"))
    for end in car.ends:
        track = float(end.track.value) / 2
        shapes.append(Line("second", _ring(sheet, (end.x, track), (end.x, -track))))
        shapes += [
            _tyre("second", sheet, (end.x, side * track), end.tyre_diameter, end.tyre_width)
            for side in (1, -1)
        ]
    return shapes


def _centrelines(car: Car, sheet: Sheet, size: float) -> list[Shape]:
    beyond = 0.8 * size
    shapes: list[Shape] = [
        Line("centreline", _ring(sheet, (car.nose_x + beyond, 0.0), (car.tail_x - beyond, 0.0)))
    ]
    for end in car.ends:
        out = max(end.face, end.arch_face or 0.0) + 0.35 * size
        shapes.append(Line("centreline", _ring(sheet, (end.x, out), (end.x, -out))))
    return shapes


def _fan(car: Car, sheet: Sheet, size: float, taken: Sequence[Box]) -> tuple[list[Shape], list[Label]]:
    """How far the right front wheel's heading turns either way, with both angles."""
    pin = (0.0, -car.kingpin_spacing / 2)
    scrub = float(car.front.track.value) / 2 + pin[1]
    tread = car.front.tyre_diameter / 2

    def at(angle: float, ahead: float) -> Point:
        """A point ``ahead`` of the wheel's middle on its own heading, with the wheel turned by ``angle``."""
        c, s = cos(radians(angle)), sin(radians(angle))
        return (pin[0] + ahead * c + scrub * s, pin[1] + ahead * s - scrub * c)

    inward, outward = float(car.lock_inward.value), -float(car.lock_outward.value)
    middle = tread + 1.1 * size
    shapes: list[Shape] = [
        Arc(
            "fan",
            sheet.point(*at(outward, middle)),
            sheet.point(*at(inward, middle)),
            hypot(middle, scrub),
            clockwise=False,
        )
    ]
    for angle, beyond in ((inward, 1.6), (0.0, 1.35), (outward, 1.6)):
        ray = (at(angle, tread + 0.35 * size), at(angle, tread + beyond * size))
        shapes.append(Line("fan", _ring(sheet, *ray)))
    labels: list[Label] = []
    for angle, name, quantity, aside in (
        (inward, pgettext("how far a wheel steers", "{angle} in"), car.lock_inward, 1.0),
        (outward, pgettext("how far a wheel steers", "{angle} out"), car.lock_outward, -1.0),
    ):
        text = name.format(angle=plain(quantity, 0))
        kind = f"fan-text {car.lock_verdict.value}"
        candidates = []
        for sideways in (0.0, 0.7, 1.5, 2.4, 3.4, 5.0):
            for further in (2.3, 2.8, 3.4, 4.2):
                x, y = at(angle, tread + further * size)
                candidates += _round(text, sheet.point(x, y + aside * sideways * size), size, kind)
        labels.append(first_free(candidates, [*taken, *(label.box for label in labels)], 0.15 * size))
    return shapes, labels


def _round(text: str, place: Point, size: float, kind: str) -> list[Label]:
    """A text centred at a point, or beginning or ending there."""
    x, low = place[0], place[1] + 0.3 * size
    return [Label(text, x, low, size, anchor, 0, kind) for anchor in ("middle", "start", "end")]


def _annotations(car: Car, sheet: Sheet, size: float) -> tuple[list[Shape], list[Label]]:
    """Dimension lines, the two lenses on the arches' edges, and the lock's angles."""
    dimensions = [*_widths(car, sheet, size), *_lengths(car, sheet, size)]
    shapes: list[Shape] = [shape for dimension in dimensions for shape in dimension.shapes]
    labels = [dimension.label for dimension in dimensions]
    for end in car.ends:
        drawn, said = lens(end, car, sheet, size)
        shapes += drawn
        labels += said
    taken = [label.box for label in labels]
    taken += [Box(*_circle_box(shape)) for shape in shapes if isinstance(shape, Circle)]
    taken += [_line_box(shape) for dimension in dimensions for shape in dimension.shapes]
    drawn, said = _fan(car, sheet, size, taken)
    return shapes + drawn, labels + said


def _circle_box(circle: Circle) -> tuple[float, float, float, float]:
    (x, y), r = circle.centre, circle.radius
    return x - r, y - r, x + r, y + r


def _line_box(line: Line) -> Box:
    xs, ys = [x for x, _ in line.points], [y for _, y in line.points]
    return Box(min(xs), min(ys), max(xs), max(ys))


def _widths(car: Car, sheet: Sheet, size: float) -> list[Dimension]:
    """Track between the wheels; over the wheels and arch to arch ahead of the nose and behind the tail."""
    found = []
    for end in car.ends:
        way = 1 if end.axle is Axle.FRONT else -1
        tread = end.tyre_diameter / 2
        # Text stands ahead of its line on either sheet: at the tail it needs room towards the car.
        outside = car.nose_x + 1.0 * size if way > 0 else car.tail_x - 2.2 * size
        inside = -tread - 1.1 * size if way > 0 else end.x + tread + 1.0 * size
        found.append(
            sheet.across(
                inside,
                float(end.track.value) / 2,
                end.x - way * tread,
                _("track {length}").format(length=plain(end.track)),
                size,
            )
        )
        found.append(
            sheet.across(
                outside,
                end.face,
                end.x + way * tread,
                _("over wheels {length}").format(length=plain(end.width)),
                size,
            )
        )
        if end.arch_width is not None and end.arch_face is not None and not sheet.up:
            opening = (end.x if end.arch_x is None else end.arch_x) + way * (end.arch_radius or 0.0)
            found.append(
                sheet.across(
                    outside + way * _STEP * size,
                    end.arch_face,
                    opening,
                    _("arches {length}").format(length=plain(end.arch_width)),
                    size,
                    "dimension-body",
                )
            )
    return found


def _lengths(car: Car, sheet: Sheet, size: float) -> list[Dimension]:
    half = max(max(end.face, end.arch_face or 0.0) for end in car.ends)
    at = half + (1.4 if sheet.up else 2.3) * size
    front, rear = car.ends
    return [
        sheet.along(
            at,
            (0.0, max(front.face, front.arch_face or 0.0)),
            (rear.x, max(rear.face, rear.arch_face or 0.0)),
            _("wheelbase {length}").format(length=plain(car.wheelbase)),
            size,
        )
    ]
