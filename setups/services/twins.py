"""The same width by other means is not the same car: what changes beside the designated front end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fitcalc.fit import across_of
from fitcalc.quantities import Quantity
from fitcalc.solver import Match

SAME_WIDTH = 0.5
"""Two front ends give the same overall width within this, mm."""


@dataclass(frozen=True, slots=True)
class Beside:
    """Figures of the designated configuration (``was``) and of this one (``now``), mm and degrees."""

    scrub_was: Quantity
    scrub_now: Quantity
    lock_was: Quantity
    lock_now: Quantity
    travel_was: Quantity | None
    travel_now: Quantity | None


def beside(match: Match, matches: Sequence[Match]) -> Beside | None:
    """What differs from the designated configuration, where ``match`` has its width on another front end.

    ``None`` if ``match`` is on the designated front end, none is stated or listed, or the width differs.
    """
    stated = match.report.body.designated_front_width
    if match.designated or stated is None:
        return None
    meant = next((other for other in matches if other.designated), None)
    if meant is None:
        return None
    was, now = meant.report, match.report
    fronts = [r.configuration.front_suspension for r in (was, now)]
    if across_of(was.configuration.platform, fronts[0]) == across_of(now.configuration.platform, fronts[1]):
        return None
    if abs(was.geometry.front_width.value - now.geometry.front_width.value) > SAME_WIDTH:
        return None
    return Beside(
        scrub_was=was.geometry.scrub_radius,
        scrub_now=now.geometry.scrub_radius,
        lock_was=_lock(was.geometry),
        lock_now=_lock(now.geometry),
        travel_was=was.geometry.front_wheel_travel,
        travel_now=now.geometry.front_wheel_travel,
    )


def _lock(geometry) -> Quantity:
    return min(geometry.lock_inward, geometry.lock_outward, key=lambda lock: lock.value)
