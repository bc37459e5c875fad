"""What the rules make of posted setups: their states, the disputes that open and close, and the record of it.

All that changes a setup's standing comes through ``bring_all_up_to_date``, with the setup locked, and is
logged with a reason.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.utils import timezone

from fitcalc.dimensions import CAR_DIMENSIONS
from fitcalc.findings import Verdict
from fitcalc.fit import FitReport
from fitcalc.verification import Status
from setups.models import Decision, Dispute, Setup
from setups.services.cars import NotBuildable
from setups.services.standing import Standing, standings_of
from setups.services.writing import update_each


@dataclass(frozen=True, slots=True)
class Turn:
    """How a setup's state went."""

    before: str
    after: str

    @property
    def changed(self) -> bool:
        return self.before != self.after


def bring_up_to_date(setup: Setup) -> Turn:
    """Work out where ``setup`` (locked) stands today and keep it; opens and closes disputes by the rules.

    A car that cannot be computed any more, since a figure that it hangs on is gone, is verified no longer.
    """
    try:
        (turn,) = bring_all_up_to_date([setup])
    except NotBuildable as error:
        return _not_computed(setup, str(error))
    return turn


def _not_computed(setup: Setup, why: str) -> Turn:
    before = setup.state
    if before == Setup.State.VERIFIED:
        setup.state = Setup.State.POSTED
        log(setup, Decision.Action.UNVERIFIED, f"It counts as verified no longer: {why}"[:1000])
    setup.verdict = Verdict.UNKNOWN.value
    setup.save(update_fields=["state", "verdict"])
    return Turn(before, setup.state)


def bring_all_up_to_date(
    setups: Sequence[Setup],
    at: Mapping[int, datetime] | None = None,
    known: dict[str, FitReport] | None = None,
) -> list[Turn]:
    """As ``bring_up_to_date``, for several setups (all locked), in a constant number of queries.

    ``at`` says of a setup's key when that was, if not just now; ``known`` is as of ``reports_of``.
    """
    before = [setup.state for setup in setups]
    posted = [setup for setup in setups if setup.current_id is not None]
    ruling = _Ruling(at or {})
    standings = standings_of([(setup, setup.current_id) for setup in posted], known)
    ruling.close_stale(standings)
    for standing in standings:
        setup = standing.setup
        ruling.note(tell_geometry(setup, standing.report))
        setup.confirmations = standing.verification.confirmations
        if setup.state != Setup.State.WITHDRAWN:
            setup.state = ruling.state_of(standing)
    ruling.store()
    if len(posted) == 1:
        posted[0].save()
    else:
        update_each(posted, _WORKED_OUT)
    return [Turn(was, setup.state) for was, setup in zip(before, setups, strict=True)]


_WORKED_OUT = ["front_width", "rear_width", "wheelbase", "verdict", "confirmations", "state"]


def tell_geometry(setup: Setup, report: FitReport) -> Decision | None:
    """Put today's fit into the columns that are searched; of a changed verdict, the line to be logged."""
    geometry = report.geometry
    for name in ("front_width", "rear_width", "wheelbase"):
        setattr(setup, name, Decimal(str(round(float(getattr(geometry, name).value), 2))))
    before, setup.verdict = setup.verdict, report.verdict.value
    if not before or before == setup.verdict or setup.current_id is None:
        return None
    return _line(
        setup,
        Decision.Action.VERDICT,
        f"By the library’s figures of today the fit is “{_WORDS[setup.verdict]}”, before it was "
        f"“{_WORDS[before]}”.",
    )


_WORDS = {
    Verdict.FITS.value: "fits",
    Verdict.CLOSE.value: "too close to call",
    Verdict.FAILS.value: "does not fit",
    Verdict.UNKNOWN.value: "not known",
}


def log(setup: Setup, action: str, reason: str, member: Any = None, at: datetime | None = None) -> None:
    """One line of the setup's record; what the rules say is kept in English (``telling.retold``)."""
    _line(setup, action, reason, member, at).save()


def _line(setup: Setup, action: str, reason: str, member: Any = None, at: datetime | None = None) -> Decision:
    return Decision(
        setup=setup,
        revision_id=setup.current_id,
        action=action,
        reason=reason,
        member=member,
        at=at or timezone.now(),
    )


class _Ruling:
    """What the rules make of setups: their states, and the disputes and lines of record that go with them."""

    def __init__(self, at: Mapping[int, datetime]) -> None:
        self.at = at
        self.lines: list[Decision] = []
        self.opened: list[Dispute] = []
        self.closed: list[Dispute] = []

    def note(self, line: Decision | None) -> None:
        if line is not None:
            line.at = self.at.get(line.setup_id, line.at)
            self.lines.append(line)

    def close_stale(self, standings: Sequence[Standing]) -> None:
        """Close open disputes whose measurement counts no more, agrees now, or is of another build."""
        of = {one.setup.pk: one for one in standings if one.setup.state != Setup.State.WITHDRAWN}
        for dispute in Dispute.objects.filter(setup__in=list(of), outcome="").select_related("measurement"):
            standing, against = of[dispute.setup_id], dispute.measurement
            still = dispute.build == standing.revision.build and any(
                against.member_id in one.contradicting
                for one in standing.verification.tested
                if one.quantity == against.quantity
            )
            if still:
                continue
            dispute.outcome = Dispute.Outcome.WITHDRAWN
            dispute.settled_at = self.at.get(dispute.setup_id) or timezone.now()
            self.closed.append(dispute)
            why = "The measurement no longer stands against the setup."
            self.note(_line(standing.setup, Decision.Action.SETTLED, why))

    def state_of(self, standing: Standing) -> str:
        """The state that the rules give."""
        setup, verification = standing.setup, standing.verification
        if standing.dispute in self.closed:  # an upheld one may stand behind it
            upheld = Dispute.objects.filter(setup=setup, build=standing.revision.build)
            if upheld.filter(outcome=Dispute.Outcome.UPHELD).exists():
                return Setup.State.DISPUTED
        elif standing.dispute is not None:
            return Setup.State.DISPUTED
        if verification.status is Status.CONTRADICTED:
            self._open(standing)
            return Setup.State.DISPUTED
        if verification.status is Status.VERIFIED:
            if setup.state != Setup.State.VERIFIED:
                number = verification.confirmations
                why = (
                    f"{number} members other than the author measured it, and all agree with what is "
                    "computed."
                )
                self.note(_line(setup, Decision.Action.VERIFIED, why))
            return Setup.State.VERIFIED
        if setup.state == Setup.State.VERIFIED:
            why = (
                "its geometry does not pass any more"
                if not verification.passes
                else "its measurements are too few"
            )
            self.note(_line(setup, Decision.Action.UNVERIFIED, f"It counts as verified no longer: {why}."))
        return Setup.State.POSTED

    def _open(self, standing: Standing) -> None:
        """Open a dispute over the first member's contradicting measurement."""
        setup = standing.setup
        quantity, held = next(
            (one.quantity, held)
            for one in standing.verification.tested
            for held in one.held
            if not held.agrees
        )
        against = next(
            row
            for row in reversed(standing.measurements)
            if row.counts and row.quantity == quantity and row.member_id == held.measurer
        )
        at = self.at.get(setup.pk) or timezone.now()
        self.opened.append(
            Dispute(setup=setup, build=standing.revision.build, measurement=against, opened_at=at)
        )
        label = CAR_DIMENSIONS[quantity].label.lower()
        figure, unit, over = float(against.value), against.kind.unit.value, ""
        if held.readings > 1:  # pooled, they decide
            figure, over = round(held.value, 2), f" over {held.readings} readings"
        why = (
            f"{against.member} measured the {label} as {figure:g} {unit}{over}, which contradicts what is "
            "computed."
        )
        self.note(_line(setup, Decision.Action.DISPUTED, why))

    def store(self) -> None:
        for dispute in self.closed:
            dispute.save()
        Dispute.objects.bulk_create(self.opened, batch_size=500)
        Decision.objects.bulk_create(self.lines, batch_size=500)
