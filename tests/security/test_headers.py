"""Every address of the site, asked by nobody and by a member who may see all of it, answers with the headers
that bind a browser.

What each is for: the OWASP secure headers project, https://owasp.org/www-project-secure-headers/.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client
from django.urls import URLResolver, get_resolver, reverse

from club.models import Member
from setups.models import Dispute, Measurement
from tests.club.test_api_permissions import World
from tests.factories import MemberFactory

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self' data:",
    "connect-src": "'self'",
    "manifest-src": "'self'",
    "worker-src": "'self'",
    "object-src": "'none'",
    "base-uri": "'none'",
    "form-action": "'self'",
    "frame-ancestors": "'none'",
}
FIXED = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
ANSWERED = 90
"""At least so many of the addresses have something to show to the member."""


def named() -> Iterator[tuple[str, str]]:
    """The name of every address, and the pattern that it stands for."""

    def of(resolver: URLResolver, before: str) -> Iterator[tuple[str, str]]:
        for one in resolver.url_patterns:
            path = before + str(one.pattern)
            if isinstance(one, URLResolver):
                yield from of(one, path)
            else:
                yield one.name, path

    return of(get_resolver(), "")


class There:
    """One of everything, and the address that shows it."""

    def __init__(self) -> None:
        self.world = world = World()
        self.member = Member.objects.get(username="author")
        Member.objects.filter(pk=self.member.pk).update(is_superuser=True)
        self.slugs = {
            "bodies": world.setup.body, "garage/for": world.setup.body, "parts": world.part.part,
            "platforms": world.setup.platform, "makers": world.setup.body.maker,
            "classes": world.day.race_class, "race-classes": world.day.race_class, "events": world.day.event,
        }  # fmt: skip
        self.numbers = {
            "garage/parts": world.part, "garage/bodies": world.body, "garage/chassis": world.chassis,
            "setups": world.setup, "configurations": world.configuration,
            "measurements": Measurement.objects.get(), "disputes": Dispute.objects.get(),
        }  # fmt: skip
        self.fixed = {
            "username": "author", "quantity": "front_width", "revision": 1, "photo": world.photo.pk,
            "what": "bodies", "how": "csv", "code": "conflict", "uidb36": "1", "key": "no-key",
            "setup": world.setup.pk, "event": world.day.event.slug, "race_class": world.day.race_class.slug,
            "clause": world.draft_edition.clauses.get().pk,
        }  # fmt: skip

    def given(self, name: str, pattern: str) -> dict[str, Any]:
        place = re.sub(r"^api/\^?(v1/)?", "", pattern)
        wanted = re.findall(r"<(?:\w+:)?(\w+)>", pattern)
        return {one: self.fixed[one] if one in self.fixed else self._of(one, name, place) for one in wanted}

    def _of(self, one: str, name: str, place: str) -> Any:
        world = self.world
        if one == "slug":
            return next(thing.slug for start, thing in self.slugs.items() if place.startswith(start))
        if "editions/" in place:
            if one == "number":  # of a clause
                return world.draft_edition.clauses.get().pk if "clauses" in place else 1
            shown_once_published = name in ("edition", "api-edition-detail", "api-edition-changes")
            return (world.later if shown_once_published else world.draft_edition).pk
        if "entries/" in place:
            return world.entry.pk
        if "inspections/" in place:
            return world.inspection.pk
        if name.startswith("api-") and "revisions/" in place and one == "number":
            return world.setup.current.number
        if name in ("edit-setup", "discard-draft", "photo", "photo-small", "setup-photos"):
            return world.unposted.pk
        return next((thing.pk for start, thing in self.numbers.items() if place.startswith(start)), 1)


def wrong_with(answer: Any, signed_in: bool) -> list[str]:
    """What the headers of ``answer`` lack."""
    found = [f"{name} is {answer.get(name)}" for name, value in FIXED.items() if answer.get(name) != value]
    directives = answer.get("Content-Security-Policy", "- -").split(";")
    policy = dict(one.strip().split(" ", 1) for one in directives)
    if policy != POLICY:
        found.append(f"the policy is {policy}")
    if "camera=()" not in answer.get("Permissions-Policy", ""):
        found.append("the camera is not refused")
    if not re.fullmatch(r"[0-9a-f]{32}", answer.get("X-Request-ID", "")):
        found.append("it does not say which request it was")
    kind = answer.get("Content-Type", "")
    if kind.startswith("text/") and "charset=utf-8" not in kind.replace("\"", ""):
        found.append(f"the type is {kind}")
    page = answer.status_code == 200 and kind.startswith("text/html")
    if signed_in and page and "no-store" not in answer.get("Cache-Control", ""):
        found.append(f"a member's page is kept by browsers: {answer.get('Cache-Control')}")
    for loose in ("Access-Control-Allow-Origin", "Server", "X-Powered-By"):
        if loose in answer:
            found.append(f"it says {loose}: {answer[loose]}")
    return found


def test_every_address_answers_with_every_header(client):
    there, member = There(), Client()
    member.force_login(there.member)
    wrong, failed, shown, signing_out = [], [], 0, ("sign-out", "account_logout")
    for name, pattern in named():
        address = reverse(name, kwargs=there.given(name, pattern))
        for who in (client, member):
            answer = who.get(address)
            wrong += [f"{name} {address}: {said}" for said in wrong_with(answer, who is member)]
            if answer.status_code >= 500:
                failed.append(f"{name} {address}: {answer.status_code}")
        shown += answer.status_code == 200
        assert "_auth_user_id" in member.session or name in signing_out
    assert wrong == []
    assert failed == []
    assert shown >= ANSWERED


@pytest.mark.parametrize(
    "address", ["/static/club/site.css", "/static/club/favicon.svg", "/no/such/page/", "/?q=%00"]
)
def test_files_and_refusals_carry_them_too(client, address):
    assert wrong_with(client.get(address), signed_in=False) == []


def test_a_page_for_a_visitor_may_be_kept_and_the_same_page_for_a_member_may_not(client):
    assert "Cache-Control" not in client.get("/platforms/")
    client.force_login(MemberFactory())
    assert client.get("/platforms/")["Cache-Control"] == "no-store, private"
