"""Does this configuration fit under this body? Every rule, and the geometry behind the answer.

``evaluate`` runs the code that judges whole catalogues (``fitcalc.groups``) with one candidate, so a
single answer and a search never disagree.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fitcalc import steering
from fitcalc.chain import WheelbaseChain, chain_of
from fitcalc.findings import Check, Finding, Rule, Verdict
from fitcalc.groups import (
    ChainGroup,
    EndGroup,
    Placing,
    across_of,
    chain_group,
    front_group,
    placing_of,
    rear_arch_check,
    rear_group,
)
from fitcalc.pairs import clashes, tyre_sits_on
from fitcalc.parts import Axle, Body, Configuration, PairRules
from fitcalc.quantities import Quantity
from fitcalc.remedies import analytic

__all__ = ["FitReport", "Geometry", "across_of", "assemble", "evaluate", "pair_conflicts"]


@dataclass(frozen=True, slots=True)
class Geometry:
    """Everything geometric that follows from a configuration (and a body), each with its doubt.

    Widths, tracks, lengths and clearances in mm, steer angles in degrees; ``None`` where a dimension that
    it hangs on is not known. Centring is fore-and-aft: ``front_centring`` is how far the body sits forward
    of its place, ``rear_centring`` how far the rear wheel stands forward of the middle of its arch.
    """

    front_width: Quantity
    rear_width: Quantity
    front_track: Quantity
    rear_track: Quantity
    scrub_radius: Quantity
    kingpin_spacing: Quantity
    wheelbase: Quantity
    chain: WheelbaseChain
    front_centring: Quantity
    rear_centring: Quantity | None
    front_flush: Quantity | None
    rear_flush: Quantity | None
    front_arch_clearance: Quantity | None
    rear_arch_clearance: Quantity | None
    front_wheel_travel: Quantity | None
    rear_wheel_travel: Quantity | None
    lock_inward: Quantity
    lock_outward: Quantity
    front_tyre_diameter: Quantity
    front_tyre_width: Quantity
    rear_tyre_diameter: Quantity
    rear_tyre_width: Quantity
    body_width: float | None
    front_overhang: float | None

    @property
    def turn(self) -> steering.Turn | None:
        """The tightest turn inside both locks, by Ackermann; ``None`` where the wheels cannot steer."""
        if min(self.lock_inward.value, self.lock_outward.value) <= 0:
            return None
        return steering.turn(
            self.wheelbase.value,
            self.kingpin_spacing.value,
            self.scrub_radius.value,
            self.lock_inward.value,
            self.lock_outward.value,
            self.body_width,
            self.front_overhang,
        )

    @property
    def turning_circle(self) -> float | None:
        """Diameter, mm, of the circle that the middle of the outer front tyre rolls on at full lock."""
        turn = self.turn
        return None if turn is None else 2.0 * float(turn.outer_wheel_radius)


@dataclass(frozen=True, slots=True)
class FitReport:
    """A configuration under a body: the findings, worst news not sorted, and the geometry behind them."""

    configuration: Configuration
    body: Body
    findings: tuple[Finding, ...]
    geometry: Geometry

    @property
    def verdict(self) -> Verdict:
        """The gravest of the findings' verdicts."""
        return max((finding.verdict for finding in self.findings), key=lambda verdict: verdict.gravity)

    @property
    def fits(self) -> bool:
        """True if every rule holds nominally."""
        return all(finding.holds for finding in self.findings)

    @property
    def failing(self) -> tuple[Finding, ...]:
        """The findings that do not hold."""
        return tuple(finding for finding in self.findings if not finding.holds)

    def finding(self, rule: Rule, axle: Axle | None = None) -> Finding | None:
        """The finding of ``rule`` (at ``axle``), if there is one."""
        return next((f for f in self.findings if f.rule is rule and f.axle is axle), None)


def assemble(
    configurations: Sequence[Configuration],
    body: Body,
    placing: Placing,
    front: tuple[EndGroup, Any],
    rear: tuple[EndGroup, Any],
    chain: tuple[ChainGroup, Any],
    rear_arch: tuple[Check, Any],
) -> list[FitReport]:
    """The reports of n configurations, taken out of their groups at the given integer arrays of n."""
    (f, fi), (r, ri), (c, ci), (a, ai) = front, rear, chain, rear_arch
    assert f.scrub_radius is not None
    assert f.kingpin_spacing is not None
    assert f.lock_inward is not None
    assert f.lock_outward is not None
    findings = zip(
        *(check.findings(ci) for check in c.checks.checks),
        placing.check.findings(np.zeros(len(ci), dtype=int)),
        *(check.findings(fi) for check in f.checks.checks),
        *(check.findings(ri) for check in r.checks.checks),
        a.findings(ai),
        strict=True,
    )
    widths = [q.value for q in (body.front_arch_width, body.rear_arch_width) if q is not None]
    geometry: Iterable[tuple[Any, ...]] = zip(
        f.width.rows(fi),
        r.width.rows(ri),
        f.track.rows(fi),
        r.track.rows(ri),
        f.scrub_radius.rows(fi),
        f.kingpin_spacing.rows(fi),
        c.wheelbase.rows(ci),
        [chain_of(k.platform, k.motor_mount, k.plate, k.position) for k in configurations],
        placing.centring.rows(fi),
        _rows(c.centring, ci),
        _rows(f.flush, fi),
        _rows(r.flush, ri),
        _rows(f.arch_clearance, fi),
        _rows(a.found, ai),
        f.wheel_travel.rows(fi),
        r.wheel_travel.rows(ri),
        f.lock_inward.rows(fi),
        f.lock_outward.rows(fi),
        f.tyre_diameter.rows(fi),
        f.tyre_width.rows(fi),
        r.tyre_diameter.rows(ri),
        r.tyre_width.rows(ri),
        strict=True,
    )
    overhang: Any = None if body.nose_reach is None else body.nose_reach.value
    width: Any = max(widths) if widths else None
    return [
        FitReport(
            configuration,
            body,
            tuple(f if f.holds and not f.missing else analytic(f, configuration, body) for f in row),
            Geometry(*(*figures, width, overhang)),
        )
        for configuration, row, figures in zip(configurations, findings, geometry, strict=True)
    ]


def _rows(quantity: Quantity | None, index: Any) -> Sequence[Quantity | None]:
    return [None] * len(index) if quantity is None else quantity.rows(index)


def pair_conflicts(configuration: Configuration, pairs: PairRules) -> list[Finding]:
    """A failed finding for each two parts of the configuration that do not go together."""
    names = {part.id: part.name for _, part in configuration.parts()}
    filled = {slot: part.id for slot, part in configuration.parts()}
    found = [
        (names[part], "its own partner" if other is None else names[other])
        for part, other in clashes(filled, pairs)
    ]
    for axle in Axle:
        rim = getattr(configuration, f"{axle.value}_wheel")
        tyre = getattr(configuration, f"{axle.value}_tyre")
        spacer = getattr(configuration, f"{axle.value}_spacer")
        if not tyre_sits_on(tyre, rim):
            found.append((tyre.name, rim.name))
        for part in (rim, tyre, spacer):
            if part is not None and axle not in part.axles:
                found.append((part.name, f"the {axle.value} axle"))
    return [
        Finding(Rule.PAIRS, None, Verdict.FAILS, False, found_word=first, required_word=second)
        for first, second in dict.fromkeys(found)
    ]


def evaluate(configuration: Configuration, body: Body, pairs: PairRules | None = None) -> FitReport:
    """Every rule for one configuration under one body.

    Never raises for missing dimensions: what hangs on them is found UNKNOWN. ``pairs`` adds the
    library's rules about which parts go together.
    """
    platform = configuration.platform
    placing = placing_of(platform, body, configuration.body_mount)
    front = front_group(
        platform,
        body,
        placing,
        [configuration.front_suspension],
        [configuration.front_wheel],
        [configuration.front_tyre],
        [configuration.front_spacer],
    )
    rear = rear_group(
        platform,
        body,
        [configuration.rear_axle],
        [configuration.rear_wheel],
        [configuration.rear_tyre],
        [configuration.rear_spacer],
    )
    chain = chain_group(
        platform, body, placing, [configuration.motor_mount], [configuration.plate], [configuration.position]
    )
    arch = rear_arch_check(body, platform, rear.tyre_diameter, chain.centring)
    one = np.zeros(1, dtype=int)
    (report,) = assemble([configuration], body, placing, (front, one), (rear, one), (chain, one), (arch, one))
    clashes = tuple(pair_conflicts(configuration, pairs or PairRules()))
    return replace(report, findings=report.findings + clashes)
