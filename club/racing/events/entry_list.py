"""An entry list as CSV: what each row would enter, what is wrong with it, and entering all of it or nothing.

A plan is made anew when it is carried out, with the event locked; one that is no longer right then enters
nothing and is shown again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models.functions import Lower
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.models import Entry, Event, Member
from club.models.events import MOST_NUMBER
from club.racing.events.entries import FROM_A_LIST, MOST_ENTRIES, demand_director, enter_many
from setups.imports.cells import is_unknown, plain, unmarked
from setups.imports.reading import Row, Unreadable, gridded
from setups.models import Body, Platform, Setup
from setups.services.near import nearest
from setups.translated import tell

COLUMNS = {
    "number": gettext_lazy("Race number, 1 to 9999, each once. Needed."),
    "class": gettext_lazy("Name of a class that the event races. May be left out where there is only one."),
    "driver": gettext_lazy("Name on the list. Needed, unless a member is named."),
    "member": gettext_lazy("Username, where the driver is a member: they see their own sheet."),
    "setup": gettext_lazy(
        "Number of the posted setup that the car is, as in its address. It brings body and platform."
    ),
    "body": gettext_lazy("Name or slug of the body, where there is no setup."),
    "platform": gettext_lazy("Name or slug of the platform, where there is no setup."),
}
"""The columns and what each holds; other columns are left alone."""
EXAMPLE = {
    "number": "7",
    "class": "",
    "driver": "Ada Example",
    "member": "",
    "setup": "",
    "body": "",
    "platform": "",
}
_SPELT = {
    "no": "number",
    "no.": "number",
    "race number": "number",
    "race class": "class",
    "name": "driver",
    "username": "member",
    "setup number": "setup",
    "shell": "body",
    "chassis": "platform",
}


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong, where, and what to do; line 0 means the whole file, no column the whole row."""

    line: int
    column: str
    message: str


@dataclass(slots=True)
class PlannedRow:
    """One row: the entry that it would make, or what is wrong with it."""

    line: int
    cells: dict[str, str]
    entry: Entry
    problems: list[Problem] = field(default_factory=list)
    stands: bool = False

    @property
    def outcome(self) -> str:
        """ "wrong", "stands" (it is entered so already) or "new"."""
        return "wrong" if self.problems else "stands" if self.stands else "new"


@dataclass(slots=True)
class Plan:
    """What a file would do to an event's entry list."""

    rows: list[PlannedRow] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    ignored: list[str] = field(default_factory=list)

    def of(self, outcome: str) -> list[PlannedRow]:
        return [row for row in self.rows if row.outcome == outcome]

    @property
    def new(self) -> list[PlannedRow]:
        return self.of("new")

    @property
    def wrong(self) -> list[PlannedRow]:
        return self.of("wrong")

    @property
    def all_problems(self) -> list[Problem]:
        return self.problems + [problem for row in self.rows for problem in row.problems]

    @property
    def loadable(self) -> bool:
        return bool(self.new) and not self.wrong and not self.problems


def plan_of(event: Event, text: str) -> Plan:
    """What ``text`` would enter; nothing is changed. A constant number of queries."""
    plan = Plan()
    try:
        grid = gridded(text, lambda heading: _column(heading) in COLUMNS)
    except Unreadable as error:
        plan.problems.append(Problem(0, "", tell(error)))
        return plan
    headings = [_column(cell) for cell in grid.headings.cells]
    twice = sorted(one for one in COLUMNS if headings.count(one) > 1)
    for column in twice:
        message = _("Two columns say the same thing: leave one of them out.")
        plan.problems.append(Problem(grid.headings.line, column, message))
    if "number" not in headings:
        message = _("There is no column “number”: every car needs its race number.")
        plan.problems.append(Problem(grid.headings.line, "number", message))
    if not {"driver", "member"} & set(headings):
        message = _("There is no column “driver” and none “member”: say who drives each car.")
        plan.problems.append(Problem(grid.headings.line, "driver", message))
    if plan.problems:
        return plan
    plan.ignored = [
        cell for cell, one in zip(grid.headings.cells, headings, strict=True) if one not in COLUMNS and cell
    ]
    rows = [(row, _cells(row, headings)) for row in grid.rows]
    known = _Known(event, [cells for _, cells in rows])
    plan.rows = [_planned(event, row, cells, known, len(headings)) for row, cells in rows]
    _one_number_each(plan.rows)
    if len(plan.new) + known.entered > MOST_ENTRIES:
        message = _("An event takes up to {most_entries} entries: make a second event of the rest.").format(
            most_entries=MOST_ENTRIES
        )
        plan.problems.append(Problem(0, "", message))
    return plan


def load(event: Event, text: str, by: Any) -> tuple[Plan, int]:
    """Enter all of ``text``; the plan and how many were entered, 0 where the plan was not right."""
    demand_director(by)
    try:
        with transaction.atomic():
            Event.objects.select_for_update().get(pk=event.pk)
            plan = plan_of(event, text)
            if not plan.loadable:
                return plan, 0
            enter_many([row.entry for row in plan.new], by, FROM_A_LIST)
    except IntegrityError:
        return plan_of(event, text), 0
    return plan, len(plan.new)


class _Known:
    """What the rows may speak of, fetched in seven queries."""

    def __init__(self, event: Event, rows: Iterable[dict[str, str]]) -> None:
        rows = list(rows)
        self.classes = {_fold(str(one)): one for one in event.classes.all()}
        self.classes |= {one.slug: one for one in list(self.classes.values())}
        standing = event.entries.select_related("member", "revision", "body", "platform", "race_class")
        self.entries = {entry.number: entry for entry in standing}
        self.entered = len(self.entries)
        names = {_fold(row.get("member", "")) for row in rows} - {""}
        people = Member.objects.annotate(folded=Lower("username")).filter(folded__in=names)
        self.members = {_fold(one.username): one for one in people}
        numbers = {int(text) for row in rows if _is_number(text := row.get("setup", ""))}
        posted = Setup.objects.filter(pk__in=numbers, current__isnull=False)
        self.setups = {one.pk: one for one in posted.select_related("current__body", "current__platform")}
        self.bodies = self._named(Body, [row.get("body", "") for row in rows])
        self.platforms = self._named(Platform, [row.get("platform", "") for row in rows])

    @staticmethod
    def _named(model: Any, cells: Iterable[str]) -> dict[str, list[Any]]:
        """Folded name or slug -> the rows that it can mean; few, since names differ."""
        wanted = {_fold(cell) for cell in cells} - {""}
        found: dict[str, list[Any]] = defaultdict(list)
        if wanted:
            named = model.objects.annotate(folded=Lower("name"))
            for one in named.filter(folded__in=wanted).select_related("maker"):
                found[_fold(one.name)].append(one)
            for one in model.objects.filter(slug__in=wanted).select_related("maker"):
                found[one.slug] = [one]
        return found


def _planned(event: Event, row: Row, cells: dict[str, str], known: _Known, width: int) -> PlannedRow:
    entry = Entry(event=event)
    planned = PlannedRow(row.line, cells, entry)

    def wrong(column: str, message: str) -> None:
        planned.problems.append(Problem(row.line, column, message))

    cells_there = len(row.cells)
    if cells_there > width and any(row.cells[width:]):
        wrong(
            "",
            _("The row has {cells_there} cells and there are {width} headings: put them in line.").format(
                cells_there=cells_there, width=width
            ),
        )
    number = _whole(cells.get("number", ""))
    if number is None or not 1 <= number <= MOST_NUMBER:
        wrong(
            "number",
            _("Write the race number as a whole number from 1 to {most_number}.").format(
                most_number=MOST_NUMBER
            ),
        )
    else:
        entry.number = number
    _set_class(entry, cells.get("class", ""), known, wrong)
    _set_driver(entry, cells, known, wrong)
    _set_car(entry, cells, known, wrong)
    there = known.entries.get(number or 0)
    if there is not None and not planned.problems:
        if _same(there, entry):
            planned.stands = True
        else:
            wrong(
                "number",
                _(
                    "Number {number} is {driver}'s already: give this car another one, or "
                    "change that entry on its own page."
                ).format(number=number, driver=there.driver),
            )
    return planned


def entry_from(
    event: Event, cells: Mapping[str, str], but: Entry | None = None
) -> tuple[Entry, list[Problem]]:
    """The entry that one typed row would make, as of a file, and what is wrong with it; ``but`` is the entry
    that it would change."""
    said = {column: "" if is_unknown(text) else plain(text) for column, text in cells.items()}
    known = _Known(event, [said])
    if but is not None:
        known.entries.pop(but.number, None)
    planned = _planned(event, Row(0, []), said, known, len(COLUMNS))
    if planned.stands:
        message = _("Number {number} is on the list like this already.").format(number=planned.entry.number)
        planned.problems.append(Problem(0, "number", message))
    return planned.entry, planned.problems


_Wrong = Callable[[str, str], None]


def _set_class(entry: Entry, text: str, known: _Known, wrong: _Wrong) -> None:
    choices = sorted({str(one) for one in known.classes.values()})
    if not text and len(choices) == 1:
        entry.race_class = known.classes[_fold(choices[0])]
    elif _fold(text) in known.classes:
        entry.race_class = known.classes[_fold(text)]
    elif not text:
        names = ", ".join(choices) or _("the event has none yet")
        wrong("class", _("Say in which class it races: {classes}.").format(classes=names))
    else:
        near = nearest(text, choices, 1)
        if near:
            told = _("“{text}” is not raced at this event: did you mean {instead}?")
        else:
            told = _("“{text}” is not raced at this event: there are {instead}.")
        instead = near[0] if near else ", ".join(choices) or _("none yet")
        wrong("class", told.format(text=text, instead=instead))


def _set_driver(entry: Entry, cells: dict[str, str], known: _Known, wrong: _Wrong) -> None:
    name, username = cells.get("driver", ""), cells.get("member", "")
    if username:
        entry.member = known.members.get(_fold(username))
        if entry.member is None:
            wrong(
                "member",
                _("No member is called “{username}”: write the username, or leave it empty.").format(
                    username=username
                ),
            )
    entry.driver = name or (str(entry.member) if entry.member else "")
    if not name and not username:
        wrong("driver", _("Say who drives it."))
    elif len(entry.driver) > 80:
        wrong("driver", _("A name on the list has up to 80 letters: shorten it."))


def _set_car(entry: Entry, cells: dict[str, str], known: _Known, wrong: _Wrong) -> None:
    text = cells.get("setup", "")
    if text:
        setup = known.setups.get(int(text)) if _is_number(text) else None
        if setup is None:
            wrong(
                "setup",
                _("No posted setup has the number {text}: take it from the setup's address.").format(
                    text=text
                ),
            )
            return
        entry.revision = setup.current
    for column, there in (("body", known.bodies), ("platform", known.platforms)):
        named = cells.get(column, "")
        if not named:
            continue
        found = there.get(_fold(named), [])
        if len(found) != 1:
            if found:
                told = _("{count} things are called “{named}”: write the slug, such as {slug}.").format(
                    count=len(found), named=named, slug=found[0].slug
                )
            elif column == "body":
                told = _(
                    "The library has no body called “{named}”: write its name, or leave it empty."
                ).format(named=named)
            else:
                told = _(
                    "The library has no platform called “{named}”: write its name, or leave it empty."
                ).format(named=named)
            wrong(column, told)
        elif entry.revision is None:
            setattr(entry, column, found[0])
        elif getattr(entry.revision, f"{column}_id") != found[0].pk:
            said = getattr(entry.revision, column)
            if column == "body":
                told = _("Setup {number} has the body {named}: leave one of the two out.")
            else:
                told = _("Setup {number} has the platform {named}: leave one of the two out.")
            wrong(column, told.format(number=text, named=said))


def _one_number_each(rows: Iterable[PlannedRow]) -> None:
    first: dict[int, int] = {}
    for row in rows:
        number = row.entry.number
        if number is None:
            continue
        if number in first:
            line = first[number]
            message = _("Number {number} stands on line {line} too: each car has its own.").format(
                number=number, line=line
            )
            row.problems.append(Problem(row.line, "number", message))
        else:
            first[number] = row.line


def _same(there: Entry, entry: Entry) -> bool:
    names = ("race_class_id", "driver", "member_id", "revision_id", "body_id", "platform_id")
    return all(getattr(there, name) == getattr(entry, name) for name in names)


def _column(heading: str) -> str:
    named = " ".join(plain(heading).casefold().replace("_", " ").split())
    return _SPELT.get(named, named)


def _cells(row: Row, headings: list[str]) -> dict[str, str]:
    """What the row says, by column; an empty cell and a dash say nothing."""
    found = dict.fromkeys(COLUMNS, "")
    for column, cell in zip(headings, row.cells, strict=False):
        if column in COLUMNS and not is_unknown(cell):
            found[column] = plain(unmarked(cell)[0])
    return found


def _fold(text: str) -> str:
    return " ".join(text.casefold().split())


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 19


def _whole(text: str) -> int | None:
    text = text.removeprefix("#").strip()
    return int(text) if _is_number(text) else None
