"""Words as a search sees them: small letters without accents, and figures; the same on every database."""

from __future__ import annotations

import unicodedata


def words_in(text: str) -> list[str]:
    """The words of ``text`` in order: runs of letters and digits, folded in case, accents left out.

    ``"Stormcock Coupé, 1:28"`` has the words ``stormcock``, ``coupe``, ``1`` and ``28``.
    """
    plain = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).casefold())
    kept = (one for one in plain if not unicodedata.combining(one))
    return "".join(one if one.isalnum() else " " for one in kept).split()


def folded(text: str) -> str:
    """``text`` as it is kept to be searched: its words with single spaces between, each word once."""
    return " ".join(dict.fromkeys(words_in(text)))
