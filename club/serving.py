"""How gunicorn serves the site: ``gunicorn --config python:club.serving club.wsgi``.

WORKERS               processes; two without it
THREADS               requests that each of them answers at a time; four without it
GRACEFUL_SECONDS      how long what is being answered may take once SIGTERM has come; 30 without it
DRAIN_SECONDS         how long, before that, the site still takes requests while /health/ready/ says 503, so
                      that a load balancer can turn to others; none without it

On SIGTERM nothing new is taken, and what is being answered is answered in full. A second SIGTERM ends the
draining at once.
"""

from __future__ import annotations

import gc
import mmap
import os
import signal
from typing import Any

workers = int(os.environ.get("WORKERS") or 2)
threads = int(os.environ.get("THREADS") or 4)
preload_app = True
control_socket_disable = True
graceful_timeout = int(os.environ.get("GRACEFUL_SECONDS") or 30)
_drain_seconds = int(os.environ.get("DRAIN_SECONDS") or 0)

# One byte that the workers, forked from this process, see as well.
_drained = mmap.mmap(-1, 1)


def draining() -> bool:
    """True once this server has been told to stop."""
    return _drained[0] == 1


def leave_what_is_loaded() -> None:
    """Have Python look for garbage among what requests make, and not among all that is loaded for good.

    Else every few requests one waits while it looks at some 200 000 objects of which none ever goes: a tenth
    of a second and more. Processes that are forked later share these objects for longer too.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


def when_ready(server: Any) -> None:
    """Gunicorn's hook, before it forks: leave what is loaded, and put draining before its own end."""
    leave_what_is_loaded()
    if _drain_seconds:
        signal.signal(signal.SIGTERM, lambda *_: _drain(server))


def _drain(server: Any) -> None:
    if draining():
        signal.alarm(0)
        server.signal(signal.SIGTERM, None)
        return
    _drained[0] = 1
    signal.signal(signal.SIGALRM, lambda *_: server.signal(signal.SIGTERM, None))
    signal.alarm(_drain_seconds)
