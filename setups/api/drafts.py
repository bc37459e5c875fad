"""Drafts: what a member is writing, kept as typed; only they see it, and no two writers lose a word."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.urls import reverse
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from fitcalc.parts import Slot
from fitcalc.tuning import TUNING
from setups import models
from setups.models.setup import typed_of
from setups.services import posting
from setups.services.writing import locked_first

from .etag import match, match_none
from .geometry import Strict, Text, Whole
from .idempotency import once
from .setup_filters import DraftFilter
from .shared import IF_MATCH, KEY, SETUPS, Shared, nobody, refusing
from .views import Library, described
from .written import DraftSerializer

WORDS = (
    *("name", "body", "platform", "race_class", "surface", "circuit", "best_lap"),
    *("result", "notes", "what_changed"),
)
FIELDS = (*WORDS, *(slot.value for slot in Slot), *(f"tuning_{key}" for key in TUNING))
"""The fields of a draft: those of the form that a page shows."""
LONGEST = 4000


SAVING = OpenApiParameter(
    "If-Match",
    str,
    OpenApiParameter.HEADER,
    description="ETag of the draft as it was read; If-None-Match: * instead where there is none yet.",
)


def draft_etag(draft: models.Draft) -> str:
    """The ETag of a draft: which it is, and how often it was saved."""
    return f'"{draft.pk}.{draft.version}"'


TypedInput = type(
    "TypedInput",
    (Strict,),
    {"__doc__": "Field to text, as typed; things of the library by their keys. What is left out is empty."}
    | {name: Text(max_length=LONGEST, required=False, allow_blank=True) for name in FIELDS},
)


class DraftInput(Strict):
    """All that the draft is to say."""

    typed = TypedInput()


class StartInput(Strict):
    """A revision of a posted setup to start from."""

    setup = Whole(min_value=1, max_value=2**63 - 1)
    revision = Whole(min_value=1, max_value=2**31 - 1)


class NewDraftInput(Strict):
    """A new setup's draft, empty, or with what another setup says; what is typed goes over that."""

    typed = TypedInput(required=False)
    started_from = StartInput(required=False)


def _answer(draft: models.Draft, status: int = 200) -> Response:
    content = DraftSerializer(draft).data
    headers = {"ETag": draft_etag(draft)}
    headers["Location" if status == 201 else "Content-Location"] = content["url"]
    return Response(content, status, headers=headers)


class Drafts(Shared, Library):
    """One's own drafts, of new setups and of next revisions."""

    private = True
    model = models.Draft
    queryset = models.Draft.objects.all()
    serializer_class = DraftSerializer
    filterset_class = DraftFilter

    def parameters(self) -> set[str]:
        return set() if self.request.method == "POST" else super().parameters()

    def get_queryset(self) -> QuerySet[models.Draft]:
        return super().get_queryset().filter(setup__author=self.request.user.pk)

    @extend_schema(
        operation_id="begin_draft",
        parameters=[KEY],
        tags=[SETUPS],
        summary="Begin a draft of a new setup",
        request=NewDraftInput,
        responses={201: DraftSerializer},
    )
    @once
    def create(self, request: Request) -> Response:
        asked = NewDraftInput(data=request.data)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        start = _start(given["started_from"]) if "started_from" in given else None
        typed = ({} if start is None else typed_of(start)) | dict(given.get("typed", {}))
        return _answer(posting.begin(request.user, typed, start), 201)


Drafts = described(Drafts, SETUPS)  # type: ignore[misc]


def _start(given: Any) -> models.Revision:
    rows = models.Revision.objects.filter(setup=given["setup"], number=given["revision"])
    found = rows.prefetch_related("slots").first()
    if found is None:
        said = "There is no such revision: /api/v1/setups/ lists the setups that there are."
        raise serializers.ValidationError({"started_from": [said]})
    return found


class DraftOfSetup(Shared):
    """The draft of one's own setup: of a new one, or of a posted one's next revision."""

    private = True

    @extend_schema(
        operation_id="get_draft", tags=[SETUPS], summary="A setup’s draft", responses=DraftSerializer
    )
    def get(self, request: Request, setup: int) -> Response:
        draft = models.Draft.objects.filter(setup=_own(request, setup)).first()
        if draft is None:
            raise _none(setup)
        return Response(DraftSerializer(draft).data, headers={"ETag": draft_etag(draft)})

    @extend_schema(
        operation_id="save_draft",
        parameters=[SAVING],
        tags=[SETUPS],
        summary="Save a setup’s draft",
        description="With the draft’s ETag in If-Match; of a posted setup without a draft, If-None-Match: * "
        "makes one. The whole draft is sent: what is left out is empty then.",
        request=DraftInput,
        responses={200: DraftSerializer, 201: DraftSerializer},
    )
    def put(self, request: Request, setup: int) -> Response:
        asked = DraftInput(data=request.data)
        with refusing(), transaction.atomic():
            found = _own(request, setup, lock=True)
            draft = models.Draft.objects.select_for_update().filter(setup=found).first()
            if draft is None:
                match_none(request, "draft of this setup")
            else:
                match(request, draft_etag(draft), "the draft")
            asked.is_valid(raise_exception=True)
            status = 201 if draft is None else 200
            if draft is None:
                draft = posting.draft_of(found)
            draft = posting.save(draft, asked.validated_data["typed"], draft.version)
        return _answer(draft, status)

    @extend_schema(
        operation_id="discard_draft",
        parameters=[IF_MATCH],
        tags=[SETUPS],
        summary="Throw a draft away",
        description="With it goes a setup that was never posted.",
        responses={204: None},
    )
    def delete(self, request: Request, setup: int) -> Response:
        with refusing(), transaction.atomic():
            found = _own(request, setup, lock=True)
            draft = models.Draft.objects.select_for_update().filter(setup=found).first()
            if draft is None:
                raise _none(setup)
            match(request, draft_etag(draft), "the draft")
            posting.discard(draft)
        return Response(status=204)


def _own(request: Request, number: int, lock: bool = False) -> models.Setup:
    """The member's own setup; another's has no draft that they could see."""
    rows = models.Setup.objects.filter(author=request.user).select_related("current")
    rows = rows.filter(pk=min(number, 2**63 - 1))
    found = (locked_first(rows) if lock else rows).first()
    if found is None:
        raise nobody("setup of yours", number, reverse("api-draft-list"))
    return found


def _none(number: int) -> Exception:
    return nobody("draft", number, reverse("api-draft-list"))
