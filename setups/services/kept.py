"""Parts of pages, kept under a digest of all that they hang on.

Nobody has to be told of a change: what was read for a page is part of the key, so another figure, name or
reading is another key, and what was made of the old one is not found again. Each process keeps its own, for
as long as it runs the same code.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterable
from hashlib import blake2b
from typing import Any

from django.conf import settings
from django.core.cache import caches
from django.db.models import Model
from django.utils.safestring import SafeString
from django.utils.translation import get_language

from setups.units import lengths

_QUICKLY = 1
"""How hard zlib tries; a drawing is still a fifth of what it was."""


def key_of(*asked: Any) -> str:
    """The key of what is made of ``asked``, plain values, in the language and unit of who reads."""
    told = repr((*asked, get_language(), lengths().value)).encode()
    return blake2b(told, digest_size=20).hexdigest()


def packed(text: bytes) -> bytes:
    """As it is kept; ``zlib.decompress`` gives it back."""
    return zlib.compress(text, _QUICKLY)


def kept(what: str, of: Any, made: Callable[[], str]) -> SafeString:
    """The markup that ``made`` gives, or gave before for the same ``of`` in this language and unit.

    ``of`` is all that it hangs on besides: plain values, as ``columns`` gives them. While somebody works on
    the templates (DEBUG) nothing is kept.
    """
    if settings.DEBUG:
        return SafeString(made())
    pages, key = caches["pages"], key_of(what, of)
    found = pages.get(key)
    if found is not None:
        return SafeString(zlib.decompress(found).decode())
    text = made()
    pages.set(key, packed(text.encode()))
    return SafeString(text)


def columns(rows: Iterable[Model | None]) -> list[Any]:
    """What was read of each row and of those joined to it, a row once: plain values for ``kept``."""
    seen: set[int] = set()
    return [_columns(row, seen) for row in rows]


def _columns(row: Model | None, seen: set[int]) -> list[Any] | None:
    if row is None or id(row) in seen:
        return None
    seen.add(id(row))
    read = [value for name, value in row.__dict__.items() if name[0] != "_"]
    return read + [_columns(joined, seen) for joined in row._state.fields_cache.values()]
