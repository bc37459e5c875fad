"""Letters on a drawing: how wide a text is, the box that it takes, and where it finds room.

A drawing cannot ask the browser for the width of a text, so widths are those of a wide sans (DejaVu Sans,
rounded up): the reader's own typeface takes this much or less.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from django.utils.safestring import SafeString, mark_safe

ASCENT, DESCENT = 0.78, 0.24
"""Of a line of text above and below its baseline, in text heights."""

_WIDTHS = {
    0.21: "\u202f\u2009",
    0.29: "'ijlIJ",
    0.36: ",. ·’/:;\\|f-",
    0.42: "t()[]r!",
    0.53: '"*_`°–sz“”?cç',
    0.60: "LkFvxyP",
    0.65: "aoTYäöeéèêëáàâbdghnpquüúùûñßESÜ0123456789${}€",
    0.70: "KAVBRXZCÄ",
    0.80: "UHNDG&OQÖ",
    0.87: "w#+<=>^~±−×→M",
}
_WIDTH = {letter: width for width, letters in _WIDTHS.items() for letter in letters}
_WIDEST = 1.0
_STRONG = 1.12
"""A strong text is this much wider."""


class Box(NamedTuple):
    """An upright rectangle on the sheet: left, top, right, bottom."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box, apart: float = 0.0) -> bool:
        """True if the boxes overlap, or come nearer than ``apart``."""
        return (
            self.left < other.right + apart
            and other.left < self.right + apart
            and self.top < other.bottom + apart
            and other.top < self.bottom + apart
        )

    def around(self, other: Box) -> Box:
        """The smallest box that holds both."""
        return Box(
            min(self.left, other.left),
            min(self.top, other.top),
            max(self.right, other.right),
            max(self.bottom, other.bottom),
        )


def text_width(text: str, size: float, strong: bool = False) -> float:
    """Width of ``text`` at text height ``size``, on the safe side."""
    return size * (_STRONG if strong else 1.0) * sum(_WIDTH.get(letter, _WIDEST) for letter in text)


def shortened(text: str, size: float, room: float, strong: bool = False) -> str:
    """``text``, cut with an ellipsis at a letter where it is wider than ``room``."""
    if text_width(text, size, strong) <= room:
        return text
    while text and text_width(text + "…", size, strong) > room:
        text = text[:-1].rstrip(" ,;")
    return text + "…" if text else ""


@dataclass(frozen=True, slots=True)
class Label:
    """One line of text: its baseline's point, ``start``/``middle``/``end``, turned by 0 or -90 degrees."""

    text: str
    x: float
    y: float
    size: float
    anchor: str = "middle"
    angle: int = 0
    kind: str = ""

    @property
    def strong(self) -> bool:
        return "strong" in self.kind

    @property
    def box(self) -> Box:
        """The room that the text takes."""
        width = text_width(self.text, self.size, self.strong)
        before = {"start": 0.0, "middle": width / 2, "end": width}[self.anchor]
        above, below = ASCENT * self.size, DESCENT * self.size
        if self.angle:
            return Box(self.x - above, self.y - (width - before), self.x + below, self.y + before)
        return Box(self.x - before, self.y - above, self.x + (width - before), self.y + below)

    @property
    def place(self) -> SafeString:
        """Position, anchor and turn as SVG attributes."""
        x, y = number(self.x), number(self.y)
        anchor = "" if self.anchor == "start" else f' text-anchor="{self.anchor}"'
        turn = f' transform="rotate({self.angle} {x} {y})"' if self.angle else ""
        return mark_safe(f'x="{x}" y="{y}"{anchor}{turn}')


def first_free(candidates: Iterable[Label], taken: Iterable[Box], apart: float) -> Label:
    """The first candidate that keeps ``apart`` from all that is taken; the last one where none does."""
    taken = list(taken)
    label: Label | None = None
    for label in candidates:
        if not any(label.box.meets(box, apart) for box in taken):
            return label
    if label is None:
        raise ValueError("a label needs at least one place to try")
    return label


def number(value: float) -> str:
    """A coordinate as SVG takes it: hundredths of a millimetre, no useless zeros."""
    # Adding zero takes the sign off a negative one; six figures hold any car's hundredths.
    return f"{round(value, 2) + 0.0:g}"
