"""One row of a file against the library: what it means, what it would change, what is wrong with it."""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import ValidationError

from fitcalc.dimensions import PART_DIMENSIONS, REQUIRED, PartKind
from fitcalc.said import Listed, Said, Within, said
from setups.imports import cells
from setups.imports.columns import Kind
from setups.imports.given import Change, Given
from setups.imports.library import Library, fold
from setups.imports.words import settled, shown, signed, together, too_long
from setups.models import Body, Part, Platform
from setups.models.dimension import Dimension
from setups.services.near import nearest
from setups.translate import platform_of

NOT_FIELDS = ("maker", "slug", "platforms", "made_for", "basis", "source")


@dataclass(slots=True)
class Checked:
    """What a row would write: the body or part, its dimensions, its platforms and bodies."""

    instance: Any
    is_new: bool
    new_maker: str = ""
    changes: list[Change] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    fields: list[str] = field(default_factory=list)
    dimensions: list[Dimension] = field(default_factory=list)
    platforms: list[Platform] = field(default_factory=list)
    bodies: list[Body] = field(default_factory=list)
    identities: list[Any] = field(default_factory=list)
    """Two rows with one of these in common are about the same thing."""


def check(kind: Kind, given: Given, library: Library) -> Checked:
    """What ``given`` would do to ``library``; what is wrong is added to ``given``."""
    existing = _match(kind, given, library)
    checked = Checked(copy(existing) if existing is not None else kind.model(), existing is None)
    _maker(given, library, checked, existing)
    _fields(kind, given, checked, existing)
    if kind.model is Part:
        _part_rules(given, checked)
        _links(given, library, checked, existing)
    library.figures.check(given, checked, existing)
    if kind.model is Part:
        _offset_grid(given, checked, existing)
        _incomplete(checked, existing)
    checked.identities = _identities(given, library, checked, existing)
    return checked


def _match(kind: Kind, given: Given, library: Library) -> Any | None:
    """The row on record that is meant, or ``None`` for a new one."""
    values = given.values
    found = library.find(values)
    if found.by_slug is not None:
        if found.by_number not in (None, found.by_slug):
            other = library.rows[found.by_number]
            given.wrong(
                "part_number",
                Said(
                    "It is the number of “{other}” ({slug}): correct the number or the slug.",
                    other=str(other),
                    slug=other.slug,
                ),
            )
        existing = library.rows[found.by_slug]
    else:
        number = values.get("part_number", "")
        named = [pk for pk in found.by_name if not number or library.number_of[pk] in ("", number)]
        if found.by_number is None and len(named) > 1:
            slugs = ", ".join(library.rows[pk].slug for pk in named[:4])
            why = Said(
                "Several have this maker and name: add a column slug with one of {slugs}.", slugs=slugs
            )
            given.wrong("name", why)
        pk = found.by_number if found.by_number is not None else named[0] if named else None
        existing = None if pk is None else library.rows[pk]
        if existing is not None and "slug" in values:
            given.wrong(
                "slug",
                Said("It is on record as “{slug}”: leave the slug out or write that.", slug=existing.slug),
            )
    if existing is not None and kind.model is Part and existing.kind != values["kind"]:
        given.wrong(
            "kind",
            Said(
                "“{part}” is a {kind} on record, and a part stays of its kind.",
                part=str(existing),
                kind=Said(PartKind(existing.kind).label),
            ),
        )
    return existing


def _maker(given: Given, library: Library, checked: Checked, existing: Any | None) -> None:
    name = given.values["maker"]
    maker = library.makers.get(fold(name))
    if maker is None:
        if len(name) > 80:
            given.wrong("maker", too_long(name, 80))
            return
        checked.new_maker = name
        near = library.maker_near(name)
        if near:
            checked.notes.append(
                Said("“{name}” would be a new maker: did you mean “{near}”?", name=name, near=near)
            )
        after = name
    else:
        checked.instance.maker = maker
        after = maker.name
        holder = library.holder(
            maker, given.values.get("part_number") or (existing.part_number if existing else "")
        )
        if existing is not None and holder is not None and holder.pk != existing.pk:
            given.wrong(
                "maker",
                Said(
                    "{number} is the number of “{other}” ({slug}) there.",
                    number=holder.part_number,
                    other=str(holder),
                    slug=holder.slug,
                ),
            )
    if existing is None or maker is None or existing.maker_id != maker.pk:
        checked.changes.append(Change(said("Maker"), "" if existing is None else existing.maker.name, after))
        checked.fields.append("maker")


def _fields(kind: Kind, given: Given, checked: Checked, existing: Any | None) -> None:
    instance = checked.instance
    if existing is None and "slug" in given.values:
        instance.slug = given.values["slug"]
        checked.fields.append("slug")
    for column in kind.fields:
        if column.key in NOT_FIELDS or column.key not in given.values:
            continue
        value = settled(kind.model._meta.get_field(column.key), given.values[column.key])
        before = None if existing is None else getattr(existing, column.key)
        if before == value or (column.key == "name" and existing is not None and fold(before) == fold(value)):
            continue
        setattr(instance, column.key, value)
        checked.fields.append(column.key)
        field = kind.model._meta.get_field(column.key)
        was = "" if existing is None else shown(before, field, column.unit)
        checked.changes.append(Change(column.label, was, shown(value, field, column.unit)))
    exclude = {f.name for f in kind.model._meta.fields if f.name not in checked.fields} | {"maker"}
    for key, messages in _faults(instance, exclude):
        given.wrong(key, messages)


def _faults(instance: Any, exclude: set[str]) -> list[tuple[str, str]]:
    try:
        instance.clean_fields(exclude=exclude)
    except ValidationError as error:
        return [(key, together(messages)) for key, messages in error.message_dict.items()]
    return []


def _part_rules(given: Given, checked: Checked) -> None:
    part = checked.instance
    mount = part.kind == PartKind.MOTOR_MOUNT
    if mount and not part.layout:
        given.wrong("layout", Said("A motor mount needs its layout: write rear motor or mid motor."))
    elif part.layout and not mount:
        given.wrong("layout", Said("Only a motor mount has a layout: leave the cell empty."))


def _links(given: Given, library: Library, checked: Checked, existing: Any | None) -> None:
    known = set() if existing is None else {fitment.platform_id for fitment in existing.fitments.all()}
    for name in _names(given.values.get("platforms", ""), library.platforms):
        platform = library.platforms.get(name) or library.platforms.get(fold(name))
        if platform is None:
            near = nearest(name, dict.fromkeys(one.name for one in library.platforms.values()), limit=1)
            given.wrong("platforms", _no_platform(cells.short(name), near))
        elif platform.pk not in known:
            known.add(platform.pk)
            checked.platforms.append(platform)
    if checked.platforms:
        checked.changes.append(
            Change(said("Fits"), "", ", ".join(platform.name for platform in checked.platforms))
        )
    if "made_for" not in given.values:
        return
    if checked.instance.kind not in (PartKind.FRONT_BODY_MOUNT, PartKind.REAR_BODY_MOUNT):
        given.wrong("made_for", Said("Only a body mount is made for a body: leave the cell empty."))
        return
    ruled = {} if existing is None else {rule.body_id: rule for rule in existing.body_rules.all()}
    for name in cells.several(given.values["made_for"]):
        bodies = library.bodies_called(name)
        if not bodies:
            given.wrong(
                "made_for",
                Said(
                    "There is no body “{name}”: load the bodies first, or correct it.",
                    name=cells.short(name),
                ),
            )
        elif len(bodies) > 1:
            slugs = ", ".join(body.slug for body in bodies[:4])
            given.wrong(
                "made_for",
                Said(
                    "Several bodies are called “{name}”: write one of {slugs}.",
                    name=cells.short(name),
                    slugs=slugs,
                ),
            )
        elif bodies[0].pk not in ruled:
            ruled[bodies[0].pk] = None
            checked.bodies.append(bodies[0])
        elif ruled[bodies[0].pk] is not None and ruled[bodies[0].pk].rule == "fouls":
            given.wrong(
                "made_for",
                Said("On record it fouls “{body}”: it cannot be made for it.", body=str(bodies[0])),
            )
    if checked.bodies:
        checked.changes.append(Change(said("Made for"), "", ", ".join(body.name for body in checked.bodies)))


def _no_platform(name: str, near: list[str]) -> Said:
    if near:
        return Said("There is no platform “{name}”: did you mean “{near}”?", name=name, near=near[0])
    return Said("There is no platform “{name}”: see the list of platforms for their names.", name=name)


def _names(text: str, known: dict[str, Any]) -> list[str]:
    """The names in a cell; commas part them too, unless a name has one."""
    found = []
    for name in cells.several(text):
        whole = name in known or fold(name) in known
        found += [name] if whole else [part for piece in name.split(",") if (part := piece.strip())]
    return found


def _offset_grid(given: Given, checked: Checked, existing: Part | None) -> None:
    """A wheel's offset must be on the grid of every platform that it fits (``OffsetGrid.holds``)."""
    if checked.instance.kind != PartKind.WHEEL:
        return
    offset = next((row for row in checked.dimensions if row.quantity == "offset"), None)
    platforms = list(checked.platforms)
    if existing is not None:
        if offset is None:
            offset = next((row for row in existing.dimensions.all() if row.quantity == "offset"), None)
        platforms += [fitment.platform for fitment in existing.fitments.all()]
    if offset is None:
        return
    for platform in platforms:
        grid = platform_of(platform).offsets
        if not grid.holds(float(offset.value)):
            given.wrong(
                "offset",
                Said(
                    "{platform} takes offsets from {low} to {high} in steps of {step:g} mm, and {offset} is "
                    "none of them: correct the offset or the platform.",
                    platform=str(platform),
                    low=signed(grid.low),
                    high=signed(grid.high),
                    step=float(grid.step),
                    offset=signed(float(offset.value)),
                ),
            )


def _incomplete(checked: Checked, existing: Part | None) -> None:
    known = {row.quantity for row in checked.dimensions}
    if existing is not None:
        known |= {row.quantity for row in existing.dimensions.all()}
    kind = PartKind(checked.instance.kind)
    missing = Listed(Within(PART_DIMENSIONS[key].label) for key in REQUIRED[kind] if key not in known)
    if missing:
        checked.notes.append(Said("It is left out of every answer until known: {missing}.", missing=missing))


def _identities(given: Given, library: Library, checked: Checked, existing: Any | None) -> list[Any]:
    maker, number = fold(given.values["maker"]), given.values.get("part_number", "")
    found: list[Any] = [("name", maker, fold(given.values["name"]), given.values[library.apart], number)]
    if existing is not None:
        found = [("row", existing.pk)]
    if number:
        found.append(("number", maker, number))
    if "slug" in given.values:
        found.append(("slug", given.values["slug"]))
    return found
