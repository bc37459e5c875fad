"""A dimension with its doubt and where it comes from, shared by bodies and parts."""

from __future__ import annotations

from decimal import Decimal
from functools import reduce
from math import isfinite
from operator import or_

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q
from django.utils.formats import number_format
from django.utils.translation import gettext as _

from fitcalc.dimensions import DimensionKind, Unit
from fitcalc.quantities import Quantity
from fitcalc.said import said
from setups.printing import brief, in_inches, unit_word


class Basis(models.TextChoices):
    """Where a figure comes from."""

    MAKER = "maker", said("maker's figure")
    MEASURED = "measured", said("measured by a member")
    AGREED = "agreed", said("agreed from several measurements")
    SCALED = "scaled", said("scaled from the full-size car")


class Dimension(models.Model):
    """One dimension of one thing: value, and its doubt as tolerance or standard uncertainty.

    ``tolerance`` is a half-width (± mm) as a maker states it; ``uncertainty`` is one standard
    deviation as a measurement gives it. Where both are empty the library assumes ± 0.1 of the unit.
    """

    ASSUMED_TOLERANCE = Decimal("0.1")

    value = models.DecimalField(max_digits=8, decimal_places=3)
    tolerance = models.DecimalField(max_digits=6, decimal_places=3, null=True, blank=True)
    uncertainty = models.DecimalField(max_digits=6, decimal_places=3, null=True, blank=True)
    basis = models.CharField(max_length=8, choices=Basis, default=Basis.MAKER)
    source = models.CharField(max_length=200, blank=True)

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return f"{self.kind.label} {self.value} {self.kind.unit.value}".rstrip()

    @property
    def kind(self) -> DimensionKind:
        raise NotImplementedError

    def quantity_value(self) -> Quantity:
        """The dimension as the calculation takes it."""
        return doubted(self.kind.unit, self.value, self.tolerance, self.uncertainty)

    def clean(self) -> None:
        kind = self.kind
        if self.value is None or not isfinite(self.value):
            return  # the field itself has said so
        if not kind.low <= self.value <= kind.high:
            raise ValidationError({"value": outside(kind, self.value)})


def doubted(
    unit: Unit, value: Decimal, tolerance: Decimal | None, uncertainty: Decimal | None
) -> Quantity:
    """The columns of a ``Dimension`` as the calculation takes them; ``value`` in ``unit``."""
    if uncertainty is not None:
        return Quantity(float(value), float(uncertainty), unit)
    assumed = Dimension.ASSUMED_TOLERANCE if tolerance is None else tolerance
    return Quantity.from_tolerance(float(value), float(assumed), unit)


def outside(kind: DimensionKind, value: Decimal) -> str:
    """What is said of a value of ``kind`` that is not plausible."""
    low, high = brief(kind.low, kind.unit), f"{brief(kind.high, kind.unit)} {unit_word(kind.unit)}".rstrip()
    given = brief(float(value), kind.unit) if in_inches(kind.unit) else number_format(value)
    return _(
        "{label} must lie between {low} and {high}; you gave {value}. Check the unit and the decimal point."
    ).format(label=_(kind.label), low=low, high=high, value=given)


def plausible(catalogue: dict[str, DimensionKind]) -> Q:
    """The condition that a row's value lies within the bounds of the dimension it names."""
    return reduce(
        or_,
        (
            Q(quantity=kind.key, value__gte=Decimal(str(kind.low)), value__lte=Decimal(str(kind.high)))
            for kind in catalogue.values()
        ),
    )


def doubt_not_negative() -> Q:
    """The condition that neither doubt is negative (an empty one passes)."""
    return (Q(tolerance__isnull=True) | Q(tolerance__gte=0)) & (
        Q(uncertainty__isnull=True) | Q(uncertainty__gte=0)
    )
