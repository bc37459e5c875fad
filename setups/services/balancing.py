"""A car on four scales: its balance, what to do about it, and a small plan with its centre of gravity."""

from __future__ import annotations

from dataclasses import dataclass

from fitcalc.balance import Balance, CornerWeights, balance
from fitcalc.dimensions import Unit
from fitcalc.fit import Geometry, evaluate
from fitcalc.parts import Body as CalcBody
from fitcalc.parts import Configuration
from fitcalc.quantities import Quantity
from setups.forms_tools import BalanceForm
from setups.models import Configuration as Set
from setups.printing import fixed, plain
from setups.services.comparing import SLOTS

SCALE_DOUBT = 0.5
RULER_DOUBT = 0.5
"""± g of a kitchen scale and ± mm of a steel rule, where none is typed; common practice, no source."""
SURE = 2.0
"""A share is called uneven from so many standard uncertainties off a half."""

MOST_SETS = 60
"""So many sets on record are offered to take the lengths from."""

WIDE, MARGIN = 360.0, 80.0
"""Width of the plan and what its letters have on either side, in its own units; about a pixel on a phone."""
LARGER, MOST_OF_IT = 10, 60.0
"""A good scale's ellipse is a dot: it is drawn ten times as large, unless it then is larger than this."""


@dataclass(frozen=True, slots=True)
class Corner:
    """One wheel on the plan: its outline, where its letters stand, and how they are set."""

    outline: str
    x: float
    y: float
    anchor: str
    weight: str
    share: str


@dataclass(frozen=True, slots=True)
class Plan:
    """The plan in SVG units, nose up; ``rx`` and ``ry`` are two standard uncertainties, ``larger`` times."""

    width: float
    height: float
    corners: list[Corner]
    axles: str
    centreline: str
    cross: str
    x: float
    y: float
    rx: float
    ry: float
    larger: int


@dataclass(frozen=True, slots=True)
class Weighed:
    """The answer; ``uneven_cross`` and ``uneven_sides`` are -1, 0 or 1, 0 where the doubt covers it."""

    balance: Balance
    uneven_cross: int
    uneven_sides: int
    plan: Plan | None
    lengths: tuple[Quantity | None, Quantity | None, Quantity | None]


def sets_on_record() -> list[tuple[str, str]]:
    """Code and name of the sets of parts to take lengths from, in two queries."""
    rows = Set.objects.select_related("platform").prefetch_related("slots")
    named = []
    for row in rows.order_by("platform__name", "name")[:MOST_SETS]:
        filled = {slot.slot: slot.part_id for slot in row.slots.all()}
        keys = [row.platform_id, row.position_id, *(filled.get(slot.value, 0) for slot in SLOTS)]
        named.append(("-".join(str(key) for key in keys), f"{row.platform}: {row.name}"))
    return named


def geometry_of(car: Configuration) -> Geometry:
    """The lengths of a car without a body."""
    return evaluate(car, CalcBody(id=0, name="no body", scale=car.platform.scale)).geometry


def weigh(form: BalanceForm, geometry: Geometry | None) -> Weighed:
    """The balance of a valid form with all four weights; ``geometry`` fills lengths that are not typed.

    Raises BalanceError where the four corners weigh nothing together.
    """
    given = form.cleaned_data
    doubt = SCALE_DOUBT if given["scale"] is None else given["scale"]
    ruler = RULER_DOUBT if given["ruler"] is None else given["ruler"]
    weights = CornerWeights(
        **{corner: Quantity.from_tolerance(given[corner], doubt, Unit.GRAM) for corner in BalanceForm.CORNERS}
    )

    def length(name: str) -> Quantity | None:
        if given[name] is not None:
            return Quantity.from_tolerance(given[name], ruler)
        return None if geometry is None else getattr(geometry, name)

    lengths = length("wheelbase"), length("front_track"), length("rear_track")
    found = balance(weights, *lengths)
    return Weighed(
        found, _uneven(found.cross), _uneven(found.left), plan_of(weights, found, *lengths), lengths
    )


def _uneven(share: Quantity) -> int:
    off = float(share.value) - 0.5
    if abs(off) <= max(SURE * float(share.u), 1e-9):
        return 0
    return 1 if off > 0 else -1


def plan_of(
    weights: CornerWeights,
    found: Balance,
    wheelbase: Quantity | None,
    front: Quantity | None,
    rear: Quantity | None,
) -> Plan | None:
    """The car from above, to scale but for its tyres; ``None`` unless all three lengths are known."""
    if wheelbase is None or front is None or rear is None or found.x is None or found.y is None:
        return None
    long, tracks = float(wheelbase.value), (float(front.value), float(rear.value))
    unit = min((WIDE - 2 * MARGIN - 24.0) / max(tracks), 300.0 / long)
    tall, wide = 0.28 * long * unit, min(0.22 * min(tracks) * unit, 26.0)
    top = tall / 2 + 14.0
    height = top + long * unit + tall / 2 + 14.0
    middle = WIDE / 2
    corners = []
    for number, weight in enumerate(weights.corners):
        axle, side = divmod(number, 2)
        sign = 1 if side else -1
        x = middle + sign * tracks[axle] * unit / 2
        y = top + axle * long * unit
        share = 100.0 * float(weight.value) / float(found.total.value)
        corners.append(
            Corner(
                outline=f"M{x - wide / 2:.1f} {y - tall / 2:.1f}h{wide:.1f}v{tall:.1f}h{-wide:.1f}z",
                x=round(x + sign * (wide / 2 + 8.0), 1),
                y=round(y, 1),
                anchor="start" if side else "end",
                weight=plain(weight, 1),
                share=f"{fixed(share, 1)} %",
            )
        )
    axles = "".join(
        f"M{middle - track * unit / 2:.1f} {top + axle * long * unit:.1f}h{track * unit:.1f}"
        for axle, track in enumerate(tracks)
    )
    x, y = middle - float(found.y.value) * unit, top - float(found.x.value) * unit
    rx, ry = SURE * float(found.y.u) * unit, SURE * float(found.x.u) * unit
    larger = LARGER if LARGER * max(rx, ry) <= MOST_OF_IT else 1
    rx, ry = larger * rx, larger * ry
    # The arms of the cross begin outside the ellipse, so that a small one is not covered.
    arms = (
        f"M{x - rx - 12:.1f} {y:.1f}h9M{x + rx + 3:.1f} {y:.1f}h9"
        f"M{x:.1f} {y - ry - 12:.1f}v9M{x:.1f} {y + ry + 3:.1f}v9"
    )
    return Plan(
        width=WIDE,
        height=round(height, 1),
        corners=corners,
        axles=axles,
        centreline=f"M{middle:.1f} 2V{height - 2:.1f}",
        cross=arms,
        x=round(x, 1),
        y=round(y, 1),
        rx=round(max(rx, 1.0), 1),
        ry=round(max(ry, 1.0), 1),
        larger=larger,
    )
