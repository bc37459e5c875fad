"""JSON Lines: one object a line, whose keys are the columns.

The json module reads them: it keeps a figure's decimals (``parse_float``) and lets a key that stands twice be
seen, which a reader into typed records does not; and each line is read alone, so that one that is broken is
one row to correct. A value is text, a number, true or false, null for what is not known, or a list of names.
An object within an object is read as its keys joined to the outer one: {"rear": {"toe": 1}} is rear_toe.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from fitcalc.said import Said
from setups.imports import cells
from setups.imports.cells import CellError
from setups.imports.columns import Column, Text

MOST_KEYS = 500
DEEPEST = 3
"""Objects within objects, the outermost counted."""
LONGEST_LINE = 100_000
LONGEST_FIGURE = 40
"""Characters of a figure: more are no measurement, and cost time to read."""
_TOO_DEEP = Said("It is nested too deeply: write the values side by side in one object.")
_TWICE = Said("It stands twice in the line: take one of the two out.")


class _Broken(ValueError):
    """A line that holds no object that can be read; ``key`` is the one that is to blame, if one is."""

    def __init__(self, message: str, key: str = "") -> None:
        super().__init__(message)
        self.key = key


def is_json(text: str) -> bool:
    """True if ``text`` is meant as JSON: no heading begins with a bracket."""
    return text.lstrip()[:1] in ("{", "[")


def object_of(line: str) -> tuple[dict[str, Any], list[tuple[str, str]]]:
    """The keys and values of one line, nested ones joined, and what is wrong with it: (key, what to do)."""
    if len(line) > LONGEST_LINE:
        why = Said("The line has more than {most:,} characters: write one object a line.", most=LONGEST_LINE)
        return {}, [("", why)]
    try:
        found = json.loads(
            line,
            parse_float=_figure,
            parse_int=_figure,
            parse_constant=_constant,
            object_pairs_hook=_once,
        )
        if not isinstance(found, dict):
            raise _Broken(Said("It is not an object: write {{…}} with the columns as keys, one a line."))
        flat: dict[str, Any] = {}
        _flatten(found, "", 1, flat)
    except _Broken as broken:
        return {}, [(broken.key, str(broken))]
    except RecursionError:
        return {}, [("", _TOO_DEEP)]
    except json.JSONDecodeError as error:
        return {}, [("", _said(line, error))]
    return flat, []


def said(value: Any, column: Column) -> tuple[str, bool]:
    """The text of a value, as a cell would hold it, and whether it is meant letter by letter.

    Raises CellError for an object, or for a list where one name is asked for.
    """
    if value is None:
        return "", False
    if isinstance(value, bool):
        return ("yes" if value else "no"), False
    if isinstance(value, Decimal):
        return f"{value:f}", False
    if isinstance(value, str):
        return value, column.text is not Text.NONE and value != ""
    if column.text is not Text.LINES or not all(isinstance(one, str) for one in value):
        raise CellError(Said("It is a list: write one value, text or a number."))
    return "|".join(value), False


def _flatten(found: dict[str, Any], before: str, depth: int, into: dict[str, Any]) -> None:
    for key, value in found.items():
        name = f"{before}_{key}" if before and key != "value" else before or key
        if isinstance(value, dict):
            if depth == DEEPEST:
                raise _Broken(_TOO_DEEP, name)
            _flatten(value, name, depth + 1, into)
        elif name in into:
            raise _Broken(_TWICE, name)
        elif isinstance(value, list) and any(isinstance(one, (dict, list)) for one in value):
            raise _Broken(Said("A list may hold names only."), name)
        else:
            into[name] = value


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise _Broken(_TWICE, cells.short(key))
        found[key] = value
    return found


def _figure(text: str) -> Decimal:
    value = Decimal(text) if len(text) <= LONGEST_FIGURE else None
    if value is None or abs(value.adjusted()) > LONGEST_FIGURE:
        raise _Broken(Said("“{cell}” is too long a number: round it.", cell=cells.short(text)))
    return value


def _constant(text: str) -> Any:
    raise _Broken(Said("“{cell}” is not a number: write null for what is not known.", cell=text))


def _said(line: str, error: json.JSONDecodeError) -> str:
    before = line[: error.pos].rstrip()[-12:]
    if before:
        return Said(
            "It is not JSON from character {place} on, after “{before}”: write one object a line, keys and "
            "text between quotation marks, and no comma behind the last.",
            place=error.pos + 1,
            before=before,
        )
    return Said(
        "It is not JSON from character {place} on, at the start of the line: write one object a line, keys "
        "and text between quotation marks, and no comma behind the last.",
        place=error.pos + 1,
    )


def keys_of(objects: list[dict[str, Any]], too_many: Callable[[int], Exception]) -> list[str]:
    """All keys in the order in which they first stand; raises what ``too_many`` makes of their number."""
    keys = dict.fromkeys(key for one in objects for key in one)
    if len(keys) > MOST_KEYS:
        raise too_many(len(keys))
    return list(keys)
