"""A setup's photos: those that are posted for everybody, those on the draft for its author."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.urls import reverse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import ValidationError

from setups import models
from setups.services import photos, posting
from setups.services.photos import PhotoError, PhotoNotKept

from .etag import etag_of, match
from .idempotency import once
from .problems import Problem
from .shared import IF_MATCH, KEY, SETUPS, Shared, made, nobody
from .written import PhotoSerializer

LONGEST_CAPTION = models.Photo._meta.get_field("caption").max_length


class PhotoInput(serializers.Serializer):
    """A picture (JPEG, PNG or WebP) and what it shows. Its place and time of taking are left out."""

    photo = serializers.FileField()
    caption = serializers.CharField(required=False, allow_blank=True, max_length=LONGEST_CAPTION)


class OfPhotos(Shared):
    """Anybody looks at what is posted; a setup's author at what is on its draft, too."""

    varies = True

    def shown(self, request: Request, setup: int) -> QuerySet[models.Photo]:
        """Those of the setup that the caller may look at and that no author has taken off."""
        rows = photos.seen_by(request.user).filter(setup=setup, removed=False)
        seen = models.Setup.objects.exclude(state=models.Setup.State.DRAFT)
        if request.user.is_authenticated:
            seen = seen | models.Setup.objects.filter(author=request.user)
        if setup >= 2**63 or not seen.filter(pk=setup).exists():
            raise nobody("setup", setup, reverse("api-setup-list"))
        return rows


class Photos(OfPhotos):
    def get_parsers(self) -> list[Any]:
        posts = self.request is not None and self.request.method == "POST"
        return [MultiPartParser()] if posts else super().get_parsers()

    @extend_schema(
        operation_id="list_photos",
        tags=[SETUPS],
        summary="A setup’s photos",
        description="Those that were removed are with the older revisions only; those not posted yet "
        "are with the draft, for its author only.",
        responses=PhotoSerializer(many=True),
    )
    def get(self, request: Request, setup: int) -> Response:
        return Response(PhotoSerializer(self.shown(request, setup), many=True).data)

    @extend_schema(
        operation_id="add_photo",
        parameters=[KEY],
        tags=[SETUPS],
        summary="Add a photo to a setup’s draft",
        description="It is shown to others when the draft is posted. A posted setup gets a draft by it.",
        request={"multipart/form-data": PhotoInput},
        responses={201: PhotoSerializer},
    )
    @once
    def post(self, request: Request, setup: int) -> Response:
        owner = _own(request, setup)
        asked = PhotoInput(data=request.data)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        try:
            photo = photos.add(owner, given["photo"], given.get("caption", ""))
        except PhotoNotKept as error:
            raise Problem("unavailable", str(error), headers={"Retry-After": "60"}) from error
        except PhotoError as error:
            raise ValidationError({"photo": [str(error)]}) from error
        posting.draft_of(owner)
        return made(PhotoSerializer(photo).data, reverse("api-photo", args=[setup, photo.pk]))


class OnePhoto(OfPhotos):
    @extend_schema(
        operation_id="get_photo", tags=[SETUPS], summary="One photo of a setup", responses=PhotoSerializer
    )
    def get(self, request: Request, setup: int, photo: int) -> Response:
        found = self.shown(request, setup).filter(pk=photo).first() if photo < 2**63 else None
        if found is None:
            raise _none(setup, photo)
        return Response(PhotoSerializer(found).data)

    @extend_schema(
        operation_id="remove_photo",
        parameters=[IF_MATCH],
        tags=[SETUPS],
        summary="Take a photo off a setup’s draft",
        description="Revisions that show it keep it.",
        responses={204: None},
    )
    def delete(self, request: Request, setup: int, photo: int) -> Response:
        owner = _own(request, setup)
        with transaction.atomic():
            rows = owner.photos.select_for_update().filter(removed=False)
            found = rows.filter(pk=photo).first() if photo < 2**63 else None
            if found is None:
                raise _none(setup, photo)
            match(request, etag_of(PhotoSerializer(found).data), "the photo")
            posting.draft_of(owner)
            photos.remove(found)
        return Response(status=204)


def _own(request: Request, number: int) -> models.Setup:
    rows = models.Setup.objects.filter(author=request.user).select_related("current")
    found = rows.filter(pk=number).first() if number < 2**63 else None
    if found is None:
        raise nobody("setup of yours", number, reverse("api-draft-list"))
    return found


def _none(setup: int, photo: int) -> Exception:
    return nobody("photo", photo, reverse("api-photos", args=[setup]))
