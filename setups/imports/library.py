"""The library's rows that a file speaks of, fetched in a constant number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Q
from django.db.models.functions import Lower

from setups.imports.columns import Kind
from setups.imports.figures import Figures
from setups.models import Body, Maker, Platform
from setups.services.near import nearest

NEARLY = 88.0
"""RapidFuzz's score, of 100, from which a new maker may be a slip in an old one's name."""


def fold(text: str) -> str:
    """``text`` as names are compared: without regard to case and spaces."""
    return " ".join(text.casefold().split())


@dataclass(frozen=True, slots=True)
class Found:
    """What a row's slug, number and name lead to, as primary keys."""

    by_slug: int | None
    by_number: int | None
    by_name: list[int]


class Library:
    """Everything on record that rows with these values could mean; ``lock`` keeps it so until the commit."""

    def __init__(self, kind: Kind, rows: Iterable[dict[str, Any]], lock: bool = False) -> None:
        rows = list(rows)
        self.kind = kind
        self.apart = "scale" if kind.model is Body else "kind"
        self.makers = {fold(maker.name): maker for maker in Maker.objects.all()}
        self._near: dict[str, str] = {}
        self.platforms: dict[str, Platform] = {}
        self._bodies_by_slug: dict[str, Body] = {}
        self._bodies_by_name: dict[str, list[Body]] = defaultdict(list)
        if kind.key == "parts":
            for platform in Platform.objects.all():
                self.platforms[platform.slug] = self.platforms[fold(platform.name)] = platform
        self.figures = Figures(kind)
        self._index(rows, lock)
        self._fetch(rows, lock)

    def _index(self, rows: list[dict[str, Any]], lock: bool) -> None:
        named = {fold(row["maker"]) for row in rows if "maker" in row}
        makers = [self.makers[name].pk for name in named if name in self.makers]
        if lock:
            # Who loads of the same makers waits here, before looking: what is new to both is loaded once.
            list(Maker.objects.filter(pk__in=makers).order_by("pk").select_for_update(no_key=True))
        slugs = {row["slug"] for row in rows if "slug" in row}
        self._slugs: dict[str, int] = {}
        self._numbers: dict[tuple[int, str], int] = {}
        self._names: dict[tuple[int, str, Any], list[int]] = defaultdict(list)
        self.number_of: dict[int, str] = {}
        known = self.kind.model._default_manager.filter(Q(maker__in=makers) | Q(slug__in=slugs))
        for pk, slug, maker, number, name, apart in known.values_list(
            "pk", "slug", "maker_id", "part_number", "name", self.apart
        ):
            self._slugs[slug] = pk
            self._names[maker, fold(name), apart].append(pk)
            self.number_of[pk] = number
            if number:
                self._numbers[maker, number] = pk

    def _fetch(self, rows: list[dict[str, Any]], lock: bool) -> None:
        wanted: set[int] = set()
        for row in rows:
            found = self.find(row)
            wanted.update(pk for pk in (found.by_slug, found.by_number, *found.by_name) if pk is not None)
        query = self.kind.model._default_manager.filter(pk__in=wanted).select_related("maker").order_by("pk")
        related = (
            ["dimensions"]
            if self.kind.key == "bodies"
            else ["dimensions", "fitments__platform", "body_rules"]
        )
        if lock:
            query = query.select_for_update(of=("self",))
        self.rows = {row.pk: row for row in query.prefetch_related(*related)}

    def fetch_bodies(self, names: set[str]) -> None:
        """The bodies that parts are said to be made for, by address or by name."""
        if names:
            bodies = Body.objects.annotate(folded=Lower("name"))
            for body in bodies.filter(Q(slug__in=names) | Q(folded__in={fold(name) for name in names})):
                self._bodies_by_slug[body.slug] = body
                self._bodies_by_name[fold(body.name)].append(body)

    def bodies_called(self, name: str) -> list[Body]:
        """The body with that address, else all of that name."""
        body = self._bodies_by_slug.get(name)
        return [body] if body is not None else self._bodies_by_name.get(fold(name), [])

    def holder(self, maker: Maker, number: str) -> Any | None:
        """What is on record under ``number`` of ``maker``."""
        pk = self._numbers.get((maker.pk, number)) if number else None
        return None if pk is None else self.rows.get(pk) or self.kind.model._default_manager.get(pk=pk)

    def maker_near(self, name: str) -> str:
        """A maker on record whose name is nearly ``name``; empty if there is none."""
        if name not in self._near:
            near = nearest(name, [maker.name for maker in self.makers.values()], limit=1, close=NEARLY)
            self._near[name] = near[0] if near else ""
        return self._near[name]

    def find(self, values: dict[str, Any]) -> Found:
        """What ``values`` lead to."""
        maker = self.makers.get(fold(values.get("maker", "")))
        number = values.get("part_number", "")
        by_number = self._numbers.get((maker.pk, number)) if maker and number else None
        by_name = (
            self._names.get((maker.pk, fold(values.get("name", "")), values.get(self.apart)), [])
            if maker
            else []
        )
        return Found(self._slugs.get(values.get("slug", "")), by_number, by_name)
