"""A limit as a picture: the band that is asked for, and on the same line the value with its interval."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from fitcalc.dimensions import Unit
from fitcalc.findings import Finding, Rule
from fitcalc.quantities import Quantity
from setups.drawing.letters import number, text_width
from setups.printing import decimals_needed, figure, plus_minus

WIDTH, HEIGHT = 320.0, 46.0
_TEXT = 12.0
_LINE = 24.0
"""Height of the line on which everything stands."""
_SIDE = 14.0
_COVER = 2.0
"""The whiskers reach this many standard uncertainties either way, about 95 %."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A bound of the band: where, and its figure."""

    x: float
    text: str
    anchor: str
    text_x: float

    @property
    def at(self) -> str:
        return number(self.x)

    @property
    def text_at(self) -> str:
        return number(self.text_x)


@dataclass(frozen=True, slots=True)
class LimitBar:
    """A value's numbers on one line; all lengths are units of a ``WIDTH`` by ``HEIGHT`` picture.

    ``guards`` are the guard bands, from a limit to where a clause's decision rule draws the line.
    """

    verdict: str
    band: tuple[float, float]
    marks: tuple[Mark, ...]
    value: float
    whiskers: tuple[float, float]
    found: str
    found_x: float
    description: str
    guards: tuple[tuple[float, float], ...] = ()

    @property
    def view_box(self) -> str:
        return f"0 0 {WIDTH:g} {HEIGHT:g}"

    @property
    def axis_path(self) -> str:
        return f"M{number(_SIDE / 2)} {_LINE:g}H{number(WIDTH - _SIDE / 2)}"

    @property
    def band_path(self) -> str:
        left, right = self.band
        return f"M{number(left)} {_LINE - 6:g}H{number(right)}V{_LINE + 6:g}H{number(left)}Z"

    @property
    def edge_path(self) -> str:
        return "".join(f"M{mark.at} {_LINE - 8:g}V{_LINE + 8:g}" for mark in self.marks)

    @property
    def guard_path(self) -> str:
        """The guard bands, hatched from the limit outward or inward, each closed where the line is drawn."""
        top, bottom = _LINE - 6, _LINE + 6
        drawn = []
        for start, end in self.guards:
            left, right = sorted((start, end))
            x = left + 3.0
            while x < right:
                drawn.append(f"M{number(x)} {top:g}V{bottom:g}")
                x += 3.0
            drawn.append(f"M{number(end)} {top - 3:g}V{bottom + 3:g}")
        return "".join(drawn)

    @property
    def doubt_path(self) -> str:
        low, high = self.whiskers
        return (
            f"M{number(low)} {_LINE:g}H{number(high)}"
            f"M{number(low)} {_LINE - 4:g}v8M{number(high)} {_LINE - 4:g}v8"
        )

    @property
    def value_path(self) -> str:
        """A diamond at the value."""
        return f"M{number(self.value - 5)} {_LINE:g}l5 -5 5 5 -5 5Z"

    @property
    def found_at(self) -> str:
        return number(self.found_x)


def limit_bar(finding: Finding) -> LimitBar | None:
    """The picture of a finding; ``None`` where it has no numbers."""
    if finding.found is None or (finding.low is None and finding.high is None):
        return None
    signed = finding.rule in (Rule.FLUSH, Rule.WHEELBASE, Rule.BODY_MOUNT)
    return bar_of(finding.found, finding.verdict.value, finding.low, finding.high, signed=signed)


def bar_of(
    found: Quantity,
    verdict: str,
    low: float | None,
    high: float | None,
    accept_low: float | None = None,
    accept_high: float | None = None,
    signed: bool = False,
) -> LimitBar:
    """A value beside its limits, of which there is at least one, with the guard bands up to the acceptance
    limits; ``verdict`` is the word that the picture is coloured by."""
    value, doubt = float(found.value), float(found.u)
    reach = _COVER * doubt
    points = [bound for bound in (low, high, accept_low, accept_high) if bound is not None]
    points += [value - reach, value + reach]
    least, most = min(points), max(points)
    room = max(most - least, 1e-6)
    # A side that is open runs on beyond everything; a closed one leaves room for its figure.
    least -= (0.22 if low is not None else 0.3) * room
    most += (0.22 if high is not None else 0.3) * room

    def at(x: float) -> float:
        return _SIDE / 2 + (WIDTH - _SIDE) * (x - least) / (most - least)

    unit = found.unit
    marks = []
    for bound, anchor in ((low, "end"), (high, "start")):
        if bound is not None:
            text = _bound(bound, unit, signed)
            if low is None or high is None:
                anchor = "middle"
            marks.append(Mark(at(bound), text, anchor, _kept(at(bound), text, anchor)))
    text = plus_minus(found, plus=signed)
    bands = ((low, accept_low), (high, accept_high))
    return LimitBar(
        verdict=verdict,
        band=(at(least if low is None else low), at(most if high is None else high)),
        marks=tuple(marks),
        value=at(value),
        whiskers=(at(value - reach), at(value + reach)),
        found=text,
        found_x=_kept(at(value), text, "middle", strong=True),
        description=_description(text, low, high, unit, signed),
        guards=tuple(
            (at(limit), at(line))
            for limit, line in bands
            if limit is not None and line is not None and abs(limit - line) > 1e-9
        ),
    )


def _bound(bound: float, unit: Unit, signed: bool) -> str:
    return figure(bound, unit, decimals_needed(bound, 1, 2), plus=signed)


def _description(found: str, low: float | None, high: float | None, unit: Unit, signed: bool) -> str:
    if low is None:
        assert high is not None
        said = _("Found {found}; asked at most {high}.")
        return said.format(found=found, high=_bound(high, unit, signed))
    if high is None:
        said = _("Found {found}; asked at least {low}.")
        return said.format(found=found, low=_bound(low, unit, signed))
    said = _("Found {found}; asked from {low} to {high}.")
    return said.format(found=found, low=_bound(low, unit, signed), high=_bound(high, unit, signed))


def _kept(x: float, text: str, anchor: str, strong: bool = False) -> float:
    """Where a text that is meant for ``x`` stands so that all of it is inside the picture."""
    width = text_width(text, _TEXT, strong)
    before = {"start": 0.0, "middle": width / 2, "end": width}[anchor]
    return min(max(x, before), WIDTH - width + before)
