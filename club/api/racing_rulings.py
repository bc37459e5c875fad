"""Rulings as JSON: one clause on one car, and a car under a rulebook."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.urls import reverse
from rest_framework import serializers

from club.api.racing_filters import VERDICTS
from club.api.racing_written import RACING, THINGS, edition_address
from club.models import RulebookEdition
from fitcalc.legality import BODY, CLASS_QUANTITIES, Limit, Ruling, Source
from setups.api.records import Inline
from setups.api.reports import UNITS, QuantitySerializer, choices, quantity_or_none, rounded
from setups.models import Body, Part

__all__ = ["RACING", "CheckSerializer", "Names", "RulingSerializer", "write_ruling"]

SOURCES = choices(Source)
_QUANTITIES = [(kind.key, kind.label) for kind in CLASS_QUANTITIES.values()]


class CulpritSerializer(serializers.Serializer):
    """What is on the car and may not be; of one of yours ``url`` is null."""

    thing = serializers.ChoiceField(THINGS)
    slug = serializers.CharField(help_text="Or the id that you gave.")
    url = serializers.CharField(allow_null=True)


class RulingSerializer(serializers.Serializer):
    """One clause on the car.

    complies; not_checked: nothing is known; too_close: in the guard band, or computed near the limit;
    does_not_comply. ``passes`` is what the clause's decision rule makes of it, null where nothing is known.
    ``value`` is what counted, by ``source``; ``en`` holds what was measured against what is ``computed``, and
    ``disagrees`` where it is beyond 1. ``accept_low`` and ``accept_high`` are the limits after the guard
    band, ``margin`` the distance to the nearer limit, positive inside; ``probability`` is that of conforming.
    ``change`` is what the quantity must change by to be accepted. The risks are those of JCGM 106, 9.3.
    """

    clause = serializers.IntegerField(allow_null=True, help_text="Id of the clause; null for one of yours.")
    number = serializers.CharField(allow_blank=True)
    wording = serializers.CharField(allow_blank=True)
    quantity = serializers.ChoiceField(_QUANTITIES, allow_null=True)
    unit = serializers.ChoiceField(UNITS, allow_null=True)
    verdict = serializers.ChoiceField(VERDICTS)
    passes = serializers.BooleanField(allow_null=True)
    source = serializers.ChoiceField(SOURCES, allow_null=True)
    value = QuantitySerializer(allow_null=True)
    computed = QuantitySerializer(allow_null=True)
    en = serializers.FloatField(allow_null=True)
    disagrees = serializers.BooleanField()
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    accept_low = serializers.FloatField(allow_null=True)
    accept_high = serializers.FloatField(allow_null=True)
    margin = serializers.FloatField(allow_null=True)
    change = serializers.FloatField(allow_null=True)
    probability = serializers.FloatField(allow_null=True)
    consumers_risk = serializers.FloatField(allow_null=True)
    producers_risk = serializers.FloatField(allow_null=True)
    culprits = CulpritSerializer(many=True)


class Names:
    """What parts and bodies are called: slugs for those of the library, one query a table, asked once."""

    def __init__(self) -> None:
        self._slugs: dict[tuple[bool, Any], str] = {}

    def learn(self, rulings: Iterable[Ruling]) -> None:
        """Look up all that ``rulings`` name."""
        wanted: dict[bool, set[Any]] = {True: set(), False: set()}
        for ruling in rulings:
            of_bodies = kind_of(ruling) == BODY
            wanted[of_bodies] |= {one for one in ruling.culprits if isinstance(one, int)}
        for of_bodies, model in ((True, Body), (False, Part)):
            keys = {key for key in wanted[of_bodies] if (of_bodies, key) not in self._slugs}
            if keys:
                rows = model._default_manager.filter(pk__in=keys).values_list("pk", "slug")
                self._slugs |= {(of_bodies, pk): slug for pk, slug in rows}

    def __call__(self, kind: str, key: Any) -> dict[str, Any]:
        if isinstance(key, Inline):
            return {"thing": kind, "slug": key.name, "url": None}
        slug = self._slugs[kind == BODY, key]
        view = "api-body-detail" if kind == BODY else "api-part-detail"
        return {"thing": kind, "slug": slug, "url": reverse(view, args=[slug])}


def kind_of(ruling: Ruling) -> str:
    return getattr(ruling.clause, "kind", "")


def write_ruling(ruling: Ruling, names: Names, stored: bool = True) -> dict[str, Any]:
    """What a ``RulingSerializer`` describes; ``stored``: the clause is one of the library's."""
    clause = ruling.clause
    limit = clause if isinstance(clause, Limit) else None
    figures = (
        "en",
        "low",
        "high",
        "accept_low",
        "accept_high",
        "margin",
        "change",
        "probability",
        "consumers_risk",
        "producers_risk",
    )
    return {
        "clause": clause.id if stored else None,
        "number": clause.number,
        "wording": clause.wording,
        "quantity": limit and limit.quantity,
        "unit": limit and limit.unit.value,
        "verdict": ruling.verdict.value,
        "passes": ruling.passes,
        "source": ruling.source and ruling.source.value,
        "value": quantity_or_none(ruling.value),
        "computed": quantity_or_none(ruling.computed),
        "disagrees": ruling.disagrees,
        "culprits": [names(kind_of(ruling), one) for one in ruling.culprits],
        **{name: rounded(getattr(ruling, name)) for name in figures},
    }


class CheckedEditionSerializer(serializers.Serializer):
    """The edition that a car was held against."""

    race_class = serializers.CharField(help_text="Slug of the class.")
    number = serializers.IntegerField()
    name = serializers.CharField()
    valid_from = serializers.DateField()
    url = serializers.CharField()


class CountsSerializer(serializers.Serializer):
    """How many have each verdict."""

    complies = serializers.IntegerField()
    not_checked = serializers.IntegerField()
    too_close = serializers.IntegerField()
    does_not_comply = serializers.IntegerField()


class CheckSerializer(serializers.Serializer):
    """A car under one rulebook: the gravest verdict, what the decision rules make of it (null while something
    is open), and clause by clause. ``edition`` is null for clauses of yours."""

    edition = CheckedEditionSerializer(allow_null=True)
    verdict = serializers.ChoiceField(VERDICTS)
    passes = serializers.BooleanField(allow_null=True)
    counts = CountsSerializer()
    rulings = RulingSerializer(many=True)


def write_edition(edition: RulebookEdition | None) -> dict[str, Any] | None:
    if edition is None:
        return None
    return {
        "race_class": edition.race_class.slug,
        "number": edition.pk,
        "name": edition.name,
        "valid_from": edition.valid_from.isoformat(),
        "url": edition_address(edition),
    }


def write_check(check: Any, names: Names) -> dict[str, Any]:
    """What a ``CheckSerializer`` describes, of a ``Check``; ``names`` has learnt its rulings."""
    return {
        "edition": write_edition(check.edition),
        "verdict": check.verdict.value,
        "passes": check.passes,
        "counts": check.counts,
        "rulings": [write_ruling(row.ruling, names) for row in check.rows],
    }


def counted(verdicts: Iterable[str]) -> Mapping[str, int]:
    found = dict.fromkeys((value for value, _ in VERDICTS), 0)
    for verdict in verdicts:
        found[verdict] += 1
    return found
