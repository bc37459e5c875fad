"""Find a setup: the words and facets of an address, and how many setups each facet's value would leave.

A facet's counts are of the setups that the words and all *other* facets leave. All of them come in one
statement. Without words, what is chosen among the facets with few values is counted by the tallies that every
change keeps up (``setups.tallies``). What else is counted reads the same conditions that list the setups:
with words, the setups that these match are looked for once and every facet counts those; without, each part
reads nothing but the index that holds all facets' columns, and what took long to count is kept until a setup
changes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.db.models import Q, QuerySet
from django.utils.formats import number_format
from django.utils.translation import gettext

from fitcalc.dimensions import CAR_DIMENSIONS, PART_DIMENSIONS
from fitcalc.said import said
from setups.filters import WHEELBASE_STEP, Span, any_span, offset_of
from setups.marks import SETUPS
from setups.models import Body, Platform, Setup
from setups.models.setup import LISTED, Surface
from setups.services.counting import Counts, Part, count_all, where_of
from setups.services.facets import MOST_NAMED, Counted, Facet, known_scales, span_counts
from setups.services.tallied import JOINT, LENGTHS, NAMED, OFFSETS, WITHDRAWN, Tallied

EVIDENCE, RECENT, LAP = "evidence", "recent", "lap"
A_PAGE = 24
_NEAR = 10 * A_PAGE
"""So many of the first setups are read with all that is shown of them."""


@dataclass
class SetupSearch(Tallied):
    """What an address asks for of the setups; ``member``, who asks, finds what they withdrew."""

    LABELS = {
        "body": said("Body"),
        "platform": said("Platform"),
        "scale": said("Scale"),
        "state": said("Standing"),
        "class": said("Class"),
        "surface": said("Surface"),
        "circuit": said("Circuit"),
        "front": said("Front width"),
        "front_offset": said("Front offset"),
        "rear_offset": said("Rear offset"),
        "wheelbase": said("Wheelbase"),
        "author": said("Member"),
    }
    MEANINGS = {
        "body": said("The body on it."),
        "platform": said("The chassis below it."),
        "scale": said("How many times smaller than the full-size car."),
        "state": said(
            "Verified: two members other than the author measured it and agree with what is "
            "computed. Disputed: somebody's measurement contradicts it."
        ),
        "class": said("The race class that it was built for."),
        "surface": said("What it ran on."),
        "circuit": said(
            "Where it ran. Choose one, and the setups can be put in the order of their best laps."
        ),
        "front": CAR_DIMENSIONS["front_width"].meaning,
        "front_offset": PART_DIMENSIONS["offset"].meaning,
        "rear_offset": PART_DIMENSIONS["offset"].meaning,
        "wheelbase": CAR_DIMENSIONS["wheelbase"].meaning,
        "author": said("Who posted it."),
    }
    ROUNDED = frozenset({"front", "wheelbase"})
    ORDERS = (EVIDENCE, RECENT, LAP)

    member: int | None = None

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
            return [value for value in values if value in LISTED or (value == WITHDRAWN and self.member)]
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
        self.keys[key] = dict(model.objects.filter(**{f"{named}__in": values}).values_list(named, "pk"))
        return [value for value in values if value in self.keys[key]]

    @property
    def one_circuit(self) -> bool:
        """True if laps may be compared: all are of one circuit."""
        return len(self.chosen["circuit"]) == 1

    # Setups

    def setups(self, without: Iterable[str] = ()) -> QuerySet[Setup]:
        """The setups asked for; ``without`` leaves facets out."""
        found = Setup.objects.matching(self.text)
        if WITHDRAWN in self.chosen["state"]:
            found = found.filter(Q(state__in=LISTED) | Q(state=WITHDRAWN, author=self.member))
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
        return Q(**{f"{column}__in": [self.keys[key][value] for value in values]})

    def ordered(self) -> Ordered:
        """The setups asked for as the page lists them, to be sliced."""
        return Ordered(self)

    def _timed(self, found: QuerySet[Setup]) -> QuerySet[Setup]:
        return found.filter(best_lap__isnull=False) if self.sort == LAP else found

    def slice_of(self, start: int, stop: int) -> list[Setup]:
        """The setups from ``start`` to ``stop``; what words match comes with the counts."""
        if self.text and start == self.offset:
            keys = sorted(self.counts["page"], key=lambda row: row[1])
            found = _with_shown(Setup.objects.all()).in_bulk([int(key) for key, _ in keys if key])
            return [found[int(key)] for key, _ in keys if key and int(key) in found]
        return self._from_either_end(start, stop)

    def _from_either_end(self, start: int, stop: int) -> list[Setup]:
        """As ``slice_of``. Far from the start the keys are looked for first, since an index holds them, and
        in the other half of the list from its end."""
        asked = self._timed(self.setups()).order_by(*_ORDERS[self.sort])
        stop = min(stop, self.total)
        if stop <= _NEAR:
            return list(_with_shown(asked)[start:stop])
        keys = asked.values_list("pk", flat=True)
        if start > self.total // 2:
            found = list(keys.reverse()[self.total - stop : self.total - start])[::-1]
        else:
            found = list(keys[start:stop])
        rows = _with_shown(Setup.objects.all()).in_bulk(found)
        return [rows[key] for key in found if key in rows]

    def total_of_words(self) -> int:
        """How many setups the words alone would find."""
        return Setup.objects.listed().matching(self.text).count()

    # Counts

    @cached_property
    def counts(self) -> Counts:
        """For each part of the count its values as text, and the keys of the page; one statement."""
        using = Setup.objects.db
        if not self.text:
            parts = list(self._parts())
            keep = SETUPS if any(part.key != "withdrawn" for part in parts) else ""
            return count_all(keep, using, parts, _TABLE, further=list(self.tallied()))
        where, given = where_of(self.setups(without=self.LABELS))
        columns = ", ".join(_COLUMNS)
        common = f"WITH found AS MATERIALIZED (SELECT {columns} FROM {_TABLE} WHERE {where}) ", given
        source = f"found AS {_TABLE}"
        page = self._page_statement(source)
        return count_all(SETUPS, using, list(self._parts()), source, common, [page])

    def _parts(self) -> Iterator[Part]:
        """What has to be counted anew, each over the setups that all but its own facets leave."""
        if not self.by_tallies:
            yield Part("joint", _JOINT, _JOINT_VALUE, *where_of(self._counted(JOINT)))
            for key, column in LENGTHS.items():
                yield Part(key, f"ROUND({column})", "", *where_of(self._counted([key])))
            for key, column in OFFSETS.items():
                yield Part(key, column, "", *where_of(self._counted([key])))
        if self.sort == LAP:
            yield Part("timed", "", "", *where_of(self._counted(()).filter(best_lap__isnull=False)))
        for key, column in NAMED.items():
            if self.scopes(key) is None:
                yield Part(key, column, "", *where_of(self._counted([key])), MOST_NAMED)
            if self.chosen[key]:
                yield Part(key, column, "", *where_of(self._counted(())), MOST_NAMED)
        if self.member and not self.text and WITHDRAWN not in self.chosen["state"]:
            own = Setup.objects.filter(state=WITHDRAWN, author=self.member)
            yield Part("withdrawn", "", "", *where_of(own.filter(self._narrowing(["state"]))))

    def _page_statement(self, source: str) -> tuple[str, list[Any]]:
        """The keys of the page that the address asks for, out of what the words match."""
        where, given = where_of(self._timed(self._counted(())))
        order = ", ".join(
            f"{name[1:]} DESC" if name.startswith("-") else name for name in _ORDERS[self.sort]
        ).replace("pk", "id")
        statement = (
            f"SELECT * FROM (SELECT 'page' AS facet, CAST(id AS text) AS value, "
            f"ROW_NUMBER() OVER (ORDER BY {order}) AS number FROM {source} WHERE {where} "
            f"ORDER BY {order} LIMIT {A_PAGE} OFFSET {self.offset}) AS page"
        )
        return statement, given

    @property
    def offset(self) -> int:
        """How many setups come before the page that the address asks for."""
        asked = self.data.get("page", "")
        page = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 8 else 1
        return A_PAGE * max(0, page - 1)

    def _counted(self, without: Iterable[str]) -> QuerySet[Setup]:
        """As ``setups``; what the words say is left to the common part."""
        return Setup.objects.filter(self._narrowing(without)) if self.text else self.setups(without)

    @cached_property
    def _joint(self) -> list[tuple[dict[str, str], int]]:
        """Setups by their values of the facets that are counted together."""
        rows = []
        for value, number in self.of("joint").items():
            platform, state, surface, race_class = value.split(",")
            slug, _, scale = self.platforms[int(platform)]
            of = {"platform": slug, "scale": str(scale), "state": state, "surface": surface}
            rows.append((of | {"class": race_class}, number))
        return rows

    def _joint_counts(self, key: str) -> dict[str, int]:
        """How many setups have each value of ``key``, the others of the joint facets being as chosen."""
        if self.by_tallies:
            return self.coarse[key]
        chosen = {
            other: {str(self.keys["class"][slug]) for slug in values} if other == "class" else set(values)
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
            return sum(self.of("timed").values())
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
            "surface": [
                (v, gettext(label), self._joint_counts("surface").get(v, 0)) for v, label in Surface.choices
            ],
            "circuit": [(v, v, n) for v, n in self.of("circuit").items() if v],
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
        listed = [(state, gettext(Setup.State(state).label), counts.get(state, 0)) for state in LISTED]
        own = counts.get(WITHDRAWN, sum(self.of("withdrawn").values()))
        return [*listed, (WITHDRAWN, gettext("withdrawn by you"), own)]

    def _classes(self) -> Counted:
        counts = self._joint_counts("class")
        model, _ = _NAMED_BY["class"]
        chosen = self.keys.get("class", {}).values()
        wanted = {int(key) for key in counts if key} | set(chosen)
        rows = model.objects.filter(pk__in=wanted).values_list("pk", "slug", "name") if wanted else []
        return [(slug, name, counts.get(str(pk), 0)) for pk, slug, name in rows]

    def _named(self, key: str, model: Any, label: str) -> Counted:
        _, named = _NAMED_BY[key]
        counts = {int(value): number for value, number in self.of(key).items()}
        for pk in self.keys.get(key, {}).values():
            counts.setdefault(pk, 0)
        rows = model.objects.only(*_LABELS[key]).in_bulk(counts)
        ranked = sorted(counts.items(), key=lambda row: (-row[1], str(rows[row[0]]), row[0]))
        labels = _told_apart(key, [rows[pk] for pk, _ in ranked])
        return [
            (getattr(rows[pk], named), text, number)
            for (pk, number), text in zip(ranked, labels, strict=True)
        ]

    def _figures(self, key: str) -> dict[str, int]:
        return self.coarse[key] if self.by_tallies else self.of(key)

    def _lengths(self, key: str) -> Counted:
        counts = {int(Decimal(value)): number for value, number in self._figures(key).items()}
        return span_counts(counts, self.chosen[key], WHEELBASE_STEP)

    def _offsets(self, key: str) -> Counted:
        counts = {
            Decimal(value).quantize(Decimal("0.01")): number for value, number in self._figures(key).items()
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
_LABELS = {"body": ("slug", "name", "scale"), "author": ("username", "display_name")}
"""What is read of such rows."""
_SHOWN = (
    *("name", "state", "verdict", "confirmations", "posted_at", "circuit", "surface", "best_lap"),
    *("front_width", "rear_width", "front_offset", "rear_offset", "wheelbase"),
    *("author__username", "author__display_name", "body__name", "race_class__name"),
    *("platform__name", "platform__scale"),
)
_TABLE = Setup._meta.db_table
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
    "confirmations",
    "posted_at",
    *LENGTHS.values(),
    *OFFSETS.values(),
]
_ORDERS = {
    EVIDENCE: ("-state", "-confirmations", "-posted_at", "-pk"),
    RECENT: ("-posted_at", "-pk"),
    LAP: ("best_lap", "pk"),
}
"""What is verified comes first: "verified", "posted" and "disputed" fall in the order of the alphabet."""
_JOINT = "platform_id, state, surface, race_class_id"
_JOINT_VALUE = (
    "CAST(platform_id AS text) || ',' || state || ',' || surface || ',' "
    "|| COALESCE(CAST(race_class_id AS text), '')"
)


def _with_shown(found: QuerySet[Setup]) -> QuerySet[Setup]:
    """With the rows that a card names, and of both what it shows."""
    return found.select_related("author", "body", "platform", "race_class").only(*_SHOWN)


@dataclass(frozen=True, slots=True)
class Ordered:
    """The setups that a search asks for, as a paginator takes them: read when they are sliced."""

    search: SetupSearch

    def __len__(self) -> int:
        return self.search.total

    def __getitem__(self, page: slice) -> list[Setup]:
        return self.search.slice_of(page.start or 0, page.stop)


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
    sign = "+" if offset > 0 else "−" if offset < 0 else ""
    return f"{sign}{number_format(abs(offset).normalize())}\u202fmm"
