"""Photo files that no row names: what a process leaves that is killed between keeping a file and its row."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import PurePosixPath
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import Storage
from django.db import DEFAULT_DB_ALIAS

from setups.models import Photo
from setups.models.setup import photo_path

AGE = timedelta(days=1)
"""A file that is younger may belong to a row that is about to be stored."""
MOST_AT_ONCE = 500
_TOP = "setups"
_FOLDER = re.compile(r"[0-9a-f]{2}")
_OURS = re.compile(r"(?P<stem>[0-9a-f]{32})(-small)?\.webp")


@dataclass(frozen=True, slots=True)
class Orphan:
    """A file that no row names; bytes."""

    name: str
    size: int


@dataclass(slots=True)
class Looked:
    """How many files were looked at, and how many of them are none of the library's by their name."""

    files: int = 0
    others: int = 0


def storage() -> Storage:
    """Where photos are kept."""
    image: Any = Photo._meta.get_field("image")
    kept: Storage = image.storage
    return kept


def orphans(store: Storage, looked: Looked) -> Iterator[Orphan]:
    """The files in ``store`` that are older than ``AGE`` and named by no photo, in no order.

    Folder by folder, of which there are 256 at most, so that memory holds the names of one. How old a file
    is, the store's clock says, which need not be this machine's. OSError if the store does not answer.
    """
    before = _now(store) - AGE
    for folder in _listed(store, _TOP)[0]:
        if not _FOLDER.fullmatch(folder):
            continue
        files = _listed(store, f"{_TOP}/{folder}")[1]
        ours = [name for name in files if _OURS.fullmatch(name)]
        looked.files += len(files)
        looked.others += len(files) - len(ours)
        for at in range(0, len(ours), MOST_AT_ONCE):
            yield from _unnamed(store, f"{_TOP}/{folder}", ours[at : at + MOST_AT_ONCE], before)


def _unnamed(store: Storage, folder: str, files: Sequence[str], before: Any) -> Iterator[Orphan]:
    pictures = {name: f"{folder}/{_OURS.fullmatch(name)['stem']}.webp" for name in files}  # type: ignore[index]
    # The rows are read after the files, and from the primary: a file whose row is stored meanwhile is named.
    rows = Photo.objects.using(DEFAULT_DB_ALIAS).filter(image__in=set(pictures.values()))
    named = set(rows.values_list("image", flat=True))
    for file, picture in pictures.items():
        if picture in named:
            continue
        name = f"{folder}/{file}"
        try:
            if store.get_modified_time(name) < before:
                yield Orphan(name, store.size(name))
        except FileNotFoundError:  # somebody took it away meanwhile
            continue


def _listed(store: Storage, folder: str) -> tuple[list[str], list[str]]:
    """Folders and files in ``folder``; none where nobody has kept a photo yet."""
    try:
        folders, files = store.listdir(folder)
    except FileNotFoundError:
        return [], []
    return [PurePosixPath(one).name for one in folders], [one for one in files if one]


def _now(store: Storage) -> Any:
    """What time it is by the store's own clock: when it says that a file was kept which is kept now.

    Where that is left lying, a later sweep takes it.
    """
    name = store.save(photo_path(None, ""), ContentFile(b"What time is it"))  # type: ignore[arg-type]
    try:
        return store.get_modified_time(name)
    finally:
        store.delete(name)
