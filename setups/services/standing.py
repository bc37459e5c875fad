"""Where a setup stands: its fit by today's figures, what the measurements of its build say, and any dispute.

Measurements belong to a build: those of an earlier revision count for a later one that is built alike.
Nothing is changed here; what changes a standing is in ``setups.services.ruling``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from fitcalc.fit import FitReport
from fitcalc.verification import Reading, Verification, verify
from setups.models import Dispute, Measurement, Revision, Setup
from setups.services.cars import computed_of, content_of, reports_of, with_car


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a setup stands by ``revision``: its fit today, and what the measurements of its build say.

    ``revision`` comes with its car, class and photos.
    """

    setup: Setup
    revision: Revision
    report: FitReport
    verification: Verification
    measurements: list[Measurement]
    dispute: Dispute | None


def measurements_of(revision: Revision) -> QuerySet[Measurement]:
    """Every reading of the car of ``revision`` and of those built alike, withdrawn and set-aside ones too."""
    return (
        Measurement.objects.filter(revision__setup=revision.setup_id, revision__build=revision.build)
        .select_related("member", "revision")
        .order_by("pk")
    )


def readings_of(rows: Iterable[Measurement]) -> list[Reading]:
    """The rows that count, as the calculation takes them."""
    return [
        Reading(row.quantity, float(row.value), row.u, row.member_id, row.instrument)
        for row in rows
        if row.counts
    ]


def standing_of(setup: Setup, revision: Revision | None = None) -> Standing:
    """Where ``setup`` stands by its current revision, or as ``revision`` would; in constant queries."""
    found = revision or setup.current
    assert found is not None
    (standing,) = standings_of([(setup, found.pk)])
    return standing


def standings_of(
    pairs: Sequence[tuple[Setup, int]], known: dict[str, FitReport] | None = None
) -> list[Standing]:
    """Where each setup stands by the revision with this key; in constant queries, however many."""
    revisions = Revision.objects.filter(pk__in=[key for _, key in pairs]).select_related("race_class")
    if known is None or set(revisions.values_list("build", flat=True)) - set(known):
        revisions = with_car(revisions).prefetch_related("photos")
        loaded = {row.pk: row for row in revisions}
        reports = dict(zip(loaded, reports_of(map(content_of, loaded.values()), known), strict=True))
    else:
        loaded = {row.pk: row for row in revisions}
        reports = {row.pk: known[row.build] for row in loaded.values()}
    of = [(setup, loaded[key]) for setup, key in pairs]
    readings: dict[tuple[int, str], list[Measurement]] = defaultdict(list)
    rows = Measurement.objects.filter(revision__setup__in=[setup.pk for setup, _ in of])
    for row in rows.select_related("member", "revision").defer(*_LARGE).order_by("pk"):
        readings[row.revision.setup_id, row.revision.build].append(row)
    disputes: dict[tuple[int, str], Dispute] = {}
    deciding = Dispute.objects.filter(setup__in=[setup.pk for setup, _ in of], outcome__in=_DECIDING)
    for dispute in deciding.select_related("measurement__member", "settled_by").order_by("outcome", "-pk"):
        disputes.setdefault((dispute.setup_id, dispute.build), dispute)
    return [
        Standing(
            setup,
            revision,
            reports[revision.pk],
            _verification(setup, reports[revision.pk], readings[setup.pk, revision.build]),
            readings[setup.pk, revision.build],
            disputes.get((setup.pk, revision.build)),
        )
        for setup, revision in of
    ]


def standing_by(
    setup: Setup,
    revision: Revision,
    report: FitReport,
    measurements: Sequence[Measurement],
    disputes: Sequence[Dispute],
) -> Standing:
    """Where ``setup`` stands by what is at hand: readings of any of its revisions, its disputes in the order
    in which one decides; no query."""
    rows = [row for row in measurements if row.revision.build == revision.build]  # type: ignore[union-attr]
    deciding = [one for one in disputes if one.build == revision.build and one.outcome in _DECIDING]
    return Standing(
        setup,
        revision,
        report,
        _verification(setup, report, rows),
        rows,
        min(deciding, key=lambda one: (one.outcome, -one.pk), default=None),
    )


_LARGE = ["revision__geometry", "revision__findings", "revision__tuning", "revision__notes"]
"""What of a reading's revision is not wanted along with it."""


_DECIDING = ["", Dispute.Outcome.UPHELD]
"""A dispute over a build decides its standing while it is open, and when it is upheld; in this order."""


def _verification(setup: Setup, report: FitReport, rows: Sequence[Measurement]) -> Verification:
    return verify(report.verdict, computed_of(report.geometry), readings_of(rows), setup.author_id)
