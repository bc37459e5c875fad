"""Passwords that are made of nothing but this site's own words."""

from __future__ import annotations

import re
from typing import Any

from django.conf import settings
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
