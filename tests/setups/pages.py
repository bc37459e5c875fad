"""What a person reads on a page: its words without the marks round them."""

from __future__ import annotations

import html
import re
from typing import Any

SPACES = re.compile(r"[\s\u202f]+")


def words(answer: Any) -> str:
    """The words in the main part of a page, or in a fragment, each run of spaces as one."""
    text = answer if isinstance(answer, str) else answer.content.decode()
    _, found, rest = text.partition("<main")
    text = rest.partition("</main>")[0].partition(">")[2] if found else text
    plain = re.sub(r"<(svg|style)\b.*?</\1>", " ", text, flags=re.DOTALL)
    plain = SPACES.sub(" ", html.unescape(re.sub(r"<[^>]+>", " ", plain))).strip()
    return re.sub(r" ([.,:;)])", r"\1", plain)


def part(answer: Any, opening: str, closing: str) -> str:
    """The markup from the first ``opening`` up to the next ``closing``; it must be there."""
    text = answer if isinstance(answer, str) else answer.content.decode()
    _, found, rest = text.partition(opening)
    assert found, f"the page has no {opening!r}"
    return opening + rest.partition(closing)[0]


def chosen(answer: Any, field: str) -> str:
    """The words of the option that is chosen in the select called ``field``."""
    select = part(answer, f'<select name="{field}"', "</select>")
    found = re.search(r"<option[^>]*\bselected[^>]*>(.*?)</option>", select, flags=re.DOTALL)
    return words(found[1]) if found else ""
