"""Is this car legal? A computing address that takes a car as JSON and stores nothing, and a posted setup
against one class or all of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import ValidationError

from club.api.racing import class_or_refused
from club.api.racing_mending import MendingSerializer, write_mending
from club.api.racing_rulings import (
    CheckSerializer,
    Names,
    counted,
    write_check,
    write_ruling,
)
from club.api.racing_written import RACING, ClauseInput, directs, put, things_named
from club.models import Clause, Member, RulebookEdition
from club.racing.cars import Subject, car_of, clause_of, subject_of_setup
from club.racing.checking import Rulebook, classes_without, matrix, rulebook_of, rulebooks_on
from club.racing.editions import MOST_CLAUSES, holds_on, today
from club.racing.mending import mend
from fitcalc import legality
from fitcalc import parts as calc
from fitcalc.dimensions import PartKind
from fitcalc.fit import evaluate
from fitcalc.legality import CLASS_QUANTITIES, Car, judge_all, worst
from fitcalc.parts import PairRules
from setups import models
from setups.api.asked import Named
from setups.api.comparing import Car as CarField
from setups.api.computing import Build, Compute, absent, body_given, stored
from setups.api.geometry import LONGEST_NAME, BodyInput, Measured, Strict, Text, Truth, Whole
from setups.api.permissions import READ, allows
from setups.api.posted import TuningInput
from setups.api.problems import Problem
from setups.api.records import library_pairs
from setups.api.shared import Shared, setup_or_refused
from setups.api.throttles import Computing
from setups.api.views import COMPUTING
from setups.services.cars import NotBuildable
from setups.translate import body_of

MOST_FITTED = 20
MeasuredInput: Any = type(
    "MeasuredInput",
    (Strict,),
    {"__doc__": "What was measured on the car, each with its doubt."}
    | {key: Measured(kind, required=False) for key, kind in CLASS_QUANTITIES.items()},
)
FittedInput: Any = type(
    "FittedInput",
    (Strict,),
    {"__doc__": "What else is on the car, by kind: slugs of parts. An empty list says that there is none."}
    | {
        kind.value: serializers.ListField(
            child=Text(max_length=LONGEST_NAME + 20), required=False, max_length=MOST_FITTED
        )
        for kind in PartKind
    },
)


class LegalityInput(Strict):
    """A car, and the rulebook that it is held against.

    The car is a posted setup’s, or a configuration (with ``body`` and ``tuning`` where they are known); what
    was ``measured`` counts before what is computed. The rulebook is that of ``race_class`` on the day ``on``
    (today without it), an ``edition`` by its number, or ``clauses`` of yours; without any of them every class
    is tried. ``seen`` answers clauses, by their number, that only eyes can. ``mend``: say what would make a
    posted setup legal, starting from what its caller owns.
    """

    car = CarField()
    body = Named(BodyInput(), "slug of a body", required=False, allow_null=True)
    tuning = TuningInput(required=False)
    measured = MeasuredInput(required=False, default=dict)
    fitted = FittedInput(required=False, default=dict)
    seen = serializers.DictField(child=Truth(), required=False, default=dict)
    race_class = Text(max_length=80, required=False, allow_null=True, help_text="Slug of a race class.")
    on = serializers.DateField(required=False, allow_null=True)
    edition = Whole(min_value=1, max_value=2**63 - 1, required=False, allow_null=True)
    clauses = serializers.ListField(
        child=ClauseInput(), required=False, allow_null=True, min_length=1, max_length=MOST_CLAUSES
    )
    mend = Truth(default=False)

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        named = [name for name in ("race_class", "edition", "clauses") if given.get(name)]
        errors: dict[str, Any] = {}
        if len(named) > 1:
            errors[named[1]] = ["Give one of race_class, edition and clauses: each names the rulebook."]
        if given.get("on") and named and named[0] != "race_class":
            errors["on"] = ["A day chooses an edition of a class: leave it out where the rulebook is named."]
        if given["seen"] and not named:
            errors["seen"] = ["Clauses of several classes have the same numbers: name one rulebook."]
        of_setup = isinstance(given["car"], Mapping) and "setup" in given["car"]
        for name in ("body", "tuning"):
            if of_setup and given.get(name):
                errors[name] = ["A setup brings its own: leave it out."]
        if given["mend"] and not (of_setup and named and named[0] != "clauses"):
            errors["mend"] = ["That is worked out for a posted setup under one class or edition."]
        if errors:
            raise ValidationError(errors)
        return given


class LegalityAnswerSerializer(serializers.Serializer):
    """The car under each rulebook. ``without``: slugs of the classes for which nothing holds on the day."""

    setup = serializers.IntegerField(allow_null=True)
    revision = serializers.IntegerField(allow_null=True)
    checks = CheckSerializer(many=True)
    without = serializers.ListField(child=serializers.CharField())
    mending = MendingSerializer(allow_null=True)


EXAMPLE = OpenApiExample(
    "A posted setup under one class",
    {"car": {"setup": 7}, "race_class": "club-twelfth", "measured": {"mass": {"value": 162.4}}},
    request_only=True,
)


@dataclass(frozen=True, slots=True)
class Asked:
    """The car as it is judged, and the setup that it comes from."""

    car: Car
    subject: Subject | None = None
    setup: int | None = None
    revision: int | None = None


class Legality(Compute):
    @extend_schema(
        operation_id="legality",
        tags=[COMPUTING],
        summary="Is this car legal?",
        description="Clause by clause, with doubt, margin and probability of conforming. Stores nothing. An "
        "aid: the published rulebook and the event’s officials decide.",
        request=LegalityInput,
        examples=[EXAMPLE],
        responses=LegalityAnswerSerializer,
    )
    def post(self, request: Request) -> Response:
        asked = LegalityInput(data=request.data)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        one = _asked(given)
        if given.get("clauses"):
            return self.answer(_written(one, [_by_own_clauses(given, one.car)], [], None))
        books, without = _books(request, given)
        if given["seen"]:
            one = replace(one, car=replace(one.car, seen=_seen(given, books[0].clauses)))
        mending = None
        if given["mend"] and one.subject is not None:
            member = request.user if isinstance(request.user, Member) and allows(request, READ) else None
            mending = mend(replace(one.subject, car=one.car), books[0], member)
        return self.answer(_answer(one, books, without, mending))


ON = OpenApiParameter("on", OpenApiTypes.DATE, description="The day whose editions hold; today without it.")
OF_CLASS = OpenApiParameter("race_class", str, description="Slug of one class; all of them without it.")
REVISION = OpenApiParameter("revision", int, description="Number of a revision; the newest without it.")


class QueryInput(Strict):
    """What the address says."""

    on = serializers.DateField(required=False)
    race_class = serializers.CharField(required=False, max_length=80)
    revision = serializers.IntegerField(required=False, min_value=1, max_value=2**31 - 1)


class LegalityOfSetup(Shared):
    """A posted setup, as computed and as other members measured it, under one class or every class."""

    def parameters(self) -> set[str]:
        return {"on", "race_class", "revision"}

    def get_throttles(self) -> list[Any]:
        return [Computing()]

    @extend_schema(
        operation_id="get_legality",
        parameters=[ON, OF_CLASS, REVISION],
        tags=[RACING],
        summary="Is a posted setup legal?",
        description="Under one class, or under every class. An aid: the published rulebook and the event’s "
        "officials decide.",
        responses=LegalityAnswerSerializer,
    )
    def get(self, request: Request, setup: int) -> Response:
        asked = QueryInput(data=request.query_params.dict())
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        found = setup_or_refused(setup)
        try:
            one = _of_setup(found, given.get("revision"))
        except NotBuildable as error:
            raise Problem("conflict", str(error)) from error
        books, without = _books(request, given)
        return Response(_answer(one, books, without, None))


def _asked(given: Mapping[str, Any]) -> Asked:
    """The car that was posted. Raises ValidationError that points at what is wrong with it."""
    named = given["car"]
    fitted = _fitted(given["fitted"])
    if isinstance(named, Mapping) and "setup" in named:
        posted = models.Setup.objects.exclude(state=models.Setup.State.DRAFT)
        setup = posted.select_related("current", "author").filter(pk=named["setup"]).first()
        if setup is None:
            said = "No setup has this number: /api/v1/setups/ lists those that there are."
            raise ValidationError({"car": {"setup": [said]}})
        try:
            one = _of_setup(setup, named.get("revision"))
        except NotBuildable as error:
            raise ValidationError({"car": [str(error)]}) from error
        except ValidationError as error:
            raise ValidationError({"car": error.detail}) from error
        car = replace(
            one.car,
            measured={**one.car.measured, **given["measured"]},
            fitted={**one.car.fitted, **fitted},
        )
        return replace(one, car=car)
    body = None if given.get("body") is None else body_given(given["body"])
    try:
        if isinstance(named, int):
            configuration, _, rows = stored(named)
        else:
            build = Build(named)
            configuration, rows = build.configuration(), list(build.rows.values())
    except ValidationError as error:
        detail: Any = error.detail
        raise ValidationError({"car": detail.get("configuration", detail)}) from error
    shell = calc.Body(id=None, name="", scale=configuration.platform.scale)
    if body is not None:
        shell = body_of(body) if isinstance(body, models.Body) else body
    report = evaluate(configuration, shell, library_pairs(rows) if rows else PairRules())
    car = car_of(report, body is not None, given.get("tuning") or {}, given["measured"])
    return Asked(replace(car, fitted={**car.fitted, **fitted}))


def _of_setup(setup: models.Setup, number: int | None) -> Asked:
    """A setup's car; the revision of ``number``, the newest without it. Raises NotBuildable."""
    revision = setup.current
    if number is not None:
        revision = setup.revisions.filter(number=number).first()
    if revision is None:
        raise ValidationError({"revision": ["The setup has no revision of this number."]})
    subject = subject_of_setup(setup, None if number is None else revision)
    return Asked(subject.car, subject, setup.pk, revision.number)


def _fitted(given: Mapping[str, list[str]]) -> dict[str, frozenset[int]]:
    slugs = {slug for names in given.values() for slug in names}
    rows = models.Part.objects.filter(slug__in=slugs).values_list("kind", "slug", "pk") if slugs else []
    known = {(kind, slug): pk for kind, slug, pk in rows}
    errors: dict[str, Any] = {}
    found = {}
    for kind, names in given.items():
        for place, slug in enumerate(names):
            if (kind, slug) not in known:
                said = absent(PartKind(kind).label, slug, f"/api/v1/parts/?kind={kind}")
                errors.setdefault(kind, {})[place] = said
        found[kind] = frozenset(known[kind, slug] for slug in names if (kind, slug) in known)
    if errors:
        raise ValidationError({"fitted": errors})
    return found


def _books(request: Request, given: Mapping[str, Any]) -> tuple[list[Rulebook], list[str]]:
    """The rulebooks that were asked for, and the classes that have none on the day."""
    if (number := given.get("edition")) is not None:
        rows = RulebookEdition.objects.select_related("race_class")
        edition = (rows if directs(request) else rows.published()).filter(pk=number).first()
        if edition is None:
            raise ValidationError({"edition": ["No edition that you may see has this number."]})
        return [rulebook_of(edition)], []
    on: date = given.get("on") or today()
    if slug := given.get("race_class"):
        race_class = class_or_refused(slug) if request.method == "GET" else _class(slug)
        holding = holds_on(race_class, on)
        if holding is None:
            said = f"No edition of {race_class} holds on {on:%-d %B %Y}: ask for another day."
            raise Problem("conflict", said)
        holding.race_class = race_class
        return [rulebook_of(holding)], []
    books = rulebooks_on(on)
    return books, [one.slug for one in classes_without(books)]


def _class(slug: str) -> Any:
    try:
        return class_or_refused(slug)
    except Problem as problem:
        raise ValidationError({"race_class": [str(problem.detail)]}) from problem


def _seen(given: Mapping[str, Any], clauses: Any) -> dict[Any, bool]:
    """Id of each clause that was answered by its number -> the answer. Raises ValidationError."""
    ids = {clause.number: clause.id for clause in clauses}
    said = ["The rulebook has no clause of this number."]
    errors = {number: said for number in given["seen"] if number not in ids}
    if errors:
        raise ValidationError({"seen": errors})
    return {ids[number]: answer for number, answer in given["seen"].items()}


def _by_own_clauses(given: Mapping[str, Any], car: Car) -> dict[str, Any]:
    """The car under the clauses that were posted with it."""
    known = things_named(given["clauses"])
    clauses, errors = [], {}
    for place, said in enumerate(given["clauses"]):
        row = Clause()
        try:
            named = put(row, said, known)
        except ValidationError as error:
            errors[place] = error.detail
            continue
        clauses.append(_unsaved(row, place, frozenset(one.pk for one in named)))
    numbers = [clause.number for clause in clauses]
    for place, number in enumerate(numbers if not errors else ()):
        if number in numbers[:place]:
            errors[place] = {"number": ["Another clause has this number: give each its own."]}
    if errors:
        raise ValidationError({"clauses": errors})
    rulings = judge_all(clauses, [replace(car, seen=_seen(given, clauses))])
    names = Names()
    names.learn(rulings.of(0))
    return {
        "edition": None,
        "verdict": worst(ruling.verdict for ruling in rulings.of(0)).value,
        "passes": rulings.legal[0],
        "counts": counted(ruling.verdict.value for ruling in rulings.of(0)),
        "rulings": [write_ruling(ruling, names, stored=False) for ruling in rulings.of(0)],
    }


def _unsaved(row: Clause, place: int, ids: frozenset[int]) -> legality.Clause:
    """A clause that is in no table, as it is judged; of a limit no item is read."""
    row.pk = place
    if row.kind == Clause.Kind.LIMIT:
        return clause_of(row)
    common = {"id": place, "number": row.number, "wording": row.wording, "kind": row.thing, "ids": ids}
    if row.kind == Clause.Kind.LIST:
        return legality.Listing(**common, allows=row.allows)
    return legality.Required(**common)


def _answer(one: Asked, books: list[Rulebook], without: list[str], mending: Any) -> dict[str, Any]:
    checks = matrix(one.car, books)
    names = Names()
    names.learn(row.ruling for check in checks for row in check.rows)
    written = [write_check(check, names) for check in checks]
    return _written(one, written, without, None if mending is None else write_mending(mending))


def _written(one: Asked, checks: list[Any], without: list[str], mending: Any) -> dict[str, Any]:
    return {
        "setup": one.setup,
        "revision": one.revision,
        "checks": checks,
        "without": without,
        "mending": mending,
    }
