"""The audit of what is installed fails on a known weakness, and never passes for one that did not happen."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib.metadata import distributions
from pathlib import Path
from typing import Any

import pytest

from tests.security.audit import NOT_AUDITED, main

KNOWN = {
    "id": "TEST-2031-1",
    "summary": "Invented for this test.",
    "affected": [
        {
            "package": {"name": "django", "ecosystem": "PyPI"},
            "ranges": [{"type": "ECOSYSTEM", "events": [{"introduced": "0"}, {"fixed": "999"}]}],
        }
    ],
}


@pytest.fixture
def service(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str], None]]:
    """A vulnerability service on this machine that knows of a weakness of one package."""
    weak = {"name": ""}

    class Answers(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            asked = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            found = {"vulns": [KNOWN]} if asked["package"]["name"] == weak["name"] else {}
            body = json.dumps(found).encode()
            self.send_response(200)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Answers)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    monkeypatch.setenv("AUDIT_OSV_URL", f"http://127.0.0.1:{server.server_port}/")
    yield lambda name: weak.update(name=name)
    server.shutdown()
    server.server_close()


def test_a_known_weakness_fails_the_audit_and_names_what_mends_it(service, capsys):
    service("django")
    assert main() == 1
    said = capsys.readouterr().out
    assert "django" in said
    assert "TEST-2031-1, mended in 999" in said


def test_without_one_it_says_how_many_packages_were_looked_at(service, capsys):
    assert main() == 0
    said = capsys.readouterr().out
    assert "packages audited, none with a known weakness" in said
    assert NOT_AUDITED not in said


def test_a_service_that_does_not_answer_is_told_and_taken_for_nothing(monkeypatch, capsys):
    monkeypatch.setenv("AUDIT_OSV_URL", "http://127.0.0.1:9/")
    assert main() == 0
    assert capsys.readouterr().out == f"{NOT_AUDITED}\n"


def test_a_service_that_takes_too_long_is_not_waited_for(service, capsys):
    assert main(seconds=0.1) == 0
    assert capsys.readouterr().out == f"{NOT_AUDITED}\n"


def test_an_inventory_names_every_library_with_its_version():
    """As docker-compose.yml keeps it in each image."""
    asked = "pip inspect --local"
    assert f"{asked} > /inventory.json" in Path("docker-compose.yml").read_text()
    done = subprocess.run([sys.executable, "-m", *asked.split()], capture_output=True, text=True, timeout=60)
    found = [one["metadata"] for one in json.loads(done.stdout)["installed"]]
    told = {one["name"]: one["version"] for one in found}
    assert told == {one.metadata["Name"]: one.version for one in distributions()}
    assert {"Django", "django-allauth", "numpy", "cryptography"} <= set(told)
