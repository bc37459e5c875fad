"""The content security policy is strict, and no page asks for what it forbids."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

import pytest

from tests.factories import MemberFactory

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

PAGES = 60


class Page(HTMLParser):
    """What of a page the policy would stop, and where it leads."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.stopped: list[str] = []
        self.links: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        named = [name for name in given if name == "style" or re.fullmatch(r"on[a-z]+|hx-on.*", name)]
        if named or tag == "style" or (tag == "script" and "src" not in given):
            self.stopped.append(self.get_starttag_text() or tag)
        for name in ("src", "action", "href"):
            address = given.get(name) or ""
            if address.startswith("javascript:") or (tag in ("script", "link", "img") and "//" in address):
                self.stopped.append(self.get_starttag_text() or tag)
        if tag == "a" and given.get("href"):
            self.links.append(given["href"] or "")


def test_the_policy_allows_the_sites_own_files_and_nothing_else(client):
    policy = client.get("/account/sign-in/")["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "object-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    for loose in ("unsafe-inline", "unsafe-eval", "*", "http"):
        assert loose not in policy


@pytest.mark.parametrize("address", ["/account/sign-in/", "/no/such/page/", "/health/?q=%00"])
def test_pages_and_refusals_carry_the_policy(client, address):
    assert "default-src 'none'" in client.get(address)["Content-Security-Policy"]


@pytest.mark.parametrize("who", ["visitor", "librarian"])
def test_no_page_that_a_link_leads_to_has_inline_script_or_style(client, catalogue, who):
    if who == "librarian":
        client.force_login(MemberFactory(librarian=True))
    waiting, seen = ["/", "/account/sign-in/", "/account/sign-out/", "/no/such/page/"], set()
    while waiting and len(seen) < PAGES:
        address = waiting.pop(0)
        if address in seen or address.startswith("/api/"):
            continue
        seen.add(address)
        answer = client.get(address, follow=True)
        assert answer.status_code in (200, 404), address
        if answer["Content-Type"].startswith("text/html"):
            page = Page(answer.content.decode())
            assert page.stopped == [], address
            links = [urlsplit(urljoin(address, link)) for link in page.links]
            waiting += [
                f"{link.path}{'?' * bool(link.query)}{link.query}" for link in links if not link.netloc
            ]
    assert len(seen) >= 4
