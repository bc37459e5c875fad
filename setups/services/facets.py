"""What every search by words and facets shares: what an address names, and facets with their counts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from typing import ClassVar
from urllib.parse import urlencode

from django.http import QueryDict
from django.utils.translation import gettext as _

from fitcalc.dimensions import Unit
from setups.filters import Span, search_text
from setups.printing import brief, with_unit
from setups.translated import within_a_sentence

MOST_VALUES = 20
"""So many values of one facet are taken from an address."""
MOST_BANDS = 10
"""A facet of lengths lists at most so many values or bands."""
MOST_NAMED = 40
"""A facet of names (makers, bodies, members) lists at most so many, the most frequent."""
AT_ONCE = 8

Counted = list[tuple[str, str, int]]
"""A facet's values in order: value, label, count."""


@dataclass(frozen=True, slots=True)
class Option:
    """One value of a facet: how many things it has, and the address with it added or taken out."""

    value: str
    label: str
    count: int
    chosen: bool
    address: str


@dataclass(frozen=True, slots=True)
class Facet:
    """One facet; ``meaning`` says what its values stand for."""

    key: str
    label: str
    meaning: str
    options: list[Option]

    @property
    def first(self) -> list[Option]:
        """What a reader sees at once: the first eight, and whatever is chosen."""
        return [option for at, option in enumerate(self.options) if at < AT_ONCE or option.chosen]

    @property
    def rest(self) -> list[Option]:
        return [option for option in self.options[AT_ONCE:] if not option.chosen]

    @property
    def chosen(self) -> list[Option]:
        return [option for option in self.options if option.chosen]


@dataclass
class Asked:
    """What an address asks for. ``refused`` says what in it means nothing; that is left out.

    A search names its facets with their labels and meanings, and those of lengths that are rounded; its
    orders with the first one as what is meant where none is named; and says which values of a facet it knows.
    """

    LABELS: ClassVar[dict[str, str]]
    MEANINGS: ClassVar[dict[str, str]]
    ROUNDED: ClassVar[frozenset[str]] = frozenset()
    ORDERS: ClassVar[Sequence[str]]

    data: QueryDict
    refused: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.text, cut = search_text(self.data.get("q", ""))
        if cut:
            said = _("That text is too long to search for: this is what “{text}” finds.")
            self.refused.append(said.format(text=self.text))
        self.chosen = {key: self._recognised(key) for key in self.LABELS}
        asked = self.data.get("sort", "")
        self.sort = asked if asked in self.ORDERS else self.ORDERS[0]

    def _recognised(self, key: str) -> list[str]:
        given = list(dict.fromkeys(self.data.getlist(key)))
        known = [value for value in given[:MOST_VALUES] if value]
        if known:
            known = self._known(key, known)
        for value in given:
            if value and value not in known and len(self.refused) < 3:
                facet = within_a_sentence(_(self.LABELS[key]))
                said = _("There is no {facet} “{value}”: it was left out.")
                self.refused.append(said.format(facet=facet, value=_short(value)))
        return known

    def _known(self, key: str, values: list[str]) -> list[str]:
        """Those of ``values`` that mean something."""
        raise NotImplementedError

    @property
    def narrowed(self) -> bool:
        """True if any facet is chosen."""
        return any(self.chosen.values())

    def address(self, **changed: list[str] | str | None) -> str:
        """The query string of this search with some of its parameters changed; the page is left out."""
        query = self._query
        if changed:
            query = query | {key: _encoded(key, value) for key, value in changed.items()}
        return f"?{'&'.join(filter(None, query.values()))}"

    @cached_property
    def _query(self) -> dict[str, str]:
        """The parameters of this search, each as it stands in an address; hundreds of addresses have them."""
        asked: dict[str, list[str] | str | None] = {"q": self.text or None} | self.chosen
        asked["sort"] = None if self.sort == self.ORDERS[0] else self.sort
        return {key: _encoded(key, value) for key, value in asked.items()}

    @property
    def orders(self) -> dict[str, str]:
        """The addresses of the same search in each of its orders."""
        return {order: self.address(sort=None if order == self.ORDERS[0] else order) for order in self.ORDERS}

    @property
    def without_facets(self) -> str:
        return self.address(**dict.fromkeys(self.LABELS))

    def hidden(self) -> Iterator[tuple[str, str]]:
        """What the form carries along beside the words."""
        for key, values in self.chosen.items():
            for value in values:
                yield key, value
        if self.sort != self.ORDERS[0]:
            yield "sort", self.sort

    def facet(self, key: str, counted: Iterable[tuple[str, str, int]]) -> Facet:
        """The facet of these values; those without any are left out, unless they are chosen."""
        chosen = self.chosen[key]
        options = []
        for value, label, count in counted:
            if not count and value not in chosen:
                continue
            toggled = [one for one in chosen if one != value] if value in chosen else [*chosen, value]
            options.append(Option(value, label, count, value in chosen, self.address(**{key: toggled})))
        meaning = _(self.MEANINGS[key])
        if key in self.ROUNDED:
            rounded = _("Rounded to whole millimetres.")
            meaning = f"{meaning} {rounded}"
        return Facet(key, _(self.LABELS[key]), meaning, options)


def _encoded(key: str, value: list[str] | str | None) -> str:
    if value is None:
        return ""
    return urlencode([(key, one) for one in ([value] if isinstance(value, str) else value)])


def known_scales(values: Iterable[str]) -> list[str]:
    """Those of ``values`` that may be an N of a scale 1:N."""
    return [v for v in values if v.isascii() and v.isdigit() and len(v) < 3 and 4 <= int(v) <= 64]


def span_counts(counts: dict[int, int], chosen: Iterable[str], step: Decimal) -> Counted:
    """A facet of lengths: ``counts`` by steps, in few enough bands, and what is chosen besides."""
    spans = _banded(sorted(counts), step)
    natural = {str(span) for span in spans}
    for value in chosen:
        span = Span.read(value, step)
        if span is not None and value not in natural:
            spans.append(span)
    spans.sort(key=lambda span: (span.low, span.high))
    return [
        (str(span), _span_label(span), sum(n for at, n in counts.items() if at in span)) for span in spans
    ]


def _banded(found: list[int], step: Decimal) -> list[Span]:
    """A span for each value; if they are many, for each band of 2, 5, 10, 20, 50 or 100 mm that has any."""
    if len(found) <= MOST_BANDS:
        return [Span(at, at, step) for at in found]
    for mm in (2, 5, 10, 20, 50, 100):
        wide = round(mm / step)
        bands = sorted({at // wide for at in found})
        if len(bands) <= MOST_BANDS:
            break
    return [Span(band * wide, band * wide + wide - 1, step) for band in bands]


def _span_label(span: Span) -> str:
    low, _dash, high = str(span).partition("-")
    text = brief(float(low), Unit.MM)
    if high:
        text = _("{low} to {high}").format(low=text, high=brief(float(high), Unit.MM))
    return with_unit(text, Unit.MM)


def _short(value: str) -> str:
    return value if len(value) <= 40 else f"{value[:40]}…"
