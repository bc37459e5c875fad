"""Where members' photos are kept: a folder of this machine, or a bucket that all machines reach.

PHOTO_STORAGE is ``s3://bucket/prefix?endpoint=https://s3.example.org&region=eu-1``; the prefix, the endpoint
and the region may be left out. The keys are in AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY, or the machine
has a role that needs none.
"""

from __future__ import annotations

from importlib.util import find_spec
from typing import Any
from urllib.parse import parse_qs, urlsplit

from django.core.exceptions import ImproperlyConfigured

FOLDER = {"BACKEND": "django.core.files.storage.FileSystemStorage"}
EXAMPLE = "s3://bucket/prefix?endpoint=https://s3.example.org&region=eu-1"


def configured(address: str) -> dict[str, Any]:
    """What STORAGES says of the photos for PHOTO_STORAGE; a folder if it is empty. ImproperlyConfigured."""
    if not address:
        return FOLDER
    parts = urlsplit(address)
    asked = {name: values[-1] for name, values in parse_qs(parts.query).items()}
    known = asked.keys() <= {"endpoint", "region"}
    if parts.scheme != "s3" or not parts.netloc or "@" in parts.netloc or not known:
        # The address may hold what it should not: it is not repeated.
        raise ImproperlyConfigured(
            f"PHOTO_STORAGE is no address of a bucket: write {EXAMPLE}, with the keys in AWS_ACCESS_KEY_ID "
            "and AWS_SECRET_ACCESS_KEY, or leave it empty for the folder MEDIA_ROOT."
        )
    if find_spec("storages") is None or find_spec("boto3") is None:
        raise ImproperlyConfigured(
            "PHOTO_STORAGE names a bucket: install what speaks to it, pip install '.[s3]'."
        )
    options = {
        "bucket_name": parts.netloc,
        "location": parts.path.strip("/"),
        "endpoint_url": asked.get("endpoint"),
        "region_name": asked.get("region"),
    }
    return {"BACKEND": "club.bucket.Bucket", "OPTIONS": options}
