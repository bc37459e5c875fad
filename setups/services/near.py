"""Names near one that nothing matches: a slip of the keyboard, an accent left out.

On PostgreSQL with the pg_trgm extension the database looks through all names. Elsewhere RapidFuzz does,
over at most ``MOST_NAMES``: a club's library is well below that, and a larger one belongs on PostgreSQL.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from typing import Any

from django.contrib.postgres.search import TrigramWordSimilarity
from django.db import connection, transaction
from rapidfuzz import fuzz, process

from setups.models import Body, Maker, Setup

MOST_NAMES = 20_000
CLOSE = 70.0
"""RapidFuzz's score, of 100, from which a name is near."""
CLOSE_TRIGRAM = 0.4
"""Word similarity, of 1, from which a name is near."""


def has_trigrams() -> bool:
    """Whether the database can compare by trigrams; one query on PostgreSQL, none elsewhere."""
    if connection.vendor != "postgresql":
        return False
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM pg_extension WHERE extname = 'pg_trgm'")
        return cursor.fetchone() is not None


def near_names(text: str, models: Iterable[Any] = (Body, Maker), limit: int = 5) -> list[str]:
    """Names of ``models`` that are near ``text``, nearest first; few queries."""
    if len(text) < 2:
        return []
    if has_trigrams():
        return _by_trigrams(text, models, limit)
    names = [
        name
        for model in models
        for name in _public(model).order_by("-pk").values_list("name", flat=True)[:MOST_NAMES]
    ]
    return nearest(text, names, limit)


def _public(model: Any) -> Any:
    """The rows whose names everybody may see."""
    return Setup.objects.listed() if model is Setup else model.objects.all()


def _by_trigrams(text: str, models: Iterable[Any], limit: int) -> list[str]:
    scored = []
    with transaction.atomic(), connection.cursor() as cursor:
        # What the index on the names goes by; for this transaction only.
        cursor.execute("SET LOCAL pg_trgm.word_similarity_threshold = %s", [CLOSE_TRIGRAM])
        for model in models:
            near = _public(model).filter(name__trigram_word_similar=text)
            near = near.annotate(near=TrigramWordSimilarity(text, "name")).order_by("-near", "name")
            scored += near.values_list("near", "name")[: 4 * limit]
    scored.sort(key=lambda row: (-row[0], row[1]))
    return list(dict.fromkeys(name for _, name in scored))[:limit]


def nearest(text: str, names: Iterable[str], limit: int = 5, close: float = CLOSE) -> list[str]:
    """Those of ``names`` that are near ``text``, nearest first, without regard to case and accents."""
    found = process.extract(
        text,
        list(dict.fromkeys(names)),
        scorer=fuzz.WRatio,
        processor=_plain,
        limit=limit,
        score_cutoff=close,
    )
    return [name for name, _, _ in found]


def _plain(text: str) -> str:
    letters = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in letters if not unicodedata.combining(letter))
