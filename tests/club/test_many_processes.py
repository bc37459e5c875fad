"""Several servers on one database and one cache are one site; one that stops finishes what it began."""

from __future__ import annotations

import shutil
import signal
import socket
import subprocess
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from http.client import HTTPConnection, HTTPResponse
from pathlib import Path
from tempfile import TemporaryFile
from urllib.parse import urlencode

import pytest

from tests import outside
from tests.outside import GUNICORN, Browser, answers, free_port, manage, running, soon

pytestmark = pytest.mark.one_database

RATE = 20
OWN = 'name="display_name"'
"""What only a member's own page has."""


@dataclass
class Server:
    """One gunicorn, as docker-compose.yml starts it."""

    port: int
    process: subprocess.Popen[bytes]

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def get(self, path: str) -> tuple[int, str]:
        asked = HTTPConnection("127.0.0.1", self.port, timeout=20)
        asked.request("GET", path)
        answer = asked.getresponse()
        return answer.status, answer.headers.get("Retry-After", "")


@pytest.fixture(scope="module")
def environment(tmp_path_factory: pytest.TempPathFactory, migrated: Path) -> dict[str, str]:
    """What all servers are told."""
    file = shutil.copy(migrated, tmp_path_factory.mktemp("site"))
    told = {
        "DATABASE_URL": f"sqlite:///{file}",
        "CACHE_URL": "dbcache://cache",
        "API_READ_RATE": f"{RATE}/hour",
    }
    manage("createcachetable", **told)
    return outside.environment(**told)


@contextmanager
def served(environment: dict[str, str], **more: str) -> Iterator[Server]:
    port = free_port()
    command = [*GUNICORN, "--config", "python:club.serving", "--bind", f"127.0.0.1:{port}"]
    with TemporaryFile() as printed, running(command, port, environment | more, printed) as process:
        yield Server(port, process)


@pytest.fixture(scope="module")
def two(environment: dict[str, str]) -> Iterator[list[Server]]:
    with ExitStack() as both:
        yield [both.enter_context(served(environment)) for _ in range(2)]


def test_who_signs_in_at_one_server_is_signed_in_at_the_other_and_signs_out_of_both(two):
    wren = signed_up(two[0], "wren")

    wren.address = two[1].address
    assert OWN in wren.get("/account/").text
    wren.fill("/account/sign-out/")

    wren.address = two[0].address
    assert OWN not in wren.get("/account/").text, "it asks who it is"


def signed_up(server: Server, name: str) -> Browser:
    browser = Browser(server.address)
    sent = {"username": name, "email": f"{name}@club.example", "password1": "over the wet hills"}
    browser.fill("/account/sign-up/", **sent)
    assert OWN in browser.get("/account/").text
    return browser


def test_requests_at_once_on_two_servers_are_all_counted(two):
    with ThreadPoolExecutor(8) as callers:
        answers = list(callers.map(lambda n: two[n % 2].get("/api/v1/makers/"), range(2 * RATE)))

    assert Counter(status for status, _ in answers) == {200: RATE, 429: RATE}
    assert all(3500 < int(wait) <= 3600 for status, wait in answers if status == 429)


def test_a_server_that_is_told_to_stop_finishes_what_it_began_and_takes_nothing_new(environment, two):
    with served(environment, DRAIN_SECONDS="2") as server:
        jenny = signed_up(server, "jenny")
        token = jenny.get("/account/").token
        cookies = "; ".join(f"{cookie.name}={cookie.value}" for cookie in jenny.cookies)
        form = urlencode({"csrfmiddlewaretoken": token, "display_name": "Jenny of the hall"}).encode()
        head = (
            f"POST /account/ HTTP/1.1\r\nHost: 127.0.0.1\r\nCookie: {cookies}\r\n"
            f"Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {len(form)}\r\n\r\n"
        )
        with socket.create_connection(("127.0.0.1", server.port), timeout=30) as slow:
            slow.sendall(head.encode() + form[:10])
            time.sleep(0.3)  # a thread waits for the rest now
            server.process.send_signal(signal.SIGTERM)

            assert soon(lambda: server.get("/health/ready/")[0] == 503, 5), "a balancer is told first"
            assert server.get("/health/live/")[0] == 200, "who comes meanwhile is still answered"
            live = f"{server.address}/health/live/"
            assert soon(lambda: not answers(live), 15), "then nothing new is taken"
            assert server.process.poll() is None, "it waits for what is being sent"

            slow.sendall(form[10:])
            answer = HTTPResponse(slow)
            answer.begin()
            body = answer.read()

        assert (answer.status, len(body)) == (302, int(answer.headers["Content-Length"]))
        assert server.process.wait(20) == 0
        with pytest.raises(ConnectionRefusedError):
            server.get("/health/live/")

    jenny.address = two[0].address
    assert "Jenny of the hall" in jenny.get("/members/jenny/").text, "what it began is kept"
