"""Paging by cursor: the cost of a page does not grow with its distance from the first."""

from __future__ import annotations

from typing import Any

from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request

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
