"""What the tests of this folder put into an empty database: ``manage.py shell`` runs ``club``."""

from __future__ import annotations

import json
from datetime import timedelta

from django.core.management import call_command
from django.utils import timezone

from club.models import Token
from setups.models import Revision
from setups.models.setup import typed_of
from setups.services import posting
from tests.factories import MemberFactory, SetupFactory

TYPED = "Half a turn less at the front, and it stays flat."


def club() -> None:
    """A member with a draft that is ready to be posted, a token, and a librarian; prints what they are."""
    call_command("migrate", verbosity=0)
    author, librarian = MemberFactory(), MemberFactory(librarian=True)
    setup = SetupFactory(author=author, name="Posted before")
    typed = typed_of(setup.current) | {"name": "Wet carpet", "notes": TYPED}
    draft = posting.begin(author, typed)
    token = Token.make(author, "a program", "read write", timezone.now() + timedelta(days=1))[1]
    print(
        json.dumps(
            {
                "author": author.username,
                "librarian": librarian.username,
                "draft": draft.setup_id,
                "token": token,
                "content": content_of(setup.current),
            }
        )
    )


def content_of(revision: Revision) -> dict[str, object]:
    """The car of ``revision`` under another name, as a program posts it."""
    parts = {row.slot: row.part.slug for row in revision.slots.select_related("part")}
    return {
        "name": "Dry carpet",
        "body": revision.body.slug,
        "platform": revision.platform.slug,
        "position": revision.position.name,
        "parts": parts,
    }
