"""Setups and their revisions: lists, single ones, and posting."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import transaction
from django.db.models import QuerySet
from django.urls import reverse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import ValidationError

from setups import models
from setups.services import photos, posting
from setups.services.writing import locked_first

from . import examples
from .drafts import draft_etag
from .etag import etag_of, match
from .geometry import Strict, Text
from .idempotency import once
from .paging import ByKeyset
from .permissions import READ, STEWARD, WRITE, need
from .posted import ContentInput, content_from
from .problems import Problem
from .setup_filters import RevisionFilter, SetupFilter
from .shared import IF_MATCH, KEY, SETUPS, Shared, changed, made, nobody, refusing, setup_or_refused
from .views import Library, along, described
from .written import (
    DecisionSerializer,
    RevisionSerializer,
    SetupSerializer,
    revision_address,
)

Setup = models.Setup
RowsOf = dict[str, tuple[Any, ...]]
_SHOWN = ("author", "body", "platform", "race_class", "current")


def address_of(setup: models.Setup) -> str:
    return reverse("api-setup-detail", args=[setup.pk])


def written(setup: models.Setup) -> dict[str, Any]:
    """The setup as it stands, as a GET has it; one query."""
    return SetupSerializer(Setup.objects.select_related(*_SHOWN).get(pk=setup.pk)).data


class SetupPages(ByKeyset):
    orders: ClassVar = {
        "newest": (("-posted_at",), "Last posted first."),
        "oldest": (("posted_at",), "First posted first."),
        "best_lap": (("best_lap",), "Quickest on one circuit first; those without a lap are left out."),
        "evidence": (
            ("-state", "-confirmations", "-posted_at"),
            "Verified ones first, then those borne out by most members.",
        ),
    }


    def _order(self, request: Request) -> tuple[str, ...]:
        found = super()._order(request)
        if found == ("best_lap",) and not request.query_params.get("circuit"):
            said = "Name a circuit: laps of several cannot be compared."
            raise ValidationError({self.ordering_param: [said]})
        return found


class Setups(Shared, Library):
    """Posted setups; drafts are their authors' own, and withdrawn ones are listed only if asked for."""

    model = Setup
    queryset = Setup.objects.all()
    serializer_class = SetupSerializer
    filterset_class = SetupFilter
    pagination_class = SetupPages
    lookup_field = "pk"
    lookup_value_converter = "int"
    joined: ClassVar[RowsOf] = {
        "author": ("author",),
        "body": ("body",),
        "platform": ("platform",),
        "race_class": ("race_class",),
        "revision": ("current",),
    }
    columns: ClassVar[RowsOf] = {
        "author": ("username", "display_name"),
        "body": ("slug",),
        "platform": ("slug",),
        "race_class": ("slug",),
        "current": ("number",),
    }

    def parameters(self) -> set[str]:
        if self.request.method == "POST":
            return set()
        return super().parameters() | (set() if self.detail else {"ordering"})

    def get_queryset(self) -> QuerySet[models.Setup]:
        return super().get_queryset().exclude(state=Setup.State.DRAFT).defer("words")

    def get_object(self) -> models.Setup:
        if self.kwargs["pk"] >= 2**63:
            raise nobody("setup", self.kwargs["pk"], reverse("api-setup-list"))
        return super().get_object()

    @extend_schema(
        operation_id="post_setup",
        parameters=[KEY],
        tags=[SETUPS],
        summary="Post a setup",
        description="It is computed at once; where a rule fails, the finding is shown on it.",
        request=ContentInput,
        examples=examples.POSTED,
        responses={201: SetupSerializer},
    )
    @once
    def create(self, request: Request) -> Response:
        asked = ContentInput(data=request.data)
        asked.is_valid(raise_exception=True)
        with refusing():
            revision = posting.post(content_from(asked.validated_data), request.user)
        return made(written(revision.setup), address_of(revision.setup))


Setups = described(Setups, SETUPS)  # type: ignore[misc]


class Revisions(Shared, Library):
    """The revisions of a setup, as each was posted."""

    model = models.Revision
    queryset = models.Revision.objects.all()
    serializer_class = RevisionSerializer
    filterset_class = RevisionFilter
    lookup_field = "number"
    lookup_value_converter = "int"
    joined: ClassVar[RowsOf] = {
        "author": ("author",),
        "body": ("body",),
        "platform": ("platform",),
        "position": ("position",),
        "race_class": ("race_class",),
    }
    fetched: ClassVar[RowsOf] = {
        "parts": (along("slots", models.RevisionPart, "part"),),
        "photos": ("photos",),
    }

    def parameters(self) -> set[str]:
        return set() if self.request.method == "POST" else super().parameters()

    def get_queryset(self) -> QuerySet[models.Revision]:
        rows = super().get_queryset()
        return rows.filter(setup=setup_or_refused(self.kwargs["setup"])) if "setup" in self.kwargs else rows

    def get_object(self) -> models.Revision:
        number = self.kwargs["number"]
        found = self.get_queryset().filter(number=number).first() if number < 2**31 else None
        if found is None:
            raise nobody("revision", number, reverse("api-revision-list", args=[self.kwargs["setup"]]))
        return found

    @extend_schema(
        operation_id="post_revision",
        parameters=[IF_MATCH, KEY],
        tags=[SETUPS],
        summary="Post a setup’s next revision",
        description="If-Match holds the ETag of what the revision takes the place of: the setup’s, or that "
        "of its draft where there is one. The draft is done with then.",
        request=ContentInput,
        examples=examples.POSTED,
        responses={201: RevisionSerializer},
    )
    @once
    def create(self, request: Request, setup: int) -> Response:
        asked = ContentInput(data=request.data)
        with refusing(), transaction.atomic():
            found = _own(request, setup)
            draft = models.Draft.objects.select_for_update().filter(setup=found).first()
            if draft is None:
                match(request, etag_of(written(found)), "the setup")
            else:
                match(request, draft_etag(draft), "the setup’s draft")
            asked.is_valid(raise_exception=True)
            content = content_from(asked.validated_data, found)
            revision = posting.post(content, request.user, found, draft and draft.version)
            _show(found, [photo.pk for photo in content.photos])
        row = self.full_row(revision.pk)
        return made(RevisionSerializer(row).data, revision_address(row))

    def full_row(self, pk: int) -> models.Revision:
        joined = [path for paths in self.joined.values() for path in paths]
        fetched = [path for paths in self.fetched.values() for path in paths]
        return models.Revision.objects.select_related(*joined).prefetch_related(*fetched).get(pk=pk)


Revisions = described(Revisions, SETUPS)  # type: ignore[misc]


def _own(request: Request, number: int) -> models.Setup:
    """The member's own setup, locked, posted or not. Raises a Problem."""
    rows = Setup.objects.filter(pk=number).select_related("current")
    found = locked_first(rows).first() if number < 2**63 else None
    if found is None or (found.state == Setup.State.DRAFT and found.author_id != request.user.pk):
        raise nobody("setup", number, reverse("api-setup-list"))
    if found.author_id != request.user.pk:
        raise Problem("forbidden", "Only the member who posted a setup can revise it.")
    return found


def _show(setup: models.Setup, keys: list[int]) -> None:
    """The setup shows these photos and no others."""
    setup.photos.filter(pk__in=keys).update(removed=False)
    for photo in setup.photos.filter(removed=False).exclude(pk__in=keys):
        photos.remove(photo)


class ReasonInput(Strict):
    """Why: it is kept with the setup."""

    reason = Text(max_length=1000)


class ChangeOfState(Shared):
    """Whether a setup is listed: by its author with the scope write, by a steward with the scope steward."""

    scope = READ  # which of the two is wanted hangs on the setup

    def change(self, request: Request, number: int, act: Any) -> Response:
        asked = ReasonInput(data=request.data)
        with refusing(), transaction.atomic():
            setup = setup_or_refused(number, lock=True)
            if not posting.may_change(setup, request.user):
                raise PermissionError("Only the member who posted a setup, or a steward, can do that.")
            need(request, WRITE if setup.author_id == request.user.pk else STEWARD)
            match(request, etag_of(written(setup)), "the setup")
            asked.is_valid(raise_exception=True)
            act(setup, request.user, asked.validated_data["reason"])
        return changed(written(setup), address_of(setup))


class Withdraw(ChangeOfState):
    @extend_schema(
        operation_id="withdraw_setup",
        parameters=[IF_MATCH, KEY],
        tags=[SETUPS],
        summary="Take a setup out of the lists",
        description="Its address stays. By its author, or by a steward with the scope steward.",
        request=ReasonInput,
        responses=SetupSerializer,
    )
    @once
    def post(self, request: Request, setup: int) -> Response:
        return self.change(request, setup, posting.withdraw)


class Restore(ChangeOfState):
    @extend_schema(
        operation_id="restore_setup",
        parameters=[IF_MATCH, KEY],
        tags=[SETUPS],
        summary="Put a withdrawn setup back",
        description="Its standing is worked out anew. By its author, or by a steward with the scope steward.",
        request=ReasonInput,
        responses=SetupSerializer,
    )
    @once
    def post(self, request: Request, setup: int) -> Response:
        return self.change(request, setup, posting.restore)


class Record(Shared):
    @extend_schema(
        operation_id="list_decisions",
        tags=[SETUPS],
        summary="A setup’s record",
        description="What happened to it, who decided it, and why; oldest first.",
        responses=DecisionSerializer(many=True),
    )
    def get(self, request: Request, setup: int) -> Response:
        rows = setup_or_refused(setup).decisions.select_related("member", "revision")
        return Response(DecisionSerializer(rows, many=True).data)
