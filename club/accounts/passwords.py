"""Passwords that are guessed first: made of nothing but this site's own words, or breached elsewhere."""

from __future__ import annotations

import os
import re
from hashlib import sha1
from pathlib import Path
from typing import Any, BinaryIO

from django.conf import settings
from django.core import checks
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

WORDS = (
    *("account", "admin", "body", "chassis", "class", "club", "director", "event", "garage", "librarian"),
    *("library", "login", "member", "part", "passphrase", "password", "platform", "race", "racing"),
    *("rulebook", "setup", "signin", "steward", "tyre", "wheel"),
)
"""What somebody tries first here; the words of CLUB_NAME are added to them."""
LEAST = 4
"""So many letters and figures a password needs besides those words."""
SAMPLES = 64
"""So many lines of a list of breached passwords are looked at when the site starts."""
LONGEST = 1000
"""No more bytes of a line are read: a file that is no such list may be one line of gigabytes."""


class NotOurWords:
    """Refuses a password of which little is left without ``WORDS``, its plurals and its punctuation."""

    def validate(self, password: str, user: Any = None) -> None:
        words = {*WORDS, *re.findall(r"\w{3,}", settings.CLUB_NAME.lower())}
        longest_first = sorted(words, key=len, reverse=True)
        ours = "|".join(f"{re.escape(word)}s?" for word in longest_first)
        left = re.sub(r"[\W_\d]", "", re.sub(ours, "", password.lower()))
        if ours and len(left) < LEAST and re.search(ours, password.lower()):
            raise ValidationError(
                _("That is made of words that anybody would try on this site: choose others, or add some."),
                code="password_of_our_words",
            )

    def get_help_text(self) -> str:
        return _("A password is not made of this site’s own words only.")


class NotBreached:
    """Refuses a password that the file of BREACHED_PASSWORDS holds; no file, no refusal. Asks nobody outside.

    The file has one SHA-1 in hexadecimal a line, in ascending order, as public lists of breached passwords
    are published; what follows a colon (how often each was seen) is not looked at. It may have gigabytes:
    some thirty lines of it are read.
    """

    def validate(self, password: str, user: Any = None) -> None:
        if not settings.BREACHED_PASSWORDS:
            return
        wanted = sha1(password.encode(), usedforsecurity=False).hexdigest().upper().encode()
        with Path(settings.BREACHED_PASSWORDS).open("rb") as file:
            if holds(file, wanted):
                raise ValidationError(
                    _(
                        "That password has been stolen from some other site and is in the lists that are "
                        "tried first: choose another one, and change it wherever else you use it."
                    ),
                    code="password_breached",
                )

    def get_help_text(self) -> str:
        return _("A password is not one that was stolen elsewhere.")


def holds(file: BinaryIO, wanted: bytes) -> bool:
    """Whether a line of ``file``, sorted, begins with ``wanted``: bisected by bytes, not by lines."""
    low, high = 0, file.seek(0, os.SEEK_END)
    while low < high:  # a line that is wanted begins at low or later, and before high
        middle = (low + high) // 2
        line, after = _line_from(file, middle)
        if not line or _hash_of(line) >= wanted:
            high = middle
        else:
            low = after
    return _hash_of(_line_from(file, low)[0]) == wanted


def _line_from(file: BinaryIO, place: int) -> tuple[bytes, int]:
    """The first line from ``place`` on that is not blank, and where it ends; empty at the end of the file."""
    file.seek(max(place - 1, 0))
    if place:
        file.readline(LONGEST)
    while (line := file.readline(LONGEST)).isspace():
        pass
    return line, file.tell()


def _hash_of(line: bytes) -> bytes:
    return line.partition(b":")[0].strip().upper()


@checks.register(checks.Tags.security)
def breached_passwords_can_be_read(**_: Any) -> list[checks.CheckMessage]:
    """What is wrong with the file of BREACHED_PASSWORDS, as far as a few of its lines tell."""
    if not settings.BREACHED_PASSWORDS:
        return []
    try:
        with Path(settings.BREACHED_PASSWORDS).open("rb") as file:
            size = file.seek(0, os.SEEK_END)
            looked_at = [_line_from(file, size * part // SAMPLES)[0] for part in range(SAMPLES)]
    except OSError as error:
        said = f"The file that BREACHED_PASSWORDS names cannot be read ({error.strerror})."
        return [checks.Error(said, hint="Put it there, or leave the setting empty.", id="club.E001")]
    hashes = [_hash_of(line) for line in looked_at if line]
    sound = all(re.fullmatch(rb"[0-9A-F]{40}", one) for one in hashes)
    if hashes and sound and hashes == sorted(hashes):
        return []
    hint = "It has one SHA-1 in hexadecimal a line, in ascending order: sort it, or take another list."
    said = "The file that BREACHED_PASSWORDS names is no such list."
    return [checks.Error(said, hint=hint, id="club.E002")]
