"""What the calculation says, in the language and the units of who reads."""

from __future__ import annotations

from string import Formatter
from typing import Any

from django.utils.formats import get_format
from django.utils.translation import get_language, gettext

from fitcalc.dimensions import Unit
from fitcalc.quantities import MM_PER_INCH
from fitcalc.said import Figure, Kept, Length, Listed, Said, Within
from setups.printing import FINE_INCH_DECIMALS, INCH_DECIMALS, in_inches


class _InTheirs(Formatter):
    def format_field(self, value: Any, format_spec: str) -> Any:
        if isinstance(value, Said):
            return tell(value)
        if isinstance(value, Within):
            return within_a_sentence(gettext(value))
        if isinstance(value, Listed):
            return value.between.join(
                within_a_sentence(gettext(one)) if isinstance(one, Within) else tell(one) for one in value
            )
        if isinstance(value, Kept) and in_inches(value.unit) and not value.named:
            value = Kept(round(value / MM_PER_INCH, FINE_INCH_DECIMALS), "in")
        if isinstance(value, Figure | Length) and in_inches(getattr(value, "unit", Unit.MM)):
            text = f"{value / MM_PER_INCH:.{INCH_DECIMALS}f}{' in' if isinstance(value, Figure) else ''}"
        else:
            text = format(value, format_spec)
        return text.replace(".", get_format("DECIMAL_SEPARATOR")) if isinstance(value, float) else text


_in_theirs = _InTheirs()


def tell(said: str | Exception) -> str:
    """A label, a ``Said``, or an error raised with one, in the language of the request.

    Empty text stays empty. What has no translation comes out in English.
    """
    if isinstance(said, Exception):
        said = said.args[0] if said.args and isinstance(said.args[0], str) else str(said)
    if isinstance(said, Said):
        return _in_theirs.vformat(gettext(said.template), (), said.values)
    return gettext(said) if said else ""


def told(words: str) -> str:
    """A ``Said`` in the language of the request; plain text is a name or something typed, and stays."""
    return tell(words) if isinstance(words, Said) else words


def sentence(error: Exception) -> str:
    """An error that begins small and has no full stop, as a sentence of its own."""
    text = tell(error)
    return f"{text[:1].upper()}{text[1:]}."


def within_a_sentence(label: str) -> str:
    """``label`` for the middle of a sentence: with a small letter in English, as it is where nouns are
    written large."""
    return label[0].lower() + label[1:] if (get_language() or "en").startswith("en") else label
