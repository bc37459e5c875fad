"""The key that lets a form be sent twice and be done once (``setups.services.once``)."""

from __future__ import annotations

from uuid import uuid4

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from setups.services.once import FIELD

register = template.Library()


@register.simple_tag
def once() -> SafeString:
    """A hidden field with a key of its own each time the form is drawn."""
    return format_html('<input type="hidden" name="{}" value="{}">', FIELD, uuid4().hex)
