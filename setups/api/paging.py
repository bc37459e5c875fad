"""Paging by cursor: the cost of a page does not grow with its distance from the first."""

from __future__ import annotations

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from datetime import datetime
from decimal import Decimal
from typing import Any, ClassVar

from django.core.exceptions import ValidationError as Wrong
from django.db.models import Q, QuerySet
from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request
from rest_framework.utils.urls import replace_query_param

from .problems import shown


class ByCursor(CursorPagination):
    """Pages in the order of entry. A cursor or page size that cannot be is refused, not replaced."""

    ordering = "id"
    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 200
    cursor_query_description = "Where the page starts, out of next or previous of another page."
    page_size_query_description = f"Entries a page, 1 to {max_page_size}; {page_size} without it."

    def get_page_size(self, request: Request) -> int:
        given = request.query_params.get(self.page_size_query_param)
        if given is None:
            return self.page_size
        if not (
            given.isascii() and given.isdigit() and len(given) < 4 and 1 <= int(given) <= self.max_page_size
        ):
            said = f"Give a whole number from 1 to {self.max_page_size}; you gave {shown(given)}."
            raise ValidationError({self.page_size_query_param: [said]})
        return int(given)

    def decode_cursor(self, request: Request) -> Cursor | None:
        try:
            cursor = super().decode_cursor(request)
        except NotFound:
            cursor = Cursor(0, False, "")
        if cursor is not None and not _is_key(cursor.position):
            said = "This is no cursor of ours: take the address in next or previous of a page as it stands."
            raise ValidationError({self.cursor_query_param: [said]})
        return cursor

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        def link(meaning: str) -> dict[str, Any]:
            return {"type": ["string", "null"], "format": "uri", "description": meaning}

        return {
            "type": "object",
            "required": ["next", "previous", "results"],
            "properties": {
                "next": link("Address of the page after this one; null on the last."),
                "previous": link("Address of the page before this one; null on the first."),
                "results": schema,
            },
        }

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        parameters = super().get_schema_operation_parameters(view)
        for parameter in parameters:
            if parameter["name"] == self.page_size_query_param:
                bounds = {"minimum": 1, "maximum": self.max_page_size, "default": self.page_size}
                parameter["schema"] = {"type": "integer", **bounds}
        return parameters


def _is_key(position: str | None) -> bool:
    """True for the position of a row, its primary key in digits; ``None`` is the start."""
    return position is None or (position.isascii() and position.isdigit() and len(position) < 19)


class ByKeyset(ByCursor):
    """Pages in an order that the caller chooses, rows of equal worth in the order of entry.

    ``orders``: name -> the columns, all with ``-`` for the largest first or all without, and what that means;
    the first is that without a choice. Rows without a figure in one of the columns are left out. However many
    rows are of equal worth, a page is found by its first row's columns and key, so that it costs as much as
    the first one where an index has them.
    """

    orders: ClassVar[dict[str, tuple[tuple[str, ...], str]]] = {}
    ordering_param = "ordering"

    def paginate_queryset(self, queryset: QuerySet[Any], request: Request, view: Any = None) -> list[Any]:
        self.request = request
        self.size = self.get_page_size(request)
        self.base = request.build_absolute_uri()
        columns = self._order(request)
        descending = columns[0].startswith("-")
        self.columns = [column.removeprefix("-") for column in columns]
        backward, after = self._place(request, queryset)
        rows = queryset.filter(**{f"{column}__isnull": False for column in self.columns})
        down = descending != backward
        names = [*self.columns, "pk"]
        if after is not None:
            rows = rows.filter(_beyond(names, after, "lt" if down else "gt"))
        joined = view is not None and bool(rows.query.select_related)
        if joined:
            # Which rows they are, from the index alone: to plan an order over five tables takes PostgreSQL
            # longer than all the rest.
            rows = rows.select_related(None).prefetch_related(None).only(*names)
        found = list(rows.order_by(*(f"-{name}" if down else name for name in names))[: self.size + 1])
        more, found = len(found) > self.size, found[: self.size]
        if backward:
            found.reverse()
        self.before = bool(found) and (more if backward else after is not None)
        self.after = bool(found) and (after is not None if backward else more)
        self.found = found
        if not joined:
            return found
        whole = view.get_queryset().order_by().in_bulk([row.pk for row in found])
        return [whole[row.pk] for row in found if row.pk in whole]

    def get_next_link(self) -> str | None:
        return self._link(False, self.found[-1]) if self.after else None

    def get_previous_link(self) -> str | None:
        return self._link(True, self.found[0]) if self.before else None

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        meaning = " ".join(f"{name}: {said}" for name, (_, said) in self.orders.items())
        order = {
            "name": self.ordering_param,
            "in": "query",
            "required": False,
            "description": meaning,
            "schema": {"type": "string", "enum": list(self.orders), "default": next(iter(self.orders))},
        }
        return [*super().get_schema_operation_parameters(view), order]

    def _order(self, request: Request) -> tuple[str, ...]:
        name = request.query_params.get(self.ordering_param, next(iter(self.orders)))
        if name not in self.orders:
            said = f"Choose one of {', '.join(self.orders)}; you gave {shown(name)}."
            raise ValidationError({self.ordering_param: [said]})
        return self.orders[name][0]

    def _link(self, backward: bool, row: Any) -> str:
        values = [getattr(row, column) for column in self.columns]
        texts = [one.isoformat() if isinstance(one, datetime) else str(one) for one in values]
        place = json.dumps([self.columns, int(backward), texts, row.pk], separators=(",", ":"))
        cursor = urlsafe_b64encode(place.encode()).decode()
        return replace_query_param(self.base, self.cursor_query_param, cursor)

    def _place(self, request: Request, rows: QuerySet[Any]) -> tuple[bool, list[Any] | None]:
        """Which way the page goes, and the columns and key of the row that it starts after, if any."""
        cursor = request.query_params.get(self.cursor_query_param)
        if cursor is None:
            return False, None
        try:
            columns, backward, texts, key = json.loads(urlsafe_b64decode(cursor.encode("ascii")))
            if columns != self.columns or backward not in (0, 1) or not _is_key(str(key)):
                raise ValueError
            fields = [rows.model._meta.get_field(column) for column in columns]
            values = [field.to_python(text) for field, text in zip(fields, texts, strict=True)]
            for field, value in zip(fields, values, strict=True):
                field.run_validators(value)
                if value is None or (isinstance(value, Decimal) and not value.is_finite()):
                    raise ValueError
        except (ValueError, TypeError, ArithmeticError, RecursionError, Wrong) as error:
            said = (
                "This is no cursor of ours in this order: take the address in next or previous of a page as "
                "it stands."
            )
            raise ValidationError({self.cursor_query_param: [said]}) from error
        return bool(backward), [*values, int(key)]


def _beyond(names: list[str], values: list[Any], step: str) -> Q:
    """Rows that come after those with these ``values``, in the order of ``names``.

    The bound on the first column alone follows from the rest, and lets an index begin at the right row.
    """
    found = Q()
    for place, name in enumerate(names):
        same = dict(zip(names[:place], values[:place], strict=True))
        found |= Q(**same, **{f"{name}__{step}": values[place]})
    return Q(**{f"{names[0]}__{step}e": values[0]}) & found
