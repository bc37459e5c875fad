"""One's own garage: parts owned, bodies owned, chassis as built. Another's is not there."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.urls import reverse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import ValidationError

from club.api.garage_written import (
    BodyInput,
    ChassisInput,
    ChassisSerializer,
    MorePartsInput,
    OwnedBodySerializer,
    OwnedPartInput,
    OwnedPartSerializer,
)
from club.garage import stock
from club.garage.forms import AddPartForm, BuildForm, OwnedPartForm
from club.models import Chassis, ChassisPart, Member, OwnedBody, OwnedPart
from fitcalc.parts import Slot
from setups.api.computing import absent
from setups.api.etag import etag_of, match
from setups.api.idempotency import once
from setups.api.problems import Problem
from setups.api.shared import IF_MATCH, KEY, Shared, changed, made, nobody
from setups.api.views import Library, along, described
from setups.models import Body, MountingPosition, Part, Platform
from setups.translate import shelf_for

from .garage_filters import ChassisFilter, OwnedBodyFilter, OwnedPartFilter

GARAGE = "Garage"


class Owned(Shared, Library):
    """A table of what a member has: only their own rows are there."""

    private = True
    lookup_field = "pk"
    lookup_value_converter = "int"
    what: ClassVar[str]

    def parameters(self) -> set[str]:
        return super().parameters() if self.request.method in ("GET", "HEAD", "OPTIONS") else set()

    def get_queryset(self) -> QuerySet[Any]:
        return super().get_queryset().filter(member=self.request.user.pk)

    def get_object(self) -> Any:
        return self.mine(self.get_queryset(), self.kwargs["pk"])

    def mine(self, rows: QuerySet[Any], pk: int) -> Any:
        found = rows.filter(pk=pk).first() if pk < 2**63 else None
        if found is None:
            raise nobody(f"{self.what} of yours", pk, reverse(f"{self.basename}-list"))
        return found

    def locked(self, pk: int) -> Any:
        """The row, which nobody else changes until the transaction ends."""
        rows = self.model._default_manager.filter(member=self.request.user.pk)
        return self.mine(rows.select_for_update(), pk)

    def written(self, pk: int) -> dict[str, Any]:
        """The row as a GET has it."""
        joined = [path for paths in self.joined.values() for path in paths]
        fetched = [path for paths in self.fetched.values() for path in paths]
        row = self.model._default_manager.select_related(*joined).prefetch_related(*fetched).get(pk=pk)
        return self.serializer_class(row, context=self.get_serializer_context()).data

    def address(self, pk: int) -> str:
        return reverse(f"{self.basename}-detail", args=[pk])

    def unchanged(self, request: Request, pk: int) -> Any:
        """The row, locked, if the request has its ETag. Raises a Problem."""
        row = self.locked(pk)
        match(request, etag_of(self.written(pk)), f"the {self.what}")
        return row


class OwnedParts(Owned):
    """Parts that one has, how many, and whether the loose ones are offered to others."""

    model = OwnedPart
    what = "part"
    queryset = OwnedPart.objects.all()
    serializer_class = OwnedPartSerializer
    filterset_class = OwnedPartFilter
    joined: ClassVar = {"part": ("part",)}

    def get_serializer_context(self) -> dict[str, Any]:
        member = self.request.user
        fitted = stock.fitted(member) if isinstance(member, Member) else {}
        return super().get_serializer_context() | {"fitted": fitted}

    @extend_schema(
        operation_id="add_owned_part",
        parameters=[KEY],
        tags=[GARAGE],
        summary="Count more pieces of a part as owned",
        request=MorePartsInput,
        responses={201: OwnedPartSerializer},
    )
    @once
    def create(self, request: Request) -> Response:
        asked = MorePartsInput(data=request.data)
        asked.is_valid(raise_exception=True)
        part = found(Part, asked.validated_data["part"], "part", "/api/v1/parts/")
        form = AddPartForm({"part": part.pk, "count": asked.validated_data["count"]})
        refuse(form)
        row = stock.add(request.user, form.cleaned_data["part"], form.cleaned_data["count"])
        return made(self.written(row.pk), self.address(row.pk))

    @extend_schema(
        operation_id="change_owned_part",
        parameters=[IF_MATCH],
        tags=[GARAGE],
        summary="Change how many are owned, and what is offered",
        request=OwnedPartInput,
        responses=OwnedPartSerializer,
    )
    def update(self, request: Request, pk: int) -> Response:
        with transaction.atomic():
            row = self.unchanged(request, pk)
            asked = OwnedPartInput(data=request.data)
            asked.is_valid(raise_exception=True)
            given = asked.validated_data
            fitted = stock.fitted(request.user)[row.part_id]
            form = OwnedPartForm({**given, "price": given["price"]}, instance=row, fitted=fitted)
            refuse(form)
            form.save()
        return changed(self.written(pk), self.address(pk))

    @extend_schema(
        operation_id="remove_owned_part",
        parameters=[IF_MATCH],
        tags=[GARAGE],
        summary="Take a part out of the garage",
        responses={204: None},
    )
    def destroy(self, request: Request, pk: int) -> Response:
        with transaction.atomic():
            row = self.unchanged(request, pk)
            if fitted := stock.fitted(request.user)[row.part_id]:
                said = f"{fitted} of it stand on your chassis: take them off there first."
                raise Problem("conflict", f"{said} Nothing was removed.")
            row.delete()
        return Response(status=204)


OwnedParts = described(OwnedParts, GARAGE)  # type: ignore[misc]


class OwnedBodies(Owned):
    """Bodies that one has."""

    model = OwnedBody
    what = "body"
    queryset = OwnedBody.objects.all()
    serializer_class = OwnedBodySerializer
    filterset_class = OwnedBodyFilter
    joined: ClassVar = {"body": ("body",)}

    @extend_schema(
        operation_id="add_owned_body",
        parameters=[KEY],
        tags=[GARAGE],
        summary="Count a body as owned",
        description="One that is owned already stays as it is.",
        request=BodyInput,
        responses={201: OwnedBodySerializer},
    )
    @once
    def create(self, request: Request) -> Response:
        asked = BodyInput(data=request.data)
        asked.is_valid(raise_exception=True)
        body = found(Body, asked.validated_data["body"], "body", "/api/v1/bodies/")
        row, _ = OwnedBody.objects.get_or_create(member=request.user, body=body)
        return made(self.written(row.pk), self.address(row.pk))

    @extend_schema(
        operation_id="remove_owned_body",
        parameters=[IF_MATCH],
        tags=[GARAGE],
        summary="Take a body out of the garage",
        responses={204: None},
    )
    def destroy(self, request: Request, pk: int) -> Response:
        with transaction.atomic():
            self.unchanged(request, pk).delete()
        return Response(status=204)


OwnedBodies = described(OwnedBodies, GARAGE, "owned bodies")  # type: ignore[misc]


class AllChassis(Owned):
    """Chassis as they are built now. What stands on one is counted among the parts owned."""

    model = Chassis
    what = "chassis"
    queryset = Chassis.objects.all()
    serializer_class = ChassisSerializer
    filterset_class = ChassisFilter
    joined: ClassVar = {"platform": ("position__platform",), "position": ("position",)}
    fetched: ClassVar = {"parts": (along("slots", ChassisPart, "part"),)}

    @extend_schema(
        operation_id="build_chassis",
        parameters=[KEY],
        tags=[GARAGE],
        summary="Build a chassis",
        description="Any slot may be left open. Parts that are not owned yet are counted as owned.",
        request=ChassisInput,
        responses={201: ChassisSerializer},
    )
    @once
    def create(self, request: Request) -> Response:
        chassis = build(request, None)
        return made(self.written(chassis.pk), self.address(chassis.pk))

    @extend_schema(
        operation_id="rebuild_chassis",
        parameters=[IF_MATCH],
        tags=[GARAGE],
        summary="Build a chassis otherwise",
        description="All of it is sent: a slot that is left out is open then.",
        request=ChassisInput,
        responses=ChassisSerializer,
    )
    def update(self, request: Request, pk: int) -> Response:
        with transaction.atomic():
            build(request, self.unchanged(request, pk))
        return changed(self.written(pk), self.address(pk))

    @extend_schema(
        operation_id="take_chassis_apart",
        parameters=[IF_MATCH],
        tags=[GARAGE],
        summary="Take a chassis apart",
        description="Its parts stay owned.",
        responses={204: None},
    )
    def destroy(self, request: Request, pk: int) -> Response:
        with transaction.atomic():
            self.unchanged(request, pk).delete()
        return Response(status=204)


AllChassis = described(AllChassis, GARAGE)  # type: ignore[misc]


def build(request: Request, mine: Chassis | None) -> Chassis:
    """The chassis that the request describes, stored, in place of ``mine`` if that is one."""
    asked = ChassisInput(data=request.data)
    asked.is_valid(raise_exception=True)
    given = asked.validated_data
    platform = found(Platform, given["platform"], "platform", "/api/v1/platforms/")
    holes = {row.name: row.pk for row in platform.positions.all()}
    if given["position"] not in holes:
        has = ", ".join(holes) or "none"
        raise ValidationError({"position": [f"The {platform} has no position of this name; it has {has}."]})
    chosen = {slot: slug for slot, slug in given["parts"].items() if slug}
    keys = dict(Part.objects.filter(slug__in=chosen.values()).values_list("slug", "pk"))
    if unknown := {
        slot: absent("part", slug, "/api/v1/parts/") for slot, slug in chosen.items() if slug not in keys
    }:
        raise ValidationError({"parts": unknown})
    shelf = shelf_for([platform], None)
    typed = {slot: str(keys[slug]) for slot, slug in chosen.items()}
    form = BuildForm(
        {"name": given["name"], Slot.POSITION.value: str(holes[given["position"]]), **typed},
        platform=platform,
        catalogue=shelf.catalogues[platform.pk],
        parts=shelf.parts,
        member=request.user,
        chassis=mine,
    )
    refuse(form, under=dict.fromkeys(given["parts"], "parts"))
    one = mine or Chassis(member=request.user)
    one.name = form.cleaned_data["name"]
    try:
        with transaction.atomic():
            stock.build(one, MountingPosition.objects.get(pk=holes[given["position"]]), form.filled())
    except IntegrityError as error:  # the name was taken since it was looked up
        said = "You have a chassis of this name already: choose another name."
        raise ValidationError({"name": [said]}) from error
    return one


def found(model: Any, slug: str, name: str, places: str) -> Any:
    """The row of ``model`` with this slug. Raises ValidationError at the field ``name``."""
    row = model._default_manager.filter(slug=slug).first()
    if row is None:
        raise ValidationError({name: absent(name, slug, places)})
    return row


def refuse(form: Any, under: Any = ()) -> None:
    """Raises ValidationError with what the form says is wrong, fields in ``under`` below that name."""
    if form.is_valid():
        return
    errors: dict[str, Any] = {}
    for name, said in form.errors.items():
        if name in under:
            errors.setdefault(under[name], {})[name] = list(said)
        else:
            errors["non_field_errors" if name == "__all__" else name] = list(said)
    raise ValidationError(errors)
