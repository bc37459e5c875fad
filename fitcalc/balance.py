"""Four corner weights -> how the car's mass is spread, and where its centre of gravity lies, seen from above.

The car stands level on four scales, wheels straight ahead. Frame after ISO 8855: x forward, y to the left,
the middle of the front axle being the datum, so x of the centre of gravity is negative, behind it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from fitcalc.dimensions import Unit
from fitcalc.quantities import Quantity, Real, linear_sum, propagate
from fitcalc.said import said


class BalanceError(ValueError):
    """Weights that no car standing on four scales can have."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerWeights:
    """What each scale shows, g. Raises BalanceError if one is below zero, or if nothing weighs anything."""

    front_left: Quantity
    front_right: Quantity
    rear_left: Quantity
    rear_right: Quantity

    def __post_init__(self) -> None:
        corners = self.corners
        if any(corner.unit is not Unit.GRAM for corner in corners):
            raise BalanceError(said("corner weights are in grams; convert them first"))
        if any(corner.value < 0.0 for corner in corners):
            raise BalanceError(said("a corner weight is below zero; zero the scale, then weigh again"))
        if not sum(corner.value for corner in corners) > 0.0:
            raise BalanceError(said("the four corners weigh nothing together; weigh all four wheels"))

    @property
    def corners(self) -> tuple[Quantity, Quantity, Quantity, Quantity]:
        """Front left, front right, rear left, rear right."""
        return self.front_left, self.front_right, self.rear_left, self.rear_right


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """How the mass is spread: ``total`` in g; shares of the total, 0 to 1; the centre of gravity in mm.

    ``cross`` is the share on front right and rear left together; 0.5 is even, and above it the car has more
    on that diagonal. ``x`` is from the front axle, negative backwards, ``y`` from the middle to the left;
    ``None`` where the wheelbase or a track is not known.
    """

    total: Quantity
    front: Quantity
    rear: Quantity
    left: Quantity
    right: Quantity
    cross: Quantity
    x: Quantity | None
    y: Quantity | None


def front_share(front_left: Real, front_right: Real, rear_left: Real, rear_right: Real) -> Real:
    """Share of the weight on the front axle."""
    return (front_left + front_right) / (front_left + front_right + rear_left + rear_right)


def left_share(front_left: Real, front_right: Real, rear_left: Real, rear_right: Real) -> Real:
    """Share of the weight on the left wheels."""
    return (front_left + rear_left) / (front_left + front_right + rear_left + rear_right)


def cross_share(front_left: Real, front_right: Real, rear_left: Real, rear_right: Real) -> Real:
    """Share of the weight on the front right and rear left wheels, the cross weight."""
    return (front_right + rear_left) / (front_left + front_right + rear_left + rear_right)


def centre_x(front_left: Real, front_right: Real, rear_left: Real, rear_right: Real, wheelbase: Real) -> Real:
    """x of the centre of gravity: moments about the front axle, x = -L (rear share)."""
    return -wheelbase * (1.0 - front_share(front_left, front_right, rear_left, rear_right))


def centre_y(
    front_left: Real,
    front_right: Real,
    rear_left: Real,
    rear_right: Real,
    front_track: Real,
    rear_track: Real,
) -> Real:
    """y of the centre of gravity: moments about the centreline, each wheel half its track out."""
    total = front_left + front_right + rear_left + rear_right
    return ((front_left - front_right) * front_track + (rear_left - rear_right) * rear_track) / (2.0 * total)


def balance(
    weights: CornerWeights,
    wheelbase: Quantity | None = None,
    front_track: Quantity | None = None,
    rear_track: Quantity | None = None,
) -> Balance:
    """The balance of a car with these corner weights; ``wheelbase`` and tracks in mm.

    The four readings are taken as independent (JCGM 100, 5.1.2), also on one scale: its common error scales
    all four alike and leaves the shares as they are.
    """
    corners = weights.corners

    def share(of: Callable[..., Real]) -> Quantity:
        return propagate(of, *corners, unit=Unit.NONE)

    front, left = share(front_share), share(left_share)
    x = None if wheelbase is None else propagate(centre_x, *corners, wheelbase)
    y = None
    if front_track is not None and rear_track is not None:
        y = propagate(centre_y, *corners, front_track, rear_track)
    return Balance(
        total=linear_sum(*((1.0, corner) for corner in corners)),
        front=front,
        rear=_rest(front),
        left=left,
        right=_rest(left),
        cross=share(cross_share),
        x=x,
        y=y,
    )


def _rest(share: Quantity) -> Quantity:
    """One less the share, as doubtful as it."""
    return Quantity(1.0 - share.value, share.u, share.unit, share.limit)
