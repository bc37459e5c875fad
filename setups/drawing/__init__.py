"""Drawings of cars from their computed geometry, to scale; the templates turn them into SVG."""

from setups.drawing.limit_bar import LimitBar, bar_of, limit_bar
from setups.drawing.plan import plan
from setups.drawing.shapes import Drawing
from setups.drawing.sheet import DESK, PHONE_PLAN, PHONE_SIDE, Sheet
from setups.drawing.side import side
from setups.drawing.views import Views, views

__all__ = [
    "DESK",
    "PHONE_PLAN",
    "PHONE_SIDE",
    "Drawing",
    "LimitBar",
    "Sheet",
    "Views",
    "bar_of",
    "limit_bar",
    "plan",
    "side",
    "views",
]
