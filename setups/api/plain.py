"""Rows written by plain functions, one a field, made once from a serializer's fields.

Django REST framework copies all fields of a serializer for each request and asks each of them again for each
row, which for a list takes longer than the database does. These functions write the same; what they know no
shorter way for, the field itself does.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, lru_cache
from operator import attrgetter
from typing import Any

from django.urls import get_script_prefix, reverse
from rest_framework import serializers

Write = Callable[[Any], Any]
AS_IT_IS = (
    serializers.CharField,
    serializers.SlugField,
    serializers.IntegerField,
    serializers.BooleanField,
    serializers.ChoiceField,
)
"""Fields that write what a column of their kind holds."""


@cache
def writers(serializer: type[serializers.BaseSerializer]) -> dict[str, Write]:
    """Name -> what writes that field of a row, in the order of the serializer.

    For serializers whose fields come from columns and properties, and that read nothing from their context.
    """
    return writers_of(serializer())


def writers_of(serializer: Any) -> dict[str, Write]:
    """As ``writers``, of a serializer with what its context holds."""
    return {name: _writer(field) for name, field in serializer.fields.items() if not field.write_only}


def writer(serializer: type[serializers.BaseSerializer]) -> Write:
    """What writes a row whole."""
    known = tuple(writers(serializer).items())
    return lambda row: {name: write(row) for name, write in known}


def _writer(field: Any) -> Write:
    source, kind = field.source, type(field)
    if isinstance(field, serializers.Serializer) and _is_plain(field):
        whole = writer(kind)
        return whole if source == "*" else _or_none(attrgetter(source), whole)
    if kind is serializers.ListSerializer and _is_plain(field.child):
        each, rows = writer(type(field.child)), attrgetter(source)
        return lambda row: [each(one) for one in rows(row).all()]
    if source == "*":
        written: Write = field.to_representation
        return written
    if "." in source and field.allow_null:
        return _asked(field)
    if kind in AS_IT_IS:
        return attrgetter(source)
    if kind is serializers.FloatField:
        return _or_none(attrgetter(source), float)
    if kind is serializers.SlugRelatedField:
        return _or_none(attrgetter(source), attrgetter(field.slug_field))
    return _or_none(attrgetter(source), field.to_representation)


def _is_plain(serializer: Any) -> bool:
    """True for a serializer that writes each of its fields, and no more."""
    own = type(serializer).to_representation
    return own is serializers.Serializer.to_representation


def _or_none(value_of: Write, written: Write) -> Write:
    def write(row: Any) -> Any:
        value = value_of(row)
        return None if value is None else written(value)

    return write


def _asked(field: Any) -> Write:
    """For a source whose way there may end at nothing."""

    def write(row: Any) -> Any:
        value = field.get_attribute(row)
        return None if value is None else field.to_representation(value)

    return write


def address(view: str, key: Any) -> str:
    """The address of ``view`` with ``key`` in it, a slug or a whole number, as ``reverse`` gives it."""
    before, after = _around(view, get_script_prefix())
    return f"{before}{key}{after}"


@lru_cache(maxsize=256)
def _around(view: str, prefix: str) -> tuple[str, str]:
    """What stands before and after the key in an address of ``view``, where the site is below ``prefix``."""
    before, _, after = reverse(view, args=["0"]).rpartition("0")
    return before, after
