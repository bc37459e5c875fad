"""Find a setup: the words and facets of an address, and how many setups each facet's value would leave.

A facet's counts are of the setups that the words and all *other* facets leave. All of them come in one
statement, whose parts read the same conditions that list the setups: with words, the setups that these
match are looked for once and every facet counts those; without, each part reads nothing but the index that
holds all facets' columns.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.core.exceptions import EmptyResultSet, FullResultSet
from django.db import connections
from django.db.models import Q, QuerySet

from fitcalc.dimensions import CAR_DIMENSIONS, PART_DIMENSIONS
from setups.filters import WHEELBASE_STEP, Span, any_span, offset_of
from setups.models import Body, Platform, Setup
from setups.models.setup import LISTED, Surface
from setups.services.facets import MOST_NAMED, Asked, Counted, Facet, known_scales, span_counts

EVIDENCE, RECENT, LAP = "evidence", "recent", "lap"
LENGTHS = {"front": "front_width", "wheelbase": "wheelbase"}
OFFSETS = {"front_offset": "front_offset", "rear_offset": "rear_offset"}
NAMED = {"body": "body_id", "circuit": "circuit", "author": "author_id"}
"""Facets of which there may be any number; their columns."""
JOINT = ("platform", "scale", "state", "class", "surface")
"""Facets with few values, counted together."""
_WITHDRAWN = Setup.State.WITHDRAWN.value


@dataclass
class SetupSearch(Asked):
    """What an address asks for of the setups; ``member``, who asks, finds what they withdrew."""

    LABELS = {
        "body": "Body",
        "platform": "Platform",
        "scale": "Scale",
        "state": "Standing",
        "class": "Class",
        "surface": "Surface",
        "circuit": "Circuit",
        "front": "Front width",
        "front_offset": "Front offset",
        "rear_offset": "Rear offset",
        "wheelbase": "Wheelbase",
        "author": "Member",
    }
    MEANINGS = {
        "body": "The body on it.",
        "platform": "The chassis below it.",
        "scale": "How many times smaller than the full-size car.",
        "state": "Verified: two members other than the author measured it and agree with what is computed. "
        "Disputed: somebody's measurement contradicts it.",
        "class": "The race class that it was built for.",
        "surface": "What it ran on.",
        "circuit": "Where it ran. Choose one, and the setups can be put in the order of their best laps.",
        "front": CAR_DIMENSIONS["front_width"].meaning + " Rounded to whole millimetres.",
        "front_offset": PART_DIMENSIONS["offset"].meaning,
        "rear_offset": PART_DIMENSIONS["offset"].meaning,
        "wheelbase": CAR_DIMENSIONS["wheelbase"].meaning + " Rounded to whole millimetres.",
        "author": "Who posted it.",
    }
    ORDERS = (EVIDENCE, RECENT, LAP)

    member: int | None = None
    _keys: dict[str, dict[str, int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        rows = Platform.objects.order_by("name").values_list("pk", "slug", "name", "scale")
        self.platforms = {pk: (slug, name, scale) for pk, slug, name, scale in rows}
        super().__post_init__()
        if self.sort == LAP and not self.one_circuit:
            self.sort = EVIDENCE

    # What the address names

    def _known(self, key: str, values: list[str]) -> list[str]:
        if key == "platform":
            slugs = {slug for slug, _, _ in self.platforms.values()}
            return [value for value in values if value in slugs]
        if key == "scale":
            return known_scales(values)
        if key == "state":
            return [value for value in values if value in LISTED or (value == _WITHDRAWN and self.member)]
        if key == "surface":
            return [value for value in values if value in Surface.values]
        if key == "circuit":
            known = set(Setup.objects.listed().filter(circuit__in=values).values_list("circuit", flat=True))
            return [value for value in values if value in known]
        if key in OFFSETS:
            return [value for value in values if offset_of(value) is not None]
        if key in LENGTHS:
            return [value for value in values if Span.read(value, WHEELBASE_STEP) is not None]
        model, named = _NAMED_BY[key]
        self._keys[key] = dict(model.objects.filter(**{f"{named}__in": values}).values_list(named, "pk"))
        return [value for value in values if value in self._keys[key]]

    @property
    def one_circuit(self) -> bool:
        """True if laps may be compared: all are of one circuit."""
        return len(self.chosen["circuit"]) == 1

    # Setups

    def setups(self, without: Iterable[str] = ()) -> QuerySet[Setup]:
        """The setups asked for; ``without`` leaves facets out."""
        found = Setup.objects.matching(self.text)
        if _WITHDRAWN in self.chosen["state"]:
            found = found.filter(Q(state__in=LISTED) | Q(state=_WITHDRAWN, author=self.member))
        elif "state" in without or not self.chosen["state"]:
            found = found.listed()
        return found.filter(self._narrowing(without))

    def _narrowing(self, without: Iterable[str]) -> Q:
        asked = Q()
        for key, values in self.chosen.items():
            if values and key not in without:
                asked &= self._condition(key, values)
        return asked

    def _condition(self, key: str, values: list[str]) -> Q:
        if key == "platform":
            return Q(platform__in=[pk for pk, (slug, *_) in self.platforms.items() if slug in values])
        if key == "scale":
            return Q(platform__in=[pk for pk, (*_, scale) in self.platforms.items() if str(scale) in values])
        if key in ("state", "surface", "circuit"):
            return Q(**{f"{key}__in": values})
        if key in OFFSETS:
            return Q(**{f"{OFFSETS[key]}__in": [offset_of(value) for value in values]})
        if key in LENGTHS:
            return any_span(values, LENGTHS[key], WHEELBASE_STEP)
        column = "race_class" if key == "class" else key
        return Q(**{f"{column}__in": [self._keys[key][value] for value in values]})

    def ordered(self) -> QuerySet[Setup]:
        """The setups asked for as the page lists them."""
        found = self.setups()
        if self.sort == LAP:
            found = found.filter(best_lap__isnull=False).order_by("best_lap", "pk")
        elif self.sort == RECENT:
            found = found.order_by("-posted_at", "-pk")
        else:
            found = found.order_by("-state", "-confirmations", "-posted_at", "-pk")
        return found.select_related("author", "body", "platform", "race_class").defer("words")

    def total_of_words(self) -> int:
        """How many setups the words alone would find."""
        return Setup.objects.listed().matching(self.text).count()

    # Counts

    @cached_property
    def counts(self) -> dict[str, list[tuple[str | None, int]]]:
        """For each part of the count its values as text; one statement."""
        connection = connections[Setup.objects.db]
        quote = connection.ops.quote_name
        table = quote(Setup._meta.db_table)
        common, given = "", []
        if self.text:
            where, given = _where(self.setups(without=self.LABELS))
            columns = ", ".join(quote(name) for name in _COLUMNS)
            common = f"WITH found AS MATERIALIZED (SELECT {columns} FROM {table} WHERE {where}) "
        parts: list[str] = []
        params: list[Any] = list(given)

        def part(key: str, value: str, group: str, found: QuerySet[Setup], most: int | None = None) -> None:
            where, own = _where(found)
            source = f"found AS {table}" if self.text else table
            limit = f" ORDER BY number DESC, value LIMIT {most}" if most else ""
            parts.append(
                f"SELECT * FROM (SELECT '{key}' AS facet, {value} AS value, COUNT(*) AS number "
                f"FROM {source} WHERE {where} GROUP BY {group}{limit}) AS {key}_{len(parts)}"
            )
            params.extend(own)

        part("joint", _JOINT_VALUE, _JOINT_GROUP, self._counted(JOINT))
        if self.sort == LAP:
            timed = self._counted(()).filter(best_lap__isnull=False)
            part("timed", "''", "2", timed)
        for key, column in LENGTHS.items():
            value = f"CAST(ROUND({column}) AS text)"
            part(key, value, f"ROUND({column})", self._counted([key]))
        for key, column in OFFSETS.items():
            part(key, f"CAST({column} AS text)", column, self._counted([key]))
        for key, column in NAMED.items():
            others = self._counted([key])
            if key == "circuit":
                others = others.exclude(circuit="")
            part(key, f"CAST({column} AS text)", column, others, MOST_NAMED)
            if self.chosen[key]:
                part(key, f"CAST({column} AS text)", column, self._counted(()))
        if self.member and _WITHDRAWN not in self.chosen["state"] and not self.text:
            own = Setup.objects.filter(state=_WITHDRAWN, author=self.member)
            part("withdrawn", "''", "facet", own.filter(self._narrowing(["state"])))
        found: dict[str, dict[str | None, int]] = {}
        with connection.cursor() as cursor:
            cursor.execute(common + " UNION ALL ".join(parts), params)
            for key, value, number in cursor.fetchall():
                found.setdefault(key, {})[value] = number
        return {key: list(values.items()) for key, values in found.items()}

    def _counted(self, without: Iterable[str]) -> QuerySet[Setup]:
        """As ``setups``; what the words say is left to the common part."""
        if not self.text:
            return self.setups(without)
        narrowed = Setup.objects.filter(self._narrowing(without))
        return narrowed if "state" in without or self.chosen["state"] else narrowed.listed()

    @cached_property
    def _joint(self) -> list[tuple[dict[str, str], int]]:
        """Setups by their values of the facets that are counted together."""
        rows = []
        for value, number in self.counts.get("joint", []):
            platform, state, surface, race_class = (value or "").split(",")
            slug, _, scale = self.platforms[int(platform)]
            of = {"platform": slug, "scale": str(scale), "state": state, "surface": surface}
            rows.append((of | {"class": race_class}, number))
        return rows

    def _joint_counts(self, key: str) -> dict[str, int]:
        """How many setups have each value of ``key``, the others of the joint facets being as chosen."""
        chosen = {
            other: {str(self._keys["class"][slug]) for slug in values} if other == "class" else set(values)
            for other, values in self.chosen.items()
            if other in JOINT and other != key and values
        }
        counts: dict[str, int] = {}
        for of, number in self._joint:
            if all(of[other] in values for other, values in chosen.items()):
                counts[of[key]] = counts.get(of[key], 0) + number
        return counts

    @cached_property
    def total(self) -> int:
        """How many setups the page lists."""
        if self.sort == LAP:
            return sum(number for _, number in self.counts.get("timed", []))
        states = self._joint_counts("state")
        asked = self.chosen["state"] or states
        return sum(number for state, number in states.items() if state in asked)

    # Facets

    @cached_property
    def facets(self) -> list[Facet]:
        """All facets that have anything to choose."""
        counted = {
            "body": self._named("body", Body, "name"),
            "platform": self._platforms(),
            "scale": self._scales(),
            "state": self._states(),
            "class": self._classes(),
            "surface": [(v, label, self._joint_counts("surface").get(v, 0)) for v, label in Surface.choices],
            "circuit": [(v or "", v or "", n) for v, n in self.counts.get("circuit", [])],
            "author": self._named("author", _AUTHOR, ""),
        }
        counted |= {key: self._lengths(key) for key in LENGTHS}
        counted |= {key: self._offsets(key) for key in OFFSETS}
        found = [self.facet(key, counted[key]) for key in self.LABELS]
        return [facet for facet in found if facet.options]

    def _platforms(self) -> Counted:
        counts = self._joint_counts("platform")
        return [(slug, name, counts.get(slug, 0)) for slug, name, _ in self.platforms.values()]

    def _scales(self) -> Counted:
        counts = dict.fromkeys(self.chosen["scale"], 0) | self._joint_counts("scale")
        return [(scale, f"1:{scale}", counts[scale]) for scale in sorted(counts, key=int)]

    def _states(self) -> Counted:
        counts = self._joint_counts("state")
        listed = [(state, Setup.State(state).label, counts.get(state, 0)) for state in LISTED]
        own = counts.get(_WITHDRAWN, sum(number for _, number in self.counts.get("withdrawn", [])))
        return [*listed, (_WITHDRAWN, "withdrawn by you", own)]

    def _classes(self) -> Counted:
        counts = self._joint_counts("class")
        model, _ = _NAMED_BY["class"]
        chosen = self._keys.get("class", {}).values()
        wanted = {int(key) for key in counts if key} | set(chosen)
        rows = model.objects.filter(pk__in=wanted).values_list("pk", "slug", "name") if wanted else []
        return [(slug, name, counts.get(str(pk), 0)) for pk, slug, name in rows]

    def _named(self, key: str, model: Any, label: str) -> Counted:
        _, named = _NAMED_BY[key]
        counts = {int(value): number for value, number in self.counts.get(key, []) if value}
        for pk in self._keys.get(key, {}).values():
            counts.setdefault(pk, 0)
        rows = model.objects.in_bulk(counts)
        ranked = sorted(counts.items(), key=lambda row: (-row[1], str(rows[row[0]]), row[0]))
        labels = _told_apart(key, [rows[pk] for pk, _ in ranked])
        return [
            (getattr(rows[pk], named), text, number)
            for (pk, number), text in zip(ranked, labels, strict=True)
        ]

    def _lengths(self, key: str) -> Counted:
        counts = {
            int(Decimal(value)): number for value, number in self.counts.get(key, []) if value is not None
        }
        return span_counts(counts, self.chosen[key], WHEELBASE_STEP)

    def _offsets(self, key: str) -> Counted:
        counts = {
            Decimal(value).quantize(Decimal("0.01")): number
            for value, number in self.counts.get(key, [])
            if value is not None
        }
        for value in self.chosen[key]:
            counts.setdefault(offset_of(value), 0)
        return [(_plain(offset), _printed(offset), number) for offset, number in sorted(counts.items())]


_AUTHOR: Any = Setup._meta.get_field("author").related_model
_NAMED_BY: dict[str, tuple[Any, str]] = {
    "body": (Body, "slug"),
    "class": (Setup._meta.get_field("race_class").related_model, "slug"),
    "author": (_AUTHOR, "username"),
}
"""Facets whose values are rows: the table, and the column that an address names them by."""
_COLUMNS = [
    "id",
    "body_id",
    "platform_id",
    "state",
    "surface",
    "race_class_id",
    "author_id",
    "circuit",
    "best_lap",
    *LENGTHS.values(),
    *OFFSETS.values(),
]
_JOINT_GROUP = "platform_id, state, surface, race_class_id"
_JOINT_VALUE = (
    "CAST(platform_id AS text) || ',' || state || ',' || surface || ',' "
    "|| COALESCE(CAST(race_class_id AS text), '')"
)


def _where(found: QuerySet[Setup]) -> tuple[str, list[Any]]:
    """The conditions of a query on the setups alone, in the database's own words."""
    compiler = found.query.get_compiler(using=found.db)
    compiler.pre_sql_setup()
    try:
        sql, params = compiler.compile(found.query.where)
    except EmptyResultSet:
        return "1 = 0", []
    except FullResultSet:
        return "1 = 1", []
    return sql, list(params)


def _told_apart(key: str, rows: list[Any]) -> list[str]:
    """Labels of rows; bodies of one name come with their scale."""
    names = [str(row) for row in rows]
    if key != "body":
        return names
    return [
        f"{name}, 1:{row.scale}" if names.count(name) > 1 else name
        for name, row in zip(names, rows, strict=True)
    ]


def _plain(offset: Decimal) -> str:
    return f"{offset.normalize():f}" if offset else "0"


def _printed(offset: Decimal) -> str:
    return (f"{offset.normalize():+f}".replace("-", "−") if offset else "0") + "\u202fmm"
