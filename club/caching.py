"""The caches that all processes share, so that callers find the same in either.

In the database, adding one to a figure must lose none, whichever process does it: Django's own reads the
figure and writes it back in two statements, so that of two requests at once one may not be counted, and gives
the figure a new time to live. In Redis that is one step; there, being away must be told as the database would
tell it, so that who asked is answered with 503 and not as if the site had made a mistake.
"""

from __future__ import annotations

import base64
import pickle
from collections.abc import Callable
from typing import Any

from django.core.cache.backends.db import DatabaseCache
from django.core.cache.backends.redis import RedisCache, RedisCacheClient
from django.db import OperationalError, connections, router, transaction
from django.utils.timezone import now


class SharedTable(DatabaseCache):
    """``dbcache://cache``: the table that ``manage.py createcachetable`` makes."""

    def incr(self, key: str, delta: int = 1, version: int | None = None) -> int:
        """The figure after ``delta`` was added; ValueError if there is none under ``key``."""
        place = self.make_and_validate_key(key, version=version)
        using = router.db_for_write(self.cache_model_class)
        connection = connections[using]
        table = connection.ops.quote_name(self._table)
        # SQLite has locked the file since the transaction began.
        lock = connection.ops.for_update_sql() if connection.features.has_select_for_update else ""
        with transaction.atomic(using=using), connection.cursor() as cursor:
            cursor.execute(
                f"SELECT value FROM {table} WHERE cache_key = %s AND expires > %s {lock}",
                [place, connection.ops.adapt_datetimefield_value(now())],
            )
            found = cursor.fetchone()
            if found is None:
                raise ValueError(f"There is no figure under {key!r} to add to")
            figure: Any = pickle.loads(base64.b64decode(found[0])) + delta
            kept = base64.b64encode(pickle.dumps(figure, self.pickle_protocol)).decode("ascii")
            cursor.execute(f"UPDATE {table} SET value = %s WHERE cache_key = %s", [kept, place])
        return figure


class CacheAway(OperationalError):
    """The cache does not answer."""


class _Client(RedisCacheClient):
    """Raises CacheAway, an OperationalError as a cache in the database does, where Redis does not answer."""


def _told(name: str) -> Callable[..., Any]:
    asked = getattr(RedisCacheClient, name)

    def method(self: Any, *given: Any, **named: Any) -> Any:
        try:
            return asked(self, *given, **named)
        except self._lib.RedisError as error:
            raise CacheAway(f"the cache does not answer: {error}") from error

    return method


for _name in ("add", "get", "set", "touch", "delete", "incr", "has_key"):
    setattr(_Client, _name, _told(_name))
for _name in ("get_many", "set_many", "delete_many", "clear"):
    setattr(_Client, _name, _told(_name))


class SharedRedis(RedisCache):
    """``redis://host:6379/0``."""

    def __init__(self, server: Any, params: dict[str, Any]) -> None:
        super().__init__(server, params)
        self._class = _Client
