"""A primary and a streaming replica of PostgreSQL, thrown away afterwards.

They are what docker-compose.yml starts: its options, its rules of who may connect, its way to make a replica.
"""

from __future__ import annotations

from typing import Any

import yaml

from tests.outside import PASSWORD, ROOT, Server

COMPOSE: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text())


class Pair(Server):
    """Both, the second following the first."""

    names = ("primary", "replica")

    def start(self) -> None:
        password, rules = self.folder / "password", self.folder / "pg_hba.conf"
        password.write_text(PASSWORD)
        rules.write_text(COMPOSE["configs"]["who-may-connect"]["content"])
        for file in (password, rules):
            file.chmod(0o644)
        self.run(
            "initdb", "-D", self.data("primary"), "-U", "library", "-E", "UTF8",
            "-A", "scram-sha-256", "--pwfile", str(password),
        )  # fmt: skip
        options = " ".join(COMPOSE["services"]["db"]["command"][1:])
        self.up("primary", options.replace("/etc/library/pg_hba.conf", str(rules)))
        self._follow()

    def _follow(self) -> None:
        """Make the replica by the compose file's own command, up to where it starts the server."""
        command = COMPOSE["services"]["replica"]["command"][2].replace("$$", "$")
        assert "--host=db " in command
        assert command.endswith("exec postgres\n")
        script = self.folder / "replica.sh"
        port = self.ports["primary"]
        script.write_text(
            f"set -e\nexport PATH={self.bin}:$PATH PGDATA={self.data('replica')}\n"
            + command.replace("--host=db", f"--host=127.0.0.1 --port={port}").removesuffix("exec postgres\n")
        )
        script.chmod(0o644)
        self.run("/bin/sh", str(script))
        self.up("replica")
