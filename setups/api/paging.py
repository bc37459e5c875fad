"""Paging by cursor: the cost of a page does not grow with its distance from the first."""

from rest_framework.pagination import CursorPagination


class ByCursor(CursorPagination):
    ordering = "id"
    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 200
