"""Several who do something at the same moment."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection, connections


def at_once(*calls: Callable[[], Any]) -> list[Any]:
    """What each call gives, or the exception that it raises; each on a connection of its own."""
    start = threading.Barrier(len(calls))

    def run(call: Callable[[], Any]) -> Any:
        start.wait(timeout=20)
        try:
            return call()
        except Exception as error:
            return error
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(calls)) as threads:
        return list(threads.map(run, calls))


def meeting(patch: pytest.MonkeyPatch, module: Any, name: str, how_many: int = 2) -> None:
    """Whoever calls a function of ``module`` waits there, before it is done, until so many have come.

    In a transaction of SQLite nobody is waited for: there is only one at a time.
    """
    there, real = threading.Barrier(how_many), getattr(module, name)

    def wait(*given: Any, **named: Any) -> Any:
        if connection.vendor != "sqlite" or not connection.in_atomic_block:
            there.wait(timeout=20)
        return real(*given, **named)

    patch.setattr(module, name, wait)


def sorted_out(results: Sequence[Any], kind: type[Exception]) -> tuple[list[Any], list[Exception]]:
    """Those that went well, and those that raised ``kind``; anything else raised is a mistake."""
    lost = [one for one in results if isinstance(one, kind)]
    won = [one for one in results if one not in lost]
    for one in won:
        if isinstance(one, Exception):
            raise one
    return won, lost
