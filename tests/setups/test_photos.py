"""Photos of a car: checked, freed of place and time, kept small, and seen by whom they are for."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pytest
from django.core.files.storage import FileSystemStorage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image, ImageCms

from setups.models import Draft, Photo, Setup
from setups.services import photos, posting
from setups.services.photos import PhotoError, encode
from tests.factories import MemberFactory, SetupFactory
from tests.setups.pages import words

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

ORIENTATION, GPS, ARTIST = 0x0112, 0x8825, 0x013B


@pytest.fixture(autouse=True)
def media(settings, tmp_path) -> Path:
    settings.MEDIA_ROOT = tmp_path / "media"
    return settings.MEDIA_ROOT


@pytest.fixture
def client(client, author) -> Client:
    client.force_login(author)
    return client


def picture(kind: str = "JPEG", size: tuple[int, int] = (64, 48), mode: str = "RGB", **saved) -> bytes:
    """A picture that is red on its left half and blue on its right one."""
    image = Image.new("RGB", size, (0, 0, 255))
    image.paste((255, 0, 0), (0, 0, size[0] // 2, size[1]))
    kept = BytesIO()
    image.convert(mode).save(kept, kind, **saved)
    return kept.getvalue()


def told_by_a_camera() -> Image.Exif:
    exif = Image.Exif()
    exif[ORIENTATION] = 6  # to be turned a quarter to the right
    exif[ARTIST] = "Somebody"
    exif.get_ifd(GPS)[2] = (52.0, 30.0, 0.0)
    return exif


def upload(client: Client, draft: Draft, data: bytes, name: str = "car.jpg", caption: str = ""):
    file = SimpleUploadedFile(name, data, "image/jpeg")
    return client.post(f"/setups/{draft.setup_id}/photos/", {"photo": file, "caption": caption})


def added(draft: Draft, caption: str = "") -> Photo:
    return photos.add(draft.setup, SimpleUploadedFile("car.jpg", picture()), caption)


def colour(image: Image.Image, x: int, y: int) -> tuple[int, int, int]:
    return image.convert("RGB").getpixel((x, y))


def files(media: Path) -> list[Path]:
    return [path for path in media.rglob("*") if path.is_file()]


# What becomes of a picture


def test_place_time_and_camera_stay_behind_and_the_picture_is_upright():
    sent = picture(exif=told_by_a_camera(), comment=b"taken at home")
    assert Image.open(BytesIO(sent)).getexif().get_ifd(GPS)

    kept = encode(BytesIO(sent))

    for data in (kept.picture, kept.small):
        image = Image.open(BytesIO(data))
        assert image.format == "WEBP"
        assert not dict(image.getexif())
        assert not {"exif", "xmp", "icc_profile", "comment"} & set(image.info)
        assert b"Somebody" not in data
        assert b"taken at home" not in data
    assert (kept.width, kept.height) == (48, 64)
    upright = Image.open(BytesIO(kept.picture))
    assert colour(upright, 24, 10)[0] > 200, "what was left is on top once turned to the right"
    assert colour(upright, 24, 54)[2] > 200


@pytest.mark.parametrize(
    ("size", "becomes"), [((3200, 2400), (1600, 1200)), ((100, 4000), (40, 1600)), ((300, 200), (300, 200))]
)
def test_a_picture_is_made_as_small_as_the_page_needs(size, becomes):
    kept = encode(BytesIO(picture(size=size)))

    assert Image.open(BytesIO(kept.picture)).size == becomes
    assert max(Image.open(BytesIO(kept.small)).size) == min(400, max(size))


@pytest.mark.parametrize(
    "sort", ["JPEG L", "JPEG CMYK", "PNG P", "PNG RGBA", "PNG 1", "PNG LA", "WEBP RGB", "WEBP RGBA"]
)
def test_pictures_of_every_sort_are_taken(sort):
    kind, mode = sort.split()
    assert Image.open(BytesIO(encode(BytesIO(picture(kind, mode=mode))).picture)).size == (64, 48)


def test_what_a_picture_lets_through_becomes_white():
    kept = BytesIO()
    Image.new("RGBA", (20, 20), (0, 0, 0, 0)).save(kept, "PNG")

    assert min(colour(Image.open(BytesIO(encode(kept).picture)), 10, 10)) > 250


def test_a_colour_profile_is_brought_to_that_of_the_web():
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    kept = encode(BytesIO(picture(icc_profile=lab)))

    image = Image.open(BytesIO(kept.picture))
    assert "icc_profile" not in image.info
    assert colour(image, 10, 24)[0] > 230


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"no picture at all", "no picture which the library can read"),
        (b"\x00\x00\x00\x18ftypheic" + b"\0" * 40, "HEIC"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no picture"),
        (picture("GIF"), "no picture"),
        (picture(size=(800, 600))[:900], "damaged or incomplete"),
        (picture("PNG", size=(80, 60))[:100], "damaged or incomplete"),
        (picture("WEBP", size=(80, 60))[:60], "damaged or incomplete"),
    ],
    ids=["text", "heic", "svg", "gif", "short jpeg", "short png", "short webp"],
)
def test_what_is_no_picture_is_refused_with_what_to_do(data, said):
    with pytest.raises(PhotoError, match=said):
        encode(BytesIO(data))


def test_a_small_file_that_holds_a_huge_picture_is_refused_before_it_is_decoded(monkeypatch):
    kept = BytesIO()
    Image.new("1", (9000, 9000)).save(kept, "PNG")
    assert kept.tell() < 100_000
    monkeypatch.setattr(Image.Image, "load", lambda *_: pytest.fail("it was decoded"))

    with pytest.raises(PhotoError, match="9000 × 9000 pixels"):
        encode(kept)


# On the page


def test_a_photo_is_added_with_its_caption_and_shown_on_the_draft(client, draft, media):
    answer = upload(client, draft, picture(), "../../evil.php", "On the scales")

    photo = Photo.objects.get()
    assert answer.headers["Location"] == f"/setups/{draft.setup_id}/edit/?step=photos"
    assert (photo.caption, photo.width, photo.height) == ("On the scales", 64, 48)
    assert sorted(path.suffix for path in files(media)) == [".webp", ".webp"]
    assert "evil" not in photo.image.name
    page = client.get(answer.headers["Location"]).content.decode()
    assert f'src="/setups/{draft.setup_id}/photos/{photo.pk}-small.webp"' in page
    assert 'alt="On the scales"' in page


@pytest.mark.parametrize(
    ("data", "said"),
    [(b"nothing of the kind", "no picture"), (b"", "Choose a picture first")],
    ids=["text", "empty"],
)
def test_a_photo_that_is_refused_leaves_the_draft_as_it_was(client, draft, media, data, said):
    answer = upload(client, draft, data, caption="Kept words")

    assert answer.status_code == 422
    assert said in words(answer)
    assert 'value="Kept words"' in answer.content.decode()
    assert not files(media)
    assert Draft.objects.get().typed == {"name": "Car", "notes": "typed"}


def test_a_form_without_a_photo_is_told_to_choose_one(client, draft):
    assert "Choose a picture first" in words(client.post(f"/setups/{draft.setup_id}/photos/"))


def test_a_full_disk_is_told_and_leaves_nothing_half_done(client, draft, media, monkeypatch):
    keep = FileSystemStorage._save
    kept = []

    def fills_up(storage, name, content):
        if kept:
            raise OSError(28, "No space left on device")
        kept.append(name)
        return keep(storage, name, content)

    monkeypatch.setattr(FileSystemStorage, "_save", fills_up)

    answer = upload(client, draft, picture())

    assert answer.status_code == 422
    assert "no room for the photo" in words(answer)
    assert not files(media)
    assert not Photo.objects.exists()


def test_a_setup_shows_eight_photos_and_no_more(client, draft, media):
    for _ in range(8):
        added(draft)

    answer = upload(client, draft, picture())

    assert "shows 8 photos: remove one first" in words(answer)
    assert Photo.objects.count() == 8
    assert len(files(media)) == 16


def test_a_file_is_taken_up_to_its_limit_at_this_address_only(client, draft, settings):
    settings.PHOTO_UPLOAD_MAX = 3 * 1024 * 1024

    def file_of(size: int) -> bytes:
        return picture().ljust(size, b"\0")  # what follows the picture is no part of it

    assert upload(client, draft, file_of(settings.PHOTO_UPLOAD_MAX)).status_code == 302
    a_little_more = upload(client, draft, file_of(settings.PHOTO_UPLOAD_MAX + 1))
    assert (a_little_more.status_code, "up to 3.0 MB are taken" in words(a_little_more)) == (422, True)
    much_more = upload(client, draft, file_of(2 * settings.PHOTO_UPLOAD_MAX))
    assert (much_more.status_code, "more than 3.0 MB" in words(much_more)) == (413, True)
    file = SimpleUploadedFile("car.jpg", file_of(settings.PHOTO_UPLOAD_MAX), "image/jpeg")
    assert client.post(f"/setups/{draft.setup_id}/edit/", {"photo": file}).status_code == 413
    assert Photo.objects.count() == 1


# Who sees it


def test_a_drafts_photo_is_its_authors_only_until_it_is_posted(client, author):
    setup = SetupFactory(author=author)
    draft = posting.draft_of(setup)
    photo = added(draft)
    addresses = [f"/setups/{setup.pk}/photos/{photo.pk}{small}.webp" for small in ("", "-small")]

    for address in addresses:
        mine = client.get(address)
        assert mine.headers["Content-Type"] == "image/webp"
        assert mine.headers["X-Content-Type-Options"] == "nosniff"
        assert "private" in mine.headers["Cache-Control"]
        assert Image.open(BytesIO(b"".join(mine))).format == "WEBP"
        assert Client().get(address).status_code == 404
        other = Client()
        other.force_login(MemberFactory())
        assert other.get(address).status_code == 404

    revise(client, setup)

    for address in addresses:
        seen = Client().get(address)
        assert seen.headers["Cache-Control"] == "public, max-age=31536000, immutable"
        assert b"".join(seen) == b"".join(client.get(address))


def test_the_interface_names_the_address_of_a_photo_and_hides_those_of_a_draft(client, author):
    setup = SetupFactory(author=author)
    photo = added(posting.draft_of(setup), "On the scales")
    address = f"/api/v1/setups/{setup.pk}/photos/"

    assert Client().get(address).json() == []
    (mine,) = client.get(address).json()

    assert mine["caption"] == "On the scales"
    assert mine["image"] == f"/setups/{setup.pk}/photos/{photo.pk}.webp"
    assert client.get(mine["image"]).headers["Content-Type"] == "image/webp"


def revise(client: Client, setup: Setup) -> None:
    draft = posting.draft_of(setup)
    sent = {"step": "post", "go": "send", "version": draft.version, "what_changed": "Photos"}
    answer = client.post(f"/setups/{setup.pk}/edit/", sent)
    assert answer.status_code == 302, words(answer)


def test_a_photo_that_is_removed_stays_with_the_revision_that_shows_it(client, author):
    setup = SetupFactory(author=author)
    photo, other = added(posting.draft_of(setup), "first"), added(posting.draft_of(setup))
    revise(client, setup)

    client.post(f"/setups/{setup.pk}/photos/{photo.pk}/remove/")
    assert "The photos are others" in words(client.get(f"/setups/{setup.pk}/edit/?step=post"))
    revise(client, setup)

    first, second = setup.revisions.order_by("number")[1:]
    assert set(first.photos.all()) == {photo, other}
    assert set(second.photos.all()) == {other}
    assert Client().get(f"/setups/{setup.pk}/photos/{photo.pk}.webp").status_code == 200


def test_a_photo_that_was_never_posted_is_removed_with_its_files(
    client, draft, media, django_capture_on_commit_callbacks
):
    photo = added(draft)

    with django_capture_on_commit_callbacks(execute=True):
        client.post(f"/setups/{draft.setup_id}/photos/{photo.pk}/remove/")

    assert not Photo.objects.exists()
    assert not files(media)


def test_a_draft_thrown_away_takes_its_photos_along_and_brings_the_posted_ones_back(
    client, author, media, django_capture_on_commit_callbacks
):
    setup = SetupFactory(author=author)
    posted = added(posting.draft_of(setup))
    revise(client, setup)
    posting.draft_of(setup)
    added(posting.draft_of(setup))
    client.post(f"/setups/{setup.pk}/photos/{posted.pk}/remove/")

    with django_capture_on_commit_callbacks(execute=True):
        client.post(f"/setups/{setup.pk}/discard/")

    assert list(setup.photos.filter(removed=False)) == [posted]
    assert len(files(media)) == 2


def test_a_caption_can_be_said_otherwise_until_it_is_posted(client, author):
    setup = SetupFactory(author=author)
    photo = added(posting.draft_of(setup), "as first")
    address = f"/setups/{setup.pk}/photos/{photo.pk}/caption/"

    client.post(address, {"caption": "as second"})
    photo.refresh_from_db()
    assert photo.caption == "as second"
    revise(client, setup)
    answer = client.post(address, {"caption": "as third"}, follow=True)

    photo.refresh_from_db()
    assert photo.caption == "as second"
    assert "what is posted stays" in words(answer)


def test_nobody_adds_to_or_takes_from_anothers_setup(client, media):
    draft = posting.begin(MemberFactory(), {"name": "Theirs"})
    photo = added(draft)

    assert upload(client, draft, picture()).status_code == 404
    for act in ("remove", "caption"):
        address = f"/setups/{draft.setup_id}/photos/{photo.pk}/{act}/"
        assert client.post(address, {"caption": "x"}).status_code == 404
    mine = posting.begin(client_member(client), {"name": "Mine"})
    assert client.post(f"/setups/{mine.setup_id}/photos/{photo.pk}/remove/").status_code == 404
    assert Photo.objects.get().caption == ""


def client_member(client: Client):
    from club.models import Member

    return Member.objects.get(pk=client.session["_auth_user_id"])


def test_a_photo_whose_file_is_gone_is_not_there(client, draft, media):
    photo = added(draft)
    for path in files(media):
        path.unlink()

    assert client.get(f"/setups/{draft.setup_id}/photos/{photo.pk}.webp").status_code == 404
    assert client.get(f"/setups/{draft.setup_id}/edit/?step=photos").status_code == 200
