"""What a person typed, kept so that it means the same whoever looks at it next.

Text that is kept (a draft, an inspector's instrument) has lengths in mm where no unit stands behind them. A
page in inches takes them without a unit too, so what comes from it is given its unit before it is kept, and
what is shown on it is given the other.
"""

from __future__ import annotations

from fitcalc.dimensions import Unit
from fitcalc.typed import plain, unambiguous
from setups.units import Lengths, lengths


def kept(text: str, unit: Unit, units: Lengths) -> str:
    """What is kept of ``text``, typed on a page whose lengths are in ``units``."""
    return unambiguous(text, unit, units is Lengths.INCH)


def shown(text: str, unit: Unit) -> str:
    """How what was kept is shown in the reader's form: as it was typed, a length in mm with its unit where
    the form asks for inches."""
    inches = lengths() is Lengths.INCH and unit is Unit.MM
    if not inches or plain(text, unit) == plain(text, unit, inches=True):
        return text
    return f"{text} mm"
