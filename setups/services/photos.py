"""Photos of a car: checked, turned upright, freed of all that is not picture, and encoded anew."""

from __future__ import annotations

import errno
import logging
import warnings
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from io import BytesIO
from pathlib import PurePosixPath
from typing import IO, Any

from django.conf import settings
from django.core.files.base import ContentFile, File
from django.core.files.storage import Storage
from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.template.defaultfilters import filesizeformat
from django.utils.translation import gettext as _
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from setups.models import Photo, Revision, Setup

MOST = 8
"""A setup shows so many photos."""
LONG_SIDE = 1600
SMALL_SIDE = 400
MOST_PIXELS = 64_000_000
"""A picture with more is refused before it is decoded: a small file can hold a huge one."""
FORMATS = ("JPEG", "PNG", "WEBP")
QUALITY = 82

log = logging.getLogger(__name__)


class PhotoError(ValueError):
    """Why a photo is not taken; the text says what to do."""


class PhotoNotKept(PhotoError):
    """The picture is good, but where photos are kept there is no room or no answer."""


@dataclass(frozen=True, slots=True)
class Encoded:
    """A picture and its small one, both WebP; pixels."""

    picture: bytes
    small: bytes
    width: int
    height: int


def encode(file: IO[bytes]) -> Encoded:
    """The picture in ``file`` (JPEG, PNG or WebP), upright, in sRGB, at most 1600 pixels on its long side.

    Whatever else the file carried (place, time, camera, comments) stays behind. Raises PhotoError.
    """
    try:
        with Image.open(file, formats=FORMATS) as checked:
            if checked.width * checked.height > MOST_PIXELS:
                raise PhotoError(
                    f"The picture has {checked.width} × {checked.height} pixels, which is too many: "
                    "set the camera to a smaller size, or send a smaller copy."
                )
            checked.verify()
        file.seek(0)  # what was verified cannot be read from
        with Image.open(file, formats=FORMATS) as opened:
            opened.draft("RGB", (2 * LONG_SIDE, 2 * LONG_SIDE))  # a JPEG need not be decoded in full
            opened.load()
            picture = _plain(opened)
    except PhotoError:
        raise
    except UnidentifiedImageError as error:
        raise PhotoError(
            "That is no picture which the library can read: send a JPEG, PNG or WebP. A phone that keeps "
            "HEIC can be set to the most compatible format, or shares a JPEG."
        ) from error
    except (OSError, SyntaxError, ValueError, EOFError, Image.DecompressionBombError, MemoryError) as error:
        raise PhotoError(
            "The picture is damaged or incomplete: send it again, or take it once more."
        ) from error
    picture.thumbnail((LONG_SIDE, LONG_SIDE), Image.Resampling.LANCZOS)
    small = picture.copy()
    small.thumbnail((SMALL_SIDE, SMALL_SIDE), Image.Resampling.LANCZOS)
    return Encoded(_webp(picture), _webp(small), *picture.size)


def _plain(opened: Image.Image) -> Image.Image:
    """The pixels only: upright, sRGB, on white where the picture let something through."""
    profile = opened.info.get("icc_profile")
    turned = ImageOps.exif_transpose(opened)
    if turned.has_transparency_data:
        turned = turned.convert("RGBA")
    elif turned.mode != "RGB":
        profile = None  # of other colours than these
        turned = turned.convert("RGB")
    plain = Image.new("RGB", turned.size, "white")
    plain.paste(turned, mask=turned.getchannel("A") if turned.mode == "RGBA" else None)
    return _in_srgb(plain, profile) if profile else plain


def _in_srgb(picture: Image.Image, profile: bytes) -> Image.Image:
    """Phones photograph in wider colours; without their profile those would look dull."""
    try:
        source = ImageCms.ImageCmsProfile(BytesIO(profile))
        turned = ImageCms.profileToProfile(picture, source, ImageCms.createProfile("sRGB"))
    except (ImageCms.PyCMSError, OSError):
        return picture
    assert turned is not None
    turned.info.clear()
    return turned


def _webp(picture: Image.Image) -> bytes:
    kept = BytesIO()
    picture.save(kept, "WEBP", quality=QUALITY, method=4, exif=b"", xmp=b"", icc_profile=b"")
    return kept.getvalue()


def add(setup: Setup, file: Any, caption: str = "", first: Callable[[], None] = lambda: None) -> Photo:
    """Keep an uploaded ``file`` as a photo of ``setup``. Raises PhotoError and leaves nothing behind.

    ``first`` is done in the transaction that keeps it, before that, and what it raises is passed on.
    """
    if not file or not file.size:
        raise PhotoError("Choose a picture first: the file that came was empty.")
    if file.size > settings.PHOTO_UPLOAD_MAX:
        raise PhotoError(
            f"The file has {filesizeformat(file.size)}; up to {filesizeformat(settings.PHOTO_UPLOAD_MAX)} "
            "are taken: send a smaller copy."
        )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)
        encoded = encode(file)
    _refuse_more(setup)
    image = Photo._meta.get_field("image")
    storage = image.storage
    name = image.generate_filename(Photo(setup=setup), "photo.webp")
    written = [name, small_name(name)]  # also of a file that the disk could take only half of
    try:
        # Before the transaction, because a store on another machine takes its time.
        for one, picture in zip(written, (encoded.picture, encoded.small), strict=True):
            storage.save(one, ContentFile(picture))
        with transaction.atomic():
            first()
            Setup.objects.select_for_update().get(pk=setup.pk)
            _refuse_more(setup)
            return Photo.objects.create(
                setup=setup,
                caption=caption.strip()[:120],
                image=name,
                width=encoded.width,
                height=encoded.height,
            )
    except OSError as error:
        _forget(storage, written)
        log.exception("A photo could not be kept")
        raise PhotoNotKept(_why_not_kept(error)) from error
    except BaseException:
        _forget(storage, written)
        raise


def _refuse_more(setup: Setup) -> None:
    if setup.photos.filter(removed=False).count() >= MOST:
        raise PhotoError(f"A setup shows {MOST} photos: remove one first.")


def _why_not_kept(error: OSError) -> str:
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return _(
            "The library has no room for the photo just now. Everything else is saved: tell who keeps the "
            "site, and add the photo later."
        )
    return _(
        "The place where photos are kept does not answer just now, so this one was not kept. Everything "
        "else is saved: add the photo again in a few minutes; if that does not help, tell who keeps the site."
    )


def opened(photo: Photo, small: bool = False) -> File:
    """The picture, or the small one, to be read. FileNotFoundError if it is gone; OSError if just now it
    cannot be had."""
    image = photo.image
    return image.storage.open(small_name(image.name) if small else image.name)


def small_name(name: str) -> str:
    """Where the small picture of the one kept under ``name`` is: beside it."""
    path = PurePosixPath(name)
    return str(path.with_name(f"{path.stem}-small.webp"))


def remove(photo: Photo) -> None:
    """Take a photo off the draft; it is gone for good unless a posted revision shows it."""
    if photo.revisions.exists():
        photo.removed = True
        photo.save(update_fields=["removed"])
    else:
        _delete([photo])


def caption(photo: Photo, text: str) -> None:
    """Say something else below a photo; PhotoError once a posted revision shows it: that never changes."""
    if photo.revisions.exists():
        raise PhotoError(
            "The photo is posted with its caption, and what is posted stays. To say something else, remove "
            "it and add it again."
        )
    photo.caption = text.strip()[:120]
    photo.save(update_fields=["caption"])


def as_posted(setup: Setup) -> None:
    """The photos as the current revision shows them: what was added since goes, what was removed is back."""
    posted = Exists(Revision.photos.through.objects.filter(photo=OuterRef("pk")))
    _delete(setup.photos.exclude(posted))
    if setup.current_id:
        shown = setup.photos.filter(revisions=setup.current_id)
        Photo.objects.filter(pk__in=shown.values("pk")).update(removed=False)


def on_draft(setup: Setup) -> QuerySet[Photo]:
    """The photos that the next revision shows; ``posted`` says of each whether one shows it already."""
    posted = Exists(Revision.photos.through.objects.filter(photo=OuterRef("pk")))
    return setup.photos.filter(removed=False).annotate(posted=posted)


def seen_by(member: Any) -> QuerySet[Photo]:
    """The photos that ``member`` may look at: those of posted revisions, and all of their own setups."""
    posted = Exists(Revision.photos.through.objects.filter(photo=OuterRef("pk")))
    rows = Photo.objects.annotate(posted=posted).select_related("setup")
    if not member.is_authenticated:
        return rows.filter(posted=True)
    return rows.filter(Q(posted=True) | Q(setup__author=member))


def _delete(photos: Iterable[Photo]) -> None:
    photos = list(photos)
    names = [name for photo in photos for name in (photo.image.name, small_name(photo.image.name))]
    with transaction.atomic():
        Photo.objects.filter(pk__in=[photo.pk for photo in photos]).delete()
        if photos:
            transaction.on_commit(lambda: _forget(photos[0].image.storage, names))


def _forget(storage: Storage, names: Iterable[str]) -> None:
    """Delete files; one that cannot be deleted is noted, and in nobody's way."""
    for name in names:
        try:
            storage.delete(name)
        except OSError:
            log.exception("The file %s could not be deleted", name)
