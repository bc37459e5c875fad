"""The whole library in one file, and back again, on either database.

The file is a zip: ``manifest.json``, one ``rows/<table>.jsonl`` a table with its rows in order of their
keys, and the photos under ``photos/``. It is written from one snapshot and restored in one transaction into
an empty database; the digest of each table is computed again from what was stored and has to be the same,
or nothing is kept. Nothing in it depends on the kind of database: a club that outgrows its laptop restores
into PostgreSQL.

Second factors are in it as they stand in the database, sealed with the site's SECRET_KEY, which is not: a
restored club asks for the same codes as before, and the file alone is nobody's second factor.

Not in it: sessions and what is known of them, wrong passwords that were counted, answers kept for repeated
requests, and the permissions and content types that every ``migrate`` makes anew.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from datetime import date, datetime
from decimal import Decimal
from hashlib import sha256
from io import TextIOWrapper
from itertools import chain, islice
from pathlib import Path
from typing import IO, Any
from uuid import UUID
from zipfile import ZIP_DEFLATED, BadZipFile, ZipFile

from django.apps import apps
from django.core import serializers
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management.color import no_style
from django.core.serializers.python import Serializer
from django.db import DEFAULT_DB_ALIAS, connections, models, transaction
from django.db.migrations.recorder import MigrationRecorder

from setups.services.photos import small_name

FORMAT = 1
BATCH = 500
Say = Callable[[str], object]

LEFT_OUT = {
    "sessions.Session",
    "usersessions.UserSession",
    "contenttypes.ContentType",
    "auth.Permission",
    "auth.Group",
    "setups.KeptAnswer",
    "setups.Mark",
    "setups.Tally",
    "setups.TallyChange",
}


UNREADABLE = (
    *(BadZipFile, OSError, EOFError, zlib.error, NotImplementedError, RuntimeError),
    *(LookupError, TypeError, AttributeError, ValueError, serializers.base.DeserializationError),
)
"""What comes of a file that is no zip, is locked or cut short, and of a manifest that is something else."""


class BackupError(ValueError):
    """Why a backup cannot be taken or restored; the text says what to do. Nothing was changed."""


def tables() -> list[type[models.Model]]:
    """Every table that is kept."""
    return [
        model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed
        and not model._meta.proxy
        and model._meta.label not in LEFT_OUT
        and not _of_what_is_left_out(model)
    ]


def _of_what_is_left_out(model: type[models.Model]) -> bool:
    """True for a table that only joins another one to something that is not kept."""
    return bool(model._meta.auto_created) and any(
        field.related_model is not None and field.related_model._meta.label in LEFT_OUT
        for field in model._meta.fields
        if field.is_relation
    )


def take(path: Path, using: str = DEFAULT_DB_ALIAS, say: Say = lambda _: None) -> dict[str, int]:
    """Write the library to ``path``, which must not exist; returns the number of rows a table."""
    if path.exists():
        raise BackupError(f"{path} is there already: name another file, or move that one away.")
    partial = path.with_name(path.name + ".partial")
    try:
        with ZipFile(partial, "w", ZIP_DEFLATED) as archive, _snapshot(using):
            manifest: dict[str, Any] = {"format": FORMAT, "migrations": _migrations(using), "tables": {}}
            for model in tables():
                digest, number = sha256(), 0
                with archive.open(_member(model), "w", force_zip64=True) as rows:
                    for line in lines_of(model, using):
                        rows.write(line)
                        digest.update(line)
                        number += 1
                manifest["tables"][model._meta.label] = {"rows": number, "sha256": digest.hexdigest()}
                if number:
                    say(f"{model._meta.verbose_name_plural}: {number}")
            manifest["photos"] = _keep_photos(archive, using)
            archive.writestr("manifest.json", json.dumps(manifest, indent=1))
        partial.replace(path)
    except OSError as error:
        raise BackupError(
            f"The backup could not be written: {error}. What was begun is taken away."
        ) from error
    finally:
        partial.unlink(missing_ok=True)
    return {label: one["rows"] for label, one in manifest["tables"].items()}


def restore(path: Path, using: str = DEFAULT_DB_ALIAS, say: Say = lambda _: None) -> dict[str, int]:
    """Put what is in ``path`` into the empty, migrated database ``using``; all of it or nothing."""
    try:
        with ZipFile(path) as archive:
            manifest = json.loads(archive.read("manifest.json"))
            _refuse(manifest, using)
            with _photos_put_back(archive, manifest["photos"]):
                _put_back(archive, manifest, using, say)
    except BackupError:
        raise
    except UNREADABLE as error:
        raise BackupError(
            f"{path} cannot be read as a backup ({error}): it is another file or was cut short. Take another."
        ) from error
    return {label: one["rows"] for label, one in manifest["tables"].items()}


def lines_of(model: type[models.Model], using: str = DEFAULT_DB_ALIAS) -> Iterator[bytes]:
    """The rows of a table as lines of JSON, in order of their keys; the same on every database."""
    rows = model._base_manager.using(using).order_by("pk").iterator(chunk_size=BATCH)
    writer = Serializer()
    for batch in _batches(rows):
        for row in writer.serialize(batch):
            # Tables that join two others are kept as such, so that no row has to be updated once it stands.
            for field in model._meta.many_to_many:
                row["fields"].pop(field.name, None)
            yield json.dumps(row, default=_plain, sort_keys=True, ensure_ascii=False).encode() + b"\n"


def _batches(rows: Iterable[Any]) -> Iterator[list[Any]]:
    rows = iter(rows)
    while batch := list(islice(rows, BATCH)):
        yield batch


def _plain(value: Any) -> str:
    """What JSON has no word for: instants to the microsecond, decimals to their last digit."""
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, Decimal | UUID):
        return str(value)
    raise TypeError(f"a backup cannot hold a {type(value).__name__}")


def _member(model: type[models.Model]) -> str:
    return f"rows/{model._meta.label}.jsonl"


@contextmanager
def _snapshot(using: str) -> Iterator[None]:
    """One state of the database for all that is read within."""
    connection = connections[using]
    with transaction.atomic(using=using):
        if connection.vendor == "postgresql" and len(connection.savepoint_ids) == 0:
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield


def _migrations(using: str) -> list[str]:
    applied = MigrationRecorder(connections[using]).applied_migrations()
    return sorted(f"{app}.{name}" for app, name in applied)


def _keep_photos(archive: ZipFile, using: str) -> list[str]:
    """Copy every file that a row names, and its small one; what is not there any more is left out."""
    kept = []
    for large in chain.from_iterable(_files_of(model, using) for model in tables()):
        for name in (large, small_name(large)):
            with suppress(FileNotFoundError), default_storage.open(name) as photo:
                with archive.open(f"photos/{name}", "w") as copy:
                    for chunk in photo.chunks():
                        copy.write(chunk)
                kept.append(name)
    return kept


@contextmanager
def _photos_put_back(archive: ZipFile, names: list[str]) -> Iterator[None]:
    """Puts the photos where photos are kept, and takes them away again if what follows fails."""
    written: list[str] = []
    try:
        for name in names:
            content = ContentFile(archive.read(f"photos/{name}"))
            try:
                if not default_storage.exists(name):
                    written.append(default_storage.save(name, content))
            except OSError as error:
                raise BackupError(
                    f"The photos could not be put where photos are kept ({error}), and nothing was kept: see "
                    "that there is room and that MEDIA_ROOT or PHOTO_STORAGE is right, then restore again."
                ) from error
        yield
    except BaseException:
        for name in written:
            with suppress(OSError):
                default_storage.delete(name)
        raise


def _files_of(model: type[models.Model], using: str) -> Iterable[str]:
    for field in model._meta.fields:
        if isinstance(field, models.FileField):
            rows = model._base_manager.using(using).exclude(**{field.name: ""}).order_by("pk")
            yield from rows.values_list(field.name, flat=True)


def _refuse(manifest: dict[str, Any], using: str) -> None:
    if manifest["format"] != FORMAT:
        raise BackupError("The backup is of a later version of the library: install that one, then restore.")
    here = _migrations(using)
    if manifest["migrations"] != here:
        differing = sorted(set(manifest["migrations"]) ^ set(here))
        raise BackupError(
            "The backup is of another version of the library's tables: install the version that it was taken "
            f"with, restore, and migrate then. They differ in: {', '.join(differing[:5])}."
        )
    filled = [model for model in tables() if model._base_manager.using(using).exists()]
    if filled:
        named = ", ".join(str(model._meta.verbose_name_plural) for model in filled[:5])
        raise BackupError(f"The database is not empty (it holds {named}): restore into a new one.")


def _put_back(archive: ZipFile, manifest: dict[str, Any], using: str, say: Say) -> None:
    connection = connections[using]
    with connection.constraint_checks_disabled(), transaction.atomic(using=using):
        restored = tables()
        for model in restored:
            with archive.open(_member(model)) as rows:
                number = _store(model, rows, using)
            if number:
                say(f"{model._meta.verbose_name_plural}: {number}")
        connection.check_constraints()
        _go_on_counting(restored, using)
        for model in restored:
            digest = sha256()
            for line in lines_of(model, using):
                digest.update(line)
            if digest.hexdigest() != manifest["tables"][model._meta.label]["sha256"]:
                raise BackupError(
                    f"What was stored of the {model._meta.verbose_name_plural} is not what the backup holds: "
                    "nothing was kept. The file is damaged: take another."
                )


def _store(model: type[models.Model], rows: IO[bytes], using: str) -> int:
    number = 0
    with _as_they_were(model):
        lines = TextIOWrapper(rows, encoding="utf-8")
        read = serializers.deserialize("jsonl", lines, using=using, handle_forward_references=False)
        for batch in _batches(one.object for one in read):
            model._base_manager.using(using).bulk_create(batch)
            number += len(batch)
    return number


@contextmanager
def _as_they_were(model: type[models.Model]) -> Iterator[None]:
    """Keeps the fields that take the time of a save from doing so."""
    dated = [
        field
        for field in model._meta.fields
        if getattr(field, "auto_now_add", False) or getattr(field, "auto_now", False)
    ]
    before = [(field, field.auto_now, field.auto_now_add) for field in dated]
    for field in dated:
        field.auto_now = field.auto_now_add = False
    try:
        yield
    finally:
        for field, now, add in before:
            field.auto_now, field.auto_now_add = now, add


def _go_on_counting(restored: list[type[models.Model]], using: str) -> None:
    """Let the next row of each table have the number after the last."""
    connection = connections[using]
    statements = connection.ops.sequence_reset_sql(no_style(), restored)
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
