"""The chart of a dimension's measurements: a row a reading, its whisker ± 2 u, the settled value behind them.

Lengths in the drawing's own units, about CSS pixels on a phone. Nothing here is told by colour alone: what
lies outside the consensus has a cross in place of a dot and says so in words.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, log10

from django.utils.html import conditional_escape
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fitcalc.consensus import COVERAGE
from fitcalc.dimensions import Unit
from fitcalc.quantities import MM_PER_INCH, Quantity
from setups.printing import fixed, in_inches, plus_minus, unit_name

WIDTH = 360
LEFT, RIGHT = 8, WIDTH - 8
NAMED_UP_TO = 40
"""So many readings have their names in the chart; of more the table below tells them."""

_TALL, _LOW = 34, 9
_TOP, _FOOT = 8, 30
_NAME_ROOM = 30
"""Letters of a name that go beside the words about an outlier."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What is drawn of one row: ``note`` stands in words behind the name; ``outside`` draws a cross."""

    name: str
    value: float
    u: float
    note: str = ""
    outside: bool = False


@dataclass(frozen=True, slots=True)
class ChartRow:
    name: str
    note: str
    outside: bool
    text_y: float
    whisker: str
    mark: str

    @property
    def paths(self) -> str:
        whisker = f'<path class="measure-whisker" d="{self.whisker}"/>'
        return f'{whisker}<path class="measure-mark" d="{self.mark}"/>'

    @property
    def words(self) -> str:
        """Name and note, as markup."""
        note = f": {conditional_escape(self.note)}" if self.note else ""
        return f"{conditional_escape(self.name)}{note}"


@dataclass(frozen=True, slots=True)
class Tick:
    x: float
    text: str
    anchor: str


@dataclass(frozen=True, slots=True)
class Chart:
    height: float
    rows: list[ChartRow]
    ticks: list[Tick]
    axis: str
    band_x: float
    band_width: float
    settled: str
    stated: ChartRow | None
    bottom: float
    description: str

    @property
    def view_box(self) -> str:
        return f"0 0 {WIDTH} {self.height:g}"

    @property
    def elements(self) -> SafeString:
        """Rows, stated figure, axis and ticks as SVG: a template takes far longer over them."""
        parts = [
            f'<g class="measure-{"outside" if row.outside else "inside"}">{row.paths}'
            + (f'<text x="8" y="{row.text_y}">{row.words}</text>' if row.name else "")
            + "</g>"
            for row in self.rows
        ]
        if (stated := self.stated) is not None:
            words = f'<text x="8" y="{stated.text_y}">{conditional_escape(stated.name)}</text>'
            parts.append(f'<g class="measure-stated">{stated.paths}{words}</g>')
        parts.append(f'<path class="measure-axis" d="{self.axis}"/>')
        parts += [
            f'<text class="measure-tick" x="{tick.x}" y="{self.tick_y}" '
            f'text-anchor="{tick.anchor}">{conditional_escape(tick.text)}</text>'
            for tick in self.ticks
        ]
        return SafeString("".join(parts))

    @property
    def outside(self) -> bool:
        """True if a reading is drawn as a cross."""
        return any(row.outside for row in self.rows)

    @property
    def band_height(self) -> float:
        return self.bottom - (_TOP - 6)

    @property
    def tick_y(self) -> float:
        return self.height - 4


def chart(
    readings: list[Reading],
    settled: Quantity,
    stated: tuple[str, Quantity] | None,
    unit: Unit,
    outside_words: str = "",
) -> Chart:
    """Draw ``readings`` round ``settled``; ``stated`` is a name and a figure that is marked beside them.

    ``outside_words`` say what is meant by the readings that are drawn as crosses; without them, that they
    are outside what the members agree on.
    """
    drawn = [*readings, Reading("", settled.value, settled.u)]
    if stated is not None:
        drawn.append(Reading(stated[0], float(stated[1].value), float(stated[1].u)))
    low = min(one.value - COVERAGE * one.u for one in drawn)
    high = max(one.value + COVERAGE * one.u for one in drawn)
    room = max(high - low, 0.01) * 0.04
    low, high = low - room, high + room

    def x(value: float) -> float:
        return round(LEFT + (RIGHT - LEFT) * (value - low) / (high - low), 1)

    named = len(readings) <= NAMED_UP_TO
    step = _TALL if named else _LOW
    rows = []
    top = float(_TOP)
    for one in readings:
        rows.append(_row(one, x, top, step, named))
        top += step
    mark = None
    if stated is not None:
        mark = _row(Reading(stated[0], drawn[-1].value, drawn[-1].u), x, top, _TALL, True, "stated")
        top += _TALL
    bottom = top + 6
    band = x(settled.value - COVERAGE * settled.u)
    ticks = [
        Tick(x(value), text, "start" if x(value) < 30 else "end" if x(value) > WIDTH - 30 else "middle")
        for value, text in _ticks(low, high, MM_PER_INCH if in_inches(unit) else 1.0)
    ]
    outside = sum(one.outside for one in readings)
    return Chart(
        height=bottom + _FOOT - 8,
        rows=rows,
        ticks=ticks,
        axis=f"M{LEFT} {bottom:g}H{RIGHT}" + "".join(f"M{tick.x:g} {bottom:g}v5" for tick in ticks),
        band_x=band,
        band_width=max(1.0, round(x(settled.value + COVERAGE * settled.u) - band, 1)),
        settled=f"M{x(settled.value):g} {_TOP - 6}V{bottom:g}",
        stated=mark,
        bottom=bottom,
        description=_description(len(readings), plus_minus(settled), outside, outside_words, unit),
    )


def _row(one: Reading, x, top: float, step: float, named: bool, shape: str = "") -> ChartRow:  # type: ignore[no-untyped-def]
    middle = top + (step - 9 if named else step / 2)
    left, right, at = x(one.value - COVERAGE * one.u), x(one.value + COVERAGE * one.u), x(one.value)
    caps = "" if not named else f"M{left:g} {middle - 3:g}v6M{right:g} {middle - 3:g}v6"
    half = 5 if named else 3
    if shape == "stated":
        mark = f"M{at - half:g} {middle:g}l{half} {-half}l{half} {half}l{-half} {half}z"
    elif one.outside:
        mark = f"M{at - half:g} {middle - half:g}l{2 * half} {2 * half}m0 {-2 * half}l{-2 * half} {2 * half}"
    else:
        radius = half - 1
        arc = f"a{radius} {radius} 0 1 0"
        mark = f"M{at - radius:g} {middle:g}{arc} {2 * radius} 0{arc} {-2 * radius} 0z"
    name = one.name if len(one.name) <= _NAME_ROOM else one.name[: _NAME_ROOM - 1].rstrip() + "…"
    return ChartRow(
        name if named else "",
        one.note if named else "",
        one.outside,
        top + 13,
        f"M{left:g} {middle:g}H{right:g}{caps}",
        mark,
    )


def _ticks(low: float, high: float, scale: float) -> list[tuple[float, str]]:
    """Round values across the span, three to six of them; ``scale`` is what the reader's unit is in ours."""
    low, high = low / scale, high / scale
    rough = (high - low) / 4
    power = 10.0 ** floor(log10(rough))
    step = next(power * nice for nice in (1, 2, 5, 10) if power * nice >= rough)
    decimals = max(0, -floor(log10(step) + 1e-9))
    first = ceil(low / step)
    return [
        (number * step * scale, fixed(number * step, decimals))
        for number in range(first, floor(high / step) + 1)
    ]


def _description(readings: int, settled: str, outside: int, outside_words: str, unit: Unit) -> str:
    said = ngettext("{count} reading round {value}", "{count} readings round {value}", readings)
    words = said.format(count=readings, value=settled)
    if outside:
        words += f", {outside} {outside_words or _('outside what the members agree on')}"
    if not unit:
        return _("{words}. The table below gives the same in figures.").format(words=words)
    return _("{words}. The table below gives the same in figures, in {unit}.").format(
        words=words, unit=unit_name(unit)
    )
