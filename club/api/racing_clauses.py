"""The clauses of an edition: anybody reads those of a published one, race directors write a draft's."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.urls import reverse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from club.api.racing import doing, draft, edition_or_refused, full
from club.api.racing_written import (
    RACING,
    ClauseInput,
    ClauseSerializer,
    EditionSerializer,
    edition_address,
    put,
    things_named,
)
from club.models import Clause, RulebookEdition
from club.racing import editions
from club.racing.editions import ITEMS
from setups.api.etag import etag_of, match
from setups.api.geometry import Strict, Truth
from setups.api.idempotency import once
from setups.api.shared import IF_MATCH, KEY, Shared, changed, made, nobody


def clause_in_full(pk: int) -> dict[str, Any]:
    """The clause as a GET has it."""
    return ClauseSerializer(Clause.objects.prefetch_related(ITEMS).get(pk=pk)).data


class Clauses(Shared):
    varies = True

    @extend_schema(
        operation_id="list_clauses",
        tags=[RACING],
        summary="An edition's clauses, in their order",
        responses=ClauseSerializer(many=True),
    )
    def get(self, request: Request, race_class: str, pk: int) -> Response:
        edition = edition_or_refused(request, race_class, pk)
        return Response(ClauseSerializer(editions.clauses_of(edition), many=True).data)

    @extend_schema(
        operation_id="add_clause",
        parameters=[KEY],
        tags=[RACING],
        summary="Write a clause",
        description="It comes last. For race directors, in a draft.",
        request=ClauseInput,
        responses={201: ClauseSerializer},
    )
    @once
    def post(self, request: Request, race_class: str, pk: int) -> Response:
        with transaction.atomic():
            edition = draft(request, race_class, pk)
            row = _store(request, Clause(edition=edition))
        return made(clause_in_full(row.pk), reverse("api-clause", args=[race_class, pk, row.pk]))


class OneClause(Shared):
    varies = True

    @extend_schema(
        operation_id="get_clause", tags=[RACING], summary="One clause", responses=ClauseSerializer
    )
    def get(self, request: Request, race_class: str, pk: int, clause: int) -> Response:
        edition = edition_or_refused(request, race_class, pk)
        return Response(clause_in_full(_clause(edition, clause).pk))

    @extend_schema(
        operation_id="change_clause",
        parameters=[IF_MATCH],
        tags=[RACING],
        summary="Write a clause anew",
        description="All of it is sent. For race directors, in a draft.",
        request=ClauseInput,
        responses=ClauseSerializer,
    )
    def put(self, request: Request, race_class: str, pk: int, clause: int) -> Response:
        with transaction.atomic():
            row = _clause(draft(request, race_class, pk), clause)
            match(request, etag_of(clause_in_full(row.pk)), "the clause")
            _store(request, row)
        return changed(clause_in_full(row.pk), request.path)

    @extend_schema(
        operation_id="remove_clause",
        parameters=[IF_MATCH],
        tags=[RACING],
        summary="Take a clause out",
        description="For race directors, out of a draft.",
        responses={204: None},
    )
    def delete(self, request: Request, race_class: str, pk: int, clause: int) -> Response:
        with transaction.atomic():
            row = _clause(draft(request, race_class, pk), clause)
            match(request, etag_of(clause_in_full(row.pk)), "the clause")
            doing(lambda: editions.remove_clause(row))
        return Response(status=204)


class MoveInput(Strict):
    """Up: it changes places with the one before; else with the one after. At the end nothing happens."""

    up = Truth()


class Move(Shared):
    @extend_schema(
        operation_id="move_clause",
        parameters=[KEY, IF_MATCH],
        tags=[RACING],
        summary="Move a clause up or down",
        description="If-Match holds the edition's ETag, whose order is changed. For race directors.",
        request=MoveInput,
        responses=EditionSerializer,
    )
    @once
    def post(self, request: Request, race_class: str, pk: int, clause: int) -> Response:
        with transaction.atomic():
            edition = draft(request, race_class, pk)
            row = _clause(edition, clause)
            match(request, etag_of(full(pk)), "the edition")
            asked = MoveInput(data=request.data)
            asked.is_valid(raise_exception=True)
            doing(lambda: editions.move(row, asked.validated_data["up"]))
        return changed(full(pk), edition_address(edition))


def _clause(edition: RulebookEdition, pk: int) -> Clause:
    rows = Clause.objects.filter(edition=edition).select_related("edition").prefetch_related(ITEMS)
    found = rows.filter(pk=pk).first() if pk < 2**63 else None
    if found is None:
        raise nobody("clause", pk, reverse("api-clause-list", args=[edition.race_class.slug, edition.pk]))
    return found


def _store(request: Request, row: Clause) -> Clause:
    asked = ClauseInput(data=request.data)
    asked.is_valid(raise_exception=True)
    named = put(row, asked.validated_data, things_named([asked.validated_data]))
    saved: Clause = doing(lambda: editions.save_clause(row, named))
    return saved
