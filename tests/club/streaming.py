"""A primary and a streaming replica of PostgreSQL, thrown away afterwards, and the site on both."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from urllib.request import urlopen

ROOT = Path(__file__).resolve().parents[2]


def programs() -> Path | None:
    """The folder of the server's programs, if they are installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/pg_basebackup"))
    return found[-1].parent if found else None


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Pair:
    """Two servers; ``primary`` and ``replica`` are their URLs."""

    def __init__(self, folder: Path) -> None:
        found = programs()
        assert found is not None
        self.bin, self.folder = found, folder
        self.ports = {"primary": free_port(), "replica": free_port()}
        self.primary, self.replica = (
            f"postgres://library@127.0.0.1:{self.ports[name]}/postgres" for name in self.ports
        )

    def start(self) -> None:
        self._run("initdb", "-D", self._data("primary"), "-U", "library", "-A", "trust", "-E", "UTF8")
        self._up("primary")
        address = ["-h", "127.0.0.1", "-p", str(self.ports["primary"]), "-U", "library"]
        self._run("pg_basebackup", *address, "-D", self._data("replica"), "-R", "-X", "stream", "-c", "fast")
        self._up("replica")

    def stop(self, name: str) -> None:
        self._run("pg_ctl", "-D", self._data(name), "-m", "immediate", "-s", "stop", check=False)

    def ask(self, name: str, statement: str) -> str:
        """What ``statement`` answers on one of the two."""
        return self._run(
            "psql", "-h", "127.0.0.1", "-p", str(self.ports[name]), "-U", "library", "-d", "postgres",
            "-Atc", statement,
        )  # fmt: skip

    def _data(self, name: str) -> str:
        return str(self.folder / name)

    def _up(self, name: str) -> None:
        options = f"-p {self.ports[name]} -k {self.folder} -c listen_addresses=127.0.0.1 -c fsync=off"
        log = str(self.folder / f"{name}.log")
        self._run("pg_ctl", "-D", self._data(name), "-l", log, "-w", "-s", "-o", options, "start")

    def _run(self, program: str, *arguments: str, check: bool = True) -> str:
        command = [str(self.bin / program), *arguments]
        if os.getuid() == 0:  # the server refuses to run as root
            command = ["runuser", "-u", "postgres", "--", *command]
        done = subprocess.run(
            command,
            cwd=self.folder,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            check=False,
            timeout=60,
        )
        assert not check or done.returncode == 0, done.stdout
        return done.stdout.strip()


@contextmanager
def pair() -> Iterator[Pair]:
    """Both servers, running, the second following the first."""
    # Not in the folder of a test, which the server's own user may not enter.
    with TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        if os.getuid() == 0:
            shutil.chown(folder, "postgres")
        servers = Pair(Path(folder))
        try:
            servers.start()
            yield servers
        finally:
            for name in ("replica", "primary"):
                servers.stop(name)


@contextmanager
def site(**environment: str) -> Iterator[str]:
    """The site served by one process, at the address that is given."""
    port = free_port()
    own = os.environ | {"DEBUG": "False", "SECRET_KEY": "tests", "ALLOWED_HOSTS": "127.0.0.1"} | environment
    command = [sys.executable, "-m", "gunicorn", "club.wsgi", "--bind", f"127.0.0.1:{port}", "--threads", "4"]
    process = subprocess.Popen(
        command, cwd=ROOT, env=own, stdout=subprocess.DEVNULL, stderr=subprocess.STDOUT
    )
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(150):
            try:
                urlopen(f"{address}/health/", timeout=5).close()
                break
            except OSError:
                time.sleep(0.2)
        yield address
    finally:
        process.terminate()
        process.wait(20)
