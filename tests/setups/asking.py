"""How a program asks the API, and what every refusal must be."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

from django.test import Client
from django.utils import timezone
from django.utils.encoding import escape_uri_path

from club.models import Member, Token
from setups.api.problems import PROBLEMS
from setups.models import Setup
from tests.factories import content_for


def program() -> Client:
    """A caller who sees a mistake of the site as the answer that it gives, not as an exception."""
    return Client(raise_request_exception=False)


def post(path: str, content: Any, **headers: str) -> Any:
    """The answer to ``content`` (a value, or text that stands as it is) posted to an address below v1."""
    text = content if isinstance(content, (str, bytes)) else json.dumps(content)
    return program().post(f"/api/v1/{path}", text, content_type="application/json", headers=headers)


def get(path: str, **headers: str) -> Any:
    return program().get(f"/api/v1/{path}", headers=headers)


def names(path: str, field: str = "name") -> list[str]:
    """``field`` of everything in a list."""
    answer = get(path)
    assert answer.status_code == 200, answer.content
    return [row[field] for row in answer.json()["results"]]


def refused(answer: Any, status: int, code: str) -> dict[str, Any]:
    """The problem that ``answer`` is; it must be of ``code`` and say what RFC 9457 has it say."""
    assert answer.status_code == status, answer.content[:500]
    assert answer["Content-Type"] == "application/problem+json"
    assert answer["Cache-Control"] == "no-store"
    problem = answer.json()
    assert problem["type"] == f"/api/problems/{code}"
    assert problem["title"] == PROBLEMS[code].title
    assert problem["status"] == status
    assert problem["detail"]
    assert problem["instance"] == escape_uri_path(answer.wsgi_request.path)
    assert "Traceback" not in answer.content.decode()
    return problem


def pointed(answer: Any) -> dict[str, str]:
    """Pointer -> what is said of it, for content with mistakes."""
    return {error["pointer"]: error["detail"] for error in refused(answer, 400, "invalid-content")["errors"]}


def secret_of(member: Member, scopes: str = "read write") -> str:
    """A new token of the member's."""
    name = f"token {Token.objects.count()}"
    return Token.make(member, name, scopes, timezone.now() + timedelta(days=1))[1]


class Caller:
    """A program that calls addresses below v1 (or whole ones) with a token of ``member``'s, or with none."""

    def __init__(self, member: Member | None = None, scopes: str = "read write") -> None:
        self.headers = {}
        if member is not None:
            self.headers["Authorization"] = f"Bearer {secret_of(member, scopes)}"

    def __call__(self, method: str, path: str, content: Any = None, **headers: str) -> Any:
        """The answer; a header's underscores are hyphens: ``If_Match=etag``."""
        address = path if path.startswith(("/", "http://")) else f"/api/v1/{path}"
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        text = "" if content is None else json.dumps(content)
        return program().generic(method, address, text, "application/json", headers=self.headers | named)

    def get(self, path: str, **headers: str) -> Any:
        return self("GET", path, **headers)

    def post(self, path: str, content: Any = None, **headers: str) -> Any:
        return self("POST", path, content, **headers)

    def put(self, path: str, content: Any = None, **headers: str) -> Any:
        return self("PUT", path, content, **headers)

    def delete(self, path: str, **headers: str) -> Any:
        return self("DELETE", path, **headers)

    def etag(self, path: str) -> str:
        """The ETag of what is there now."""
        answer = self.get(path)
        assert answer.status_code == 200, answer.content
        return answer["ETag"]


def content(**changes: Any) -> dict[str, Any]:
    """What is posted as a setup of the default body and parts; each call is another car."""
    said = content_for()
    return {
        "name": "Carpet, Sunday",
        "body": said.body.slug,
        "platform": said.platform.slug,
        "position": said.position.name,
        "parts": {slot.value: part.slug for slot, part in said.parts.items()},
    } | changes


def said_by(setup: Setup) -> dict[str, Any]:
    """What the setup's newest revision says, as it is posted."""
    written = get(f"setups/{setup.pk}/revisions/{setup.current.number}/").json()
    taken = (
        "name",
        "body",
        "platform",
        "position",
        "parts",
        "surface",
        "circuit",
        "result",
        "notes",
        "tuning",
    )
    return {name: written[name] or "" if name in ("surface", "circuit") else written[name] for name in taken}
