"""Setups from a file: a row a revision, the rows of one setup told by the mark in its column ``setup``.

A member posts their own as new ones, dated now. Who keeps the library puts back other members' too, with
number, dates and standing as they were; what is posted never changes, so a revision on record must say what
the file says. All come through ``setups.services.posting.post_many``.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.core.management.color import no_style
from django.db import connection
from django.utils import timezone

from fitcalc.findings import Verdict
from fitcalc.said import Kept, Listed, Said, said
from fitcalc.tuning import TUNING
from setups.imports import cells
from setups.imports.contents import PLAIN, RELATED, content_of_row
from setups.imports.given import Change, Given
from setups.imports.library import fold
from setups.imports.names import Names, chunks, members_called
from setups.imports.planned import By, Loaded, Plan, PlannedRow, Problem, closed, row_of
from setups.imports.record_kinds import SLOTS
from setups.imports.words import of_numbers
from setups.models import Decision, Revision, Setup
from setups.services import posting
from setups.services.cars import Content, reports_of
from setups.services.ruling import bring_all_up_to_date
from setups.services.writing import locked_first

MOST_AT_ONCE = 500
"""So many revisions are computed and written in one go."""

RULES = (
    said("scale"),
    said("layout"),
    said("floor"),
    said("pairs"),
    said("offset grid"),
    said("wheelbase"),
    said("flush"),
    said("arch"),
    said("bump"),
    said("lock"),
    said("body mount"),
)
"""The rules that a setup may fail, as a note names them."""


@dataclass(slots=True)
class Posted:
    """One revision that a row would post; ``instance`` is the revision on record, or a new one."""

    instance: Any
    content: Content | None
    author: Any
    at: datetime | None
    group: _Group
    is_new: bool = True
    changes: list[Change] = field(default_factory=list)


@dataclass(slots=True)
class _Group:
    """The rows of one setup. ``setup`` is on record or, with ``keeps``, to have the number of the file."""

    mark: str
    setup: Setup | None = None
    revisions: dict[int, Revision] = field(default_factory=dict)
    keeps: bool = False
    author: Any = None
    withdrawn: bool = False
    last: int = 0
    started_from: tuple[str, int] | None = None

    @property
    def number(self) -> int | None:
        """The number that the mark is, if it is one."""
        return int(self.mark) if self.mark.isdecimal() and 0 < len(self.mark) < 10 else None


def plan_rows(plan: Plan, given: list[Given], by: By, lock: bool) -> None:
    """Adds to ``plan`` what each row would do."""
    if by.member is None and not by.whole:
        plan.problems.append(Problem(0, "", Said("Setups are posted under a member's name: sign in first.")))
        return
    names = Names(plan.kind.refers, [one.values for one in given], RELATED)
    authors = members_called(one.values["author"] for one in given if "author" in one.values)
    groups = _groups(given, lock)
    own = _own(by) if not by.keeps_library else {}
    if not by.keeps_library:
        plan.notices.append(Said("Your setups are posted as new ones, dated now."))
    for one in given:
        row = row_of(one, one.values.get("name", ""))
        plan.rows.append(row)
        group = groups[_mark(one)]
        author = _author(one, group, authors, by)
        number = _number(one, group, by)
        content = content_of_row(one, names, by)
        if one.problems or content is None:
            closed(row, one, None)
            continue
        _place(
            row,
            one,
            group,
            Posted(Revision(), content, author, one.values.get("posted_at"), group),
            number,
            by,
        )
    if own:
        _note_doubles(plan, own)
    _note_misfits(plan)


def _mark(given: Given) -> str:
    return given.values.get("setup") or f"line {given.line}"


def _groups(given: list[Given], lock: bool) -> dict[str, _Group]:
    groups = {_mark(one): _Group(_mark(one)) for one in given}
    numbers = {group.number: group for group in groups.values() if group.number is not None}
    for some in chunks(sorted(numbers)):
        query = Setup.objects.filter(pk__in=some).select_related("current", "author").order_by("pk")
        for setup in locked_first(query) if lock else query:
            numbers[setup.pk].setup = setup
        revisions = (
            Revision.objects.filter(setup__in=some).prefetch_related("slots").order_by("setup", "number")
        )
        for revision in revisions:
            numbers[revision.setup_id].revisions[revision.number] = revision
    return groups


def _author(given: Given, group: _Group, authors: dict[str, Any], by: By) -> Any:
    name = given.values.get("author", "")
    author = authors.get(name.casefold()) if name else by.member
    if author is None:
        if name:
            why = Said(
                "There is no member “{name}”: write the username of who posted it; they have to be a member "
                "first.",
                name=cells.short(name),
            )
        else:
            why = Said("It is empty: write the username of who posted it; they have to be a member first.")
        given.wrong("author", why)
    elif not by.keeps_library and author.pk != by.member.pk:
        why = Said("You may post your own setups only: leave it empty, or write your username.")
        given.wrong("author", why)
    elif group.author is not None and group.author.pk != author.pk:
        given.wrong(
            "author",
            Said(
                "Another row of setup {setup} is by {author}: one setup has one author.",
                setup=group.mark,
                author=str(group.author),
            ),
        )
    else:
        group.author = author
    return author


def _number(given: Given, group: _Group, by: By) -> int:
    """Which revision the row is; they stand in order, from the first."""
    number: int = given.values.get("revision", group.last + 1)
    if number != group.last + 1:
        if group.last:
            why = Said(
                "Revisions of a setup stand below each other from 1 on: here must be {number}.",
                number=group.last + 1,
            )
        else:
            why = Said("Revisions of a setup stand below each other from 1 on: here must be the first.")
        given.wrong("revision", why)
    group.last += 1
    at = given.values.get("posted_at")
    if at is not None and at > timezone.now():
        given.wrong("posted_at", Said("It lies ahead: write when it was posted, or leave it empty."))
    text = given.values.get("started_from", "")
    if text and by.keeps_library:
        mark, _, revision = text.partition("/")
        if mark.strip().isdecimal() and revision.strip().isdecimal() and len(text) < 20:
            group.started_from = (mark.strip(), int(revision))
        else:
            given.wrong(
                "started_from",
                Said("“{cell}” is no revision: write setup/revision, such as 12/1.", cell=cells.short(text)),
            )
    group.withdrawn = group.withdrawn or given.values.get("withdrawn", False)
    return number


def _place(row: PlannedRow, given: Given, group: _Group, posted: Posted, number: int, by: By) -> None:
    """The row against what is on record under the setup's number."""
    standing = group.setup if _is_same(group, by) else None
    if group.setup is not None and standing is None and by.keeps_library:
        given.wrong(
            "setup",
            Said(
                "Number {number} is another setup here, “{setup}” by {author}: write a mark that is no "
                "number, and it gets a new one.",
                number=group.mark,
                setup=str(group.setup),
                author=str(group.setup.author),
            ),
        )
        closed(row, given, None)
        return
    group.keeps = by.keeps_library and group.number is not None
    content = posted.content
    assert content is not None
    before = group.revisions.get(number) if standing is not None else None
    if before is not None:
        posted.instance, posted.is_new = before, False
        differing = _differing(before, content)
        if differing:
            given.wrong(
                differing[0],
                Said(
                    "Revision {number} of setup {setup} says otherwise on record, and what is posted never "
                    "changes: leave the row as it was, or post a new revision.",
                    number=number,
                    setup=group.mark,
                ),
            )
    elif standing is not None and not by.keeps_library:
        why = Said("Setup {setup} is on record without it: revise it on its page.", setup=group.mark)
        given.wrong("revision", why)
    elif standing is not None and standing.state == Setup.State.WITHDRAWN:
        why = Said("Setup {setup} is withdrawn: put it back first, then revise it.", setup=group.mark)
        given.wrong("setup", why)
    if posted.is_new:
        posted.changes = _said(content, posted.author, number, group)
    closed(row, given, posted)


def _is_same(group: _Group, by: By) -> bool:
    """Whether the setup on record under the file's number is the one that the file means."""
    if group.setup is None or group.setup.current_id is None or group.author is None:
        return False
    return bool(group.setup.author_id == group.author.pk)


def _differing(before: Revision, content: Content) -> list[str]:
    """The columns in which a revision on record says otherwise than the file."""
    slots = {row.slot: row.part_id for row in before.slots.all()}
    wanted = {slot.value: part.pk for slot, part in content.parts.items()}
    found = [key for key in PLAIN if _plainly(getattr(before, key)) != _plainly(getattr(content, key))]
    found += [
        key
        for key in ("body", "platform", "position")
        if getattr(before, f"{key}_id") != getattr(content, key).pk
    ]
    found += [slot for slot in SLOTS if slots.get(slot) != wanted.get(slot)]
    found += [key for key in TUNING if before.tuning.get(key) != content.tuning.get(key)]
    if before.race_class_id != content.race_class_id:
        found.append("race_class")
    return found


def _plainly(value: Any) -> Any:
    return value.replace("\r\n", "\n") if isinstance(value, str) else value


def _said(content: Content, author: Any, number: int, group: _Group) -> list[Change]:
    parts = ", ".join(dict.fromkeys(part.name for part in content.parts.values()))
    told = [
        (said("Author"), str(author)),
        (said("Revision"), str(number)),
        (said("Body"), str(content.body)),
        (said("Platform"), f"{content.platform}, {content.position}"),
        (said("Parts"), parts),
        (
            said("Settings"),
            of_numbers("{all}", all=Listed(_setting(key, value) for key, value in content.tuning.items()))
            if content.tuning
            else "",
        ),
        (said("Circuit"), content.circuit),
        (
            said("Best lap"),
            ""
            if content.best_lap is None
            else of_numbers("{value}", value=Kept(float(content.best_lap), "s")),
        ),
        (said("Withdrawn"), Said("yes") if group.withdrawn else ""),
    ]
    return [Change(what, "", after) for what, after in told if after]


def _setting(key: str, value: float | str) -> Said:
    """A setting with its label, as a page shows it."""
    figure = value if isinstance(value, str) else Kept(value, TUNING[key].unit.value)
    return of_numbers("{label} {figure}", label=Said(TUNING[key].label), figure=figure)


def _own(by: By) -> dict[tuple[str, str], int]:
    """The member's posted setups: name and build -> number."""
    rows = Setup.objects.filter(author=by.member, current__isnull=False)
    return {(fold(name), build): pk for name, build, pk in rows.values_list("name", "current__build", "pk")}


def _note_doubles(plan: Plan, own: dict[tuple[str, str], int]) -> None:
    for row in plan.new:
        content = row.checked.content
        found = own.get((fold(content.name), content.build))
        if found is not None:
            row.notes.append(
                Said("Your setup {number} has this name and is built alike: is it this one?", number=found)
            )


def _note_misfits(plan: Plan) -> None:
    """A setup whose geometry fails may be posted, and shows that it does."""
    new = plan.new
    for row, report in zip(new, reports_of([row.checked.content for row in new]), strict=True):
        if report.verdict is Verdict.FAILS:
            rules = Listed(dict.fromkeys(one.rule.value.replace("_", " ") for one in report.failing))
            row.notes.append(
                Said("By the library's figures it does not fit ({rules}): its page will say so.", rules=rules)
            )


def carry_out(plan: Plan, by: By) -> Loaded:
    """Writes the revisions of a faultless plan; within a transaction."""
    rows = [row.checked for row in plan.new]
    groups = list({id(one.group): one.group for one in rows}.values())
    fresh = [group for group in groups if group.setup is None or not _is_same(group, by)]
    _create(fresh)
    by.restored.update(group.setup.pk for group in fresh if group.setup)
    now = timezone.now()
    for at in range(0, len(rows), MOST_AT_ONCE):
        some = rows[at : at + MOST_AT_ONCE]
        dated = [
            (one.group.setup, one.content, (one.at if by.keeps_library else None) or now) for one in some
        ]
        for one, revision in zip(some, posting.post_many(dated), strict=True):
            one.instance = revision
            one.group.revisions[revision.number] = revision
    _started_from(groups)
    _withdraw([group for group in fresh if group.withdrawn and by.keeps_library], by)
    bring_all_up_to_date([group.setup for group in groups if group not in fresh])
    return Loaded([one.instance.pk for one in rows])


def _create(groups: list[_Group]) -> None:
    kept = [group for group in groups if group.keeps]
    for group in groups:
        group.setup = Setup(pk=group.number if group.keeps else None, author=group.author)
        group.revisions = {}
    Setup.objects.bulk_create([group.setup for group in groups if group.setup], batch_size=500)
    if kept:
        with connection.cursor() as cursor:
            for statement in connection.ops.sequence_reset_sql(no_style(), [Setup]):
                cursor.execute(statement)


def _started_from(groups: list[_Group]) -> None:
    """Sets which revision a setup was taken up from, of those in the file and those on record."""
    wanted = [group for group in groups if group.started_from is not None and group.setup is not None]
    marks = {group.mark: group for group in groups}
    outside = {
        int(group.started_from[0])
        for group in wanted
        if group.started_from and group.started_from[0] not in marks
    }
    on_record: dict[tuple[str, int], Revision] = {}
    for some in chunks(sorted(outside)):
        for revision in Revision.objects.filter(setup__in=some):
            on_record[str(revision.setup_id), revision.number] = revision
    for group in wanted:
        assert group.started_from is not None
        assert group.setup is not None
        mark, number = group.started_from
        within = marks.get(mark)
        found = within.revisions.get(number) if within is not None else on_record.get((mark, number))
        group.setup.started_from = found
    Setup.objects.bulk_update(
        [group.setup for group in wanted if group.setup], ["started_from"], batch_size=500
    )


def _withdraw(groups: list[_Group], by: By) -> None:
    lines: dict[str, list[Any]] = defaultdict(list)
    for group in groups:
        assert group.setup is not None
        group.setup.state = Setup.State.WITHDRAWN
        lines["setups"].append(group.setup)
        lines["decisions"].append(
            Decision(
                setup=group.setup,
                revision_id=group.setup.current_id,
                action=Decision.Action.WITHDRAWN,
                member=by.member,
                reason="It was withdrawn already when it was loaded from a file.",
                at=timezone.now(),
            )
        )
    Setup.objects.bulk_update(lines["setups"], ["state"], batch_size=500)
    Decision.objects.bulk_create(lines["decisions"], batch_size=500)
