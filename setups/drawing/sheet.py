"""The sheets that a car is drawn on: which way it points, and how large its letters are."""

from __future__ import annotations

from dataclasses import dataclass

from setups.drawing.shapes import Dimension, Point


@dataclass(frozen=True, slots=True)
class Sheet:
    """A place on a page: about ``width`` px wide, letters ``letters`` px high.

    ``up`` draws the front at the top; else it is at the left.
    """

    width: float
    letters: float
    up: bool = False

    def text_size(self, car_size: float, margins: float) -> float:
        """Text height, mm, for a car that is ``car_size`` mm across the sheet.

        ``margins`` is what stands beside the car, in text heights t. The sheet is V = car + margins t
        wide, and t / V = letters / width.
        """
        share = self.letters / self.width
        return share * car_size / (1.0 - share * margins)

    def point(self, x: float, y: float) -> Point:
        """A point of the car (x forward, y left) on the sheet, seen from above."""
        return (-y, -x) if self.up else (-x, y)

    def across(
        self, at: float, half: float, feature_x: float, text: str, size: float, kind: str = "dimension"
    ) -> Dimension:
        """A width: a dimension line across the car at x = ``at``, of features at x = ``feature_x``."""
        ends = [self.point(at, half), self.point(at, -half)]
        features = [self.point(feature_x, half), self.point(feature_x, -half)]
        return _sorted(ends, features, text, size, kind)

    def along(
        self, at: float, front: Point, rear: Point, text: str, size: float, kind: str = "dimension"
    ) -> Dimension:
        """A length: the dimension line runs along the car at y = ``at`` between two features of the car."""
        ends = [self.point(front[0], at), self.point(rear[0], at)]
        return _sorted(ends, [self.point(*front), self.point(*rear)], text, size, kind)


def _sorted(ends: list[Point], features: list[Point], text: str, size: float, kind: str) -> Dimension:
    (start, first), (end, second) = sorted(zip(ends, features, strict=True))
    return Dimension(start, end, (first, second), text, size, kind)


PHONE_PLAN = Sheet(358, 12.5, up=True)
PHONE_SIDE = Sheet(358, 12.5)
DESK = Sheet(640, 13)
