"""Words that the calculation says, kept so that a page can say them in another language.

Nothing here translates: who shows the words does (``setups/translated.py``). A label stands in its table as
plain English and is marked with ``said``, so that it is found when the texts to translate are gathered. A
sentence with figures in it is a ``Said``: English to all who treat it as text, with its template and its
values at hand for who can do better.
"""

from __future__ import annotations

from typing import Any


def said(text: str) -> str:
    """``text`` as it is: the mark by which it is gathered for translation."""
    return text


class Length(float):
    """A length in mm within a sentence that has the unit elsewhere; told in the unit of who reads."""


class Figure(float):
    """A figure with its unit in a sentence: ``Figure(60, "mm")`` is "60 mm", told in the reader's unit."""

    unit: str

    def __new__(cls, value: float, unit: str) -> Figure:
        figure = super().__new__(cls, value)
        figure.unit = unit
        return figure

    def __getnewargs__(self) -> tuple[float, str]:  # type: ignore[override]
        return float(self), self.unit

    def __format__(self, format_spec: str) -> str:
        return f"{float(self):{format_spec or 'g'}} {self.unit}".rstrip()


class Kept(float):
    """A figure with all the decimals that it has, the unit behind it if it has one: ``Kept(-0.125, "mm")`` is
    "−0.125 mm"; told in the unit of who reads, unless it is ``named``, a name on the packet."""

    unit: str
    named: bool

    def __new__(cls, value: float, unit: str = "", named: bool = False) -> Kept:
        figure = super().__new__(cls, value)
        figure.unit, figure.named = unit, named
        return figure

    def __getnewargs__(self) -> tuple[float, str, bool]:  # type: ignore[override]
        return float(self), self.unit, self.named

    def __format__(self, format_spec: str) -> str:
        """``+`` gives what is above zero its sign; ``n`` leaves the unit out."""
        plus = "+" if format_spec == "+" and self > 0 else ""
        unit = "" if format_spec == "n" else self.unit
        return f"{plus}{float(self):.12g} {unit}".rstrip().replace("-", "\u2212")


class Within(str):
    """A label in the middle of a sentence: with a small letter in English; it is translated."""

    def __format__(self, format_spec: str) -> str:
        return self[:1].lower() + self[1:]


class Listed(tuple[str, ...]):
    """Several labels within a sentence, with commas between; each is translated."""

    between = ", "

    def __format__(self, format_spec: str) -> str:
        return self.between.join(format(one) for one in self)


class Sentences(Listed):
    """Several sentences, one after the other; each is translated."""

    between = " "


class Said(str):
    """A sentence: ``Said("must be above {low}", low=4.5)`` is the text "must be above 4.5".

    ``template`` is its words with places to fill in the manner of ``str.format``, ``values`` what fills them.
    A value that is a ``Said`` is translated as well; plain text is a name or something typed, and stays. It
    survives ``str()``, so that an error raised with it says it still.
    """

    template: str
    values: dict[str, Any]

    def __new__(cls, template: str, /, **values: Any) -> Said:
        text = super().__new__(cls, template.format(**values))
        text.template = template
        text.values = values
        return text

    def __str__(self) -> str:
        return self

    def __getnewargs_ex__(self) -> tuple[tuple[str], dict[str, Any]]:
        return (self.template,), self.values
