"""What members measured, and the figure that stood before they did."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from fitcalc.dimensions import BODY_DIMENSIONS, CAR_DIMENSIONS, PART_DIMENSIONS, DimensionKind
from fitcalc.instruments import DESIGNATED, Instrument, instruments_for, least_doubt, standard_doubt
from setups.printing import bare, unit_word

from .body import Body
from .dimension import Dimension, doubt_not_negative, outside, plausible
from .part import Part
from .setup import Revision

QUANTITY_CHOICES = [
    (kind.key, kind.label) for kind in (BODY_DIMENSIONS | PART_DIMENSIONS | CAR_DIMENSIONS).values()
]


def today() -> object:
    """The day in the club's time zone."""
    return timezone.localdate()


def plausible_of_subject() -> Q:
    """The condition that a row is of one body or one part, and its value a sane one of that dimension."""
    of_body = Q(body__isnull=False, part__isnull=True) & plausible(BODY_DIMENSIONS)
    of_part = Q(body__isnull=True, part__isnull=False) & plausible(PART_DIMENSIONS)
    return of_body | of_part


class OfSubject(models.Model):
    """A row about a dimension of one body or of one part."""

    body = models.ForeignKey(
        Body, on_delete=models.CASCADE, null=True, blank=True, related_name="%(class)s_set"
    )
    part = models.ForeignKey(
        Part, on_delete=models.CASCADE, null=True, blank=True, related_name="%(class)s_set"
    )
    quantity = models.CharField(max_length=20, choices=QUANTITY_CHOICES)

    class Meta:
        abstract = True

    @property
    def kind(self) -> DimensionKind:
        return (BODY_DIMENSIONS if self.part_id is None else PART_DIMENSIONS)[self.quantity]

    @property
    def subject(self) -> Body | Part:
        found = self.body if self.part_id is None else self.part
        assert found is not None
        return found


def plausible_of_measured() -> Q:
    """The condition that a row is of one body, one part or one car, and its value a sane one there."""
    of_car = Q(body__isnull=True, part__isnull=True, revision__isnull=False) & plausible(CAR_DIMENSIONS)
    return plausible_of_subject() & Q(revision__isnull=True) | of_car


class Measurement(OfSubject):
    """One reading by one member, of a body, a part, or the car of a setup's ``revision``.

    Nothing is deleted: what was a mistake is withdrawn by its member, what a steward found wrong is set
    aside; neither counts any more. ``uncertainty`` is one standard deviation in the dimension's unit;
    empty: what the instrument leaves.
    """

    INSTRUMENTS = [(one.value, one.label) for one in Instrument]

    revision = models.ForeignKey(
        Revision, on_delete=models.CASCADE, null=True, blank=True, related_name="measurements"
    )
    member = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="measurements"
    )
    value = models.DecimalField(max_digits=8, decimal_places=3)
    instrument = models.CharField(max_length=11, choices=INSTRUMENTS)
    uncertainty = models.DecimalField(max_digits=6, decimal_places=3, null=True, blank=True)
    measured_on = models.DateField(default=today)
    note = models.CharField(max_length=200, blank=True)
    withdrawn = models.BooleanField(default=False)
    set_aside = models.BooleanField(default=False)
    added = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["id"]
        indexes = [
            models.Index(fields=["body", "quantity"], name="measurement_body_quantity"),
            models.Index(fields=["part", "quantity"], name="measurement_part_quantity"),
        ]
        constraints = [
            models.CheckConstraint(condition=plausible_of_measured(), name="measurement_plausible"),
            models.CheckConstraint(
                condition=Q(instrument__in=[one.value for one in Instrument]),
                name="measurement_instrument_known",
            ),
            models.CheckConstraint(
                condition=Q(uncertainty__isnull=False, uncertainty__gt=0)
                | (Q(uncertainty__isnull=True) & ~Q(instrument=Instrument.OTHER.value)),
                name="measurement_doubt",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind.label} {self.value} {self.kind.unit.value}".rstrip()

    @property
    def kind(self) -> DimensionKind:
        return CAR_DIMENSIONS[self.quantity] if self.revision_id is not None else super().kind

    @property
    def subject(self) -> Body | Part | Revision:
        return self.revision if self.revision_id is not None else super().subject

    @property
    def counts(self) -> bool:
        """True while the reading is neither withdrawn nor set aside."""
        return not (self.withdrawn or self.set_aside)

    @property
    def u(self) -> float:
        """Standard uncertainty: the member's own, or the instrument's."""
        if self.uncertainty is not None:
            return float(self.uncertainty)
        found = standard_doubt(Instrument(self.instrument))
        assert found is not None  # a constraint asks for a doubt with another instrument
        return found

    def clean(self) -> None:
        """Raises ValidationError where the value is absurd, or the instrument or doubt does not suit it."""
        wrong: dict[str, str] = {}
        if self.quantity and (self.body_id or self.part_id or self.revision_id):
            wrong = refusals(self.kind, self.value, self.instrument, self.uncertainty)
        if wrong:
            raise ValidationError(wrong)


class StatedFigure(OfSubject, Dimension):
    """The figure that the library had before members settled the dimension: shown beside theirs."""

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["body", "quantity"], condition=Q(body__isnull=False), name="stated_figure_once_a_body"
            ),
            models.UniqueConstraint(
                fields=["part", "quantity"], condition=Q(part__isnull=False), name="stated_figure_once_a_part"
            ),
            models.CheckConstraint(condition=plausible_of_subject(), name="stated_figure_plausible"),
            models.CheckConstraint(condition=doubt_not_negative(), name="stated_figure_doubt"),
        ]

    def __str__(self) -> str:
        return f"{self.kind.label} {self.value} {self.kind.unit.value}".rstrip()


def refusals(
    kind: DimensionKind, value: Decimal | None, instrument: str, uncertainty: Decimal | None
) -> dict[str, str]:
    """What is wrong with a reading of ``kind`` and what to do, by field; empty if nothing is."""
    wrong: dict[str, str] = {}
    label, unit = _(kind.label), f" {unit_word(kind.unit)}".rstrip()
    if kind.key in DESIGNATED:
        wrong["quantity"] = _(
            "{label} is what the maker calls it, not a reading: leave it as it is."
        ).format(label=label)
    if value is not None and not kind.low <= value <= kind.high:
        wrong["value"] = outside(kind, value)
    if instrument in {one.value for one in Instrument}:
        used = Instrument(instrument)
        if used not in instruments_for(kind.unit):
            wrong["instrument"] = _(
                "A {instrument} does not show {unit}: choose another instrument."
            ).format(instrument=_(used.label), unit=unit_word(kind.unit) or _("a number"))
        elif uncertainty is None and standard_doubt(used) is None:
            wrong["uncertainty"] = _(
                "Give a doubt: the library does not know what this instrument leaves."
            )
        elif uncertainty is not None and uncertainty < Decimal(str(round(least_doubt(used), 3))):
            said = _("The doubt must be at least {least}: the library keeps no finer one. Type a larger one.")
            if used is not Instrument.OTHER:
                said = _(
                    "The doubt must be at least {least}: so much a {instrument} rounds away. "
                    "Type a larger one."
                )
            least = bare(least_doubt(used), kind.unit, 3)
            wrong["uncertainty"] = said.format(least=f"{least}{unit}", instrument=_(used.label))
    return wrong
