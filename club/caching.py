"""A cache in the database that counts: adding one to a figure loses none, whichever process does it.

Django's own reads the figure and writes it back in two statements, so that of two requests at once one may
not be counted, and gives the figure a new time to live. With Redis and in one process's memory, adding one
is a single step already.
"""

from __future__ import annotations

import base64
import pickle
from typing import Any

from django.core.cache.backends.db import DatabaseCache
from django.db import connections, router, transaction
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
