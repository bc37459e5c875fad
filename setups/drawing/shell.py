"""The shell in plan: nose, arch widths and openings as measured, the lines between them as a sketch."""

from __future__ import annotations

from dataclasses import dataclass

from setups.drawing.car import Car, End
from setups.drawing.shapes import Curve, Line, Point, Shape
from setups.drawing.sheet import Sheet

_LIP = 0.13
"""How far a lip reaches inboard beside its opening, of half the width."""


@dataclass(frozen=True, slots=True)
class Opening:
    """One arch in plan: where it begins (nearer the nose) and ends, and how far out its edge stands."""

    start: float
    end: float
    half: float


def _opening(car: Car, end: End, half: float) -> Opening:
    middle = end.x if end.arch_x is None else end.arch_x
    radius = end.arch_radius if end.arch_radius is not None else end.tyre_diameter / 2
    start = min(middle + radius, car.nose_x - 0.1 * abs(car.nose_x - middle))
    return Opening(start, middle - radius, half)


def plan_shell(car: Car, sheet: Sheet, kind: str = "") -> list[Shape]:
    """Outline, openings and glass of the body; nothing if neither arch width is known.

    With ``kind`` all of it is drawn as that kind, for a second car over the first.
    """
    front_half, rear_half = car.front.arch_face, car.rear.arch_face
    if front_half is None and rear_half is None:
        return []
    front = _opening(car, car.front, front_half or rear_half or 0.0)
    rear = _opening(car, car.rear, rear_half or front_half or 0.0)
    shapes: list[Shape] = []
    for side in (1, -1):
        pieces = _outline(car, front, rear, side)
        if side == 1:
            whole = _whole(pieces)
            if not kind:
                shapes.append(Curve("shell", tuple(sheet.point(*p) for p in whole), closed=True))
        shapes += [Curve(kind or "sketch", tuple(sheet.point(*p) for p in piece)) for piece in pieces]
        for end, opening in ((car.front, front), (car.rear, rear)):
            shapes += _arch(end, opening, side, sheet, kind)
    if not kind:
        shapes += _glass(front, rear, sheet)
    return shapes


def _outline(car: Car, front: Opening, rear: Opening, side: int) -> list[list[Point]]:
    """Nose, sill and tail of one side, each a start and Bézier points."""
    nose, tail = car.nose_x, car.tail_x
    ahead, behind, sill = nose - front.start, rear.end - tail, front.start - rear.end
    f, r = front.half, rear.half
    nose_piece = [
        (nose, 0.0),
        (nose, 0.36 * f),
        (nose - 0.05 * ahead, 0.6 * f),
        (nose - 0.28 * ahead, 0.8 * f),
        (nose - 0.5 * ahead, 0.94 * f),
        (front.start + 0.2 * ahead, f),
        (front.start, f),
    ]
    sill_piece = [
        (front.end, f),
        (front.end - 0.12 * sill, 0.9 * f),
        (rear.start + 0.14 * sill, 0.9 * r),
        (rear.start, r),
    ]
    tail_piece = [
        (rear.end, r),
        (rear.end - 0.35 * behind, r),
        (tail + 0.42 * behind, 0.96 * r),
        (tail + 0.16 * behind, 0.84 * r),
        (tail + 0.02 * behind, 0.76 * r),
        (tail, 0.5 * r),
        (tail, 0.0),
    ]
    return [[(x, side * y) for x, y in piece] for piece in (nose_piece, sill_piece, tail_piece)]


def _straight(start: Point, end: Point) -> list[Point]:
    return [start, end, end]


def _whole(pieces: list[list[Point]]) -> list[Point]:
    """The closed outline from one side's pieces: that side, the openings bridged, and its mirror image."""
    half = list(pieces[0])
    for piece in pieces[1:]:
        half += _straight(half[-1], piece[0])
        half += piece[1:]
    mirrored = [(x, -y) for x, y in reversed(half)]
    return half + mirrored[1:]


def _arch(end: End, opening: Opening, side: int, sheet: Sheet, kind: str) -> list[Shape]:
    """The opening in the side: two lips and the arch's edge between them."""
    y, inboard = side * opening.half, side * opening.half * (1 - _LIP)
    edge = (sheet.point(opening.start, y), sheet.point(opening.end, y))
    if end.arch_radius is None or end.arch_x is None or end.arch_width is None:
        return [Line(kind or "sketch", edge)]
    lips = [
        Line(kind or "lip", (sheet.point(x, y), sheet.point(x, inboard)))
        for x in (opening.start, opening.end)
    ]
    return [Line(kind or "arch", edge), *lips]


def _glass(front: Opening, rear: Opening, sheet: Sheet) -> list[Shape]:
    """A screen, a roof and a rear window, as a car has them somewhere."""
    length, half = front.start - rear.end, min(front.half, rear.half)
    screen, roof_front = front.end + 0.06 * length, front.end - 0.14 * length
    roof_rear, window = rear.start + 0.12 * length, rear.start - 0.1 * length
    shapes: list[Shape] = [
        Curve(
            "sketch",
            tuple(sheet.point(*p) for p in ((x, -h), (x + bulge, -0.5 * h), (x + bulge, 0.5 * h), (x, h))),
        )
        for x, h, bulge in (
            (screen, 0.68 * half, 0.05 * length),
            (roof_front, 0.52 * half, 0.03 * length),
            (roof_rear, 0.52 * half, -0.015 * length),
            (window, 0.62 * half, -0.03 * length),
        )
    ]
    for side in (1, -1):
        corners = ((screen, 0.68), (roof_front, 0.52), (roof_rear, 0.52), (window, 0.62))
        shapes.append(Line("sketch", tuple(sheet.point(x, side * h * half) for x, h in corners)))
    return shapes
