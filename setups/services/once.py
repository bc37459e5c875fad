"""A form that is sent twice is done once.

A form carries a key of its own (``{% once %}``). A button pressed twice, or pressed again because no answer
came, sends the same key and the same fields: the second is not done. Whoever goes back and types something
else sends the same key with other fields, which is another thing to do.
"""

from __future__ import annotations

import json
import re
from datetime import timedelta
from hashlib import sha256
from typing import Any

from django.http import HttpRequest
from django.utils import timezone

from setups.models import KeptAnswer

FIELD = "once"
KEPT_FOR = timedelta(hours=24)
_KEY = re.compile(r"[0-9a-f]{32}")
_OURS = "form\t"
"""Begins the key of a form; an Idempotency-Key has no such character in it."""


class DoneBefore(Exception):
    """The form was sent before, and what it asks for is done."""


def refuse_second(request: HttpRequest) -> None:
    """Raises DoneBefore of a form that was done before; see ``done_before``."""
    if done_before(request):
        raise DoneBefore


def done_before(request: HttpRequest) -> bool:
    """Whether this very form was sent before by this member. Call it in the transaction that does the work.

    A second one that comes meanwhile waits here until the first has ended: the row is unique. What is not
    done, its transaction rolled back, may be sent again.
    """
    member: Any = request.user
    if not member.is_authenticated or not _KEY.fullmatch(request.POST.get(FIELD, "")):
        return False
    now, mine = timezone.now(), KeptAnswer.objects.filter(member=member)
    mine.filter(key__startswith=_OURS, kept_at__lte=now - KEPT_FOR).delete()
    asked = _digest(request)
    defaults = {"asked": asked, "kept_at": now}
    return not mine.get_or_create(member=member, key=_OURS + asked, defaults=defaults)[1]


def _digest(request: HttpRequest) -> str:
    fields = [(name, texts) for name, texts in request.POST.lists() if name != "csrfmiddlewaretoken"]
    files = [(name, file.name, file.size) for name, file in request.FILES.items()]
    return sha256(json.dumps([request.get_full_path(), fields, files]).encode()).hexdigest()
