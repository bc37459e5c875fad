"""What a column is, and which column a heading names.

A heading is recognised by its key, its label or one of a few other names, whatever its case, spaces and
underscores; a unit behind it must be the library's own.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property
from typing import Any

from django.db import models

from fitcalc.dimensions import DimensionKind, Unit
from fitcalc.said import Said, said
from setups.imports import cells
from setups.imports.cells import CellError, Style
from setups.models.dimension import Dimension

LONGEST_HEADING = 200
"""A longer one names no column."""


class Text(StrEnum):
    """What of text a column holds."""

    NONE = ""
    LINE = "line"
    LINES = "lines"


@dataclass(frozen=True, slots=True)
class Column:
    """One column. ``read`` makes a value of a cell; ``dimension`` and ``role`` are set for figures.

    ``role`` is "value", "tolerance", "uncertainty", "basis" or "source". ``takes`` says what a cell may hold.
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
    text: Text = Text.NONE
    """Whether it holds text, which an export marks where a reader would not give it back letter by letter."""
    restores: bool = False
    """Whether only a library that is loaded whole has a use for it; templates leave it out."""

    @property
    def numeric(self) -> bool:
        return self.role in ("value", "tolerance", "uncertainty") or self.takes.startswith("number")


NAMES = (
    (said("bodies"), said("body")),
    (said("parts"), said("part")),
    (said("setups"), said("setup"), said("revisions"), said("revision")),
    (said("measurements"), said("measurement")),
    (said("platforms"), said("platform")),
    (said("positions"), said("mounting position")),
    (said("wheelbases"), said("published wheelbase")),
    (said("configurations"), said("configuration")),
    (said("part rules"), said("rule of two parts")),
    (said("body rules"), said("rule of a body and a part")),
    (said("stated figures"), said("stated figure")),
    (said("makers"), said("maker")),
    (said("classes"), said("race class")),
)
"""What the kinds are called together and one by one: marked here, since they stand in them as keys."""


@dataclass(frozen=True)
class Kind:
    """What a file is about: bodies, parts, setups and so on.

    ``refers`` names the columns that hold the name of another row of the library, and what row that is.
    A row is found again by the columns in ``found_by``. Members load what is ``own``, their own; the rest is
    loaded by who keeps the library, and what is ``whole`` only with ``manage.py import_library``.
    """

    key: str
    one: str
    model: type[models.Model]
    columns: tuple[Column, ...]
    example: dict[str, str] = field(default_factory=dict)
    found_by: tuple[str, ...] = ()
    refers: dict[str, str] = field(default_factory=dict)
    own: bool = False
    whole: bool = False
    row: str = ""
    """What a row is, if it is not one of them: a revision, of setups."""
    most_rows: int = 5000
    dimension_model: type[Dimension] = Dimension
    owner: str = ""
    catalogue: dict[str, DimensionKind] = field(default_factory=dict)

    @property
    def fields(self) -> list[Column]:
        """The columns that are not a dimension's."""
        return [column for column in self.columns if not column.dimension]

    @property
    def many(self) -> str:
        """What they are called together: "body rules" for the key "body-rules"."""
        return self.key.replace("-", " ")

    @property
    def rows(self) -> str:
        """What the rows of a file are called together."""
        return f"{self.row}s" if self.row else self.many

    @property
    def template(self) -> list[Column]:
        """The columns of a template."""
        return [column for column in self.columns if not column.restores]

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
        if len(heading) > LONGEST_HEADING:
            return None
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
        if factor is None:
            return ""
        return Said("The library takes {unit}: convert the column.", unit=column.unit.value)

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
