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
    """A length in mm within a sentence, to be told in the unit of who reads; in English just the number.

    The unit that is printed behind it is ``Unit.MM``, as a value of the sentence or within the template of a
    ``Said`` that is told in millimetres only.
    """


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
