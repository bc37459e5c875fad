"""Whether an error says that the database is away or busy, and not that a statement is wrong.

psycopg raises OperationalError and InterfaceError for what is no fault of the statement: no connection, a
server that stops or starts, a full disk, a deadlock (PEP 249). sqlite3 raises OperationalError for misspelt
SQL too, so there the primary result code decides (https://www.sqlite.org/rescode.html).
"""

from __future__ import annotations

import sqlite3

from django.db import InterfaceError, OperationalError

RETRY_AFTER = 10
"""Seconds after which a caller may try again."""

_SQLITE = {
    sqlite3.SQLITE_BUSY,
    sqlite3.SQLITE_LOCKED,
    sqlite3.SQLITE_NOMEM,
    sqlite3.SQLITE_READONLY,
    sqlite3.SQLITE_IOERR,
    sqlite3.SQLITE_FULL,
    sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_PROTOCOL,
}


def is_outage(error: BaseException | None) -> bool:
    """True if the same request may well be answered in a moment."""
    if not isinstance(error, (OperationalError, InterfaceError)):
        return False
    code = getattr(error.__cause__, "sqlite_errorcode", None)
    return code is None or code & 0xFF in _SQLITE
