"""The rows of the library that a file names, fetched in a constant number of queries for any file."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from django.contrib.auth import get_user_model
from django.db.models import Q
from django.db.models.functions import Lower

from fitcalc.said import Said, said
from setups.imports import cells
from setups.imports.given import Given
from setups.imports.library import fold
from setups.models import Body, Maker, MountingPosition, Part, Platform, Setup
from setups.services.near import nearest

AT_ONCE = 5000
"""A query names so many rows at most."""
_THINGS = {"part": "parts", "body": "bodies"}
_WORDS = {"race_class": said("race class")}


def chunks(keys: Iterable[Any]) -> Iterator[list[Any]]:
    """``keys`` in lists that a query can name."""
    keys = list(keys)
    for at in range(0, len(keys), AT_ONCE):
        yield keys[at : at + AT_ONCE]


class Names:
    """Finds what rows name. ``refers`` tells which columns name what; ``related`` is fetched along with parts
    and bodies, by what they are.
    """

    def __init__(
        self,
        refers: Mapping[str, str],
        rows: Iterable[Mapping[str, Any]],
        related: Mapping[str, tuple[str, ...]] | None = None,
    ) -> None:
        wanted: dict[str, set[str]] = defaultdict(set)
        for row in rows:
            for column, what in refers.items():
                if column in row:
                    wanted[what].add(row[column])
        self._refers = refers
        self._known: dict[str, dict[Any, Any]] = {}
        if "maker" in wanted:
            self._known["maker"] = {fold(one.name): one for one in Maker.objects.all()}
        if "platform" in wanted:
            self._known["platform"] = _by_slug_and_name(Platform.objects.select_related("maker"))
        if "position" in wanted:
            self._known["position"] = {
                (one.platform_id, fold(one.name)): one for one in MountingPosition.objects.order_by("pk")
            }
        if "race_class" in wanted:
            classes: Any = Setup._meta.get_field("race_class").related_model
            self._known["race_class"] = _by_slug_and_name(classes._default_manager.all())
        self._things = {
            what: _Things(model, wanted[what], (related or {}).get(what, ()))
            for what, model in (("part", Part), ("body", Body))
            if what in wanted
        }

    def find(self, given: Given, column: str, platform: Any = None) -> Any | None:
        """What the row names in ``column``; what is wrong is added to ``given``.

        A mounting position is found on ``platform``.
        """
        text = given.values.get(column)
        if text is None:
            return None
        what = self._refers[column]
        if what in self._things:
            return self._thing(given, column, text, what)
        if what == "position":
            found = None if platform is None else self._known[what].get((platform.pk, fold(text)))
            if found is None and platform is not None:
                holes = [one.name for (pk, _), one in self._known[what].items() if pk == platform.pk]
                given.wrong(column, _no_position(platform, text, holes))
            return found
        found = self._known[what].get(text) or self._known[what].get(fold(text))
        if found is None:
            names = dict.fromkeys(str(one) for one in self._known[what].values())
            near = nearest(text, names, limit=1)
            given.wrong(column, _nothing_called(what, text, near))
        return found

    def _thing(self, given: Given, column: str, text: str, what: str) -> Any | None:
        found = self._things[what].called(text)
        if len(found) == 1:
            return found[0]
        if not found:
            given.wrong(
                column,
                Said(
                    "There is no {thing} “{name}”: load the {things} first, or correct it.",
                    thing=Said(what),
                    name=cells.short(text),
                    things=Said(_THINGS[what]),
                ),
            )
        else:
            given.wrong(
                column,
                Said(
                    "Several {things} are called “{name}”: write one of {slugs}.",
                    things=Said(_THINGS[what]),
                    name=cells.short(text),
                    slugs=", ".join(one.slug for one in found[:4]),
                ),
            )
        return None


def _no_position(platform: Any, text: str, holes: list[str]) -> Said:
    values = {"platform": str(platform), "name": cells.short(text)}
    if not holes:
        return Said("{platform} has no position “{name}”; it has none yet.", **values)
    listed = ", ".join(holes[:8])
    return Said("{platform} has no position “{name}”; it has {positions}.", **values, positions=listed)


def _nothing_called(what: str, text: str, near: list[str]) -> Said:
    values = {"thing": Said(_WORDS.get(what, what)), "name": cells.short(text)}
    if near:
        return Said("There is no {thing} “{name}”: did you mean “{near}”?", **values, near=near[0])
    return Said("There is no {thing} “{name}”: load it first, or correct the name.", **values)


def _by_slug_and_name(rows: Iterable[Any]) -> dict[str, Any]:
    rows = list(rows)
    return {fold(one.name): one for one in rows} | {one.slug: one for one in rows}


class _Things:
    """Parts or bodies by address, by maker and number, by number, by name."""

    def __init__(self, model: Any, names: set[str], related: tuple[str, ...]) -> None:
        self._by: dict[str, dict[Any, list[Any]]] = {
            key: defaultdict(list) for key in ("slug", "number", "name")
        }
        for some in chunks(sorted(names)):
            self._add(model, Q(slug__in=some), related)
        left = [name for name in names if name not in self._by["slug"]]
        for some in chunks(sorted(left)):
            numbers = {number for name in some for _, number in _halves(name)} | set(some)
            self._add(
                model, Q(part_number__in=numbers) | Q(folded__in={fold(name) for name in some}), related
            )

    def _add(self, model: Any, wanted: Q, related: tuple[str, ...]) -> None:
        rows = model.objects.select_related("maker").alias(folded=Lower("name")).filter(wanted).order_by("pk")
        for one in rows.prefetch_related(*related):
            if one.slug in self._by["slug"]:
                continue
            self._by["slug"][one.slug].append(one)
            if one.part_number:
                self._by["number"][one.part_number].append(one)
            self._by["name"][fold(one.name)].append(one)

    def called(self, text: str) -> list[Any]:
        """What ``text`` may mean: one row, or none, or several."""
        found = self._by["slug"].get(text)
        if found:
            return found
        for maker, number in _halves(text):
            of_maker = [
                one for one in self._by["number"].get(number, []) if fold(one.maker.name) == fold(maker)
            ]
            if of_maker:
                return of_maker
        return self._by["number"].get(text) or self._by["name"].get(fold(text)) or []


def _halves(text: str) -> list[tuple[str, str]]:
    """The ways to read maker / number, either of which may have a stroke of its own."""
    parts = text.split("/")
    return [("/".join(parts[:at]).strip(), "/".join(parts[at:]).strip()) for at in range(1, len(parts))][:5]


def members_called(names: Iterable[str]) -> dict[str, Any]:
    """The members with these usernames, whatever their case, by name in small letters."""
    found: dict[str, Any] = {}
    for some in chunks(sorted({name.casefold() for name in names})):
        members = get_user_model().objects.alias(folded=Lower("username")).filter(folded__in=some)
        found |= {member.username.casefold(): member for member in members}
    return found
