"""The database is stopped in the middle of a post, and a web process in the middle of an import.

The site is a process of its own on a PostgreSQL that is thrown away afterwards. Another connection holds a
table, so that what is tried waits half done, and is broken off there.
"""

from __future__ import annotations

import json
import os
import re
import signal
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO, Any

import pytest

from tests.factories import PASSWORD
from tests.faults.seeded import TYPED
from tests.outside import Answer, Browser, Server, manage, programs, site, soon

pytestmark = [
    pytest.mark.one_database,
    pytest.mark.skipif(programs() is None, reason="PostgreSQL's server programs are not installed"),
]

SEED = "from tests.faults import seeded; seeded.club()"


@dataclass
class Club:
    """The running site, the server behind it, what it printed, and who is in it."""

    server: Server
    address: str
    printed: IO[bytes]
    known: dict[str, Any]

    def signed_in(self, who: str) -> Browser:
        browser = Browser(self.address)
        browser.sign_in(self.known[who], PASSWORD)
        return browser

    def count(self, table: str, where: str = "true") -> int:
        return int(self.server.ask(f"SELECT count(*) FROM {table} WHERE {where}"))

    def log(self) -> str:
        self.printed.seek(0)
        return self.printed.read().decode()


@pytest.fixture(scope="module")
def club() -> Iterator[Club]:
    with Server() as server, TemporaryFile() as printed:
        made = manage("shell", "-v0", "-c", SEED, DATABASE_URL=server.url())
        with site(printed, DATABASE_URL=server.url()) as address:
            yield Club(server, address, printed, json.loads(made.splitlines()[-1]))


def test_what_the_database_did_not_finish_is_as_it_was_and_is_sent_again_from_the_page(club):
    browser, program = club.signed_in("author"), Browser(club.address)
    number, setups = club.known["draft"], club.count("setups_setup")
    last_step = f"/setups/{number}/edit/?step=post"
    form = browser.get(last_step).fields | {"go": "send", "acknowledged": "1"}
    headers = {"Authorization": f"Bearer {club.known['token']}", "Idempotency_Key": "one-post"}

    with ThreadPoolExecutor() as both, club.server.held_up("setups_decision"):
        typed = both.submit(browser.send, f"/setups/{number}/edit/", form)
        sent = both.submit(program.post, "/api/v1/setups/", club.known["content"], **headers)
        assert soon(lambda: club.server.waiting("setups_decision") == 2), "both wait, their revisions written"
        club.server.stop()
        page, problem = typed.result(), sent.result()

    _is_the_page(page)
    _is_the_problem(problem)
    assert page.fields == form, "the page holds what was sent"
    for path in ("/", "/setups/", last_step, "/bodies/heron/"):
        _is_the_page(browser.get(path))
    _is_the_problem(program.get("/api/v1/bodies/", X_Request_ID="the-one-that-failed"))
    told = [line for line in club.log().splitlines() if "the-one-that-failed" in line]
    assert any("The database does not answer" in line for line in told), told
    assert program.get("/health/").status == 503

    club.server.up()
    assert soon(lambda: program.get("/health/").status == 200)
    assert TYPED in browser.get(f"/setups/{number}/edit/?step=ran").text
    assert club.count("setups_setup") == setups
    assert club.count("setups_revision") == club.count("setups_decision") == 1

    again = browser.send(f"/setups/{number}/edit/", page.fields)
    assert (again.status, again.address) == (200, f"{club.address}/setups/{number}/")
    answers = [program.post("/api/v1/setups/", club.known["content"], **headers) for _ in range(2)]
    assert [answer.status for answer in answers] == [201, 201]
    assert answers[0].json == answers[1].json
    assert club.count("setups_setup") == setups + 1
    assert club.count("setups_revision") == club.count("setups_decision") == 3


def test_a_web_process_that_is_killed_while_importing_has_loaded_nothing_and_another_takes_its_place(club):
    librarian, before = club.signed_in("librarian"), club.count("setups_body")
    rows = "".join(f"Shell {n},Reed,28,{90 + n / 100}\n" for n in range(400, 600))
    text = f"name,maker,scale,wheelbase\n{rows}"
    form = librarian.get("/imports/").fields | {"kind": "bodies", "text": text}
    form |= librarian.send("/imports/", form | {"act": "check"}).fields | {"act": "load"}
    assert form["seen"]

    with ThreadPoolExecutor() as one:
        with club.server.held_up("setups_bodydimension"):
            loading = one.submit(librarian.send, "/imports/", form)
            assert soon(lambda: club.server.waiting("setups_bodydimension")), "the bodies are written"
            for worker in _workers(club):
                os.kill(worker, signal.SIGKILL)
        assert loading.result().status == 0

    assert soon(lambda: Browser(club.address).get("/health/").status == 200), "another process serves"
    assert soon(lambda: club.server.ask(_OPEN) == "0"), "nobody waits for the dead one"
    assert club.count("setups_body") == before
    loaded = librarian.send("/imports/", form)
    assert loaded.address.endswith("/imports/loaded/"), loaded.text
    assert club.count("setups_body") == before + 200
    twice = librarian.send("/imports/", form)
    assert "has changed since you checked it, and nothing was loaded" in twice.text
    assert club.count("setups_body") == before + 200


_OPEN = "SELECT count(*) FROM pg_stat_activity WHERE state LIKE 'idle in transaction%'"


def _is_the_page(answer: Answer) -> None:
    assert answer.status == 503, answer.text[:500]
    assert int(answer.headers["Retry-After"]) > 0
    assert re.fullmatch(r"[0-9a-f]{32}", answer.headers["X-Request-ID"])
    assert "The library cannot answer just now" in answer.text
    assert "psycopg" not in answer.text


def _is_the_problem(answer: Answer) -> None:
    assert (answer.status, answer.headers["Content-Type"]) == (503, "application/problem+json")
    assert int(answer.headers["Retry-After"]) > 0
    assert (answer.json["type"], answer.json["status"]) == ("/api/problems/unavailable", 503)


def _workers(club: Club) -> list[int]:
    """The processes that gunicorn's own started, which is a child of this one."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            parent = int((folder / "stat").read_text().rpartition(") ")[2].split()[1])
            grandparent = int(Path(f"/proc/{parent}/stat").read_text().rpartition(") ")[2].split()[1])
            command = (folder / "cmdline").read_text()
        except (OSError, IndexError, ValueError):
            continue
        if grandparent == os.getpid() and club.address.rpartition("//")[2] in command:
            found.append(int(folder.name))
    assert found
    return found
