"""Two to six setups, revisions and bare configurations side by side: all that differs among them.

An address names each: ``s12`` is setup 12 as it stands, ``r12.3`` its third revision, which never changes,
and figures joined by hyphens are a bare configuration (``setups.services.comparing.code_of``).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import F, Q
from django.utils.translation import gettext as _

from fitcalc.fit import FitReport
from fitcalc.said import said
from fitcalc.tuning import TUNING
from setups.models import Body, Revision, Setup
from setups.services.cars import NotBuildable, as_built, car_of, figures_of, reports_of
from setups.services.comparing import (
    Comparison,
    NoSuchCar,
    cars_of,
    comparison_of,
    judge,
)
from setups.services.kept import columns
from setups.services.revisions import SAID
from setups.services.revisions import figures_of as effects_of
from setups.services.telling import named
from setups.services.tuned import Setting
from setups.translate import Figures
from setups.translated import tell

_CODE = re.compile(r"s(\d{1,18})|r(\d{1,18})\.(\d{1,9})")


@dataclass(frozen=True, slots=True)
class Car:
    """One of the compared; ``revision`` is ``None`` for a bare configuration."""

    number: int
    code: str
    report: FitReport
    revision: Revision | None
    has_body: bool

    @property
    def title(self) -> str:
        """What a page calls it."""
        return _("Car %(number)s") % {"number": self.number}

    @property
    def tuning(self) -> dict[str, Any]:
        return {} if self.revision is None else self.revision.tuning


@dataclass(frozen=True, slots=True)
class SaidRow:
    """One thing that is said of each car, ``None`` where nothing is; a ``Setting``, or words."""

    label: str
    values: list[Any]

    @property
    def same(self) -> bool:
        """True if all cars have the same."""
        return all(value == self.values[0] for value in self.values)


@dataclass(frozen=True, slots=True)
class SideBySide:
    """The cars and what differs: parts and effects, settings, and where and how they ran."""

    cars: list[Car]
    comparison: Comparison
    settings: list[SaidRow]
    same_settings: list[SaidRow]
    ran: list[SaidRow]
    same_ran: list[SaidRow]

    @property
    def posted(self) -> bool:
        """True if any of the cars is of a setup, so that there is more to it than parts."""
        return any(car.revision is not None for car in self.cars)


@dataclass(frozen=True, slots=True)
class Named:
    """What the codes of an address name: revisions with their cars, by code, and bare configurations."""

    codes: Sequence[str]
    revisions: dict[str, Revision]
    figures: Figures | None

    @property
    def read(self) -> list[Any] | None:
        """Everything that was read, where all of them are of setups; ``None`` otherwise."""
        if len(self.revisions) < len(self.codes) or self.figures is None:
            return None
        slots = [row for revision in self.revisions.values() for row in revision.slots.all()]
        return [self.figures.rows, *columns(self.revisions.values()), *columns(slots)]

    def lasting(self, code: str) -> str:
        """The code that will still name the same car when the setup has been revised."""
        revision = self.revisions.get(code)
        return code if revision is None else f"r{revision.setup_id}.{revision.number}"

    def cars(self, body: Body | None) -> list[Car]:
        """The cars, bare ones under ``body``, which is read with them. Raises NoSuchCar."""
        try:
            computed = reports_of(map(car_of, self.revisions.values()), figures=self.figures)
        except NotBuildable as error:
            said = _("A setup cannot be computed any more: {error}")
            raise NoSuchCar(said.format(error=tell(error))) from error
        bare = [code for code in self.codes if code not in self.revisions]
        reports = dict(zip(self.revisions, computed, strict=True))
        reports |= zip(bare, judge(cars_of(bare), body) if bare else [], strict=True)
        return [
            Car(
                number,
                code,
                reports[code],
                self.revisions.get(code),
                code in self.revisions or body is not None,
            )
            for number, code in enumerate(self.codes, start=1)
        ]


def named_by(codes: Sequence[str]) -> Named:
    """What ``codes`` name, the setups among them read in seven queries. Raises NoSuchCar."""
    of_setup = {code: found for code in codes if (found := _CODE.fullmatch(code)) and code.isascii()}
    revisions = _revisions(of_setup)
    return Named(codes, revisions, figures_of(revisions.values()) if revisions else None)


def _revisions(of_setup: dict[str, re.Match[str]]) -> dict[str, Revision]:
    """The revision that each code names, with its car. Raises NoSuchCar."""
    if not of_setup:
        return {}
    wanted = Q(pk__in=[])
    for found in of_setup.values():
        setup, of, number = found.groups()
        if setup is not None:
            wanted |= Q(setup=int(setup), setup__current=F("pk"))
        else:
            wanted |= Q(setup=int(of), number=int(number))
    rows = Revision.objects.filter(wanted).exclude(setup__state=Setup.State.DRAFT)
    rows = as_built(rows).select_related("author").annotate(newest=F("setup__current"))
    rows = rows.prefetch_related("race_class").defer(*named(Revision, "author"))
    by_setup, by_number = {}, {}
    for row in rows:
        by_number[str(row.setup_id), str(row.number)] = row
        if row.newest == row.pk:  # type: ignore[attr-defined]
            by_setup[str(row.setup_id)] = row
    revisions = {}
    for code, found in of_setup.items():
        setup, of, number = (None if text is None else str(int(text)) for text in found.groups())
        revision = by_setup.get(setup or "") if setup is not None else by_number.get((of or "", number or ""))
        if revision is None:
            said = _("There is no posted setup “{code}”: choose the setups again.")
            raise NoSuchCar(said.format(code=code))
        revisions[code] = revision
    return revisions


def side_by_side(cars: Sequence[Car]) -> SideBySide:
    """What differs among ``cars``; no query."""
    settings = [
        SaidRow(field.label, [_setting(car, key) for car in cars])
        for key, field in TUNING.items()
        if any(key in car.tuning for car in cars)
    ]
    ran = [SaidRow(label, [_said(car, say) for car in cars]) for label, say in _RAN.items()]
    ran = [row for row in ran if any(row.values)]
    reports = [car.report for car in cars]
    return SideBySide(
        list(cars),
        comparison_of(reports, [effects_of(car.report, car.tuning) for car in cars]),
        *_split(settings),
        *_split(ran),
    )


_RAN = {said("Member"): lambda revision: revision.author} | {
    label: say for label, say in SAID if label not in ("Name", "Mounting position")
}
"""What is said of a setup besides its parts, settings and figures; the position is among the parts."""


def _setting(car: Car, key: str) -> Setting | None:
    return Setting(TUNING[key], car.tuning[key]) if key in car.tuning else None


def _said(car: Car, say: Any) -> str | None:
    return None if car.revision is None else str(say(car.revision)) or None


def _split(rows: Iterable[SaidRow]) -> tuple[list[SaidRow], list[SaidRow]]:
    rows = list(rows)
    return [row for row in rows if not row.same], [row for row in rows if row.same]
