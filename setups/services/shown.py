"""All that a setup's page shows, read in a constant number of queries before anything is computed of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Prefetch
from django.shortcuts import get_object_or_404

from setups.models import Dispute, Measurement, Revision, RevisionPart, Setup
from setups.services.cars import car_of, figures_of, reports_of
from setups.services.kept import columns
from setups.services.standing import Standing, standing_by
from setups.services.telling import Record, disputes_of, named, record_of, revisions_of
from setups.translate import Figures


@dataclass(frozen=True, slots=True)
class Shown:
    """A posted setup, its current revision with its car, class and photos, and what happened to it."""

    setup: Setup
    revision: Revision
    figures: Figures
    measurements: Sequence[Measurement]
    disputes: Sequence[Dispute]
    record: Record
    revisions: Sequence[Revision]

    @property
    def read(self) -> list[Any]:
        """Everything that was read: a page of the same hangs on nothing else but its reader."""
        return [
            self.figures.rows,
            self.record.left,
            *columns(
                [
                    self.setup,
                    *self.revision.slots.all(),
                    *self.revision.photos.all(),
                    *self.measurements,
                    *self.disputes,
                    *self.record.newest,
                    *self.record.older,
                    *self.revisions,
                ]
            ),
        ]

    @property
    def standing(self) -> Standing:
        """Where it stands, computed anew; no query. Raises NotBuildable."""
        (report,) = reports_of([car_of(self.revision)], figures=self.figures)
        return standing_by(self.setup, self.revision, report, self.measurements, self.disputes)


def setup_of(number: int) -> Setup:
    """The setup with its author and what its columns name; one query. Raises Http404."""
    rows = Setup.objects.select_related("author", "body", "platform", "race_class")
    return get_object_or_404(rows.defer("words", *named(Setup, "author")), pk=number)


def shown(setup: Setup) -> Shown:
    """What the page of ``setup_of`` shows besides; nine queries."""
    revision = _revision(setup)
    return Shown(
        setup,
        revision,
        figures_of([revision]),
        _measurements(setup),
        disputes_of(setup),
        record_of(setup),
        revisions_of(setup),
    )


def _revision(setup: Setup) -> Revision:
    """What the setup says now. What the columns of the setup repeat of it is not joined once more: planning
    takes PostgreSQL longer than reading does."""
    slots = RevisionPart.objects.select_related("part").order_by()
    rows = Revision.objects.select_related("position").prefetch_related(Prefetch("slots", slots), "photos")
    revision = rows.get(pk=setup.current_id)
    for name in ("body", "platform", "race_class"):
        if getattr(setup, f"{name}_id") == getattr(revision, f"{name}_id"):
            setattr(revision, name, getattr(setup, name))
    setup.current = revision
    return revision


def _measurements(setup: Setup) -> list[Measurement]:
    rows = Measurement.objects.filter(revision__setup=setup).select_related("member", "revision")
    return list(rows.only(*_READINGS).order_by("pk"))


_READINGS = (
    *("quantity", "value", "uncertainty", "instrument", "measured_on", "note", "withdrawn", "set_aside"),
    *("member__username", "member__display_name", "revision__setup_id", "revision__build"),
)
