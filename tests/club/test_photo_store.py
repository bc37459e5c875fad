"""Photos in a bucket: a server on this machine speaks S3, and the site keeps members' photos there."""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import timedelta
from io import BytesIO, StringIO
from typing import Any

import boto3
import pytest
import time_machine
from botocore.exceptions import EndpointConnectionError
from django.conf import settings as configured_settings
from django.core.exceptions import ImproperlyConfigured
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone
from moto.server import ThreadedMotoServer
from PIL import Image

from club import views
from club.photo_store import configured
from setups.models import Draft, Photo, Setup
from setups.services import photos
from tests.outside import free_port
from tests.setups.pages import words

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

BUCKET = "club-photos"


class Store:
    """The server, and what is in its bucket."""

    def __init__(self) -> None:
        self.port = free_port()
        self.address = f"s3://{BUCKET}/hall/one?endpoint=http://127.0.0.1:{self.port}&region=eu-1"
        self.start()
        self.client: Any = boto3.client(
            "s3", endpoint_url=f"http://127.0.0.1:{self.port}", region_name="eu-1"
        )

    def start(self) -> None:
        self._server = ThreadedMotoServer("127.0.0.1", self.port, verbose=False)
        self._server.start()

    def stop(self) -> None:
        self._server.stop()

    def names(self) -> list[str]:
        return [one["Key"] for one in self.client.list_objects_v2(Bucket=BUCKET).get("Contents", [])]


@pytest.fixture(scope="module")
def running() -> Iterator[Store]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("AWS_ACCESS_KEY_ID", "a-key")
        patch.setenv("AWS_SECRET_ACCESS_KEY", "for-the-tests")
        for other in ("AWS_PROFILE", "AWS_SESSION_TOKEN", "AWS_ENDPOINT_URL", "AWS_ENDPOINT_URL_S3"):
            patch.delenv(other, raising=False)
        store = Store()
        yield store
        store.stop()


@pytest.fixture
def store(running: Store, settings) -> Iterator[Store]:
    place = {"CreateBucketConfiguration": {"LocationConstraint": "eu-1"}}
    running.client.create_bucket(Bucket=BUCKET, **place)
    settings.STORAGES = settings.STORAGES | {"default": configured(running.address)}
    yield running
    for name in running.names():
        running.client.delete_object(Bucket=BUCKET, Key=name)
    running.client.delete_bucket(Bucket=BUCKET)


@pytest.fixture(autouse=True)
def not_looked_at_yet(monkeypatch) -> None:
    monkeypatch.setattr(views, "_found", {})


@pytest.fixture
def client(client, author) -> Client:
    client.force_login(author)
    return client


def picture() -> bytes:
    kept = BytesIO()
    Image.new("RGB", (64, 48), (200, 30, 30)).save(kept, "JPEG")
    return kept.getvalue()


def upload(client: Client, draft: Draft):
    file = SimpleUploadedFile("car.jpg", picture(), "image/jpeg")
    return client.post(f"/setups/{draft.setup_id}/photos/", {"photo": file, "caption": "On the scales"})


def addresses(photo: Photo) -> list[str]:
    return [f"/setups/{photo.setup_id}/photos/{photo.pk}{small}.webp" for small in ("", "-small")]


def test_a_photo_goes_to_the_bucket_and_only_who_may_see_it_gets_it_from_the_site(
    store, client, draft, django_capture_on_commit_callbacks
):
    assert upload(client, draft).status_code == 302

    photo = Photo.objects.get()
    assert sorted(store.names()) == sorted(
        f"hall/one/{name}" for name in (photo.image.name, photos.small_name(photo.image.name))
    )
    for address in addresses(photo):
        mine = client.get(address)
        assert (mine.status_code, mine["Content-Type"]) == (200, "image/webp"), "from the site, not elsewhere"
        assert Image.open(BytesIO(b"".join(mine))).format == "WEBP"
        assert Client().get(address).status_code == 404

    with django_capture_on_commit_callbacks(execute=True):
        photos.remove(photo)
    assert store.names() == []


def test_what_is_in_the_bucket_has_no_reader_but_its_owner(store, client, draft):
    upload(client, draft)
    for name in store.names():
        rights = store.client.get_object_acl(Bucket=BUCKET, Key=name)
        assert [grant["Grantee"]["Type"] for grant in rights["Grants"]] == ["CanonicalUser"]
        assert rights["Grants"][0]["Grantee"]["ID"] == rights["Owner"]["ID"]
        assert store.client.head_object(Bucket=BUCKET, Key=name)["ContentType"] == "image/webp"


def test_a_store_that_is_down_is_told_and_the_draft_stays_as_it_was(store, client, draft):
    upload(client, draft)
    kept = store.names()
    photo = Photo.objects.get()
    store.stop()
    try:
        refused = upload(client, draft)
        file = SimpleUploadedFile("car.jpg", picture(), "image/jpeg")
        program = client.post(f"/api/v1/setups/{draft.setup_id}/photos/", {"photo": file})
        seen = client.get(addresses(photo)[0])
        ready = client.get("/health/ready/")
        with pytest.raises(CommandError, match="could not be written"):
            call_command("backup", "/nowhere/that/is.zip", verbosity=0)
    finally:
        store.start()

    assert refused.status_code == 422
    assert "The place where photos are kept does not answer just now" in words(refused)
    assert (program.status_code, program["Retry-After"]) == (503, "60")
    assert "does not answer just now" in program.json()["detail"]
    assert 'value="On the scales"' in refused.content.decode(), "what was typed is still there"
    assert Photo.objects.get() == photo
    assert Draft.objects.get().typed == {"name": "Car", "notes": "typed"}
    assert (seen.status_code, seen["Retry-After"], seen["Cache-Control"]) == (503, "30", "no-store")
    assert (ready.status_code, ready.json()["photos"]) == (200, "failing")
    assert client.get("/health/ready/").json()["photos"] == "failing", "it is not asked at every probe"
    assert not set(store.names()) - set(kept), "nothing half-kept"


def test_a_store_that_goes_away_between_two_pictures_keeps_neither(store, client, draft):
    sent = []

    def goes_away(**_: Any) -> None:
        sent.append(1)
        if len(sent) == 2:
            raise EndpointConnectionError(endpoint_url="http://127.0.0.1")

    events = default_storage.connection.meta.client.meta.events
    events.register("before-call.s3.PutObject", goes_away)
    try:
        answer = upload(client, draft)
    finally:
        events.unregister("before-call.s3.PutObject", goes_away)

    assert len(sent) == 2
    assert "does not answer just now" in words(answer)
    assert store.names() == []
    assert not Photo.objects.exists()


def test_a_photo_that_is_gone_from_the_bucket_is_not_there(store, client, draft):
    upload(client, draft)
    for name in store.names():
        store.client.delete_object(Bucket=BUCKET, Key=name)
    assert client.get(addresses(Photo.objects.get())[0]).status_code == 404


@pytest.mark.django_db(transaction=True)
def test_a_backup_takes_the_photos_from_a_bucket_to_a_folder_and_back(
    store, author, client, draft, tmp_path, settings
):
    upload(client, draft)
    photo = Photo.objects.get()
    before = [b"".join(client.get(address)) for address in addresses(photo)]
    backup = tmp_path / "club.zip"
    call_command("backup", backup, verbosity=0)
    call_command("flush", interactive=False, verbosity=0)

    bucket, settings.MEDIA_ROOT = settings.STORAGES, tmp_path / "media"
    settings.STORAGES = settings.STORAGES | {"default": configured("")}
    call_command("restore", backup, verbosity=0)
    client.force_login(author)
    assert [b"".join(client.get(address)) for address in addresses(photo)] == before
    again = tmp_path / "again.zip"
    call_command("backup", again, verbosity=0)
    call_command("flush", interactive=False, verbosity=0)

    settings.STORAGES = bucket
    for name in store.names():
        store.client.delete_object(Bucket=BUCKET, Key=name)
    call_command("restore", again, verbosity=0)
    client.force_login(author)
    assert len(store.names()) == 2
    assert [b"".join(client.get(address)) for address in addresses(photo)] == before


@pytest.mark.django_db(transaction=True)
def test_a_restore_into_a_store_that_is_down_keeps_nothing(store, client, draft, tmp_path):
    upload(client, draft)
    backup = tmp_path / "club.zip"
    call_command("backup", backup, verbosity=0)
    call_command("flush", interactive=False, verbosity=0)
    store.stop()
    try:
        with pytest.raises(CommandError, match="nothing was kept: see"):
            call_command("restore", backup, verbosity=0)
    finally:
        store.start()
    assert not Setup.objects.exists()


def swept(*arguments: str) -> str:
    out = StringIO()
    call_command("sweep_photos", *arguments, stdout=out)
    return out.getvalue()


def test_a_sweep_takes_what_no_photo_names_out_of_the_bucket_once_it_is_a_day_old(store, client, draft):
    upload(client, draft)
    left = Photo.objects.get()
    Photo.objects.filter(pk=left.pk).delete()
    upload(client, draft)
    kept = Photo.objects.get().image.name
    store.client.put_object(Bucket=BUCKET, Key="hall/two/setups/ab/not-ours.webp", Body=b"x")

    assert "Taken away: 0 of 4 files" in swept("--commit"), "by the store's clock they are young"
    with time_machine.travel(timezone.now() + timedelta(days=2)):
        assert "No photo names 2 of 4 files" in swept()
        assert len(store.names()) == 5
        assert "Taken away: 2 of 4 files" in swept("--commit")

    mine = {f"hall/one/{kept}", f"hall/one/{photos.small_name(kept)}"}
    assert set(store.names()) == mine | {"hall/two/setups/ab/not-ours.webp"}


def test_a_sweep_of_a_store_that_is_down_says_so(store, client, draft):
    upload(client, draft)
    store.stop()
    try:
        with pytest.raises(CommandError, match=r"does not answer .*Nothing was changed\."):
            swept()
    finally:
        store.start()


@pytest.mark.parametrize(
    "address",
    ["bucket", "https://bucket/", "s3://", "s3://key:hush@bucket/", "s3://bucket/?end=http://127.0.0.1"],
)
def test_an_address_that_is_none_is_told_without_repeating_it(address):
    with pytest.raises(ImproperlyConfigured, match="write s3://bucket/prefix") as told:
        configured(address)
    assert "hush" not in str(told.value)


def test_without_a_bucket_photos_are_in_a_folder():
    assert configured("")["BACKEND"] == "django.core.files.storage.FileSystemStorage"
    assert os.environ.get("PHOTO_STORAGE") or configured_settings.STORAGES["default"] == configured("")
