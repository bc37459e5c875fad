"""A request that is sent twice is done once: the header Idempotency-Key.

After draft-ietf-httpapi-idempotency-key-header-07 (from memory): the key is the client's, one for each thing
to be done; the same request with it gets the first one's answer again, another request with it is refused
(422). The key, the work and the answer are stored in one transaction: a second request that comes
meanwhile waits for the first, and where that failed and so changed nothing, does the work itself. A
refusal is not kept: the request may be mended and sent with the same key.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import timedelta
from functools import wraps
from hashlib import sha256
from typing import Any, TypeVar

from django.core.files import File
from django.db import transaction
from django.http import HttpResponse
from django.utils import timezone
from django.utils.datastructures import MultiValueDict
from rest_framework.request import Request
from rest_framework.response import Response

from setups.models import KeptAnswer

from .problems import Problem, shown
from .rendering import write

KEPT_FOR = timedelta(hours=24)
CLEANED_AT_ONCE = 50
HEADER = "Idempotency-Key"
_KEPT_HEADERS = ("Location", "ETag")
_KEY = re.compile(r'"([\x20\x21\x23-\x5b\x5d-\x7e]{1,255})"|([\x21\x23-\x7e][\x20-\x7e]{0,254})')

View = TypeVar("View", bound=Callable[..., Any])


def once(view: View) -> View:
    """A method of a view that takes Idempotency-Key; its member is known and may do it."""

    @wraps(view)
    def done_once(self: Any, request: Request, *args: Any, **kwargs: Any) -> HttpResponse:
        if HEADER not in request.headers:
            return view(self, request, *args, **kwargs)
        key, asked = _key(request), _digest(request)
        with transaction.atomic():
            now = timezone.now()
            mine = KeptAnswer.objects.filter(member=request.user, key=key)
            mine.filter(kept_at__lte=now - KEPT_FOR).delete()
            # A second request stops here until the first has ended: the row is unique.
            kept, new = KeptAnswer.objects.get_or_create(
                member=request.user, key=key, defaults={"asked": asked, "kept_at": now}
            )
            if not new:
                return _again(kept, asked)
            answer = view(self, request, *args, **kwargs)
            _keep(kept, answer)
        clean()
        return answer

    return done_once  # type: ignore[return-value]


def clean() -> int:
    """Delete some answers that have had their day; how many. Others that do so now are not waited for."""
    with transaction.atomic():
        old = KeptAnswer.objects.filter(kept_at__lte=timezone.now() - KEPT_FOR)
        keys = list(old.select_for_update(skip_locked=True).values_list("pk", flat=True)[:CLEANED_AT_ONCE])
        return KeptAnswer.objects.filter(pk__in=keys).delete()[0] if keys else 0


def _key(request: Request) -> str:
    found = _KEY.fullmatch(request.headers[HEADER].strip())
    if found is None:
        raise Problem(
            "bad-request",
            f"{HEADER} is {shown(request.headers[HEADER])}: send 1 to 255 printable characters, such as a "
            "random UUID in double quotes, another for each thing to be done.",
        )
    return found[1] or found[2]


def _digest(request: Request) -> str:
    content = json.dumps([request.method, request.get_full_path(), _plain(request.data)], sort_keys=True)
    return sha256(content.encode()).hexdigest()


def _plain(data: Any) -> Any:
    """What was sent, a form's files by what is in them."""
    if not isinstance(data, MultiValueDict):
        return data
    return {
        name: [_file(one) if isinstance(one, File) else one for one in data.getlist(name)] for name in data
    }


def _file(file: Any) -> str:
    digest = sha256()
    for chunk in file.chunks():
        digest.update(chunk)
    file.seek(0)
    return digest.hexdigest()


def _again(kept: KeptAnswer, asked: str) -> HttpResponse:
    if kept.asked != asked:
        raise Problem(
            "key-used",
            f"Another request had this {HEADER} within the last 24 hours: send this one with its own.",
        )
    assert kept.status is not None
    answer = HttpResponse(kept.content, status=kept.status, content_type="application/json")
    for name, value in kept.headers.items():
        answer[name] = value
    return answer


def _keep(kept: KeptAnswer, answer: Any) -> None:
    kept.status = answer.status_code
    has_content = isinstance(answer, Response) and answer.data is not None
    kept.content = write(answer.data).decode() if has_content else ""
    kept.headers = {name: answer[name] for name in _KEPT_HEADERS if name in answer}
    kept.save(update_fields=["status", "content", "headers"])
