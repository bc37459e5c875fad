"""Reading JSON that anybody may send: what cannot be text, a number or a tree of sane depth is refused.

NaN, Infinity and numbers beyond a double are let through the parser on purpose and refused afterwards,
because only then can the answer point at them.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from math import isfinite
from typing import Any

from rest_framework.exceptions import ParseError
from rest_framework.parsers import JSONParser, get_encoding

from .problems import Path, Problem, pointer

DEEPEST = 12
"""Levels of nesting; an inline catalogue takes six."""


class Json(JSONParser):
    """JSON to Python values. Raises ParseError for what is no JSON, a Problem for what nobody can mean."""

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        try:
            text = stream.read().decode(get_encoding(parser_context or {}))
            content = json.loads(text, object_pairs_hook=_once)
        except RecursionError as error:
            raise _too_deep(()) from error
        except UnicodeError as error:
            raise ParseError("The content is not text in UTF-8.") from error
        except json.JSONDecodeError as error:
            raise ParseError(f"Line {error.lineno}, column {error.colno}: {error.msg.lower()}.") from error
        except ValueError as error:  # a whole number of thousands of digits
            raise ParseError("A number has more digits than anything can be measured to.") from error
        _refuse_the_absurd(content)
        return content


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        twice = Counter(name for name, _ in pairs).most_common(1)[0][0]
        raise ParseError(f"The name {twice[:60]!r} stands twice in one object: which of them is meant?")
    return found


def _refuse_the_absurd(content: Any) -> None:
    errors = []
    for path, value in _walk(content):
        if isinstance(value, float) and not isfinite(value):
            errors.append((path, "Give a finite number, or leave it out if it is not known."))
        elif isinstance(value, str) and not _storable(value):
            errors.append((path, "This text holds a NUL or half of a character pair: type it again."))
    if errors:
        raise Problem(
            "invalid-content",
            "; ".join(f"{pointer(path)}: {said}" for path, said in errors[:3]),
            [{"pointer": pointer(path), "detail": said} for path, said in errors],
        )


def _walk(content: Any) -> Iterator[tuple[Path, Any]]:
    """Every value with its path, names of members too; without recursion, so that no depth can break it."""
    waiting: list[tuple[Path, Any]] = [((), content)]
    while waiting:
        path, value = waiting.pop()
        yield path, value
        if isinstance(value, (dict, list)):
            if len(path) >= DEEPEST:
                raise _too_deep(path)
            if isinstance(value, dict):
                for name, below in value.items():
                    if not _storable(name):
                        yield path, name
                    waiting.append(((*path, name), below))
            else:
                waiting += [((*path, index), below) for index, below in enumerate(value)]


def _storable(text: str) -> bool:
    return "\0" not in text and not any("\ud800" <= letter <= "\udfff" for letter in text)


def _too_deep(path: Path) -> Problem:
    where = pointer(path[:3])
    said = f"The content is nested more than {DEEPEST} levels deep: nothing here is."
    return Problem("invalid-content", said, [{"pointer": where, "detail": said}])
