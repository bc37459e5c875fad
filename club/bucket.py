"""Photos in a bucket of an object store that speaks S3, for sites on more than one machine.

django-storages does the speaking. Here stands what the library asks of any place that keeps photos: what goes
wrong is an OSError, soon, and a picture is there in full or not at all.
"""

from __future__ import annotations

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import Any

from boto3.exceptions import Boto3Error
from botocore.config import Config
from botocore.exceptions import BotoCoreError, ClientError
from django.core.files.base import File
from storages.backends.s3 import S3Storage

CONNECTING, ANSWERING = 2, 10
"""Seconds that the store may take to be reached, and to answer; a page waits meanwhile."""


class Bucket(S3Storage):
    """A bucket as Django's storage.

    No object is given rights of its own: what S3 keeps is private by default. Who may see a photo is for the
    site's view to decide, which reads it and passes it on.
    """

    def __init__(self, **options: Any) -> None:
        super().__init__(
            **options,
            file_overwrite=False,
            client_config=Config(
                connect_timeout=CONNECTING,
                read_timeout=ANSWERING,
                retries={"mode": "standard", "total_max_attempts": 2},
                signature_version="s3v4",
                # Stores other than the first one have no name of their own for each bucket, and not all know
                # the newer checksums.
                s3={"addressing_style": "path" if options.get("endpoint_url") else "auto"},
                request_checksum_calculation="when_required",
                response_checksum_validation="when_required",
            ),
        )

    def _open(self, name: str, mode: str = "rb") -> File:
        with _as_a_disk_would(name):
            file = super()._open(name, mode)
            file.file  # noqa: B018 - read to the end now, while it can still be said that it failed
            return file

    def _save(self, name: str, content: Any) -> str:
        with _as_a_disk_would(name):
            return str(super()._save(name, content))

    def delete(self, name: str) -> None:
        with _as_a_disk_would(name):
            super().delete(name)

    def exists(self, name: str) -> bool:
        with _as_a_disk_would(name):
            return bool(super().exists(name))

    def size(self, name: str) -> int:
        with _as_a_disk_would(name):
            return int(super().size(name))

    def listdir(self, path: str) -> tuple[list[str], list[str]]:
        with _as_a_disk_would(path):
            folders, files = super().listdir(path)
            return list(folders), list(files)

    def get_modified_time(self, name: str) -> datetime:
        with _as_a_disk_would(name):
            kept: datetime = super().get_modified_time(name)
            return kept

    def answers(self) -> None:
        """Return if the bucket can be reached with the keys that are set; OSError if not."""
        with _as_a_disk_would(self.bucket_name):
            self.connection.meta.client.head_bucket(Bucket=self.bucket_name)


@contextmanager
def _as_a_disk_would(name: str) -> Iterator[None]:
    """Turn what the store's library raises into the OSError that a folder would have raised."""
    try:
        yield
    except ClientError as error:
        if error.response.get("Error", {}).get("Code") in ("404", "NoSuchKey", "NotFound"):
            raise FileNotFoundError(errno.ENOENT, "there is no such photo in the store", name) from error
        raise OSError(errno.EIO, f"the photo store refuses: {error}", name) from error
    except (BotoCoreError, Boto3Error) as error:
        raise OSError(errno.EIO, f"the photo store does not answer: {error}", name) from error
