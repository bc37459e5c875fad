"""All the drawings of one car that a page carries: the sheets for a phone and for a desk."""

from __future__ import annotations

from dataclasses import dataclass

from fitcalc.fit import FitReport
from setups.drawing.car import car_of
from setups.drawing.plan import plan
from setups.drawing.shapes import Drawing
from setups.drawing.sheet import DESK, PHONE_PLAN, PHONE_SIDE
from setups.drawing.side import side


@dataclass(frozen=True, slots=True)
class Views:
    """Plan and side view, twice: the style sheet shows the pair that suits the width."""

    desk_plan: Drawing
    desk_side: Drawing
    phone_plan: Drawing
    phone_side: Drawing


def views(report: FitReport, second: FitReport | None = None) -> Views:
    """The drawings of ``report``; the car of ``second``, if given, in dashes over it."""
    car, other = car_of(report), None if second is None else car_of(second)
    desk = plan(car, DESK, other)
    return Views(
        desk_plan=desk,
        desk_side=side(car, DESK, other, under=desk),
        phone_plan=plan(car, PHONE_PLAN, other),
        phone_side=side(car, PHONE_SIDE, other),
    )
