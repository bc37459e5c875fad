"""The dimensions that a row gives: against what is on record, and against what is sane.

The same figure stands in many rows of a file, so each is made and judged once and copied from then on; that
halves the time that a file of thousands of rows takes.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models.base import ModelState

from fitcalc.dimensions import PartKind, dimensions_of
from fitcalc.said import Listed, Said, Within
from setups.imports.columns import Kind
from setups.imports.given import Change, Given, GivenFigure
from setups.imports.words import kept, of_numbers, settled, together
from setups.models import Part
from setups.models.dimension import Basis, Dimension


@dataclass(frozen=True, slots=True)
class _Made:
    """A figure as the library would keep it, its words, and what is wrong with it."""

    dimension: Dimension
    words: str
    faults: list[tuple[str, str]]


class Figures:
    """Checks the dimensions of one file."""

    def __init__(self, kind: Kind) -> None:
        self._kind = kind
        self._made: dict[tuple[Any, ...], _Made] = {}
        get = kind.dimension_model._meta.get_field
        self._value, self._doubt = get("value"), get("tolerance")

    def check(self, given: Given, checked: Any, existing: Any | None) -> None:
        """Adds to ``checked`` the dimensions that the row would write, and to ``given`` what is wrong."""
        on_record = {} if existing is None else {row.quantity: row for row in existing.dimensions.all()}
        allowed = tuple(self._kind.catalogue)
        if self._kind.model is Part:
            allowed = dimensions_of(PartKind(checked.instance.kind))
        for key, figure in given.figures.items():
            label = self._kind.catalogue[key].label
            if key not in allowed:
                given.wrong(
                    key,
                    Said(
                        "A {kind} has no {dimension}: leave the cell empty. It belongs to: {owners}.",
                        kind=Said(PartKind(checked.instance.kind).label),
                        dimension=Within(label),
                        owners=Listed(one.label for one in PartKind if key in dimensions_of(one)),
                    ),
                )
                continue
            before = on_record.get(key)
            columns = self._columns(given, key, figure, before)
            if columns is None or (before is not None and columns == _columns_of(before)):
                continue
            made = self._of(key, columns)
            for name, message in made.faults:
                given.wrong(key if name == "value" else f"{key}_{name}", message)
            checked.dimensions.append(_twin(made.dimension))
            checked.changes.append(Change(label, "" if before is None else figure_words(before), made.words))
            measured = before is not None and before.basis in (Basis.MEASURED, Basis.AGREED)
            if measured and before.value != made.dimension.value:
                checked.notes.append(
                    Said(
                        "{label}: this replaces a figure {basis}.",
                        label=Said(label),
                        basis=Said(Basis(before.basis).label),
                    )
                )

    def _columns(
        self, given: Given, key: str, figure: GivenFigure, before: Dimension | None
    ) -> tuple[Any, ...] | None:
        """Value, tolerance, uncertainty, basis and source as they would be; ``None`` if one is wrong."""
        tolerance = figure.tolerance if figure.tolerance is not None else figure.tolerance_behind
        if figure.tolerance_behind not in (None, tolerance):
            given.wrong(
                f"{key}_tolerance",
                Said("It is not the tolerance that stands behind the ±: give one of them."),
            )
            return None
        if tolerance is not None and figure.uncertainty is not None:
            given.wrong(f"{key}_uncertainty", Said("Give a tolerance or an uncertainty, not both."))
            return None
        if figure.value is None and before is None:
            given.wrong(
                key,
                Said(
                    "It is empty, but its tolerance or source is not: write the figure, or empty those too."
                ),
            )
            return None
        value = before.value if before and figure.value is None else settled(self._value, figure.value)
        doubt = (settled(self._doubt, tolerance), settled(self._doubt, figure.uncertainty))
        source = figure.source or given.values.get("source", "")
        basis = figure.basis or given.values.get("basis", "")
        if before is None or before.value != value:
            return (value, *doubt, basis or Basis.MAKER.value, source)
        if doubt == (None, None):
            doubt = (before.tolerance, before.uncertainty)
        return (value, *doubt, basis or before.basis, source or before.source)

    def _of(self, key: str, columns: tuple[Any, ...]) -> _Made:
        known = self._made.get((key, *columns))
        if known is None:
            names = ("value", "tolerance", "uncertainty", "basis", "source")
            one = self._kind.dimension_model(quantity=key, **dict(zip(names, columns, strict=True)))
            known = self._made[key, *columns] = _Made(one, figure_words(one), self._faults(one))
        return known

    def _faults(self, dimension: Dimension) -> list[tuple[str, str]]:
        try:
            dimension.clean_fields(exclude={self._kind.owner, "quantity"})
            dimension.clean()
        except ValidationError as error:
            return [(key, together(messages)) for key, messages in error.message_dict.items()]
        return []


def _twin(row: Dimension) -> Dimension:
    """A row that says the same, to be given an owner of its own."""
    one = row.__class__.__new__(row.__class__)
    one.__dict__.update(row.__dict__)
    one._state = ModelState()
    one._state.fields_cache = copy(row._state.fields_cache)
    return one


def _columns_of(row: Dimension) -> tuple[Any, ...]:
    return (row.value, row.tolerance, row.uncertainty, row.basis, row.source)


def figure_words(row: Dimension) -> str:
    """A dimension with its doubt, where it comes from, in one line."""
    unit, name = row.kind.unit, row.quantity
    value, basis = kept(row.value, unit, name), Said(Basis(row.basis).label)
    origin = of_numbers("{basis}, {source}", basis=basis, source=row.source) if row.source else basis
    if row.tolerance is not None:
        doubt = kept(row.tolerance, unit, name)
        return of_numbers("{value:n} ± {doubt} ({origin})", value=value, doubt=doubt, origin=origin)
    if row.uncertainty is not None:
        doubt = kept(row.uncertainty, unit, name)
        return of_numbers("{value:n}, u = {doubt} ({origin})", value=value, doubt=doubt, origin=origin)
    return of_numbers("{value} ({origin})", value=value, origin=origin)
