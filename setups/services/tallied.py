"""What of the counts of a search for setups is told by the tallies that every change keeps up."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from itertools import product

from setups.filters import WHEELBASE_STEP, Span, offset_of
from setups.models import Setup
from setups.services.counting import Counts
from setups.services.facets import MOST_NAMED, Asked
from setups.tallies import ALL, COARSE, SCOPES, Statement, combinations, most, scope_of

LENGTHS = {"front": "front_width", "wheelbase": "wheelbase"}
OFFSETS = {"front_offset": "front_offset", "rear_offset": "rear_offset"}
NAMED = {"body": "body_id", "circuit": "circuit", "author": "author_id"}
"""Facets of which there may be any number; their columns."""
JOINT = ("platform", "scale", "state", "class", "surface")
"""Facets with few values, counted together."""
WITHDRAWN = Setup.State.WITHDRAWN.value
_PLATFORM = list(COARSE).index("platform")


@dataclass
class Tallied(Asked):
    """A search for setups, as far as the tallies know the counts.

    ``keys`` has the keys of the rows that are chosen, by facet and by what the address names them.
    """

    platforms: dict[int, tuple[str, str, int]] = field(init=False)
    """The address, name and scale of each platform."""
    counts: Counts = field(init=False, repr=False, compare=False)
    keys: dict[str, dict[str, int]] = field(default_factory=dict)

    def of(self, key: str) -> dict[str, int]:
        """One part's counts by value; the most frequent of a facet and its chosen ones come as two parts."""
        return {value: number for value, number in self.counts[key] if value is not None}

    @cached_property
    def by_tallies(self) -> bool:
        """True if what is chosen is told by the tallies' combinations."""
        named = any(self.chosen[key] for key in NAMED)
        return not self.text and not named and WITHDRAWN not in self.chosen["state"]

    def scopes(self, key: str) -> list[str] | None:
        """The scopes of the tallies that have the values of ``key`` counted; ``None`` where none has."""
        chosen = {other: values for other, values in self.chosen.items() if values and other != key}
        if self.text or WITHDRAWN in self.chosen["state"] or not chosen.keys() <= set(JOINT):
            return None
        within = {"platform": self._platforms_chosen()} if {"platform", "scale"} & chosen.keys() else {}
        within |= {other: chosen[other] for other in ("state", "surface") if other in chosen}
        if "class" in chosen:
            within["class"] = [str(self.keys["class"][slug]) for slug in chosen["class"]]
        for keys in SCOPES:
            if set(keys) == within.keys():
                names = product(*(within[one] for one in keys))
                return [scope_of(dict(zip(keys, values, strict=True))) for values in names]
        return None

    def _platforms_chosen(self, *keys: str) -> list[str]:
        """The keys of the platforms that are chosen by themselves and by their scale, or by one of these."""
        by_slug, by_scale = (
            self.chosen[key] if key in (keys or JOINT) else [] for key in ("platform", "scale")
        )
        return [
            str(pk)
            for pk, (slug, _, scale) in self.platforms.items()
            if (not by_slug or slug in by_slug) and (not by_scale or str(scale) in by_scale)
        ]

    def tallied(self) -> Iterator[Statement]:
        """What need not be counted, as statements."""
        if self.by_tallies:
            yield combinations()
        for key in NAMED:
            if scopes := self.scopes(key):
                yield most(key, scopes, MOST_NAMED)

    @cached_property
    def coarse(self) -> dict[str, dict[str, int]]:
        """By the tallies: how many setups have each value of each facet, the other facets being as chosen."""
        rows = [(value.split(","), number) for value, number in self.of(ALL).items()]
        columns = {key: place for place, key in enumerate(COARSE)} | {"scale": _PLATFORM}
        allowed = []
        for key, place in columns.items():
            if self.chosen[key]:
                texts = {values[place] for values, _ in rows}
                allowed.append((key, place, {text for text in texts if self._chose(key, text)}))
        counts: dict[str, dict[str, int]] = {key: {} for key in columns}
        for values, number in rows:
            failing = [key for key, place, texts in allowed if values[place] not in texts]
            if len(failing) > 1:
                continue
            for key in failing or columns:
                of, text = counts[key], values[columns[key]]
                of[text] = of.get(text, 0) + number
        of_platforms, counts["platform"] = counts["platform"], {}
        for pk, number in of_platforms.items():
            counts["platform"][self.platforms[int(pk)][0]] = number
        of_scales, counts["scale"] = counts["scale"], {}
        for pk, number in of_scales.items():
            scale = str(self.platforms[int(pk)][2])
            counts["scale"][scale] = counts["scale"].get(scale, 0) + number
        for key in (*LENGTHS, *OFFSETS):
            counts[key].pop("", None)
        return counts

    def _chose(self, key: str, text: str) -> bool:
        """True if ``text``, a value in a combination, is one of those that are chosen of ``key``."""
        values = self.chosen[key]
        if key in ("platform", "scale"):
            return text in self._platforms_chosen(key)
        if key == "class":
            return text in {str(self.keys["class"][slug]) for slug in values}
        if key in OFFSETS:
            return text != "" and Decimal(text) in {offset_of(value) for value in values}
        if key in LENGTHS:
            spans = [Span.read(value, WHEELBASE_STEP) for value in values]
            return text != "" and any(span and int(Decimal(text)) in span for span in spans)
        return text in values
