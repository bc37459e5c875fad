"""The key that signs sessions, where the environment gives none."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured
from django.core.management.utils import get_random_secret_key


def kept_key(place: Path) -> str:
    """The key in the file ``place``; made on the first call, readable by its owner only.

    Of several processes that start at once one makes the key and all read that one. Raises
    ImproperlyConfigured, saying what to do, where the file cannot be written or is empty.
    """
    if not place.exists():
        try:
            _make(place)
        except OSError as error:
            raise ImproperlyConfigured(
                f"No secret key is given and none can be kept in {place.name} ({error.strerror}): "
                "set SECRET_KEY in the environment to 50 or more random characters."
            ) from error
    key = place.read_text().strip()
    if not key:
        raise ImproperlyConfigured(f"{place.name} is empty: remove it, or set SECRET_KEY in the environment.")
    return key


def _make(place: Path) -> None:
    handle, draft = tempfile.mkstemp(dir=place.parent, prefix=place.name)
    try:
        with os.fdopen(handle, "w") as file:
            file.write(get_random_secret_key())
        os.link(draft, place)  # unlike a rename, it leaves a key alone that another process has made
    except FileExistsError:
        pass
    finally:
        os.unlink(draft)
