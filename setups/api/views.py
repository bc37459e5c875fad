"""Reading the library: lists and single things, the same for everybody."""

from __future__ import annotations

import builtins
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, ClassVar

from django.db.models import Model, Prefetch, QuerySet
from django.http import HttpResponse
from django.urls import reverse
from django.utils.cache import patch_cache_control
from django.utils.decorators import method_decorator
from django.views.decorators.http import conditional_page
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view
from rest_framework import serializers, viewsets
from rest_framework.authentication import SessionAuthentication
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from setups import models

from . import filters, gathering
from . import serializers as written
from .plain import Write, writers, writers_of
from .problems import PROBLEMS, Problem, shown
from .throttles import rate_for

FIELDS, SEARCH = "fields", "q"
LIBRARY, COMPUTING, CONTENTS = "Library", "Computing", "Contents and problems"


class Open(APIView):
    """Anybody may call, and gets the same answer as everybody; parameters that are not known are refused.

    A session is not looked at, so that no answer hangs on a cookie; a token is, for the caller's rate.
    """

    permission_classes: ClassVar[list[Any]] = [AllowAny]

    def get_authenticators(self) -> list[Any]:
        return [one for one in super().get_authenticators() if not isinstance(one, SessionAuthentication)]

    def get_throttles(self) -> list[Any]:
        return [rate_for(self.request)]

    def parameters(self) -> set[str]:
        """Names of the parameters that this address takes."""
        return set()

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if request.method not in self.allowed_methods:
            # Before its parameters: what no method takes here is not to be blamed on one of them.
            self.http_method_not_allowed(request)
        known = sorted(self.parameters())
        takes = f"It takes {', '.join(known)}." if known else "It takes none."
        errors = [
            {"parameter": name[:60], "detail": f"There is no parameter {shown(name)} here. {takes}"}
            for name in request.query_params
            if name not in known
        ]
        if errors:
            raise Problem("unknown-parameter", " ".join(error["detail"] for error in errors[:1]), errors)
        if empty := [name for name in known if name != SEARCH and request.query_params.get(name) == ""]:
            said = "It is empty: give it a value, or leave it out."
            raise serializers.ValidationError({name: [said] for name in empty})
        twice = [name for name in known if len(request.query_params.getlist(name)) > 1]
        if twice:
            said = "This parameter is given more than once: which of them is meant?"
            raise serializers.ValidationError({name: [said] for name in twice})


@method_decorator(conditional_page, name="dispatch")
class Reading(Open):
    """GET with an ETag of the answer's content; a cache may keep it if it asks each time."""

    def finalize_response(self, request: Request, response: HttpResponse, *args: Any, **kwargs: Any) -> Any:
        answer = super().finalize_response(request, response, *args, **kwargs)
        if answer.status_code == 200:
            patch_cache_control(answer, public=True, no_cache=True)
        return answer


Gather = Callable[[list[Any]], Mapping[Any, Any]]


class Library(Reading, viewsets.ReadOnlyModelViewSet):
    """A table of the library.

    ``joined`` and ``fetched`` say what a field needs to be read along with it, and ``columns`` which columns
    of what is joined are shown, where most are not. ``gathered`` has fields that are read for all rows in one
    query: a function that gives what each row holds by its key, and what makes that of those it leaves out.
    """

    model: ClassVar[type[Model]]
    lookup_field = "slug"
    lookup_value_converter = "slug"
    joined: ClassVar[dict[str, tuple[str, ...]]] = {}
    fetched: ClassVar[dict[str, tuple[str | Prefetch, ...]]] = {}
    gathered: ClassVar[dict[str, tuple[Gather, Callable[[], Any]]]] = {}
    columns: ClassVar[dict[str, tuple[str, ...]]] = {}

    def parameters(self) -> set[str]:
        if self.detail:
            return {FIELDS}
        paging = self.pagination_class
        return {
            FIELDS,
            paging.cursor_query_param,
            paging.page_size_query_param,
            *self.filterset_class.base_filters,
        }

    def get_queryset(self) -> QuerySet[Any]:
        found = self.model._default_manager.all()
        wanted = self.wanted()
        joined = [path for field in wanted for path in self.joined.get(field, ())]
        fetched = [path for field in wanted for path in self.fetched.get(field, ())]
        if joined:
            found = found.select_related(*joined).defer(*self._not_read(joined))
        return found.prefetch_related(*fetched) if fetched else found

    def _not_read(self, joined: builtins.list[str]) -> Iterator[str]:
        """The columns of ``joined`` rows that no field shows."""
        for path in joined:
            if path in self.columns:
                model: Any = self.model._meta.get_field(path).related_model
                for column in model._meta.concrete_fields:
                    if not column.primary_key and column.name not in self.columns[path]:
                        yield f"{path}__{column.name}"

    def wanted(self) -> list[str]:
        """Names of the fields to answer with: those of the parameter, else all."""
        known = list(writers(self.serializer_class))
        given = self.request.query_params.get(FIELDS)
        if given is None:
            return known
        names = [name.strip() for name in given.split(",")]
        if unknown := [name for name in names if name not in known]:
            said = f"{', '.join(map(shown, unknown[:5]))} is no field here. Known are {', '.join(known)}."
            raise serializers.ValidationError({FIELDS: [said]})
        return names

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        return self.get_paginated_response(self.as_written(page))

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return Response(self.as_written([self.get_object()])[0])

    def as_written(self, rows: Sequence[Any]) -> builtins.list[dict[str, Any]]:
        """The rows with the fields that are wanted."""
        wanted = set(self.wanted())
        write = {name: one for name, one in self.writers().items() if name in wanted}
        keys = [row.pk for row in rows]
        for name in write.keys() & self.gathered.keys():
            gather, empty = self.gathered[name]
            write[name] = _found(gather(keys), empty)
        fields = list(write.items())
        return [{name: one(row) for name, one in fields} for row in rows]

    def writers(self) -> dict[str, Write]:
        """What writes each field of a row."""
        if type(self).get_serializer_context is Library.get_serializer_context:
            return writers(self.serializer_class)
        return writers_of(self.get_serializer())

    def get_object(self) -> Any:
        key = self.kwargs[self.lookup_field]
        found = self.get_queryset().filter(**{self.lookup_field: key}).first()
        if found is None:
            name = self.model._meta.verbose_name
            places = reverse(f"{self.basename}-list")
            raise Problem(
                "not-found", f"No {name} is called {shown(key)} here: {places} lists those that are."
            )
        return found


def _found(known: Mapping[Any, Any], empty: Callable[[], Any]) -> Write:
    def write(row: Any) -> Any:
        return known[row.pk] if row.pk in known else empty()

    return write


def along(path: str, model: type[Model], *joined: str) -> Prefetch:
    """The rows of ``path`` with what each refers to, in one query."""
    return Prefetch(path, model._default_manager.select_related(*joined))


def described(view: type[Library], tag: str = LIBRARY, plural: str = "") -> type[Library]:
    """The view with its sparse fields in the schema, under ``tag``; ``plural`` where the model's is wrong."""
    known = ", ".join(writers(view.serializer_class))
    fields = OpenApiParameter(
        FIELDS,
        OpenApiTypes.STR,
        description=f"Names with commas; the answer then has these fields only, of {known}.",
    )
    plural, name = plural or view.model._meta.verbose_name_plural, view.model._meta.verbose_name
    return extend_schema_view(
        list=extend_schema(
            tags=[tag],
            summary=f"List {plural}",
            parameters=[fields],
            operation_id=f"list_{plural}".replace(" ", "_"),
        ),
        retrieve=extend_schema(
            tags=[tag],
            summary=f"One {name}",
            parameters=[fields],
            operation_id=f"get_{name}".replace(" ", "_"),
        ),
    )(view)


@described
class Makers(Library):
    """Makers of bodies, parts and platforms."""

    model = models.Maker
    queryset = models.Maker.objects.all()
    serializer_class = written.MakerSerializer
    filterset_class = filters.MakerFilter


@described
class Platforms(Library):
    """Chassis families with their mounting positions, published wheelbases and what counts as a fit."""

    model = models.Platform
    queryset = models.Platform.objects.all()
    serializer_class = written.PlatformSerializer
    filterset_class = filters.PlatformFilter
    joined: ClassVar = {"maker": ("maker",)}
    fetched: ClassVar = {
        "positions": ("positions",),
        "known_wheelbases": (
            along("known_wheelbases", models.KnownWheelbase, "motor_mount", "plate", "position"),
        ),
    }


@described
class Parts(Library):
    """What can be bought and fitted: dimensions, pack, the platforms it is sold for, what goes with what."""

    model = models.Part
    queryset = models.Part.objects.all()
    serializer_class = written.PartSerializer
    filterset_class = filters.PartFilter
    joined: ClassVar = {"maker": ("maker",)}
    gathered: ClassVar = {
        "dimensions": (gathering.part_dimensions, dict),
        "platforms": (gathering.platforms, list),
        "pairs": (gathering.pairs, list),
    }


@described
class Bodies(Library):
    """Bodies: their dimensions with doubt and source, what their floor takes, what their maker states."""

    model = models.Body
    queryset = models.Body.objects.all()
    serializer_class = written.BodySerializer
    filterset_class = filters.BodyFilter
    joined: ClassVar = {"maker": ("maker",)}
    gathered: ClassVar = {
        "dimensions": (gathering.body_dimensions, dict),
        "part_rules": (gathering.part_rules, list),
    }


@described
class Configurations(Library):
    """Named sets of parts on a platform, one part a slot."""

    model = models.Configuration
    queryset = models.Configuration.objects.all()
    serializer_class = written.ConfigurationSerializer
    filterset_class = filters.ConfigurationFilter
    lookup_field = "pk"
    lookup_value_converter = "int"
    joined: ClassVar = {"platform": ("platform",), "position": ("position",), "body": ("body",)}
    fetched: ClassVar = {"parts": (along("slots", models.ConfigurationPart, "part"),)}


_CONTENTS = {
    "bodies": "api-body-list",
    "parts": "api-part-list",
    "platforms": "api-platform-list",
    "makers": "api-maker-list",
    "configurations": "api-configuration-list",
    "setups": "api-setup-list",
    "drafts": "api-draft-list",
    "measurements": "api-measurement-list",
    "disputes": "api-dispute-list",
    "fit": "api-fit",
    "solve": "api-solve",
    "compare": "api-compare",
    "schema": "api-schema",
    "docs": "api-docs",
    "problems": "api-problems",
}
"""What there is to what it is called among the addresses; ``add_to_contents`` adds to it."""


def add_to_contents(names: Mapping[str, str]) -> None:
    """Let the contents name what a site adds to the library's interface: name -> name of its address.

    Raises ValueError for a name that the contents have for something else.
    """
    for name, address in names.items():
        if _CONTENTS.setdefault(name, address) != address:
            raise ValueError(f"The contents name {_CONTENTS[name]} “{name}” already: choose another name.")


class Contents(Reading):
    """What there is: the address of each list, of the computing endpoints and of the documentation."""

    @extend_schema(
        operation_id="contents",
        tags=[CONTENTS],
        summary="What there is",
        responses={
            200: {"type": "object", "additionalProperties": {"type": "string", "format": "uri-reference"}}
        },
    )
    def get(self, request: Request) -> Response:
        return Response({name: reverse(view) for name, view in _CONTENTS.items()})


class Problems(Reading):
    """The kinds of problem that an answer of 400 or above can be of."""

    @extend_schema(
        operation_id="list_problems",
        tags=[CONTENTS],
        summary="Kinds of problem",
        responses=written.KindSerializer(many=True),
    )
    def get(self, request: Request) -> Response:
        return Response(written.KindSerializer(PROBLEMS.values(), many=True).data)


class OneProblem(Reading):
    """What one kind of problem means and what to do about it: where a problem's ``type`` leads."""

    @extend_schema(
        operation_id="get_problem",
        tags=[CONTENTS],
        summary="One kind of problem",
        responses=written.KindSerializer,
    )
    def get(self, request: Request, code: str) -> Response:
        if code not in PROBLEMS:
            raise Problem(
                "not-found", f"No problem is called {shown(code)}: {reverse('api-problems')} lists them."
            )
        return Response(written.KindSerializer(PROBLEMS[code]).data)
