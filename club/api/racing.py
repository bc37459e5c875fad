"""Race classes and the dated editions of their rulebooks: anybody reads what is published, race directors
read drafts too and write them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, ClassVar

from django.db import transaction
from django.db.models import OuterRef, Prefetch, QuerySet, Subquery
from django.urls import reverse
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import ValidationError

from club.api.racing_filters import EditionFilter, RaceClassFilter
from club.api.racing_written import (
    RACING,
    ClauseChangeSerializer,
    ClauseSerializer,
    EditionInput,
    EditionSerializer,
    NewEditionInput,
    RaceClassInput,
    RaceClassSerializer,
    demand_director,
    directs,
    edition_address,
)
from club.models import Clause, RaceClass, RulebookEdition
from club.racing import editions
from club.racing.editions import ITEMS, EditionError, holds_on, today
from setups.api.etag import etag_of, match
from setups.api.idempotency import once
from setups.api.problems import Problem
from setups.api.shared import IF_MATCH, KEY, Shared, changed, made, nobody
from setups.api.views import Library, described

CLAUSES = Prefetch("clauses", Clause.objects.prefetch_related(ITEMS).order_by("place", "pk"))
PUBLISHED = "The edition is published and never changes: copy it, and change the copy. Nothing was changed."


class Written(Shared):
    """Reading has parameters; writing takes none."""

    def parameters(self) -> set[str]:
        return super().parameters() if self.request.method in ("GET", "HEAD", "OPTIONS") else set()


def with_holding(rows: QuerySet[RaceClass]) -> QuerySet[RaceClass]:
    """``holding_key``: the edition that holds today, or ``None``."""
    dated = RulebookEdition.objects.published().filter(race_class=OuterRef("pk"), valid_from__lte=today())
    return rows.annotate(holding_key=Subquery(dated.order_by("-valid_from").values("pk")[:1]))


def class_or_refused(slug: str) -> RaceClass:
    found = RaceClass.objects.filter(slug=slug).first()
    if found is None:
        raise nobody("race class", slug, reverse("api-race-class-list"))
    return found


def edition_or_refused(request: Request, slug: str, pk: int, lock: bool = False) -> RulebookEdition:
    """The edition that the caller may see. Raises a Problem: a draft is not there for most."""
    race_class = class_or_refused(slug)
    rows = RulebookEdition.objects.filter(race_class=race_class).select_related("race_class")
    if not directs(request):
        rows = rows.published()
    if lock:
        rows = rows.select_for_update(of=("self",))
    found = rows.filter(pk=pk).first() if pk < 2**63 else None
    if found is None:
        raise nobody("edition", pk, reverse("api-edition-list", args=[slug]))
    return found


def full(pk: int) -> dict[str, Any]:
    """The edition as a GET has it."""
    rows = RulebookEdition.objects.select_related("race_class", "published_by").prefetch_related(CLAUSES)
    edition = rows.get(pk=pk)
    holding = holds_on(edition.race_class, today())
    return EditionSerializer(edition, context={"holding": holding and holding.pk}).data


def doing(act: Callable[[], Any]) -> Any:
    """What ``act`` returns; what an edition refuses, as a Problem."""
    try:
        return act()
    except PermissionError as error:
        raise Problem("forbidden", str(error)) from error
    except EditionError as error:
        raise Problem("conflict", f"{error} Nothing was changed.") from error


def draft(request: Request, slug: str, pk: int) -> RulebookEdition:
    """The draft, locked, for a race director. Raises a Problem, one that says so for a published edition."""
    demand_director(request)
    found = edition_or_refused(request, slug, pk, lock=True)
    if found.is_published:
        raise Problem("conflict", PUBLISHED)
    return found


class RaceClasses(Written, Library):
    """Classes of cars that race together."""

    model = RaceClass
    queryset = RaceClass.objects.all()
    serializer_class = RaceClassSerializer
    filterset_class = RaceClassFilter

    def get_queryset(self) -> QuerySet[RaceClass]:
        return with_holding(super().get_queryset())

    @extend_schema(
        operation_id="add_race_class",
        parameters=[KEY],
        tags=[RACING],
        summary="Start a race class",
        description="For race directors.",
        request=RaceClassInput,
        responses={201: RaceClassSerializer},
    )
    @once
    def create(self, request: Request) -> Response:
        demand_director(request)
        asked = RaceClassInput(data=request.data)
        asked.is_valid(raise_exception=True)
        row = doing(lambda: editions.add_class(**asked.validated_data))
        content = RaceClassSerializer(with_holding(RaceClass.objects.all()).get(pk=row.pk)).data
        return made(content, reverse("api-race-class-detail", args=[row.slug]))


RaceClasses = described(RaceClasses, RACING)  # type: ignore[misc]


class Editions(Written, Library):
    """The editions of a class's rulebook; drafts are there for race directors only."""

    varies = True
    model = RulebookEdition
    queryset = RulebookEdition.objects.all()
    serializer_class = EditionSerializer
    filterset_class = EditionFilter
    lookup_field = "pk"
    lookup_value_converter = "int"
    joined: ClassVar = {
        "url": ("race_class",),
        "race_class": ("race_class",),
        "published_by": ("published_by",),
    }
    fetched: ClassVar = {"clauses": (CLAUSES,)}

    def get_queryset(self) -> QuerySet[RulebookEdition]:
        rows = super().get_queryset()
        if "race_class" in self.kwargs:
            rows = rows.filter(race_class=class_or_refused(self.kwargs["race_class"]))
            if not directs(self.request):
                rows = rows.filter(published_at__isnull=False)
        return rows

    def get_serializer_context(self) -> dict[str, Any]:
        holding = None
        if "race_class" in self.kwargs:
            holding = holds_on(class_or_refused(self.kwargs["race_class"]), today())
        return super().get_serializer_context() | {"holding": holding and holding.pk}

    def get_object(self) -> RulebookEdition:
        slug, pk = self.kwargs["race_class"], self.kwargs["pk"]
        found = self.get_queryset().filter(pk=pk).first() if pk < 2**63 else None
        if found is None:
            raise nobody("edition", pk, reverse("api-edition-list", args=[slug]))
        return found

    @extend_schema(
        operation_id="start_edition",
        parameters=[KEY],
        tags=[RACING],
        summary="Start an edition",
        description="A draft, empty or a copy of another one. For race directors.",
        request=NewEditionInput,
        responses={201: EditionSerializer},
    )
    @once
    def create(self, request: Request, race_class: str) -> Response:
        demand_director(request)
        found = class_or_refused(race_class)
        asked = NewEditionInput(data=request.data)
        asked.is_valid(raise_exception=True)
        given = dict(asked.validated_data)
        source = given.pop("copy", None)
        after = None if source is None else found.editions.filter(pk=source).first()
        if source is not None and after is None:
            raise ValidationError({"copy": ["This class has no edition of that number."]})
        row = doing(lambda: editions.start(found, **given, after=after))
        return made(full(row.pk), edition_address(row))

    @extend_schema(
        operation_id="change_edition",
        parameters=[IF_MATCH],
        tags=[RACING],
        summary="Give a draft another name, date or note",
        description="For race directors. A published edition refuses (409).",
        request=EditionInput,
        responses=EditionSerializer,
    )
    def update(self, request: Request, race_class: str, pk: int) -> Response:
        with transaction.atomic():
            row = draft(request, race_class, pk)
            match(request, etag_of(full(pk)), "the edition")
            asked = EditionInput(data=request.data)
            asked.is_valid(raise_exception=True)
            doing(lambda: editions.change(row, **asked.validated_data))
        return changed(full(pk), edition_address(row))

    @extend_schema(
        operation_id="discard_edition",
        parameters=[IF_MATCH],
        tags=[RACING],
        summary="Discard a draft with its clauses",
        description="For race directors. A published edition refuses (409).",
        responses={204: None},
    )
    def destroy(self, request: Request, race_class: str, pk: int) -> Response:
        with transaction.atomic():
            row = draft(request, race_class, pk)
            match(request, etag_of(full(pk)), "the edition")
            doing(lambda: editions.discard(row))
        return Response(status=204)


Editions = described(Editions, RACING, "editions")  # type: ignore[misc]


class Publish(Shared):
    @extend_schema(
        operation_id="publish_edition",
        parameters=[IF_MATCH, KEY],
        tags=[RACING],
        summary="Publish an edition",
        description="From then on it never changes. For race directors. Nothing is sent but the ETag.",
        request=None,
        responses=EditionSerializer,
    )
    @once
    def post(self, request: Request, race_class: str, pk: int) -> Response:
        with transaction.atomic():
            row = draft(request, race_class, pk)
            match(request, etag_of(full(pk)), "the edition")
            doing(lambda: editions.publish(row, request.user))
        return changed(full(pk), edition_address(row))


FROM = OpenApiParameter(
    "from", int, description="Number of the edition that it is compared with; the one before it without it."
)


class Changes(Shared):
    varies = True

    def parameters(self) -> set[str]:
        return {"from"}

    @extend_schema(
        operation_id="list_edition_changes",
        parameters=[FROM],
        tags=[RACING],
        summary="What an edition changed",
        description="Clause by clause, in its order; what was taken out comes last.",
        responses=ClauseChangeSerializer(many=True),
    )
    def get(self, request: Request, race_class: str, pk: int) -> Response:
        after = edition_or_refused(request, race_class, pk)
        named = request.query_params.get("from")
        if named is None:
            rows = RulebookEdition.objects.filter(race_class=after.race_class)
            earlier = rows.published().filter(valid_from__lt=after.valid_from)
            before = earlier.order_by("-valid_from").first()
            if before is None:
                raise Problem("conflict", "There is no edition before this one to compare it with.")
        else:
            if not (named.isascii() and named.isdigit() and len(named) < 19):
                raise ValidationError({"from": ["Give the number of an edition of this class."]})
            before = edition_or_refused(request, race_class, int(named))
        return Response(
            [
                {
                    "what": one.what,
                    "fields_changed": list(one.fields),
                    "before": None if one.before is None else ClauseSerializer(one.before).data,
                    "after": None if one.after is None else ClauseSerializer(one.after).data,
                }
                for one in editions.compare(before, after)
            ]
        )
