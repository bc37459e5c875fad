"""The site from outside: a PostgreSQL that can be stopped, a browser without pictures, commands."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from email.message import Message
from html import unescape
from http.client import HTTPException
from http.cookiejar import CookieJar
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.error import HTTPError
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, Request, build_opener

import psycopg

from tests.club.streaming import ROOT, Pair


class Server(Pair):
    """One server alone; ``url`` names its database."""

    @property
    def url(self) -> str:
        return self.primary

    def start(self) -> None:
        self._run("initdb", "-D", self._data("primary"), "-U", "library", "-A", "trust", "-E", "UTF8")
        self.up()

    def up(self) -> None:
        self._up("primary")

    def break_off(self) -> None:
        """Stop as if the machine had lost power: no transaction ends, no client is told."""
        self.stop("primary")

    @contextmanager
    def held_up(self, table: str) -> Iterator[None]:
        """Whoever writes to ``table`` meanwhile stops there; the server may be gone at the end."""
        with psycopg.connect(self.url) as holding:
            holding.execute(f"LOCK TABLE {table} IN EXCLUSIVE MODE")
            try:
                yield
            finally:
                if not holding.broken:
                    try:
                        holding.rollback()
                    except psycopg.OperationalError:
                        holding.close()

    def waiting(self, table: str) -> int:
        """How many have come as far as writing to ``table`` and wait there."""
        return int(
            self.ask(
                "primary",
                "SELECT count(*) FROM pg_stat_activity "
                f"WHERE wait_event_type = 'Lock' AND query LIKE 'INSERT INTO \"{table}\"%'",
            )
        )


@contextmanager
def server() -> Iterator[Server]:
    """A running server, thrown away afterwards."""
    with TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        if os.getuid() == 0:
            shutil.chown(folder, "postgres")
        one = Server(Path(folder))
        try:
            one.start()
            yield one
        finally:
            one.stop("primary")


@dataclass(frozen=True)
class Answer:
    status: int
    headers: Message
    text: str
    address: str

    @property
    def json(self) -> Any:
        return json.loads(self.text)

    @property
    def fields(self) -> dict[str, str]:
        """The hidden fields on the page, by name."""
        found = re.findall(r'<input type="hidden"[^>]*? name="([^"]+)" value="([^"]*)"', self.text)
        return {name: unescape(value) for name, value in found}


class Browser:
    """Keeps cookies, fills in forms, follows redirects."""

    def __init__(self, address: str) -> None:
        self.address = address
        self._opener = build_opener(HTTPCookieProcessor(CookieJar()))

    def get(self, path: str, **headers: str) -> Answer:
        return self._ask(Request(self.address + path, headers=_named(headers)))

    def send(self, path: str, fields: Mapping[str, str]) -> Answer:
        """A form as it stands, its token included."""
        return self._ask(Request(self.address + path, urlencode(fields).encode()))

    def post(self, path: str, content: Any, **headers: str) -> Answer:
        """JSON."""
        headers = {"Content-Type": "application/json"} | _named(headers)
        return self._ask(Request(self.address + path, json.dumps(content).encode(), headers))

    def sign_in(self, name: str, password: str) -> None:
        token = self.get("/account/sign-in/").fields["csrfmiddlewaretoken"]
        fields = {"login": name, "password": password, "csrfmiddlewaretoken": token}
        assert "Sign out" in self.send("/account/sign-in/", fields).text

    def _ask(self, request: Request) -> Answer:
        try:
            with self._opener.open(request, timeout=30) as answer:
                return Answer(answer.status, answer.headers, answer.read().decode(), answer.url)
        except HTTPError as error:
            return Answer(error.code, error.headers, error.read().decode(), error.url)
        except (OSError, HTTPException):  # hung up
            return Answer(0, Message(), "", request.full_url)


def _named(headers: Mapping[str, str]) -> dict[str, str]:
    return {name.replace("_", "-"): value for name, value in headers.items()}


def environment(url: str) -> dict[str, str]:
    return os.environ | {"DATABASE_URL": url, "SECRET_KEY": "tests", "DEBUG": "False"}


def manage(url: str, *arguments: str) -> str:
    """What a command of manage.py prints."""
    done = subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=ROOT,
        env=environment(url),
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def soon(condition: Callable[[], Any], seconds: float = 40, every: float = 0.1) -> Any:
    """What ``condition`` says once it is true, or at the end of the time."""
    end = time.monotonic() + seconds
    while not (found := condition()) and time.monotonic() < end:
        time.sleep(every)
    return found
