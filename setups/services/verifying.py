"""Measuring a posted car, settling what contradicts it, and computing setups anew when a figure changed.

Each of them works out with the setup locked where it stands now (``setups.services.ruling``). Nobody
verifies their own: the author's readings are shown and do not count (``fitcalc.verification``).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from setups.models import Body, Decision, Dispute, Measurement, Part, Setup
from setups.services.ruling import Turn, bring_all_up_to_date, bring_up_to_date, log
from setups.services.standing import measurements_of, standing_of

__all__ = [
    "Rechecked",
    "Turn",
    "VerifyingError",
    "add",
    "bring_up_to_date",
    "log",
    "open_disputes",
    "recheck",
    "settle",
    "standing_of",
    "touched_by",
    "why_not_settle",
    "withdraw",
]

MOST_READINGS = 20
"""A member may have so many readings of one quantity of a build that count."""
RECHECKED_AT_ONCE = 200
"""So many setups are computed anew while the member who measured waits; the rest by ``manage.py recheck``."""


class VerifyingError(ValueError):
    """Why a measurement or a decision cannot be taken; the text says what to do."""


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


def _locked(key: int) -> Setup:
    return Setup.objects.select_for_update(of=("self",)).select_related("author").get(pk=key)
