"""A database that several connections write to at once, whichever kind it is."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.db import connection


@pytest.fixture
def shared(transactional_db: None, tmp_path: Path) -> Iterator[Path | None]:
    """The tests' own SQLite is in memory, where a second writer does not wait: here it is a file, as for a
    site. Gives the file, or ``None`` on another database."""
    if connection.vendor != "sqlite":
        yield None
        return
    connection.ensure_connection()
    in_memory, name = connection.connection, connection.settings_dict["NAME"]
    path = tmp_path / "library.sqlite3"
    with sqlite3.connect(path) as copy:
        in_memory.backup(copy)
    copy.close()
    connection.connection = None
    connection.settings_dict["NAME"] = str(path)
    try:
        yield path
    finally:
        connection.close()
        connection.settings_dict["NAME"] = name
        connection.connection = in_memory
