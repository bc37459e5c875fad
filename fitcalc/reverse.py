"""What fits this chassis: which bodies go on it, as it stands, with parts at hand, or with one or two more.

Each body is searched with ``fitcalc.solver`` under a bound on the parts to buy, which leaves out most of a
catalogue before anything is computed, so that some sixty bodies take well under a second.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace

from fitcalc.candidates import Order, eligible
from fitcalc.fit import FitReport, evaluate
from fitcalc.matches import Match
from fitcalc.parts import Body, Catalogue, Configuration, PartId, Slot
from fitcalc.solver import solve


@dataclass(frozen=True, slots=True)
class Reach:
    """How near a body is to what is owned.

    ``match`` is the configuration with the fewest parts to buy (then fewest doubts, then cost), ``None``
    if none has few enough; ``as_built`` the chassis itself under the body, where that fits. ``endless`` is
    true where nothing was tried (``fitcalc.solver.Solution``).
    """

    body: Body
    match: Match | None
    as_built: FitReport | None = None
    endless: bool = False

    @property
    def parts(self) -> int | None:
        """How many slots need a part that is not owned; ``None`` if more than were asked about."""
        return None if self.match is None else self.match.parts_to_change


def reach(
    catalogue: Catalogue,
    bodies: Iterable[Body],
    owned: Collection[PartId],
    chassis: Configuration | None = None,
    most: int = 2,
) -> list[Reach]:
    """For each body, in its order, what it takes to run it with at most ``most`` parts more than ``owned``.

    ``owned`` should name the parts of ``chassis`` too. The catalogue must hold the bodies' own front mounts.
    """
    owned = frozenset(owned)
    found = []
    for body in bodies:
        if body.scale != catalogue.platform.scale:
            found.append(Reach(body, None))
            continue
        answer = solve(
            catalogue, body, owned, limit=1, misses=0, order=Order.FEWEST_PARTS, most_changes=most
        )
        match = answer.matches[0] if answer.matches else None
        as_built = None
        if chassis is not None and match is not None and match.parts_to_change == 0:
            as_built = stands(catalogue, chassis, body, owned)
        found.append(Reach(body, match, as_built, answer.endless))
    return found


def stands(
    catalogue: Catalogue, chassis: Configuration, body: Body, owned: Collection[PartId]
) -> FitReport | None:
    """The report of ``chassis`` under ``body`` on one of the body's own mounts that is owned, if it fits."""
    for mount in eligible(catalogue, body)[Slot.BODY_MOUNT]:
        if mount is None or mount.id in owned:
            report = evaluate(replace(chassis, body_mount=mount), body, catalogue.pairs)
            if report.fits:
                return report
    return None
