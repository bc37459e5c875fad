"""Several servers on one database and one cache are one site; one that stops finishes what it began."""

from __future__ import annotations

import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from http.client import HTTPConnection, HTTPResponse
from tempfile import TemporaryFile
from urllib.parse import urlencode
from urllib.request import urlopen

import pytest
from django.db import connection
from pytest_django import DjangoDbBlocker

from tests.club.streaming import ROOT, free_port
from tests.club.test_replicas import Visitor, soon

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
def environment(
    tmp_path_factory: pytest.TempPathFactory, django_db_setup: None, django_db_blocker: DjangoDbBlocker
) -> dict[str, str]:
    """What all servers are told; their database is a copy of the tests' own, which has its tables."""
    if connection.vendor != "sqlite":
        pytest.skip("nothing here could be answered otherwise by PostgreSQL")
    file = tmp_path_factory.mktemp("site") / "library.sqlite3"
    with django_db_blocker.unblock(), closing(sqlite3.connect(file)) as copy:
        connection.ensure_connection()
        connection.connection.backup(copy)
    told = os.environ | {
        "DATABASE_URL": f"sqlite:///{file}",
        "CACHE_URL": "dbcache://cache",
        "SECRET_KEY": "tests",
        "DEBUG": "False",
        "HTTPS": "False",
        "ALLOWED_HOSTS": "127.0.0.1",
        "API_READ_RATE": f"{RATE}/hour",
    }
    command = [sys.executable, "manage.py", "createcachetable"]
    subprocess.run(command, cwd=ROOT, env=told, check=True, timeout=60)
    return told


@contextmanager
def served(environment: dict[str, str], **more: str) -> Iterator[Server]:
    port = free_port()
    command = [sys.executable, "-m", "gunicorn", "club.wsgi", "--config", "python:club.serving"]
    with TemporaryFile() as printed:
        process = subprocess.Popen(
            [*command, "--bind", f"127.0.0.1:{port}"],
            cwd=ROOT,
            env=environment | more,
            stdout=printed,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
        server = Server(port, process)
        try:
            well = soon(lambda: process.poll() is not None or _answers(server))
            printed.seek(0)
            assert well, printed.read().decode()
            assert process.poll() is None, printed.read().decode()
            yield server
        finally:
            if process.poll() is None:  # how it stops by itself one test looks at
                os.killpg(process.pid, signal.SIGKILL)
            process.wait(20)


def _answers(server: Server, path: str = "/health/ready/") -> bool:
    try:
        urlopen(server.address + path, timeout=1).close()
    except OSError:
        return False
    return True


@pytest.fixture(scope="module")
def two(environment: dict[str, str]) -> Iterator[list[Server]]:
    with ExitStack() as both:
        yield [both.enter_context(served(environment)) for _ in range(2)]


def test_who_signs_in_at_one_server_is_signed_in_at_the_other_and_signs_out_of_both(two):
    wren = signed_up(two[0], "wren")

    wren.address = two[1].address
    assert OWN in wren.get("/account/")
    wren.post("/account/sign-out/")

    wren.address = two[0].address
    assert OWN not in wren.get("/account/"), "it asks who it is"


def signed_up(server: Server, name: str) -> Visitor:
    visitor = Visitor(server.address)
    sent = {"username": name, "email": f"{name}@club.example", "password1": "over the wet hills"}
    visitor.post("/account/sign-up/", **sent)
    assert OWN in visitor.get("/account/")
    return visitor


def test_requests_at_once_on_two_servers_are_all_counted(two):
    with ThreadPoolExecutor(8) as callers:
        answers = list(callers.map(lambda n: two[n % 2].get("/api/v1/makers/"), range(2 * RATE)))

    assert Counter(status for status, _ in answers) == {200: RATE, 429: RATE}
    assert all(3500 < int(wait) <= 3600 for status, wait in answers if status == 429)


def test_a_server_that_is_told_to_stop_finishes_what_it_began_and_takes_nothing_new(environment, two):
    with served(environment, DRAIN_SECONDS="2") as server:
        jenny = signed_up(server, "jenny")
        token = jenny.get("/account/").split('name="csrfmiddlewaretoken" value="')[1].split('"')[0]
        cookies = "; ".join(f"{cookie.name}={cookie.value}" for cookie in jenny.jar)
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
            assert soon(lambda: not _answers(server, "/health/live/"), 15), "then nothing new is taken"
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
    assert "Jenny of the hall" in jenny.get("/members/jenny/"), "what it began is kept"
