"""What members measured on a posted car, and what that makes of the setup: verified, disputed or neither.

Measurements belong to a build: those of an earlier revision count for a later one that is built alike. All
that changes a setup's standing comes through ``bring_up_to_date``, with the setup locked, and is logged
with a reason. Nobody verifies their own: the author's readings are shown and do not count
(``fitcalc.verification``).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from fitcalc.dimensions import CAR_DIMENSIONS
from fitcalc.findings import Verdict
from fitcalc.fit import FitReport
from fitcalc.verification import Reading, Status, Verification, verify
from setups.models import Body, Decision, Dispute, Measurement, Part, Revision, Setup
from setups.services.cars import computed_of, content_of, reports_of, with_car

MOST_READINGS = 20
"""A member may have so many readings of one quantity of a build that count."""
RECHECKED_AT_ONCE = 200
"""So many setups are computed anew while the member who measured waits; the rest by ``manage.py recheck``."""


class VerifyingError(ValueError):
    """Why a measurement or a decision cannot be taken; the text says what to do."""


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


@dataclass(frozen=True, slots=True)
class Turn:
    """How a setup's state went."""

    before: str
    after: str

    @property
    def changed(self) -> bool:
        return self.before != self.after


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
    revisions = with_car(Revision.objects.filter(pk=found.pk)).select_related("race_class")
    (loaded,) = revisions.prefetch_related("photos")
    (report,) = reports_of([content_of(loaded)])
    rows = list(measurements_of(loaded))
    verification = _verification(setup, report, rows)
    return Standing(setup, loaded, report, verification, rows, _dispute(setup, loaded.build))


def add(measurement: Measurement) -> Turn:
    """Store a valid reading of a car and work out where its setup stands. Raises VerifyingError.

    A reading is of the setup's current revision.
    """
    assert measurement.revision is not None
    with transaction.atomic():
        setup = _locked(measurement.revision.setup_id)
        if setup.state == Setup.State.WITHDRAWN:
            raise VerifyingError("The setup is withdrawn: measuring it changes nothing until it is put back.")
        if setup.current_id != measurement.revision_id:
            raise VerifyingError(
                "The setup has been revised since: look at what changed, then measure the car as it is now."
            )
        rows = measurements_of(measurement.revision).filter(
            member=measurement.member_id, quantity=measurement.quantity
        )
        if sum(row.counts for row in rows) >= MOST_READINGS:
            raise VerifyingError(
                f"You have {MOST_READINGS} readings of this already. More of them change nothing: withdraw "
                "one that was wrong, or ask another member to measure."
            )
        measurement.save()
        return bring_up_to_date(setup)


def withdraw(measurement: Measurement, member: Any) -> Turn:
    """Let a member's own reading of a car count no more. PermissionError for another member's."""
    if measurement.member_id != member.pk:
        raise PermissionError("Only the member who measured can withdraw a measurement.")
    assert measurement.revision is not None
    with transaction.atomic():
        setup = _locked(measurement.revision.setup_id)
        measurement.withdrawn = True
        measurement.save(update_fields=["withdrawn"])
        return bring_up_to_date(setup)


def open_disputes() -> QuerySet[Dispute]:
    """What stewards have to look at, longest open first."""
    return Dispute.objects.filter(outcome="").select_related(
        "setup__author", "setup__body", "setup__platform", "measurement__member", "measurement__revision"
    )


def why_not_settle(dispute: Dispute, member: Any) -> str:
    """Why ``member`` may not settle ``dispute``; empty if they may."""
    if not getattr(member, "settles_disputes", False):
        return "Only a steward settles a dispute."
    if dispute.setup.author_id == member.pk:
        return "The setup is your own: another steward has to settle this."
    if dispute.measurement.member_id == member.pk:
        return "The measurement is your own: another steward has to settle this."
    return ""


def settle(dispute: Dispute, member: Any, outcome: str, reason: str) -> Turn:
    """Settle an open dispute with a reason. Raises PermissionError for who may not, else VerifyingError.

    SET_ASIDE: every reading by that member of that quantity of the build counts no more. UPHELD: the setup
    stays disputed until a revision is built otherwise.
    """
    if why_not := why_not_settle(dispute, member):
        raise PermissionError(why_not)
    if outcome not in (Dispute.Outcome.SET_ASIDE, Dispute.Outcome.UPHELD):
        raise VerifyingError("Choose who is right: the measurement, or the setup.")
    if not reason.strip():
        raise VerifyingError("Say why: the reason is kept, and both members read it.")
    with transaction.atomic():
        setup = _locked(dispute.setup_id)
        locked = Dispute.objects.select_for_update().select_related("measurement").get(pk=dispute.pk)
        if not locked.is_open:
            raise VerifyingError("Another steward has settled this meanwhile: read the record.")
        locked.outcome, locked.reason = outcome, reason.strip()
        locked.settled_by, locked.settled_at = member, timezone.now()
        locked.save()
        if outcome == Dispute.Outcome.SET_ASIDE:
            Measurement.objects.filter(
                revision__setup=setup,
                revision__build=locked.build,
                member=locked.measurement.member_id,
                quantity=locked.measurement.quantity,
                withdrawn=False,
            ).update(set_aside=True)
        label = Dispute.Outcome(outcome).label
        log(setup, Decision.Action.SETTLED, f"{label.capitalize()}: {reason.strip()}"[:1000], member)
        turn = bring_up_to_date(setup)
    dispute.refresh_from_db()
    return turn


def bring_up_to_date(setup: Setup) -> Turn:
    """Work out where ``setup`` (locked) stands today and keep it; opens and closes disputes by the rules."""
    before = setup.state
    if setup.current_id is None:
        return Turn(before, before)
    standing = standing_of(setup, setup.current)
    tell_geometry(setup, standing.report)
    setup.confirmations = standing.verification.confirmations
    if setup.state != Setup.State.WITHDRAWN:
        setup.state = _state(standing)
    setup.save()
    return Turn(before, setup.state)


def tell_geometry(setup: Setup, report: FitReport) -> None:
    """Put today's fit into the columns that are searched; a verdict that changed is logged."""
    geometry = report.geometry
    for name in ("front_width", "rear_width", "wheelbase"):
        setattr(setup, name, Decimal(str(round(float(getattr(geometry, name).value), 2))))
    before, setup.verdict = setup.verdict, report.verdict.value
    if before and before != setup.verdict and setup.current_id is not None:
        log(
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


def touched_by(subject: Body | Part) -> QuerySet[Setup]:
    """The posted setups whose fit hangs on ``subject``."""
    posted = Setup.objects.filter(current__isnull=False).exclude(state=Setup.State.WITHDRAWN)
    if isinstance(subject, Body):
        return posted.filter(body=subject)
    return posted.filter(current__slots__part=subject).distinct()


@dataclass(frozen=True, slots=True)
class Rechecked:
    """Setups computed anew after a figure changed: those whose verdict or state went, and how many wait."""

    changed: list[tuple[Setup, str, Turn]]
    left: int


def recheck(setups: QuerySet[Setup], most: int = RECHECKED_AT_ONCE) -> Rechecked:
    """Work out anew where ``setups`` stand, at most so many; each in a transaction of its own."""
    keys = list(setups.order_by("pk").values_list("pk", flat=True))
    changed = []
    for key in keys[:most]:
        with transaction.atomic():
            setup = _locked(key)
            verdict = setup.verdict
            turn = bring_up_to_date(setup)
        if turn.changed or verdict != setup.verdict:
            changed.append((setup, verdict, turn))
    return Rechecked(changed, max(0, len(keys) - most))


def log(setup: Setup, action: str, reason: str, member: Any = None) -> None:
    """One line of the setup's record."""
    Decision.objects.create(
        setup=setup, revision_id=setup.current_id, action=action, reason=reason, member=member
    )


def _locked(key: int) -> Setup:
    return Setup.objects.select_for_update(of=("self",)).select_related("current", "author").get(pk=key)


def _verification(setup: Setup, report: FitReport, rows: Sequence[Measurement]) -> Verification:
    return verify(report.verdict, computed_of(report.geometry), readings_of(rows), setup.author_id)


def _dispute(setup: Setup, build: str) -> Dispute | None:
    """The dispute over this build that decides its standing: the open one, else an upheld one."""
    found = Dispute.objects.filter(setup=setup, build=build, outcome__in=["", Dispute.Outcome.UPHELD])
    return found.select_related("measurement__member", "settled_by").order_by("outcome", "-pk").first()


def _state(standing: Standing) -> str:
    """The state that the rules give, the disputes opened or closed on the way."""
    setup, verification = standing.setup, standing.verification
    assert setup.current is not None
    _close_stale(standing)
    dispute = _dispute(setup, setup.current.build)
    if dispute is not None:
        return Setup.State.DISPUTED
    if verification.status is Status.CONTRADICTED:
        _open(standing)
        return Setup.State.DISPUTED
    if verification.status is Status.VERIFIED:
        if setup.state != Setup.State.VERIFIED:
            number = verification.confirmations
            log(
                setup,
                Decision.Action.VERIFIED,
                f"{number} members other than the author measured it, and all agree with what is computed.",
            )
        return Setup.State.VERIFIED
    if setup.state == Setup.State.VERIFIED:
        why = (
            "its geometry does not pass any more"
            if not verification.passes
            else "its measurements are too few"
        )
        log(setup, Decision.Action.UNVERIFIED, f"It counts as verified no longer: {why}.")
    return Setup.State.POSTED


def _close_stale(standing: Standing) -> None:
    """Close open disputes whose measurement counts no more, agrees now, or is of another build."""
    setup = standing.setup
    assert setup.current is not None
    for dispute in Dispute.objects.filter(setup=setup, outcome="").select_related("measurement"):
        against = dispute.measurement
        still = dispute.build == setup.current.build and any(
            against.member_id in one.contradicting
            for one in standing.verification.tested
            if one.quantity == against.quantity
        )
        if not still:
            dispute.outcome, dispute.settled_at = Dispute.Outcome.WITHDRAWN, timezone.now()
            dispute.save()
            log(setup, Decision.Action.SETTLED, "The measurement no longer stands against the setup.")


def _open(standing: Standing) -> None:
    """Open a dispute over the first member's contradicting measurement."""
    setup = standing.setup
    assert setup.current is not None
    quantity, member = next(
        (one.quantity, one.contradicting[0]) for one in standing.verification.tested if one.contradicting
    )
    against = next(
        row
        for row in reversed(standing.measurements)
        if row.counts and row.quantity == quantity and row.member_id == member
    )
    Dispute.objects.create(setup=setup, build=setup.current.build, measurement=against)
    label = CAR_DIMENSIONS[quantity].label.lower()
    log(
        setup,
        Decision.Action.DISPUTED,
        f"{against.member} measured the {label} as {float(against.value):g} {against.kind.unit.value}, which "
        "contradicts what is computed.",
    )
