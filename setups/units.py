"""In which unit the reader has lengths: millimetres, or inches for who asked for them.

Everything is kept and computed in mm. The choice is known from the request's start (``club/reader.py``) and
asked of no table. It reaches what a person reads and types, and nothing that a program does.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from enum import StrEnum


class Lengths(StrEnum):
    """The unit of lengths on a page."""

    MM = "mm"
    INCH = "inch"


FIELD = "units"
"""The field of a form that says in which unit its lengths are typed."""

_current: ContextVar[Lengths] = ContextVar("lengths", default=Lengths.MM)


def lengths() -> Lengths:
    """What the reader has lengths in."""
    return _current.get()


def typed_in(form: Mapping[str, str]) -> Lengths:
    """In what the lengths of a form that was sent are meant where no unit is typed: what its page said.

    A page for inches says so in a field of its own (``typed_units``), so that neither a link that is passed
    on nor a choice made meanwhile changes what a number means.
    """
    return Lengths.INCH if form.get(FIELD) == Lengths.INCH else Lengths.MM


@contextmanager
def lengths_in(unit: Lengths) -> Iterator[None]:
    """Within it, lengths are printed and understood in ``unit``."""
    token = _current.set(unit)
    try:
        yield
    finally:
        _current.reset(token)
