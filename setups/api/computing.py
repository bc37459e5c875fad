"""Answers computed from what is posted: nothing is stored, and anybody may ask."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from drf_spectacular.utils import extend_schema
from orjson import Fragment
from rest_framework.exceptions import UnsupportedMediaType
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import ValidationError

from fitcalc import parts as calc
from fitcalc.fit import evaluate
from fitcalc.parts import PairRules, Slot
from fitcalc.solver import Order, solve
from setups import models
from setups.marks import CATALOGUE, mark_of
from setups.services.fitting import PlatformAnswer, platforms_for, solved
from setups.services.kept import columns, kept
from setups.translate import (
    LISTS,
    SLOT_KINDS,
    body_of,
    build_configuration,
    configuration_of,
    part_of,
    platform_of,
    position_of,
    shelf_for,
)

from . import examples, reports
from .asked import FitInput, Slug, SolveInput
from .limits import refuse_the_endless
from .problems import shown
from .records import (
    Inline,
    inline_body,
    inline_catalogue,
    inline_part,
    inline_platform,
    inline_position,
    library_pairs,
)
from .rendering import write
from .throttles import Computing
from .views import COMPUTING, Open


def absent(what: str, name: str, places: str) -> list[str]:
    return [f"No {what} has the slug {shown(name)}: {places} lists those that there are."]


def body_given(given: Any) -> models.Body | calc.Body:
    """The body; one of the library comes with all that ``body_of`` reads."""
    if not isinstance(given, Slug):
        return inline_body(given)
    found = models.Body.objects.prefetch_related("dimensions", "part_rules").filter(slug=given).first()
    if found is None:
        raise ValidationError({"body": absent("body", given, "/api/v1/bodies/")})
    return found


def _record(body: models.Body | calc.Body) -> calc.Body:
    return body_of(body) if isinstance(body, models.Body) else body


class Build:
    """A configuration put together from what was posted; ``errors`` says what is wrong with it."""

    def __init__(self, given: Mapping[str, Any]) -> None:
        self.errors: dict[str, Any] = {}
        self.platform = self._platform(given["platform"])
        self.position = self._position(given["position"])
        slugs = {name for name in given["parts"].values() if isinstance(name, Slug)}
        rows = models.Part.objects.filter(slug__in=slugs).prefetch_related(
            "dimensions", "body_rules", "fitments"
        )
        self.rows = {row.slug: row for row in rows}
        self.filled = {
            slot: None if one is None else self._part(Slot(slot), one) for slot, one in given["parts"].items()
        }
        if self.errors:
            raise ValidationError({"configuration": self.errors})

    def configuration(self) -> calc.Configuration:
        platform = self.platform
        record = platform_of(platform) if isinstance(platform, models.Platform) else platform
        return build_configuration(record, self.position, self.filled)

    def _platform(self, given: Any) -> models.Platform | calc.Platform | None:
        if not isinstance(given, Slug):
            return inline_platform(given)
        found = models.Platform.objects.prefetch_related("positions").filter(slug=given).first()
        if found is None:
            self.errors["platform"] = absent("platform", given, "/api/v1/platforms/")
        return found

    def _position(self, given: Any) -> calc.Position | None:
        if not isinstance(given, Slug):
            return inline_position(given)
        if not isinstance(self.platform, models.Platform):
            if self.platform is not None:
                self.errors["position"] = [
                    "Your own platform has no named positions: give its name and shift."
                ]
            return None
        positions = {position.name: position for position in self.platform.positions.all()}
        if given not in positions:
            has = ", ".join(positions) or "none"
            self.errors["position"] = [f"{self.platform} has no position {shown(given)}; it has {has}."]
            return None
        return position_of(positions[given])

    def _part(self, slot: Slot, given: Any) -> calc.Part | None:
        kind = SLOT_KINDS[slot]
        if not isinstance(given, Slug):
            return inline_part(kind, given, slot.value)
        row = self.rows.get(given)
        record = None if row is None else part_of(row)
        said = None
        if row is None:
            said = absent("part", given, f"/api/v1/parts/?kind={kind.value}")
        elif row.kind != kind:
            said = [f"{row} is a {row.get_kind_display()}: this slot takes a {kind.label}."]
        elif record is None:
            said = [f"{row} lacks a dimension that every {kind.label} needs: give its figures instead."]
        elif isinstance(self.platform, models.Platform) and self.platform.pk not in {
            fitment.platform_id for fitment in row.fitments.all()
        }:
            slugs = f"/api/v1/parts/?platform={self.platform.slug}&kind={kind.value}"
            said = [f"{row} is not sold for {self.platform}: {slugs} lists those that are."]
        if said:
            self.errors.setdefault("parts", {})[slot.value] = said
        return record


def stored(pk: int) -> tuple[calc.Configuration, models.Platform, list[models.Part]]:
    """A configuration of the library, its platform and the parts in it."""
    rows = models.Configuration.objects.select_related("platform", "position")
    slots = rows.prefetch_related("slots__part__dimensions", "slots__part__body_rules")
    found = slots.filter(pk=pk).first()
    if found is None:
        said = f"No configuration has the number {shown(pk, 20)}: /api/v1/configurations/ lists them."
        raise ValidationError({"configuration": [said]})
    try:
        configuration = configuration_of(found)
    except ValueError as error:
        raise ValidationError({"configuration": [f"{found} is not complete: {error}."]}) from error
    return configuration, found.platform, [slot.part for slot in found.slots.all()]


class Compute(Open):
    """A computation: throttled, never cached."""

    def get_throttles(self) -> list[Any]:
        return [Computing()]

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        # A form may have been read on the way here, and would then look like no content at all.
        empty = request.META.get("CONTENT_LENGTH") in (None, "", "0")
        if not empty and self.get_content_negotiator().select_parser(request, self.get_parsers()) is None:
            raise UnsupportedMediaType(request.content_type)

    def answer(self, content: Any) -> Response:
        return Response(content, headers={"Cache-Control": "no-store"})


class Fit(Compute):
    @extend_schema(
        operation_id="fit",
        tags=[COMPUTING],
        summary="Does this configuration fit under this body?",
        description="Every rule with its doubt. Stores nothing; library and inline things may be mixed.",
        request=FitInput,
        examples=examples.FIT,
        responses=reports.FitAnswerSerializer,
    )
    def post(self, request: Request) -> Response:
        asked = FitInput(data=request.data)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        body = body_given(given["body"])
        platform: models.Platform | calc.Platform | None
        if isinstance(given["configuration"], int):
            configuration, platform, rows = stored(given["configuration"])
        else:
            build = Build(given["configuration"])
            configuration, platform, rows = build.configuration(), build.platform, list(build.rows.values())
        pairs = library_pairs(rows) if rows else PairRules()
        report = evaluate(configuration, _record(body), pairs)
        assert platform is not None
        named = {"body": reports.named(body), "platform": reports.named(platform)}
        return self.answer(named | reports.write_report(report, reports.Names.of(rows)))


_OPTIONS = ("limit", "misses", "distinct", "most_changes")


class Solve(Compute):
    @extend_schema(
        operation_id="solve",
        tags=[COMPUTING],
        summary="What fits this body?",
        description="Every configuration that fits, best first, and the nearest that do not, with what would "
        "mend them. Stores nothing.",
        request=SolveInput,
        examples=examples.SOLVE,
        responses=reports.SolveAnswerSerializer,
    )
    def post(self, request: Request) -> Response:
        asked = SolveInput(data=request.data)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        body = body_given(given["body"])
        if not isinstance(body, models.Body) or "catalogue" in given:
            return self.answer(self._solved(given, body))
        mark = mark_of(CATALOGUE, body._state.db)
        if not mark:
            return self.answer(self._solved(given, body))
        rows = [body, *body.dimensions.all(), *sorted(body.part_rules.all(), key=lambda rule: rule.pk)]
        hangs_on = [mark, columns(rows), sorted((name, given[name]) for name in given if name != "body")]
        text = kept("solve", hangs_on, lambda: write(self._solved(given, body)).decode())
        return self.answer(Fragment(text.encode()))

    def _solved(self, given: Any, body: models.Body | calc.Body) -> dict[str, Any]:
        """What a ``SolveAnswerSerializer`` describes."""
        options = {name: given[name] for name in _OPTIONS if name in given} | {"order": Order(given["order"])}
        search = self._in_catalogue if "catalogue" in given else self._in_library
        found, names = search(given, body, options)
        platforms = [
            {
                "platform": reports.named(one.platform),
                "fitting": one.solution.fitting,
                "combinations": one.solution.combinations,
                "gaps": [slot.value for slot in one.solution.gaps],
                "endless": one.solution.endless,
                "matches": [reports.write_match(match, names) for match in one.solution.matches],
                "near_misses": [reports.write_match(match, names) for match in one.solution.near_misses],
            }
            for one in found
        ]
        return {"body": reports.named(body), "platforms": platforms}

    def _in_catalogue(
        self, given: Any, body: Any, options: Any
    ) -> tuple[list[PlatformAnswer], reports.Names]:
        try:
            catalogue = inline_catalogue(given["catalogue"])
        except ValidationError as error:
            raise ValidationError({"catalogue": error.detail}) from error
        ids = {part.id.name for name in LISTS.values() for part in getattr(catalogue, name)}
        _refuse_absent(given["owned"], ids, "No part of the catalogue has the id {}.")
        needs = _record(body)
        refuse_the_endless(catalogue, needs)
        owned = {Inline(name) for name in given["owned"]}
        return [
            PlatformAnswer(catalogue.platform, solve(catalogue, needs, owned=owned, **options))
        ], reports.Names()

    def _in_library(self, given: Any, body: Any, options: Any) -> tuple[list[PlatformAnswer], reports.Names]:
        if "platforms" in given:
            platforms = list(models.Platform.objects.filter(slug__in=given["platforms"]))
            slugs = {platform.slug for platform in platforms}
            said = "No platform has the slug {}: /api/v1/platforms/ lists those that there are."
            _refuse_absent(given["platforms"], slugs, said, "platforms")
        else:
            platforms = list(platforms_for(body))
        owned = dict(models.Part.objects.filter(slug__in=given["owned"]).values_list("slug", "pk"))
        _refuse_absent(
            given["owned"], owned, "No part has the slug {}: /api/v1/parts/ lists those that there are."
        )
        shelf = shelf_for(platforms, body if isinstance(body, models.Body) else None)
        found = solved(platforms, shelf, _record(body), owned=set(owned.values()), **options)
        return found, reports.Names.of(shelf.parts.values())


def _refuse_absent(names: Iterable[str], known: Any, said: str, where: str = "owned") -> None:
    errors = {index: [said.format(shown(name))] for index, name in enumerate(names) if name not in known}
    if errors:
        raise ValidationError({where: errors})
