"""What the pit tools print."""

from __future__ import annotations

from django import template

from fitcalc.quantities import Quantity
from setups.printing import THIN, plus_minus

register = template.Library()


@register.filter
def share(quantity: Quantity) -> str:
    """A share of 0 to 1 with its doubt: ``51.2 ± 0.3 %``."""
    return f"{plus_minus(quantity.scaled(100.0))}{THIN}%"
