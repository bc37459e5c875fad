"""A body as a list shows it."""

from __future__ import annotations

from dataclasses import dataclass

from fitcalc.dimensions import BODY_DIMENSIONS
from fitcalc.quantities import Quantity
from fitcalc.scale import predicted_wheelbase
from setups.models import Body


@dataclass(frozen=True, slots=True)
class Profile:
    """A body's arches at their wheelbase, seen from the side: a path in a box of mm at 1:28.

    The box is the same for all bodies, so that cards of one scale compare by eye.
    """

    path: str
    box: str = "-24 -21 160 23"

    @classmethod
    def of_lengths(cls, scale: int, wheelbase: float, front: float | None, rear: float | None) -> Profile:
        """``front`` and ``rear`` are the arches' radii; one that is not known is a mere mark. mm."""
        to_box = scale / 28
        drawn = ["M-22 0"]
        for at, radius in ((0.0, front), (wheelbase * to_box, rear)):
            if radius is None:
                drawn.append(f"H{at:.1f}v-9v9")
            else:
                r = min(radius * to_box, 20.0)
                drawn.append(f"H{at - r:.1f}a{r:.1f} {r:.1f} 0 0 1 {2 * r:.1f} 0")
        return cls(f"{''.join(drawn)}H{wheelbase * to_box + 22:.1f}")


@dataclass(frozen=True, slots=True)
class Card:
    """A body as the list shows it."""

    body: Body
    wheelbase: Quantity | None
    predicted: bool
    known: int
    profile: Profile | None
    of: int = len(BODY_DIMENSIONS)

    @classmethod
    def of_body(cls, body: Body) -> Card:
        """Reads ``dimensions``: prefetch them."""
        known = {row.quantity: row.quantity_value() for row in body.dimensions.all()}
        wheelbase = known.get("wheelbase")
        predicted = wheelbase is None and body.full_size_wheelbase is not None
        if predicted:
            wheelbase = predicted_wheelbase(float(body.full_size_wheelbase), body.scale)
        profile = None
        if wheelbase is not None:
            front, rear = (
                None if radius is None else float(radius.value)
                for radius in (known.get("front_arch_radius"), known.get("rear_arch_radius"))
            )
            profile = Profile.of_lengths(body.scale, float(wheelbase.value), front, rear)
        return cls(body, wheelbase, predicted, len(known), profile)
