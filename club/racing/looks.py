"""How a ruling's verdict is drawn: as what it is like among the verdicts of a fit."""

from __future__ import annotations

from fitcalc.legality import ClassVerdict

LOOKS = {
    ClassVerdict.COMPLIES: "fits",
    ClassVerdict.TOO_CLOSE: "close",
    ClassVerdict.DOES_NOT_COMPLY: "fails",
    ClassVerdict.NOT_CHECKED: "unknown",
}
"""The name that each verdict's mark and colour go by in the site's style sheets."""
