"""Pages are read from a streaming replica of PostgreSQL, and nobody misses what they have just written."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from http.cookiejar import CookieJar
from json import loads
from urllib.error import HTTPError
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, build_opener

import pytest

from tests.club.streaming import ROOT, pair, programs, site

pytestmark = pytest.mark.skipif(programs() is None, reason="PostgreSQL's server programs are not installed")


class Visitor:
    """A browser without pictures: keeps cookies, fills in forms."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.jar = CookieJar()
        self._open = build_opener(HTTPCookieProcessor(self.jar)).open

    def get(self, path: str) -> str:
        return self._open(self.address + path, timeout=20).read().decode()

    def code(self, path: str) -> int:
        try:
            return self._open(self.address + path, timeout=20).status
        except HTTPError as error:
            return error.code

    def post(self, path: str, **fields: str) -> str:
        token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', self.get(path))
        assert token is not None
        data = urlencode(fields | {"csrfmiddlewaretoken": token[1]}).encode()
        return self._open(self.address + path, data, timeout=20).read().decode()


def manage(url: str, *arguments: str) -> None:
    environment = os.environ | {"DATABASE_URL": url, "SECRET_KEY": "tests", "DEBUG": "False"}
    subprocess.run(
        [sys.executable, "manage.py", *arguments], cwd=ROOT, env=environment, check=True, timeout=120
    )


def soon(condition, seconds=40):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.2)
    return False


def test_a_member_reads_what_they_wrote_while_the_replica_lags():
    with pair() as servers:
        manage(servers.primary, "migrate", "-v0")
        make = (
            "from club.models import Member; Member.objects.create_user('wren', 'w@a.org', 'over the hills')"
        )
        manage(servers.primary, "shell", "-v0", "-c", make)
        caught_up = "SELECT count(*) FROM club_member"
        assert soon(lambda: servers.ask("replica", caught_up) == "1"), servers.ask("replica", caught_up)
        with site(DATABASE_URL=servers.primary, REPLICA_URLS=servers.replica) as address:
            wren, guest = Visitor(address), Visitor(address)
            servers.ask("replica", "SELECT pg_wal_replay_pause()")
            wren.post("/account/sign-in/", login="wren", password="over the hills")
            assert any(cookie.name == "written" for cookie in wren.jar)

            wren.post("/account/", display_name="Jenny of the hall")

            assert "Jenny of the hall" in wren.get("/members/wren/")
            assert "Jenny of the hall" not in guest.get("/members/wren/"), "a guest reads from the replica"
            servers.ask("replica", "SELECT pg_wal_replay_resume()")
            assert soon(lambda: "Jenny of the hall" in guest.get("/members/wren/"))
            assert soon(lambda: not (wren.get("/"), any(cookie.name == "written" for cookie in wren.jar))[1])

            standing = loads(guest.get("/health/ready/"))
            assert standing["status"] == "ok"
            assert standing["replica1"]["behind_bytes"] < 100_000, "it has caught up, or nearly"

            servers.stop("replica")
            assert "Jenny of the hall" in guest.get("/members/wren/"), "the primary answers instead"
            assert soon(lambda: loads(guest.get("/health/ready/"))["replica1"] == "failing")
            servers.stop("primary")
            assert soon(lambda: guest.code("/health/") == 503)
