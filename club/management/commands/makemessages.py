"""Django's makemessages, with the marks of the calculation's own words, and no guesses."""

from __future__ import annotations

from django.core.management.commands import makemessages


class Command(makemessages.Command):
    """Gathers also what is marked with ``said`` and ``Said``; guesses no translation from a similar text."""

    xgettext_options = [
        *makemessages.Command.xgettext_options,
        "--keyword=said",
        "--keyword=Said:1",
        "--keyword=lazy",  # as modules call gettext_lazy that have gettext by another name
    ]
    msgmerge_options = [*makemessages.Command.msgmerge_options, "--no-fuzzy-matching"]
