"""Several readings of one thing with one instrument, averaged.

The mean's standard uncertainty is u² = u_step² + s²/n (JCGM 100:2008, 4.2.3 and 5.1.2; from memory): what the
instrument's step leaves is the same in every reading and does not average out; the hand's spread does. Two
or three readings say little of a spread, so that the ordinary hand's, known from before (4.2.4), is its
floor; with an instrument whose doubt the inspector gave, all of that doubt stays and the readings' own spread
comes on top.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import fsum, hypot, isfinite, sqrt
from statistics import stdev

from fitcalc.dimensions import Unit
from fitcalc.instruments import Instrument, least_doubt, standard_doubt
from fitcalc.quantities import Quantity, QuantityError
from fitcalc.said import said


def average(
    readings: Sequence[float], instrument: Instrument, unit: Unit, doubt: float | None = None
) -> Quantity:
    """Mean of ``readings``, in ``unit``, with its standard uncertainty.

    ``doubt`` is that of one reading where it is known better than from the kind of instrument. What is
    counted (no unit) has none. Raises QuantityError without a reading, for one that is no number, or for an
    instrument of which nothing is known and no doubt given.
    """
    if not readings or not all(isfinite(one) for one in readings):
        raise QuantityError(said("give at least one reading, each a number"))
    mean = fsum(readings) / len(readings)
    seen = stdev(readings) if len(readings) > 1 else 0.0
    if unit is Unit.NONE:
        return Quantity(mean, seen / sqrt(len(readings)), unit)
    if doubt is not None:
        if not isfinite(doubt) or doubt < 0.0:
            raise QuantityError(said("a doubt is zero or more"))
        return Quantity(mean, hypot(doubt, seen / sqrt(len(readings))), unit)
    whole = standard_doubt(instrument)
    if whole is None:
        raise QuantityError(said("nothing is known of this instrument: give the doubt of one reading"))
    step = min(least_doubt(instrument), whole)
    hand = sqrt(max(whole**2 - step**2, 0.0))
    return Quantity(mean, hypot(step, max(hand, seen) / sqrt(len(readings))), unit)


def doubt_of_one(instrument: Instrument, unit: Unit, doubt: float | None = None) -> float:
    """Standard uncertainty of one reading, as ``average`` takes it; raises as it does."""
    return float(average([0.0], instrument, unit, doubt).u)
