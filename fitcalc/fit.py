"""Does this configuration fit under this body? Every rule, and the geometry behind the answer.

``evaluate`` runs the code that judges whole catalogues (``fitcalc.groups``) with one candidate, and
``evaluate_all`` with several, so a single answer and a search never disagree.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from fitcalc import steering
from fitcalc.chain import WheelbaseChain, chain_of
from fitcalc.findings import Check, Finding, Remedy, Rule, Verdict
from fitcalc.groups import (
    ChainGroup,
    Column,
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
from fitcalc.parts import Axle, Body, Configuration, PairRules, Platform
from fitcalc.quantities import Quantity
from fitcalc.remedies import analytic
from fitcalc.said import said

__all__ = ["FitReport", "Geometry", "Judged", "across_of", "evaluate", "evaluate_all", "pair_conflicts"]


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


@dataclass(frozen=True, eq=False)
class Judged:
    """n configurations of one platform and body mount under one body, judged together.

    ``front``, ``rear``, ``chain`` and ``rear_arch`` each come with an integer array of n, which says where in
    them each configuration is. What a report shows is taken out for all of them when the first one asks.
    """

    configurations: Sequence[Configuration]
    body: Body
    placing: Placing
    front: tuple[EndGroup, Any]
    rear: tuple[EndGroup, Any]
    chain: tuple[ChainGroup, Any]
    rear_arch: tuple[Check, Any]

    @cached_property
    def checks(self) -> tuple[tuple[Check, Any], ...]:
        """Every rule with the rows of the configurations in it."""
        return (
            *((check, self.chain[1]) for check in self.chain[0].checks.checks),
            (self.placing.check, np.zeros(len(self.configurations), dtype=int)),
            *((check, self.front[1]) for check in self.front[0].checks.checks),
            *((check, self.rear[1]) for check in self.rear[0].checks.checks),
            self.rear_arch,
        )

    def _each(self, name: str) -> Iterator[Any]:
        """The figure ``name`` of every check, as an array of n or a scalar."""
        for check, rows in self.checks:
            figures = np.asarray(getattr(check, name))
            yield figures[rows] if figures.ndim else figures

    @cached_property
    def _alike(self) -> dict[int, tuple[Any, Any, list[int]]]:
        """By the identity of an array of rows: the array, held so that no other gets its identity, its
        distinct rows, and where each row is among them."""
        return {}

    def _once(self, rows: Any, made: Callable[[Any], Sequence[Any]]) -> Sequence[Any]:
        """``made(rows)``, with one thing for all rows that are the same: most differ in one group only."""
        if id(rows) not in self._alike:
            distinct, places = np.unique(rows, return_inverse=True)
            self._alike[id(rows)] = (rows, distinct, places.tolist())
        _, which, back = self._alike[id(rows)]
        if len(which) == len(back):
            return made(rows)
        things = made(which)
        return [things[place] for place in back]

    @cached_property
    def verdicts(self) -> list[Verdict]:
        """The gravest verdict on each configuration."""
        worst = np.zeros(len(self.configurations), dtype=int)
        for gravity in self._each("gravity"):
            worst = np.maximum(worst, gravity)
        return [Verdict.of_gravity(gravity) for gravity in worst.tolist()]

    @cached_property
    def holding(self) -> Any:
        """Boolean array (n, rules): which of ``checks`` hold."""
        shape = (len(self.configurations),)
        return np.stack([np.broadcast_to(holds, shape) for holds in self._each("holds")], axis=1)

    @cached_property
    def findings(self) -> list[tuple[Finding, ...]]:
        """The findings on each configuration, with what its geometry says would mend them."""
        columns = (self._once(rows, check.findings) for check, rows in self.checks)
        return [
            tuple(f if f.holds and not f.missing else analytic(f, one, self.body) for f in row)
            for one, row in zip(self.configurations, zip(*columns, strict=True), strict=True)
        ]

    @cached_property
    def geometries(self) -> list[Geometry]:
        """What follows from each configuration."""
        (f, fi), (r, ri), (c, ci), (a, ai) = self.front, self.rear, self.chain, self.rear_arch
        assert f.scrub_radius is not None
        assert f.kingpin_spacing is not None
        assert f.lock_inward is not None
        assert f.lock_outward is not None
        body = self.body
        widths = [q.value for q in (body.front_arch_width, body.rear_arch_width) if q is not None]
        overhang: Any = None if body.nose_reach is None else body.nose_reach.value
        width: Any = max(widths) if widths else None

        def rows(quantity: Quantity | Column | None, index: Any) -> Sequence[Quantity | None]:
            return [None] * len(index) if quantity is None else self._once(index, quantity.rows)

        chains: dict[Any, WheelbaseChain] = {}

        def chain(platform: Platform, *links: Any) -> WheelbaseChain:
            key = tuple(link.id for link in links)
            if key not in chains:
                chains[key] = chain_of(platform, *links)
            return chains[key]

        columns: Iterable[tuple[Any, ...]] = zip(
            rows(f.width, fi),
            rows(r.width, ri),
            rows(f.track, fi),
            rows(r.track, ri),
            rows(f.scrub_radius, fi),
            rows(f.kingpin_spacing, fi),
            rows(c.wheelbase, ci),
            [chain(k.platform, k.motor_mount, k.plate, k.position) for k in self.configurations],
            rows(self.placing.centring, fi),
            rows(c.centring, ci),
            rows(f.flush, fi),
            rows(r.flush, ri),
            rows(f.arch_clearance, fi),
            rows(a.found, ai),
            rows(f.wheel_travel, fi),
            rows(r.wheel_travel, ri),
            rows(f.lock_inward, fi),
            rows(f.lock_outward, fi),
            rows(f.tyre_diameter, fi),
            rows(f.tyre_width, fi),
            rows(r.tyre_diameter, ri),
            rows(r.tyre_width, ri),
            strict=True,
        )
        return [Geometry(*(*figures, width, overhang)) for figures in columns]

    def reports(self) -> list[FitReport]:
        """A report for each configuration, in order."""
        return [FitReport(self, row) for row in range(len(self.configurations))]


@dataclass(frozen=True, eq=False)
class FitReport:
    """A configuration under a body: the findings, worst news not sorted, and the geometry behind them.

    It is row ``row`` of ``judged``; findings and geometry are made when they are first asked for. ``clashes``
    are findings about parts that do not go together; ``swaps`` names the parts of a library that would mend a
    failed finding.
    """

    judged: Judged
    row: int
    clashes: tuple[Finding, ...] = ()
    swaps: Callable[[Finding], tuple[Remedy, ...]] | None = None

    @property
    def configuration(self) -> Configuration:
        return self.judged.configurations[self.row]

    @property
    def body(self) -> Body:
        return self.judged.body

    @property
    def geometry(self) -> Geometry:
        return self.judged.geometries[self.row]

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """Every rule's answer; of what fails, the parts that would mend it come first among the remedies."""
        findings = self.judged.findings[self.row]
        if self.swaps is not None:
            findings = tuple(
                f if f.holds else replace(f, remedies=self.swaps(f) + f.remedies) for f in findings
            )
        return findings + self.clashes

    @property
    def verdict(self) -> Verdict:
        """The gravest of the findings' verdicts."""
        return Verdict.FAILS if self.clashes else self.judged.verdicts[self.row]

    @property
    def fits(self) -> bool:
        """True if every rule holds nominally."""
        return not self.clashes and bool(self.judged.holding[self.row].all())

    @property
    def failed(self) -> frozenset[tuple[Rule, Axle | None]]:
        """Which rules of the geometry do not hold, and at which axle."""
        held = self.judged.holding[self.row].tolist()
        checks = self.judged.checks
        return frozenset((c.rule, c.axle) for (c, _), holds in zip(checks, held, strict=True) if not holds)

    @property
    def failing(self) -> tuple[Finding, ...]:
        """The findings that do not hold."""
        return tuple(finding for finding in self.findings if not finding.holds)

    def finding(self, rule: Rule, axle: Axle | None = None) -> Finding | None:
        """The finding of ``rule`` (at ``axle``), if there is one."""
        return next((f for f in self.findings if f.rule is rule and f.axle is axle), None)


_AXLE_WORDS = {Axle.FRONT: said("the front axle"), Axle.REAR: said("the rear axle")}


def pair_conflicts(configuration: Configuration, pairs: PairRules) -> list[Finding]:
    """A failed finding for each two parts of the configuration that do not go together."""
    names = {part.id: part.name for _, part in configuration.parts()}
    filled = {slot: part.id for slot, part in configuration.parts()}
    found = [
        (names[part], said("its own partner") if other is None else names[other])
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
                found.append((part.name, _AXLE_WORDS[axle]))
    return [
        Finding(Rule.PAIRS, None, Verdict.FAILS, False, found_word=first, required_word=second)
        for first, second in dict.fromkeys(found)
    ]


def evaluate(configuration: Configuration, body: Body, pairs: PairRules | None = None) -> FitReport:
    """Every rule for one configuration under one body.

    Never raises for missing dimensions: what hangs on them is found UNKNOWN. ``pairs`` adds the
    library's rules about which parts go together.
    """
    (report,) = evaluate_all([configuration], body, pairs)
    return report


def evaluate_all(
    configurations: Sequence[Configuration], body: Body, pairs: PairRules | None = None
) -> list[FitReport]:
    """As ``evaluate``, for several configurations of one platform and one front body mount at once.

    Some hundreds of them take little longer than one. At least one; raises ValueError if they differ in
    platform or body mount.
    """
    first = configurations[0]
    platform, mount = first.platform, first.body_mount
    if any(one.platform != platform or one.body_mount != mount for one in configurations):
        raise ValueError("Configurations of one platform and one body mount can be judged at once.")
    each = np.arange(len(configurations))

    def column(name: str) -> list[Any]:
        return [getattr(one, name) for one in configurations]

    placing = placing_of(platform, body, mount)
    front = front_group(
        platform,
        body,
        placing,
        column("front_suspension"),
        column("front_wheel"),
        column("front_tyre"),
        column("front_spacer"),
        (each,) * 4,
    )
    rear = rear_group(
        platform,
        body,
        column("rear_axle"),
        column("rear_wheel"),
        column("rear_tyre"),
        column("rear_spacer"),
        (each,) * 4,
    )
    chain = chain_group(
        platform, body, placing, column("motor_mount"), column("plate"), column("position"), (each,) * 3
    )
    arch = rear_arch_check(body, platform, rear.tyre_diameter, chain.centring)
    judged = Judged(configurations, body, placing, (front, each), (rear, each), (chain, each), (arch, each))
    rules = pairs or PairRules()
    return [
        replace(report, clashes=tuple(pair_conflicts(report.configuration, rules)))
        for report in judged.reports()
    ]
