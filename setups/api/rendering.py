"""Answers as JSON, written by orjson: the content is that of Django REST framework's own, much sooner."""

from __future__ import annotations

from typing import Any

import orjson
from rest_framework.renderers import JSONRenderer

_encode = JSONRenderer.encoder_class().default


class Json(JSONRenderer):
    """``application/json``. What orjson does not write, such as numbers beyond 64 bits, Python does.

    An ``orjson.Fragment`` is an answer that was written before.
    """

    def render(self, data: Any, accepted_media_type: Any = None, renderer_context: Any = None) -> bytes:
        if data is None:
            return b""
        if not self.get_indent(accepted_media_type, renderer_context or {}):
            try:
                return orjson.dumps(data, _encode, orjson.OPT_PASSTHROUGH_DATETIME)
            except TypeError:
                pass
        if isinstance(data, orjson.Fragment):
            data = orjson.loads(orjson.dumps(data))
        return super().render(data, accepted_media_type, renderer_context)


write = Json().render
