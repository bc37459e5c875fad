"""Pages are read from a streaming replica of PostgreSQL, and nobody misses what they have just written."""

from __future__ import annotations

import pytest

from tests.club.streaming import Pair
from tests.outside import Browser, manage, programs, site, soon

pytestmark = pytest.mark.skipif(programs() is None, reason="PostgreSQL's server programs are not installed")


def test_a_member_reads_what_they_wrote_while_the_replica_lags():
    with Pair() as servers:
        manage("migrate", "-v0", DATABASE_URL=servers.url())
        make = (
            "from club.models import Member; Member.objects.create_user('wren', 'w@a.org', 'over the hills')"
        )
        manage("shell", "-v0", "-c", make, DATABASE_URL=servers.url())
        caught_up = "SELECT count(*) FROM club_member"
        assert soon(lambda: servers.ask(caught_up, "replica") == "1"), servers.ask(caught_up, "replica")
        with site(DATABASE_URL=servers.url(), REPLICA_URLS=servers.url("replica")) as address:
            wren, guest = Browser(address), Browser(address)
            servers.ask("SELECT pg_wal_replay_pause()", "replica")
            wren.sign_in("wren", "over the hills")
            assert any(cookie.name == "written" for cookie in wren.cookies)

            wren.fill("/account/", display_name="Jenny of the hall")

            assert "Jenny of the hall" in wren.get("/members/wren/").text
            old = guest.get("/members/wren/").text
            assert "Jenny of the hall" not in old, "a guest reads from the replica"
            servers.ask("SELECT pg_wal_replay_resume()", "replica")
            assert soon(lambda: "Jenny of the hall" in guest.get("/members/wren/").text)
            assert soon(lambda: wren.get("/") and "written" not in {one.name for one in wren.cookies})

            standing = guest.get("/health/ready/").json
            assert standing["status"] == "ok"
            assert standing["replica1"]["behind_bytes"] < 100_000, "it has caught up, or nearly"

            servers.stop("replica")
            assert "Jenny of the hall" in guest.get("/members/wren/").text, "the primary answers instead"
            assert soon(lambda: guest.get("/health/ready/").json["replica1"] == "failing")
            servers.stop("primary")
            assert soon(lambda: guest.get("/health/").status == 503)
