"""The same width by other means is not the same car: what changes beside the designated front end.

Two cars are as wide as each other if their widths differ by no more than the platform's flush band.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

from fitcalc.candidates import WIDTH_AGREES
from fitcalc.fit import FitReport, evaluate
from fitcalc.groups import across_of
from fitcalc.parts import Axle, Catalogue, Configuration, FrontSuspension, Spacer, Wheel
from fitcalc.quantities import Quantity
from fitcalc.solver import Match
from fitcalc.wheel import overall_width


@dataclass(frozen=True, slots=True)
class Beside:
    """A car on the designated front end (``was``) beside one as wide on another (``now``)."""

    was: FitReport
    now: FitReport

    @property
    def more_offset(self) -> bool:
        """True if the other front end is narrower, and its wheels make up for it."""
        return _across(self.now) < _across(self.was)

    @property
    def scrub_was(self) -> Quantity:
        return self.was.geometry.scrub_radius

    @property
    def scrub_now(self) -> Quantity:
        return self.now.geometry.scrub_radius

    @property
    def lock_was(self) -> Quantity | None:
        """The smaller of the two locks; ``None`` where the arch that ends it is not known."""
        return _lock(self.was)

    @property
    def lock_now(self) -> Quantity | None:
        return _lock(self.now)

    @property
    def travel_was(self) -> Quantity | None:
        """How far the front wheel rises in full bump."""
        return self.was.geometry.front_wheel_travel

    @property
    def travel_now(self) -> Quantity | None:
        return self.now.geometry.front_wheel_travel


def beside(match: Match, matches: Sequence[Match]) -> Beside | None:
    """The designated configuration beside ``match``, where that has its width on another front end.

    Of the designated ones that on the same front tyre is taken, for a fair comparison. ``None`` if ``match``
    is on the designated front end, none is stated or listed, or the width differs.
    """
    if match.designated or match.report.body.designated_front_width is None:
        return None
    tyre = match.report.configuration.front_tyre
    meant = [other.report for other in matches if other.designated]
    if not meant:
        return None
    same_tyre = (report for report in meant if report.configuration.front_tyre.id == tyre.id)
    was, now = next(same_tyre, meant[0]), match.report
    if abs(_across(was) - _across(now)) <= WIDTH_AGREES:
        return None
    if abs(was.geometry.front_width.value - now.geometry.front_width.value) > _band(now):
        return None
    return Beside(was, now)


def as_wide(match: Match, catalogue: Catalogue) -> Beside | None:
    """A designated ``match`` beside the same car on another front end whose wheels make it as wide.

    It need not fit: what it would be is the answer to why it is not listed first. ``None`` if nothing sold
    comes as wide.
    """
    if not match.designated or match.report.body.designated_front_width is None:
        return None
    configuration = match.report.configuration
    meant = _across(match.report)
    width = match.report.geometry.front_width.value
    others = [
        suspension
        for suspension in catalogue.front_suspensions
        if abs(across_of(configuration.platform, suspension) - meant) > WIDTH_AGREES
    ]
    rims = [rim for rim in catalogue.wheels if Axle.FRONT in rim.axles]
    spacers = [None, *(spacer for spacer in catalogue.spacers if Axle.FRONT in spacer.axles)]
    found: list[tuple[float, Configuration]] = []
    for suspension, rim, spacer in product(others, rims, spacers):
        off = abs(_width(suspension, rim, spacer) - width)
        if off <= _band(match.report):
            changed = {"front_suspension": suspension, "front_wheel": rim, "front_spacer": spacer}
            found.append((off, replace(configuration, **changed)))
    if not found:
        return None
    _, other = min(found, key=lambda pair: pair[0])
    return Beside(match.report, evaluate(other, match.report.body, catalogue.pairs))


def _across(report: FitReport) -> float:
    return across_of(report.configuration.platform, report.configuration.front_suspension)


def _band(report: FitReport) -> float:
    return report.configuration.platform.criteria.flush_band + 1e-9


def _width(suspension: FrontSuspension, rim: Wheel, spacer: Spacer | None) -> float:
    thickness = 0.0 if spacer is None else spacer.thickness.value
    return overall_width(suspension.hub_width.value, rim.offset.value, rim.rim_width.value, thickness)


def _lock(report: FitReport) -> Quantity | None:
    if report.body.front_arch_radius is None:
        return None
    geometry = report.geometry
    return min(geometry.lock_inward, geometry.lock_outward, key=lambda lock: lock.value)
