"""What the inspector's page says by its script, in the language of the request."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

ONE_AND_MANY = (1, 2)


def script_words() -> dict[str, str | list[str]]:
    """The words by the names that ``scrutineering.js`` knows them by; a pair is for one and for many.

    What stands in braces is filled in by the script.
    """
    return {
        "refused": [
            ngettext(
                "{n} record was not taken: look at what it says.",
                "{n} records were not taken: look at what it says.",
                n,
            )
            for n in ONE_AND_MANY
        ],
        "waiting": [
            ngettext(
                "{n} record kept on this phone, not sent yet.",
                "{n} records kept on this phone, not sent yet.",
                n,
            )
            for n in ONE_AND_MANY
        ],
        "signedOut": [
            ngettext(
                "You are signed out: sign in, and it is sent.",
                "You are signed out: sign in, and they are sent.",
                n,
            )
            for n in ONE_AND_MANY
        ],
        "noSignal": [
            ngettext(
                "No signal: it is sent when it is back.",
                "No signal: they are sent when it is back.",
                n,
            )
            for n in ONE_AND_MANY
        ],
        "others": [
            ngettext(
                "{n} record waits for another inspector to sign in on this phone.",
                "{n} records wait for another inspector to sign in on this phone.",
                n,
            )
            for n in ONE_AND_MANY
        ],
        "unstored": _("This phone keeps nothing once the page is left: stay here."),
        "allSent": _("All is sent."),
        "notTaken": _("{said}: not taken. {why}"),
        "keptBefore": _("{said}, before run {run}: kept on this phone, not sent yet"),
        "keptAfter": _("{said}, after run {run}: kept on this phone, not sent yet"),
        "again": _("Type it again"),
        "why": _("Type it again."),
        "typed": _("as it is typed"),
        "reading": _("Type the reading first."),
        "number": _("That is not a number: type figures, such as 54.20."),
        "choose": _("Choose yes or no first."),
        "reason": _("Say what was wrong with the record before."),
        "doubt": _("Give the doubt of the instrument first, at the top of the page."),
        "yes": pgettext("an answer", "yes"),
        "no": pgettext("an answer", "no"),
        "gone": _("The car is no longer on the list, or the address has changed."),
        "away": _("no signal: what is on record comes when it is back"),
        "unchecked": _("not checked"),
        "next": _("Next: {number} {driver}"),
    }
