"""In which unit the reader has lengths: millimetres, or inches for who asked for them.

Everything is kept and computed in mm. The choice is known from the request's start (``club/reader.py``) and
asked of no table. It reaches what a person reads and types, and nothing that a program does.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from enum import StrEnum


class Lengths(StrEnum):
    """The unit of lengths on a page."""

    MM = "mm"
    INCH = "inch"


_current: ContextVar[Lengths] = ContextVar("lengths", default=Lengths.MM)


def lengths() -> Lengths:
    """What the reader has lengths in."""
    return _current.get()


@contextmanager
def lengths_in(unit: Lengths) -> Iterator[None]:
    """Within it, lengths are printed and understood in ``unit``."""
    token = _current.set(unit)
    try:
        yield
    finally:
        _current.reset(token)
