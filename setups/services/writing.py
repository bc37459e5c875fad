"""Writing many rows at once, and reading what nobody else may write meanwhile."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.db import connections, router
from django.db.models import Model, QuerySet


def update_each(rows: Iterable[Model], names: Sequence[str]) -> None:
    """Store the fields ``names`` of every row: one prepared statement, run for each.

    As ``bulk_update``, which builds a CASE of all rows for every column: for some hundreds of rows with a
    dozen columns this takes a tenth of its time.
    """
    rows = list(rows)
    if not rows:
        return
    meta = type(rows[0])._meta
    key = meta.pk
    assert key is not None
    connection = connections[router.db_for_write(type(rows[0]))]
    quote = connection.ops.quote_name
    fields = [meta.get_field(name) for name in names]
    columns = ", ".join(f"{quote(field.column)} = %s" for field in fields)
    statement = f"UPDATE {quote(meta.db_table)} SET {columns} WHERE {quote(key.column)} = %s"

    def stored(field: Any, row: Model) -> Any:
        return field.get_db_prep_save(getattr(row, field.attname), connection)

    with connection.cursor() as cursor:
        cursor.executemany(statement, [[stored(field, row) for field in (*fields, key)] for row in rows])


def locked_first(rows: QuerySet[Any]) -> QuerySet[Any]:
    """``rows``, to be read once they are locked; within a transaction.

    Locked and joined in one statement, a row that had to be waited for comes as it is now, and what is joined
    to it as it was before the wait: PostgreSQL reads only the locked row again
    (https://www.postgresql.org/docs/current/transaction-iso.html#XACT-READ-COMMITTED).
    """
    list(rows.select_related(None).order_by("pk").select_for_update().values_list("pk", flat=True))
    return rows
