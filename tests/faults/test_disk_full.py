"""The disk is full: what does not go on it is refused in words, and no half of it stays."""

from __future__ import annotations

import errno
import resource
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path

import pytest
from django.core.files.storage import FileSystemStorage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from PIL import Image

from setups.models import Photo, Setup
from setups.services import posting
from tests.factories import MemberFactory

pytestmark = pytest.mark.one_database


@pytest.fixture
def author(transactional_db):
    return MemberFactory()


@pytest.fixture
def client(author) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(author)
    return client


@pytest.fixture
def kept(settings, tmp_path) -> Path:
    settings.MEDIA_ROOT = tmp_path / "photos"
    return settings.MEDIA_ROOT


def picture() -> SimpleUploadedFile:
    """Noise, which does not get much smaller."""
    file = BytesIO()
    Image.effect_noise((900, 600), 90).save(file, "JPEG")
    return SimpleUploadedFile("car.jpg", file.getvalue())


@contextmanager
def no_larger_file(size: int) -> Iterator[None]:
    """The operating system itself stops whatever writes more than so many bytes into one file."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@contextmanager
def full_at(patch: pytest.MonkeyPatch, file: str) -> Iterator[None]:
    """No room from the middle of the first file on whose name ends so."""
    real = FileSystemStorage._save

    def save(self: FileSystemStorage, name: str, content):
        if not name.endswith(file):
            return real(self, name, content)
        at = Path(self.path(name))
        at.parent.mkdir(parents=True, exist_ok=True)
        at.write_bytes(content.read()[:100])
        raise OSError(errno.ENOSPC, "No space left on device")

    with patch.context() as patched:
        patched.setattr(FileSystemStorage, "_save", save)
        yield


@pytest.mark.parametrize("where", ["in the picture", "in the small picture"])
def test_a_photo_that_does_not_go_on_the_disk_is_refused_and_nothing_of_it_stays(
    author, client, kept, where, monkeypatch
):
    draft = posting.begin(author, {"name": "Sunday", "notes": "typed before"})
    address = f"/setups/{draft.setup_id}/photos/"

    with no_larger_file(20_000) if where == "in the picture" else full_at(monkeypatch, "-small.webp"):
        refused = client.post(address, {"photo": picture(), "caption": "From the left"})

    assert refused.status_code == 422
    page = refused.content.decode()
    assert "no room for the photo just now" in page
    assert 'value="From the left"' in page
    assert not Photo.objects.exists()
    assert [one for one in kept.rglob("*") if one.is_file()] == []
    draft.refresh_from_db()
    assert draft.typed["notes"] == "typed before"

    assert client.post(address, {"photo": picture(), "caption": "From the left"}).status_code == 302
    assert Photo.objects.get().caption == "From the left"
    assert len([one for one in kept.rglob("*") if one.is_file()]) == 2


def _use_up_what_is_free(cursor) -> None:
    """Pages that earlier tests left free within the file would make room."""
    cursor.execute("PRAGMA page_size")
    page = cursor.fetchone()[0] - 4  # what an overflow page holds, SQLite file format 1.6
    cursor.execute("CREATE TABLE filled (bytes BLOB)")
    while (free := cursor.execute("PRAGMA freelist_count").fetchone()[0]) > 0:
        cursor.execute(f"INSERT INTO filled VALUES (zeroblob({free * page}))")


@pytest.mark.skipif(connection.vendor != "sqlite", reason="the room of SQLite's file is limited here")
@pytest.mark.django_db(transaction=True)
def test_a_database_without_room_keeps_what_it_has_and_gives_the_form_back(author, client):
    draft = posting.begin(author, {"name": "Sunday"})
    notes = "A long story. " * 2000
    fields = {"step": "ran", "go": "post", "version": draft.version, "was": "{}", "notes": notes}

    with connection.cursor() as cursor:
        _use_up_what_is_free(cursor)
        cursor.execute("PRAGMA page_count")
        pages = cursor.fetchone()[0]
        cursor.execute(f"PRAGMA max_page_count = {pages}")
        refused = client.post(f"/setups/{draft.setup_id}/edit/", fields)
        cursor.execute("PRAGMA max_page_count = 1073741823")
        cursor.execute("DROP TABLE filled")

    assert refused.status_code == 503
    assert notes in refused.content.decode()
    draft.refresh_from_db()
    assert (draft.version, draft.typed) == (1, {"name": "Sunday"})
    assert client.get("/").status_code == 200
    assert client.post(f"/setups/{draft.setup_id}/edit/", fields).status_code == 302
    assert Setup.objects.get().draft.typed["notes"] == notes
