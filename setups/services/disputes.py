"""Disputes as stewards see them: what was read, what is computed, how far apart, and who is concerned."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fitcalc.consensus import en
from fitcalc.quantities import Quantity
from setups.models import Dispute, Revision
from setups.services.cars import NotBuildable, computed_of, content_of, reports_of, with_car

LATELY = 10
"""The queue shows so many of those that were settled last."""


@dataclass(frozen=True, slots=True)
class Case:
    """One dispute; ``computed`` and ``en`` by today's figures, ``None`` where they cannot be."""

    dispute: Dispute
    computed: Quantity | None

    @property
    def found(self) -> Quantity:
        """What was read, with its doubt."""
        row = self.dispute.measurement
        return Quantity(float(row.value), row.u, row.kind.unit)

    @property
    def en(self) -> float | None:
        """How the reading alone stands to what is computed."""
        if self.computed is None:
            return None
        found = self.found
        return float(en(found.value, found.u, self.computed.value, self.computed.u))


def lately_settled() -> list[Dispute]:
    """The disputes that a steward settled, or that closed of themselves, last ones first."""
    rows = Dispute.objects.exclude(outcome="").select_related(
        "setup__author", "measurement__member", "measurement__revision", "settled_by"
    )
    return list(rows.order_by("-settled_at", "-pk")[:LATELY])


def cases_of(disputes: Sequence[Dispute]) -> list[Case]:
    """With what is computed for the car that was measured; in constant queries for any number."""
    wanted = {one.measurement.revision_id for one in disputes}
    revisions = with_car(Revision.objects.filter(pk__in=wanted)).prefetch_related("photos")
    cars = {revision.pk: content_of(revision) for revision in revisions}
    computed: dict[int, dict[str, Quantity]] = {}
    try:
        reports = dict(zip(cars, reports_of(cars.values()), strict=True))
        computed = {key: computed_of(report.geometry) for key, report in reports.items()}
    except NotBuildable:  # one that cannot be computed must not hide the others
        for key, car in cars.items():
            try:
                (report,) = reports_of([car])
            except NotBuildable:
                continue
            computed[key] = computed_of(report.geometry)
    return [
        Case(one, computed.get(one.measurement.revision_id, {}).get(one.measurement.quantity))  # type: ignore[arg-type]
        for one in disputes
    ]
