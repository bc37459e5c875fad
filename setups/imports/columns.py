"""What a column is, and which column a heading names.

A heading is recognised by its key, its label or one of a few other names, whatever its case, spaces and
underscores; a unit behind it must be the library's own.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.db import models

from fitcalc.dimensions import DimensionKind, Unit
from setups.imports import cells
from setups.imports.cells import CellError, Style
from setups.models.dimension import Dimension


@dataclass(frozen=True, slots=True)
class Column:
    """One column. ``read`` makes a value of a cell; ``dimension`` and ``role`` are set for figures.

    ``role`` is "value", "tolerance", "uncertainty" or "source". ``takes`` says what a cell may hold.
    """

    key: str
    label: str
    meaning: str
    takes: str
    read: Callable[[str, Style], Any]
    required: bool = False
    unit: Unit = Unit.NONE
    dimension: str = ""
    role: str = ""
    aliases: tuple[str, ...] = ()
    says_unknown: bool = True
    """Whether a dash or "n/a" means that nothing is known; in a name it is just a name."""

    @property
    def numeric(self) -> bool:
        return self.role in ("value", "tolerance", "uncertainty") or self.takes.startswith("number")


@dataclass(frozen=True)
class Kind:
    """What a file is about: bodies or parts."""

    key: str
    one: str
    model: type[models.Model]
    dimension_model: type[Dimension]
    owner: str
    catalogue: dict[str, DimensionKind]
    columns: tuple[Column, ...]
    example: dict[str, str]

    @property
    def fields(self) -> list[Column]:
        """The columns that are not a dimension's."""
        return [column for column in self.columns if not column.dimension]

    @property
    def dimensions(self) -> list[Column]:
        """The columns of the dimensions' values."""
        return [column for column in self.columns if column.role == "value"]

    @property
    def required(self) -> list[Column]:
        return [column for column in self.columns if column.required]

    def column(self, key: str) -> Column:
        return next(column for column in self.columns if column.key == key)

    def named(self, heading: str) -> Column | None:
        """The column that ``heading`` names, or ``None``."""
        return self.names.get(_normal(heading)) or self.names.get(_normal(_without_unit(heading)))

    def foreign_unit(self, column: Column, heading: str) -> str:
        """What to do if ``heading`` names another unit than the column's; empty if it does not."""
        found = re.search(r"[(\[]([^)\]]*)[)\]]\s*$", heading)
        if found is None or not column.numeric or not column.unit.value:
            return ""
        try:
            factor = cells.conversion(found.group(1), column.unit)
        except CellError:
            return ""  # a remark in brackets
        return "" if factor is None else f"The library takes {column.unit.value}: convert the column."

    @cached_property
    def names(self) -> dict[str, Column]:
        """Every name of every column, as ``named`` compares them."""
        found: dict[str, Column] = {}
        for column in self.columns:
            for name in (column.key, column.label, *column.aliases):
                found.setdefault(_normal(name), column)
        for name, column in list(found.items()):
            if column.numeric and column.unit.value:
                found.setdefault(f"{name}_{column.unit.value.casefold()}", column)
        return found


def _without_unit(heading: str) -> str:
    return re.sub(r"[(\[][^)\]]*[)\]]", " ", heading)


def _normal(heading: str) -> str:
    text = (
        unicodedata.normalize("NFKC", heading)
        .casefold()
        .replace("±", " tolerance ")
        .replace("+/-", " tolerance ")
    )
    text = re.sub(r"\btol\b\.?", "tolerance", text.replace("_", " "))
    return "_".join(re.findall(r"\w+", text))
