"""What members measured on a posted car, and what that makes of the setup: verified, disputed or neither.

Measurements belong to a build: those of an earlier revision count for a later one that is built alike. All
that changes a setup's standing comes through ``bring_up_to_date``, with the setup locked, and is logged
with a reason. Nobody verifies their own: the author's readings are shown and do not count
(``fitcalc.verification``).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from fitcalc.dimensions import CAR_DIMENSIONS
from fitcalc.findings import Verdict
from fitcalc.fit import FitReport
from fitcalc.verification import Reading, Status, Verification, verify
from setups.models import Body, Decision, Dispute, Measurement, Part, Revision, Setup
from setups.services.cars import NotBuildable, computed_of, content_of, reports_of, with_car
from setups.services.writing import update_each

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
    (standing,) = _standings([(setup, found.pk)])
    return standing


def _standings(
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


_LARGE = ["revision__geometry", "revision__findings", "revision__tuning", "revision__notes"]
"""What of a reading's revision is not wanted along with it."""


_DECIDING = ["", Dispute.Outcome.UPHELD]
"""A dispute over a build decides its standing while it is open, and when it is upheld; in this order."""


def add(measurement: Measurement) -> Turn:
    """Store a valid reading of a car and work out where its setup stands. Raises VerifyingError.

    A reading is of the setup's current revision.
    """
    assert measurement.revision is not None
    with transaction.atomic():
        setup = _locked(measurement.revision.setup_id)
        if setup.state == Setup.State.WITHDRAWN:
            raise VerifyingError(
                _(
                    "The setup is withdrawn: measuring it changes nothing until it is put back."
                )
            )
        if setup.current_id != measurement.revision_id:
            raise VerifyingError(
                _(
                    "The setup has been revised since: look at what changed, then measure the car as "
                    "it is now."
                )
            )
        rows = measurements_of(measurement.revision).filter(
            member=measurement.member_id, quantity=measurement.quantity
        )
        if sum(row.counts for row in rows) >= MOST_READINGS:
            why = _(
                "You have {most} readings of this already. More of them change nothing: withdraw one "
                "that was wrong, or ask another member to measure."
            )
            raise VerifyingError(why.format(most=MOST_READINGS))
        measurement.save()
        return bring_up_to_date(setup)


def withdraw(measurement: Measurement, member: Any, at: datetime | None = None) -> Turn:
    """Let a member's own reading of a car count no more. PermissionError for another member's.

    ``at``: if that was not just now.
    """
    if measurement.member_id != member.pk:
        raise PermissionError(_("Only the member who measured can withdraw a measurement."))
    assert measurement.revision is not None
    with transaction.atomic():
        setup = _locked(measurement.revision.setup_id)
        measurement.withdrawn = True
        measurement.save(update_fields=["withdrawn"])
        (turn,) = bring_all_up_to_date([setup], {} if at is None else {setup.pk: at})
    return turn


def open_disputes() -> QuerySet[Dispute]:
    """What stewards have to look at, longest open first."""
    return Dispute.objects.filter(outcome="").select_related(
        "setup__author", "setup__body", "setup__platform", "measurement__member", "measurement__revision"
    )


def why_not_settle(dispute: Dispute, member: Any) -> str:
    """Why ``member`` may not settle ``dispute``; empty if they may."""
    if not getattr(member, "settles_disputes", False):
        return _("Only a steward settles a dispute.")
    if dispute.setup.author_id == member.pk:
        return _("The setup is your own: another steward has to settle this.")
    if dispute.measurement.member_id == member.pk:
        return _("The measurement is your own: another steward has to settle this.")
    return ""


def settle(dispute: Dispute, member: Any, outcome: str, reason: str, at: datetime | None = None) -> Turn:
    """Settle an open dispute with a reason. Raises PermissionError for who may not, else VerifyingError.

    SET_ASIDE: every reading by that member of that quantity of the build counts no more. UPHELD: the setup
    stays disputed until a revision is built otherwise. ``at``: if that was not just now.
    """
    if why_not := why_not_settle(dispute, member):
        raise PermissionError(why_not)
    if outcome not in (Dispute.Outcome.SET_ASIDE, Dispute.Outcome.UPHELD):
        raise VerifyingError(_("Choose who is right: the measurement, or the setup."))
    if not reason.strip():
        raise VerifyingError(_("Say why: the reason is kept, and both members read it."))
    with transaction.atomic():
        setup = _locked(dispute.setup_id)
        locked = Dispute.objects.select_for_update().select_related("measurement").get(pk=dispute.pk)
        if not locked.is_open:
            raise VerifyingError(_("Another steward has settled this meanwhile: read the record."))
        locked.outcome, locked.reason = outcome, reason.strip()
        locked.settled_by, locked.settled_at = member, at or timezone.now()
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
        log(setup, Decision.Action.SETTLED, f"{label.capitalize()}: {reason.strip()}"[:1000], member, at)
        (turn,) = bring_all_up_to_date([setup], {} if at is None else {setup.pk: at})
    dispute.refresh_from_db()
    return turn


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
    standings = _standings([(setup, setup.current_id) for setup in posted], known)
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


def _locked(key: int) -> Setup:
    return Setup.objects.select_for_update(of=("self",)).select_related("author").get(pk=key)


def _verification(setup: Setup, report: FitReport, rows: Sequence[Measurement]) -> Verification:
    return verify(report.verdict, computed_of(report.geometry), readings_of(rows), setup.author_id)


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
        quantity, member = next(
            (one.quantity, one.contradicting[0]) for one in standing.verification.tested if one.contradicting
        )
        against = next(
            row
            for row in reversed(standing.measurements)
            if row.counts and row.quantity == quantity and row.member_id == member
        )
        at = self.at.get(setup.pk) or timezone.now()
        self.opened.append(
            Dispute(setup=setup, build=standing.revision.build, measurement=against, opened_at=at)
        )
        label = CAR_DIMENSIONS[quantity].label.lower()
        why = (
            f"{against.member} measured the {label} as {float(against.value):g} {against.kind.unit.value}, "
            "which contradicts what is computed."
        )
        self.note(_line(setup, Decision.Action.DISPUTED, why))

    def store(self) -> None:
        for dispute in self.closed:
            dispute.save()
        Dispute.objects.bulk_create(self.opened, batch_size=500)
        Decision.objects.bulk_create(self.lines, batch_size=500)
