"""``manage.py sweep_photos``: files that a killed process left are found and taken away, and no others."""

from __future__ import annotations

import os
import time
from datetime import timedelta
from io import BytesIO, StringIO
from pathlib import Path

import pytest
import time_machine
from django.core.files.storage import FileSystemStorage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.utils import timezone
from PIL import Image

from setups.models import Photo
from setups.services import photo_sweep, photos, posting
from tests.factories import MemberFactory

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

TWO_DAYS = 2 * 24 * 3600


@pytest.fixture(autouse=True)
def media(settings, tmp_path) -> Path:
    settings.MEDIA_ROOT = tmp_path / "media"
    return settings.MEDIA_ROOT


def files(media: Path) -> set[str]:
    return {str(one.relative_to(media)) for one in media.rglob("*") if one.is_file()}


def aged(media: Path) -> None:
    """As if everything that is kept were two days old."""
    for name in files(media):
        os.utime(media / name, (time.time() - TWO_DAYS,) * 2)


def a_photo() -> Photo:
    kept = BytesIO()
    Image.new("RGB", (64, 48), (200, 30, 30)).save(kept, "JPEG")
    draft = posting.begin(MemberFactory(), {"name": "Car"})
    return photos.add(draft.setup, SimpleUploadedFile("car.jpg", kept.getvalue(), "image/jpeg"))


def left_behind() -> set[str]:
    """What a process leaves that is killed before it stores the row."""
    photo = a_photo()
    Photo.objects.filter(pk=photo.pk).delete()
    return {photo.image.name, photos.small_name(photo.image.name)}


def swept(*arguments: str) -> str:
    out = StringIO()
    call_command("sweep_photos", *arguments, stdout=out, stderr=out)
    return out.getvalue()


def test_what_no_photo_names_is_told_with_its_size_and_stays_until_that_is_asked_for(media):
    left_behind()
    kept = a_photo()
    aged(media)
    before = files(media)
    size = sum((media / name).stat().st_size for name in before if kept.image.name[:-5] not in name)

    assert f"No photo names 2 of 4 files, {size:,} bytes" in swept()
    assert files(media) == before


def test_it_takes_away_what_no_photo_names_and_no_photo_that_is_named(media):
    left = left_behind()
    kept = a_photo()
    aged(media)

    assert "Taken away: 2 of 4 files" in swept("--commit")

    assert files(media) == {kept.image.name, photos.small_name(kept.image.name)}
    assert "Taken away: 0 of 2 files, 0 bytes" in swept("--commit")
    assert not left & files(media)


def test_a_photo_that_was_removed_but_stays_with_a_posted_revision_keeps_its_files(media):
    kept = a_photo()
    Photo.objects.update(removed=True)
    aged(media)

    assert "No photo names 0 of 2 files" in swept()
    assert kept.image.storage.exists(kept.image.name)


def test_what_is_younger_than_a_day_may_still_get_its_row(media):
    left = left_behind()

    assert "Taken away: 0 of 2 files" in swept("--commit")
    assert left <= files(media)


def test_how_old_a_file_is_the_store_says_and_not_the_machines_clock(media):
    left = left_behind()

    with time_machine.travel(timezone.now() + timedelta(days=400)):
        assert "Taken away: 0 of 2 files" in swept("--commit")
    assert left <= files(media)


def test_half_a_file_is_found_as_a_whole_one_is(media):
    name = left_behind().pop()
    (media / name).write_bytes(b"RIFF")
    aged(media)

    assert "Taken away: 2 of 2 files" in swept("--commit")


def test_what_is_none_of_the_librarys_is_left_alone_and_told_of(media):
    left_behind()
    folder = next((media / "setups").iterdir())
    (folder / "my holiday.webp").write_bytes(b"sea")
    (media / "setups" / "notes").mkdir()
    (media / "setups" / "notes" / "read.txt").write_bytes(b"me")
    aged(media)

    told = swept("--commit")

    assert "Left alone: 1 that are none of the library's" in told
    assert files(media) == {
        str((folder / "my holiday.webp").relative_to(media)),
        "setups/notes/read.txt",
    }


def test_where_nobody_has_kept_a_photo_there_is_nothing_to_sweep(media):
    assert "No photo names 0 of 0 files" in swept()
    assert files(media) == set()


def test_rows_are_asked_for_some_at_a_time_and_once_each_time(media, monkeypatch, django_assert_num_queries):
    monkeypatch.setattr(photo_sweep, "MOST_AT_ONCE", 4)
    folder = media / "setups" / "ab"
    folder.mkdir(parents=True)
    for number in range(10):
        (folder / f"{number:032x}.webp").write_bytes(b"x")
    aged(media)

    with django_assert_num_queries(3):
        assert "No photo names 10 of 10 files" in swept()


def test_a_file_that_cannot_be_taken_away_is_named_and_the_others_go(media, monkeypatch):
    stuck, other = sorted(left_behind())
    aged(media)
    delete = FileSystemStorage.delete

    def refuse(self, name):
        if name == stuck:
            raise PermissionError(13, "not yours")
        delete(self, name)

    monkeypatch.setattr(FileSystemStorage, "delete", refuse)
    with pytest.raises(CommandError, match="1 files could not be taken away"):
        swept("--commit")
    assert files(media) == {stuck}
    assert other not in files(media)
