"""Members' measurements of a dimension, and the one value that they settle.

What stood in the library before members measured (the maker's figure, say) is kept as the stated figure. It
stands until two members have measured and do not contradict each other without a majority; from then on the
dimension is theirs. Where nothing was stated, a single member's measurement is better than none. When what
they measured is withdrawn again, the stated figure comes back.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import AbstractBaseUser
from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from fitcalc import consensus
from fitcalc.consensus import Agreement, Consensus, Move, moved, settle
from fitcalc.dimensions import BODY_DIMENSIONS, PART_DIMENSIONS, DimensionKind, PartKind, dimensions_of
from fitcalc.findings import Verdict
from fitcalc.instruments import DESIGNATED, LEAST_DOUBT
from fitcalc.quantities import Quantity
from setups.models import Body, BodyDimension, Measurement, Part, PartDimension, Platform, StatedFigure
from setups.models.dimension import Basis, Dimension
from setups.services import verifying
from setups.services.fitting import answer, solved
from setups.services.verifying import Rechecked
from setups.translate import body_of

MOST_READINGS = verifying.MOST_READINGS
"""A member may have so many readings of one dimension that count: as many as of a car."""

SETTLED_SOURCE = re.compile(r"^\d+ members?['’] measurements?(, disputed)?$|^a member['’]s measurement$")
_THOUSANDTH = Decimal("0.001")
_LARGEST_DOUBT = 999.999


class MeasuringError(ValueError):
    """Why a measurement cannot be taken; the text says what to do."""


@dataclass(frozen=True, slots=True)
class VerdictChange:
    """The best configuration's verdict on one platform; ``None`` where no configuration can be judged."""

    platform: Platform
    before: Verdict | None
    after: Verdict | None


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a measurement, or the withdrawal of one, did to the library's figure.

    ``before`` and ``after`` are the library's figure, ``None`` where it has none. ``move`` compares what
    members settle with what they did before, ``None`` unless that was the library's figure. ``verdicts``
    are those that changed. ``setups`` are the posted setups that hang on the figure, computed anew, if it
    changed.
    """

    measurement: Measurement
    before: Quantity | None
    after: Quantity | None
    settled: Consensus | None
    move: Move | None
    verdicts: list[VerdictChange] = field(default_factory=list)
    setups: Rechecked | None = None

    @property
    def changed(self) -> bool:
        return self.before != self.after


def measurable(subject: Body | Part) -> list[DimensionKind]:
    """The dimensions of ``subject`` that members may measure."""
    if isinstance(subject, Body):
        return list(BODY_DIMENSIONS.values())
    known = subject.dimensions.values_list("quantity", flat=True)
    keys = dict.fromkeys([*dimensions_of(PartKind(subject.kind)), *known])
    return [PART_DIMENSIONS[key] for key in keys if key not in DESIGNATED]


def measurements_of(subject: Body | Part, quantity: str) -> QuerySet[Measurement]:
    """Every measurement of a dimension, withdrawn ones too, with its member."""
    return Measurement.objects.filter(**_about(subject), quantity=quantity).select_related("member")


def figure_of(subject: Body | Part, quantity: str) -> Dimension | None:
    """The library's row of a dimension, if there is one."""
    return _rows(subject).filter(quantity=quantity).first()


def stated_of(subject: Body | Part, quantity: str) -> StatedFigure | None:
    """The figure that the library had before members settled it, if they did."""
    return StatedFigure.objects.filter(**_about(subject), quantity=quantity).first()


def settled(rows: Iterable[Measurement], kind: DimensionKind) -> Consensus | None:
    """What the measurements that count settle; ``None`` without any. The measurers are member keys."""
    readings = [
        consensus.Measurement(float(row.value), row.u, row.member_id, row.instrument)
        for row in rows
        if row.counts
    ]
    return settle(readings, kind.unit) if readings else None


def add(measurement: Measurement, first: Callable[[], None] = lambda: None) -> Outcome:
    """Store a valid measurement and settle its dimension again. Raises MeasuringError at a member's limit.

    ``first`` is done in the same transaction before that, and what it raises is passed on.
    """

    def store(rows: Sequence[Measurement]) -> None:
        first()
        own = sum(row.member_id == measurement.member_id and not row.withdrawn for row in rows)
        if own >= MOST_READINGS:
            why = _(
                "You have {own} readings of this dimension already. More of them change nothing: withdraw "
                "one that was wrong, or ask another member to measure."
            )
            raise MeasuringError(why.format(own=own))
        measurement.save()

    return _changing(measurement, store)


def withdraw(measurement: Measurement, member: AbstractBaseUser) -> Outcome:
    """Let a member's own measurement count no more. Raises PermissionError for another member's."""
    if measurement.member_id != member.pk:
        raise PermissionError(_("Only the member who measured can withdraw a measurement."))

    def mark(_: Sequence[Measurement]) -> None:
        measurement.withdrawn = True
        measurement.save(update_fields=["withdrawn"])

    return _changing(measurement, mark)


def _changing(measurement: Measurement, change: Any) -> Outcome:
    """Do ``change`` with the subject locked, settle, and tell what that did; the fit is solved unlocked."""
    subject, quantity = measurement.subject, measurement.quantity
    kind = measurement.kind
    with transaction.atomic():
        locked = type(subject)._default_manager.select_for_update(no_key=True).get(pk=subject.pk)
        old = _with_fit(locked)
        was = figure_of(locked, quantity)
        before = None if was is None else was.quantity_value()
        source = "" if was is None else was.source
        rows = measurements_of(locked, quantity)
        earlier = settled(listed := list(rows), kind)
        change(listed)
        now = settled(rows.all(), kind)
        row = resettle(locked, quantity, now)
        after = None if row is None else row.quantity_value()
    theirs = was is not None and SETTLED_SOURCE.match(source) is not None
    move = moved(earlier, now) if theirs and earlier is not None and now is not None else None
    outcome = Outcome(measurement, before, after, now, move)
    if not outcome.changed:
        return outcome
    if isinstance(old, Body):
        outcome.verdicts.extend(_verdict_changes(old))
    return replace(outcome, setups=verifying.recheck(verifying.touched_by(subject)))


def resettle(subject: Body | Part, quantity: str, now: Consensus | None) -> Dimension | None:
    """Bring the library's row of a dimension in line with what members settle; within a transaction.

    What settling did not write becomes the stated figure. Returns the row that stands.
    """
    row = figure_of(subject, quantity)
    stated = stated_of(subject, quantity)
    if row is not None and not SETTLED_SOURCE.match(row.source):
        stated = _keep_stated(subject, row, stated)
    if now is not None and (stated is None or _outweighs(now)):
        return _store(subject, quantity, row, settled_figures(now))
    if stated is None:
        if row is not None:
            row.delete()
        return None
    return _store(subject, quantity, row, _figures(stated))


def stands(row: Dimension | None, stated: StatedFigure | None, now: Consensus | None) -> bool:
    """True if ``resettle`` would change nothing: for those who have many dimensions' rows at hand."""
    kept = stated is not None and row is not None and _figures(stated) == _figures(row)
    if row is not None and not SETTLED_SOURCE.match(row.source) and not kept:
        return False
    wanted = None if stated is None else _figures(stated)
    if now is not None and (stated is None or _outweighs(now)):
        wanted = settled_figures(now)
    return (None if row is None else _figures(row)) == wanted


def settled_figures(now: Consensus) -> dict[str, Any]:
    """The columns of a row that holds what members settle."""
    disputed = now.agreement is Agreement.DISPUTED
    number = len(now.standings)
    return {
        "value": Decimal(str(float(now.value.value))).quantize(_THOUSANDTH),
        "tolerance": None,
        "uncertainty": _doubt(float(now.value.u)),
        "basis": Basis.MEASURED if disputed or number == 1 else Basis.AGREED,
        "source": "a member's measurement"
        if number == 1
        else f"{number} members' measurements{', disputed' if disputed else ''}",
    }


def _outweighs(now: Consensus) -> bool:
    """True if members may replace a stated figure: two of them, and no dispute."""
    return now.agreement in (Agreement.AGREED, Agreement.OUTLIERS)


def _doubt(u: float) -> Decimal:
    return Decimal(str(min(max(u, LEAST_DOUBT), _LARGEST_DOUBT))).quantize(_THOUSANDTH)


def _about(subject: Body | Part) -> dict[str, Any]:
    return {"body": subject} if isinstance(subject, Body) else {"part": subject}


def _rows(subject: Body | Part) -> QuerySet[Any]:
    rows = BodyDimension if isinstance(subject, Body) else PartDimension
    return rows._default_manager.filter(**_about(subject))


def _figures(row: Dimension) -> dict[str, Any]:
    return {name: getattr(row, name) for name in ("value", "tolerance", "uncertainty", "basis", "source")}


def _keep_stated(subject: Body | Part, row: Dimension, stated: StatedFigure | None) -> StatedFigure:
    if stated is not None and _figures(stated) == _figures(row):
        return stated
    kept, _ = StatedFigure.objects.update_or_create(
        **_about(subject),
        quantity=row.quantity,  # type: ignore[attr-defined]
        defaults=_figures(row),
    )
    return kept


def _store(subject: Body | Part, quantity: str, row: Dimension | None, figures: dict[str, Any]) -> Dimension:
    if row is None:
        made: Dimension = _rows(subject).create(**_about(subject), quantity=quantity, **figures)
        return made
    if _figures(row) != figures:
        for name, value in figures.items():
            setattr(row, name, value)
        row.save()
    return row


def _with_fit(subject: Body | Part) -> Body | Part:
    """A body with all that the fit reads, as it stands now; a part as it is."""
    if isinstance(subject, Part):
        return subject
    return Body.objects.prefetch_related("dimensions", "part_rules").get(pk=subject.pk)


def _verdict_changes(old: Body) -> list[VerdictChange]:
    """Per platform, how the best configuration's verdict differs from that for ``old``, read before."""
    new = _with_fit(old)
    assert isinstance(new, Body)
    found = answer(new, limit=1, misses=1)
    platforms = [one.platform for one in found.platforms]
    earlier = solved(platforms, found.shelf, body_of(old), limit=1, misses=1)
    before = {one.platform.pk: _best(one) for one in earlier}
    return [
        VerdictChange(one.platform, before[one.platform.pk], _best(one))
        for one in found.platforms
        if before[one.platform.pk] is not _best(one)
    ]


def _best(one: Any) -> Verdict | None:
    match = one.best or one.nearest
    return None if match is None else match.report.verdict
