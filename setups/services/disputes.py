"""Disputes as stewards see them: what was read, what is computed, how far apart, and who is concerned."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from fitcalc.consensus import en
from fitcalc.quantities import Quantity
from fitcalc.verification import pooled
from setups.models import Dispute, Measurement, Revision
from setups.services.cars import NotBuildable, computed_of, content_of, reports_of, with_car
from setups.services.standing import readings_of

LATELY = 10
"""The queue shows so many of those that were settled last."""


@dataclass(frozen=True)
class Case:
    """One dispute; ``computed`` and ``en`` by today's figures, ``None`` where they cannot be.

    ``rows`` are the member's readings of that quantity of the build that count: pooled, they decide.
    """

    dispute: Dispute
    computed: Quantity | None
    rows: Sequence[Measurement] = ()

    @property
    def readings(self) -> int:
        """How many readings ``found`` is of."""
        return max(1, len(self.rows))

    @property
    def last(self) -> Quantity:
        """The reading that the dispute was opened over, with its doubt."""
        row = self.dispute.measurement
        return Quantity(float(row.value), row.u, row.kind.unit)

    @cached_property
    def found(self) -> Quantity:
        """What the member's readings come to, with its doubt; the last one where none counts any more."""
        return pooled(readings_of(self.rows)) if self.rows else self.last

    @property
    def en(self) -> float | None:
        """How ``found`` stands to what is computed."""
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
    rows = _deciding(disputes)
    return [
        Case(
            one,
            computed.get(one.measurement.revision_id, {}).get(one.measurement.quantity),  # type: ignore[arg-type]
            rows[_about(one)],
        )
        for one in disputes
    ]


About = tuple[int, str, int | None, str]
"""Setup, build, member and quantity: the readings of one member that are one say."""


def _about(dispute: Dispute) -> About:
    row = dispute.measurement
    return dispute.setup_id, dispute.build, row.member_id, row.quantity


def _deciding(disputes: Sequence[Dispute]) -> dict[About, list[Measurement]]:
    """The readings that count behind each dispute; one query."""
    found: dict[About, list[Measurement]] = defaultdict(list)
    rows = Measurement.objects.filter(
        revision__setup__in={one.setup_id for one in disputes},
        member__in={one.measurement.member_id for one in disputes},
        withdrawn=False,
        set_aside=False,
    )
    for row in rows.select_related("revision").only(*_WANTED).order_by("pk"):
        assert row.revision is not None
        found[row.revision.setup_id, row.revision.build, row.member_id, row.quantity].append(row)
    return found


_WANTED = (
    *("quantity", "value", "uncertainty", "instrument", "member_id", "withdrawn", "set_aside"),
    *("revision__setup_id", "revision__build"),
)
