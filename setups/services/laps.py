"""A lap time as it is typed and as it is printed."""

from __future__ import annotations

import re
from decimal import Decimal

from django.utils.translation import gettext as _

LONGEST = Decimal("9999.999")
"""Seconds; a longer lap is a slip."""

_TIME = re.compile(r"(?:(\d{1,3}):)?(\d{1,4})(?:[.,](\d*))?")


def read(text: str) -> Decimal:
    """``9.871`` or ``1:02.345`` -> seconds. A comma will do for the point; ValueError says what to type."""
    found = _TIME.fullmatch(text.strip())
    if found is None or not text.isascii():
        raise ValueError(
            _(
                "Type a lap as seconds, such as 9.871, or as minutes and seconds, such as 1:02.345."
            )
        )
    minutes, seconds, parts = found.groups()
    if len(parts or "") > 3:
        raise ValueError(_("Type a lap with three decimals at the most."))
    if minutes is not None and int(seconds) >= 60:
        raise ValueError(_("After the minutes come seconds below 60: type 62 seconds as 1:02 or as 62."))
    lap = 60 * int(minutes or 0) + Decimal(f"{seconds}.{parts or 0}")
    if not 0 < lap <= LONGEST:
        said = _("A lap takes more than nothing and at most {longest} seconds: check it.")
        raise ValueError(said.format(longest=LONGEST))
    return lap


def show(lap: Decimal) -> str:
    """Seconds -> ``9.871`` or ``1:02.345``."""
    minutes, seconds = divmod(lap, 60)
    return f"{minutes:.0f}:{seconds:06.3f}" if minutes else f"{seconds:.3f}"
