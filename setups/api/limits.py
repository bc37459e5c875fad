"""How much work a posted catalogue may ask for, known before any of it is done."""

from __future__ import annotations

from fitcalc.candidates import eligible
from fitcalc.parts import Body, Catalogue
from fitcalc.work import work_of

from .problems import Problem

MOST_CANDIDATES = 100_000
"""Candidates of the front end, the rear end and the chain together, over all body mounts: about a second."""
MOST_CLASSES = 100_000
"""Pairings of what the groups see of each other, likewise."""


def refuse_the_endless(catalogue: Catalogue, body: Body) -> None:
    """Raises a Problem for a catalogue whose search would take longer than a request may."""
    work = work_of(eligible(catalogue, body), catalogue.pairs)
    if not work.within(candidates=MOST_CANDIDATES, pairings=work.pairings):
        largest, count = max(work.groups.items(), key=lambda item: item[1])
        raise Problem(
            "too-many-combinations",
            f"The parts make {work.candidates:,} candidates, {count:,} of them {largest} a body mount; at "
            f"most {MOST_CANDIDATES:,} are weighed in one request. Send fewer parts, or split the catalogue.",
        )
    if not work.within(pairings=MOST_CLASSES):
        fronts, rears, chains = work.kinds
        raise Problem(
            "too-many-combinations",
            f"{fronts:,} kinds of front end, {rears:,} of rear end and {chains:,} wheelbase chains would "
            f"have to be paired; at most {MOST_CLASSES:,} pairings are made in one request. Send "
            "fewer rear tyres, mounts, plates, positions or pair rules.",
        )
