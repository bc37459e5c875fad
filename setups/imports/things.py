"""Bodies and parts: each row of a file against the library, and the rows carried out."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from uuid import uuid4

from django.db import models
from django.utils.text import slugify

from setups.imports import cells
from setups.imports.backdate import backdate
from setups.imports.columns import Kind
from setups.imports.given import Given
from setups.imports.library import Library, fold
from setups.imports.planned import By, Loaded, Outcome, Plan, PlannedRow, closed, row_of
from setups.imports.rows import check
from setups.imports.words import says_otherwise, says_the_same
from setups.models import BodyPart, Fitment, Maker, Part

BATCH = 500


def plan_rows(plan: Plan, given: list[Given], by: By, lock: bool) -> None:
    """Adds to ``plan`` what each row would do, and the makers that would be new."""
    library = Library(plan.kind, (one.values for one in given), lock)
    library.fetch_bodies({name for one in given for name in _body_names(one)})
    first_lines: dict[Any, Given] = {}
    for one in given:
        plan.rows.append(_planned(plan.kind, one, library, first_lines))
    makers = [row.checked.new_maker for row in plan.rows if row.checked and not row.problems]
    plan.new_makers = list({fold(name): name for name in reversed(makers) if name}.values())[::-1]


def _body_names(given: Given) -> Iterator[str]:
    yield from cells.several(given.values.get("made_for", ""))


def _planned(kind: Kind, given: Given, library: Library, first_lines: dict[Any, Given]) -> PlannedRow:
    row = row_of(given, given.values.get("name", ""))
    if given.problems:
        return closed(row, given, None)
    checked = check(kind, given, library)
    for key in checked.identities:
        first = first_lines.setdefault(key, given)
        if first is not given:
            if first.same_as(given):
                row.outcome = Outcome.UNCHANGED
                row.notes = [says_the_same(first)]
                return row
            given.wrong("", says_otherwise(first, kind))
            break
    return closed(row, given, checked, checked.notes)


def carry_out(plan: Plan, by: By) -> Loaded:
    """Writes the rows of a faultless plan; within a transaction."""
    makers = _makers(plan.new_makers)
    new, changed = plan.new, plan.changed
    for row in (*new, *changed):
        if row.checked.new_maker:
            row.checked.instance.maker = makers[fold(row.checked.new_maker)]
    _give_slugs(plan.kind, new)
    manager = plan.kind.model._default_manager
    added = [
        (row.checked.instance, row.checked.instance.added) for row in new if "added" in row.checked.fields
    ]
    manager.bulk_create([row.checked.instance for row in new], batch_size=BATCH)
    backdate(plan.kind.model, "added", added)
    _update(
        manager,
        [row.checked.instance for row in changed],
        {name for row in changed for name in row.checked.fields},
    )
    _dimensions(plan.kind, (*new, *changed))
    if plan.kind.model is Part:
        _links((*new, *changed))
    return Loaded(
        [row.checked.instance.pk for row in new],
        [row.checked.instance.pk for row in changed],
        plan.new_makers,
    )


def _makers(names: list[str]) -> dict[str, Maker]:
    found: dict[str, Maker] = {}
    taken = set(Maker.objects.values_list("slug", flat=True)) if names else set()
    for name in names:
        if fold(name) not in found:
            slug = _free(slugify(name)[:70] or "maker", taken)
            found[fold(name)] = Maker.objects.create(name=name, slug=slug)
    return found


def _free(base: str, taken: set[str]) -> str:
    slug, n = base, 1
    while slug in taken:
        n += 1
        slug = f"{base}-{n}"
    taken.add(slug)
    return slug


def _give_slugs(kind: Kind, rows: list[PlannedRow]) -> None:
    """An address for each new row that names none: maker and name, then scale or number if that is taken."""
    waiting = [row.checked.instance for row in rows if not row.checked.instance.slug]
    used = {row.checked.instance.slug for row in rows}
    for attempt in range(4):
        wished = [(one, _slug(kind, one, attempt)) for one in waiting]
        taken = set(
            kind.model._default_manager.filter(slug__in={slug for _, slug in wished}).values_list(
                "slug", flat=True
            )
        )
        waiting = []
        for one, slug in wished:
            if slug in taken or slug in used:
                waiting.append(one)
            else:
                one.slug = slug
                used.add(slug)
        if not waiting:
            return


def _slug(kind: Kind, one: Any, attempt: int) -> str:
    base = slugify(f"{one.maker.name} {one.name}")[:110].strip("-") or kind.one
    apart = [one.scale if kind.one == "body" else one.kind.replace("_", "-"), slugify(one.part_number)]
    if attempt == 0:
        return base
    if attempt < 3 and apart[attempt - 1]:
        return f"{base}-{apart[attempt - 1]}"[:140]
    return f"{base}-{uuid4().hex[:12]}"


def _update(manager: models.Manager[Any], rows: list[Any], fields: set[str]) -> None:
    if rows and fields:
        manager.bulk_update(rows, sorted(fields), batch_size=BATCH)


def _dimensions(kind: Kind, rows: tuple[PlannedRow, ...]) -> None:
    """Insert the new ones and overwrite the changed ones in one go, which is far quicker than bulk_update."""
    found = [(row.checked.instance, dimension) for row in rows for dimension in row.checked.dimensions]
    for owner, dimension in found:
        setattr(dimension, kind.owner, owner)
        dimension.pk = None  # found again by owner and quantity
    kind.dimension_model._default_manager.bulk_create(
        [dimension for _, dimension in found],
        batch_size=BATCH,
        update_conflicts=True,
        unique_fields=[kind.owner, "quantity"],
        update_fields=["value", "tolerance", "uncertainty", "basis", "source"],
    )


def _links(rows: tuple[PlannedRow, ...]) -> None:
    Fitment.objects.bulk_create(
        (Fitment(part=row.checked.instance, platform=one) for row in rows for one in row.checked.platforms),
        batch_size=BATCH,
    )
    BodyPart.objects.bulk_create(
        (
            BodyPart(part=row.checked.instance, body=one, rule=BodyPart.Rule.MADE_FOR)
            for row in rows
            for one in row.checked.bodies
        ),
        batch_size=BATCH,
    )
