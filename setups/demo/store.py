"""Puts the demo into the database, finds it there, and takes it out again without touching anything else.

A row is the demo's if it has the demo's address (slug) and the demo's maker, or hangs on such a row; a
member is the demo's if both user name and the never-existing mail domain are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from decimal import Decimal
from typing import Any

from django.contrib.auth import get_user_model
from django.contrib.auth.hashers import make_password
from django.db import connection
from django.db.models import BooleanField, Count, F, Min, Model, Q, QuerySet
from django.db.models.expressions import RawSQL
from django.utils.text import slugify

from setups.demo import measurements, setups
from setups.demo.hooks import leaving
from setups.demo.many import DRIVER, SERIES, bare
from setups.demo.members import EMAIL_DOMAIN, MEMBERS, PASSPHRASE
from setups.demo.plans import Club, Figure, decimal
from setups.models import (
    Body,
    BodyDimension,
    BodyPart,
    Configuration,
    ConfigurationPart,
    Decision,
    Dispute,
    Draft,
    Fitment,
    KeptAnswer,
    KnownWheelbase,
    Maker,
    Measurement,
    MountingPosition,
    Part,
    PartDimension,
    PartPair,
    Photo,
    Platform,
    Revision,
    RevisionPart,
    Setup,
    StatedFigure,
)

Say = Callable[[str], object]
_FROM_THE_LEAVES: tuple[type[Model], ...] = (
    Dispute,
    Decision,
    Measurement,
    RevisionPart,
    Draft,
    Photo.revisions.through,  # type: ignore[attr-defined]
    Photo,
    Revision,
    Setup,
    StatedFigure,
    BodyDimension,
    BodyPart,
    KeptAnswer,
)
"""What hangs on other rows of the demo and may be a million rows: taken out by one statement a table."""


class DemoError(Exception):
    """Why the demo cannot be loaded or taken out; the text says what to do."""


Kept = Callable[[QuerySet[Any]], QuerySet[Any]]


def own_rows(club: Club, kept: Kept = lambda rows: rows) -> dict[type[Model], QuerySet[Any]]:
    """For every table, the rows that are the demo's; ``kept`` is given each before others ask for it."""
    maker_slugs = [slugify(name) for name in club.makers]
    platforms = kept(
        Platform.objects.filter(slug__in=[p.slug for p in club.platforms], maker__slug__in=maker_slugs)
    )
    copies = Q(slug__startswith=SERIES)
    parts = kept(
        Part.objects.filter(Q(slug__in=[p.slug for p in club.parts]) | copies, maker__slug__in=maker_slugs)
    )
    bodies = kept(
        Body.objects.filter(Q(slug__in=[b.slug for b in club.bodies]) | copies, maker__slug__in=maker_slugs)
    )
    positions = kept(
        MountingPosition.objects.filter(
            platform__in=platforms, name__in={name for p in club.platforms for name, _ in p.positions}
        )
    )
    configurations = kept(
        Configuration.objects.filter(platform__in=platforms, name__in=[c.name for c in club.configurations])
    )
    people = kept(
        get_user_model().objects.filter(
            Q(username__in=[member.username for member in MEMBERS]) | Q(username__startswith=DRIVER),
            email__endswith=f"@{EMAIL_DOMAIN}",
        )
    )
    of_demo = Q(body__in=bodies) | Q(part__in=parts)
    posted = kept(Setup.objects.filter(author__in=people))
    revisions = kept(Revision.objects.filter(setup__in=posted))
    return {
        Maker: kept(Maker.objects.filter(slug__in=maker_slugs)),
        Platform: platforms,
        MountingPosition: positions,
        Part: parts,
        PartDimension: kept(PartDimension.objects.filter(part__in=parts)),
        Fitment: kept(Fitment.objects.filter(part__in=parts, platform__in=platforms)),
        PartPair: kept(PartPair.objects.filter(part__in=parts, other__in=parts)),
        KnownWheelbase: kept(
            KnownWheelbase.objects.filter(
                platform__in=platforms, motor_mount__in=parts, plate__in=parts, position__in=positions
            )
        ),
        Body: bodies,
        BodyDimension: kept(BodyDimension.objects.filter(body__in=bodies)),
        BodyPart: kept(BodyPart.objects.filter(body__in=bodies, part__in=parts)),
        Configuration: configurations,
        ConfigurationPart: kept(
            ConfigurationPart.objects.filter(configuration__in=configurations, part__in=parts)
        ),
        Setup: posted,
        Draft: kept(Draft.objects.filter(setup__in=posted)),
        Revision: revisions,
        RevisionPart: kept(RevisionPart.objects.filter(revision__in=revisions)),
        Photo: kept(Photo.objects.filter(setup__in=posted)),
        Measurement: kept(Measurement.objects.filter(of_demo | Q(revision__in=revisions), member__in=people)),
        Dispute: kept(Dispute.objects.filter(setup__in=posted)),
        Decision: kept(Decision.objects.filter(setup__in=posted)),
        KeptAnswer: kept(KeptAnswer.objects.filter(member__in=people)),
        StatedFigure: kept(StatedFigure.objects.filter(of_demo)),
        get_user_model(): people,
    }


def counted(club: Club) -> dict[str, tuple[int, int]]:
    """How many of the demo's platforms, parts, bodies and members are there, and how many there should be."""
    own = own_rows(club)
    expected = {Platform: club.platforms, Part: club.parts, Body: club.bodies}
    return {
        str(model._meta.verbose_name_plural): (own[model].count(), len(plans))
        for model, plans in expected.items()
    }


def _refuse_taken(club: Club) -> None:
    """Raises DemoError if a row that is not the demo's has an address, name or number that it needs."""
    numbers = Q()
    for name in club.makers:
        of_maker = [part.number for part in club.parts if part.maker == name]
        numbers |= Q(maker__slug=slugify(name), part_number__in=of_maker)
    taken = [
        *Platform.objects.filter(
            Q(slug__in=[p.slug for p in club.platforms]) | Q(name__in=[p.name for p in club.platforms])
        ),
        *Part.objects.filter(Q(slug__in=[p.slug for p in club.parts]) | numbers),
        *Body.objects.filter(slug__in=[b.slug for b in club.bodies]),
    ]
    if taken:
        listed = ", ".join(f"{row._meta.verbose_name} “{row}”" for row in taken[:5])
        raise DemoError(
            f"{len(taken)} of the club's own rows have names that the demo needs: {listed}. Nothing was "
            "changed. Rename them, or load the demo into an empty database."
        )


def _figures(figure: Figure) -> dict[str, Any]:
    return {
        "value": decimal(figure.value),
        "tolerance": None if figure.tolerance is None else decimal(figure.tolerance),
        "uncertainty": None if figure.uncertainty is None else decimal(figure.uncertainty),
        "basis": figure.basis,
        "source": figure.source,
    }


def _create(rows: Iterable[Model]) -> list[Any]:
    rows = list(rows)
    return type(rows[0])._default_manager.bulk_create(rows, batch_size=500) if rows else []


def load(club: Club, say: Say) -> None:
    """Stores the club, members apart. Call it in a transaction. Raises DemoError if a name is taken."""
    _refuse_taken(club)
    makers = {maker.name: maker for maker in Maker.objects.filter(slug__in=[slugify(n) for n in club.makers])}
    missing = [name for name in club.makers if name not in makers]
    makers |= {m.name: m for m in _create(Maker(name=name, slug=slugify(name)) for name in missing)}
    say(f"Makers: {len(makers)}")

    platforms, positions = _load_platforms(club, makers)
    say(f"Platforms: {len(platforms)}, with {len(positions)} mounting positions")

    parts = _load_parts(club, makers, platforms)
    say(f"Parts: {len(parts)} in packs, {len(club.pairs)} rules about which go together")

    known = _create(
        KnownWheelbase(
            platform=platforms[k.platform],
            motor_mount=parts[k.mount],
            plate=parts[k.plate],
            position=positions[k.platform, k.position],
            wheelbase=decimal(k.wheelbase),
            tolerance=decimal(k.tolerance),
            source=k.source,
        )
        for k in club.known_wheelbases
    )
    say(f"Published wheelbases: {len(known)}")

    bodies = _load_bodies(club, makers, parts)
    say(f"Bodies: {len(bodies)}")

    configurations = _create(
        Configuration(
            name=c.name,
            platform=platforms[c.platform],
            position=positions[c.platform, c.position],
            body=bodies.get(c.body),
        )
        for c in club.configurations
    )
    _create(
        ConfigurationPart(configuration=row, slot=slot, part=parts[part])
        for row, plan in zip(configurations, club.configurations, strict=True)
        for slot, part in plan.slots.items()
    )
    say(f"Sets as supplied: {len(configurations)}")


def _load_platforms(
    club: Club, makers: dict[str, Maker]
) -> tuple[dict[str, Platform], dict[tuple[str, str], MountingPosition]]:
    rows = _create(
        Platform(
            name=p.name,
            slug=p.slug,
            maker=makers[p.maker],
            scale=p.scale,
            drive=p.drive,
            description=p.description,
            source=p.source,
            datum=decimal(p.datum),
            datum_tolerance=decimal(p.datum_tolerance),
            front_rim_width=decimal(p.front_rim),
            chassis_front_width=decimal(p.chassis_front_width),
            offset_min=decimal(p.offsets[0]),
            offset_max=decimal(p.offsets[1]),
            offset_step=decimal(p.offsets[2]),
            flush_band=decimal(p.flush_band),
            inset_limit=decimal(p.inset_limit),
            centring_limit=decimal(p.centring_limit),
            arch_clearance=decimal(p.arch_clearance),
            steer_min=decimal(p.steer_min),
        )
        for p in club.platforms
    )
    platforms = {row.slug: row for row in rows}
    positions = _create(
        MountingPosition(
            platform=platforms[p.slug],
            name=name,
            order=order,
            shift=decimal(shift),
            tolerance=Decimal("0.040"),
        )
        for p in club.platforms
        for order, (name, shift) in enumerate(p.positions, start=1)
    )
    return platforms, {(row.platform.slug, row.name): row for row in positions}


def _load_parts(club: Club, makers: dict[str, Maker], platforms: dict[str, Platform]) -> dict[str, Part]:
    rows = _create(
        Part(
            kind=p.kind,
            name=p.name,
            slug=p.slug,
            maker=makers[p.maker],
            part_number=p.number,
            axle=p.axle,
            layout=p.layout,
            price=p.price,
            pack_size=p.pack_size,
            mass=p.mass,
            description=p.description,
        )
        for p in club.parts
    )
    parts = {row.slug: row for row in rows}
    _create(
        PartDimension(part=parts[p.slug], quantity=key, **_figures(figure))
        for p in club.parts
        for key, figure in p.figures.items()
    )
    _create(Fitment(part=parts[p.slug], platform=platforms[slug]) for p in club.parts for slug in p.platforms)
    _create(
        PartPair(part=parts[p.part], other=parts[p.other], rule=p.rule, reason=p.reason) for p in club.pairs
    )
    return parts


def _load_bodies(club: Club, makers: dict[str, Maker], parts: dict[str, Part]) -> dict[str, Body]:
    rows = _create(
        Body(
            name=b.name,
            slug=b.slug,
            maker=makers[b.maker],
            part_number=b.number,
            scale=b.scale,
            material=b.material,
            price=b.price,
            full_size_car=b.car,
            full_size_wheelbase=b.car_wheelbase,
            takes_rear_motor=b.takes_rear_motor,
            takes_mid_motor=b.takes_mid_motor,
            designated_front_width=b.front_width,
            designated_front_offset=b.front_offset,
            designated_rear_offset=b.rear_offset,
            description=b.description,
        )
        for b in club.bodies
    )
    bodies = {row.slug: row for row in rows}
    _create(
        BodyDimension(body=bodies[b.slug], quantity=key, **_figures(figure))
        for b in club.bodies
        for key, figure in b.figures.items()
    )
    _create(
        BodyPart(body=bodies[p.body], part=parts[p.part], rule=p.rule, reason=p.reason)
        for p in club.body_parts
    )
    return bodies


def load_members(with_accounts: bool, say: Say) -> list[str]:
    """Stores the members; returns the user names that the documented passphrase opens.

    A user name that is taken by somebody else is left alone. Call it in a transaction.
    """
    people = get_user_model()
    taken = set(
        people.objects.filter(username__in=[m.username for m in MEMBERS]).values_list("username", flat=True)
    )
    free = [member for member in MEMBERS if member.username not in taken]
    known = make_password(PASSPHRASE) if with_accounts else ""
    _create(
        people(
            username=m.username,
            display_name=m.display_name,
            role=m.role,
            email=m.email,
            password=known if with_accounts and m.open_to_all else make_password(None),
        )
        for m in free
    )
    say(f"Members: {len(free)}" + (f"; left alone, as taken: {', '.join(sorted(taken))}" if taken else ""))
    return [m.username for m in free if m.open_to_all] if with_accounts else []


def load_measurements(club: Club, random_seed: int, say: Say) -> None:
    """Stores what the members measured, and what that settles. Call it after both are there."""
    own = own_rows(club)
    number = measurements.store(own[Body], own[Part], own[get_user_model()], random_seed)
    say(f"Measurements: {number}")


def load_setups(
    club: Club,
    random_seed: int,
    number: int,
    say: Say,
    raced_in: Callable[[Body], int | None] = lambda body: None,
) -> None:
    """Stores what the members posted and what became of it. Call it after all else is there.

    ``raced_in`` gives the key of the race class that a body is raced in.
    """
    own = own_rows(club)
    stored = setups.store(club, own[get_user_model()], random_seed, own[Body], own[Part], number, raced_in)
    say(f"Setups: {stored}")


KEYS_IN_MEMORY = "512MB"


def keys_in_memory() -> None:
    """Until the transaction ends, PostgreSQL may hold a million keys in memory.

    For a row that hangs on a body, a part or a revision of the demo it looks into the keys of all three, and
    would go through them for each row otherwise.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(f"SET LOCAL work_mem = '{KEYS_IN_MEMORY}'")


def count_rows() -> None:
    """PostgreSQL plans by counts of rows that its own housekeeping brings up to date late, and that a removal
    which was broken off leaves at nothing: creating an index writes them, and no rollback takes that back. By
    such counts, taking the demo out would not end.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")


@contextmanager
def _written_down(club: Club) -> Iterator[dict[type[Model], QuerySet[Any]]]:
    """``own_rows`` by their keys, which stand in temporary tables meanwhile.

    Whose a row is hangs on its setup, on that one's author, on the author's address: a database that has to
    find it out anew for each row of a large table is at it for minutes.
    """
    with connection.cursor() as cursor:

        def kept(rows: QuerySet[Any]) -> QuerySet[Any]:
            table = _keys_of(rows.model)
            keys, values = rows.order_by().values(own_key=F("pk")).query.sql_with_params()
            cursor.execute(f"CREATE TEMPORARY TABLE {table} AS {keys}", values)
            cursor.execute(f"CREATE UNIQUE INDEX {table}_own ON {table} (own_key)")
            cursor.execute(f"ANALYZE {table}")
            return rows.model._default_manager.filter(pk__in=_those(rows.model))

        own = own_rows(club, kept)
        yield own
        for model in own:
            cursor.execute(f"DROP TABLE {_keys_of(model)}")


def _keys_of(model: type[Model]) -> str:
    """The temporary table that holds the keys of the demo's rows."""
    return f"demo_{model._meta.db_table}"


def _those(model: type[Model]) -> RawSQL:
    return RawSQL(f"SELECT own_key FROM {_keys_of(model)}", ())  # noqa: S611


def _not_those(model: type[Model]) -> RawSQL:
    """As NOT EXISTS: one look at each table; a large NOT IN is tried anew for each row."""
    mine = f"{model._meta.db_table}.{model._meta.pk.column}"
    sql = f"NOT EXISTS (SELECT 1 FROM {_keys_of(model)} AS own WHERE own_key = {mine})"
    return RawSQL(sql, (), output_field=BooleanField())  # noqa: S611


def _strangers(own: Iterable[type[Model]]) -> tuple[int, list[Model]]:
    """How many rows that are not the demo's hang on rows that are, so that they would go with them, and some
    of them.

    ``own`` are the tables whose keys are written down. Makers are not looked at: one that somebody else's
    row names stays.
    """
    number, some = 0, []
    for model in own:
        for relation in model._meta.related_objects if model is not Maker else ():
            if relation.many_to_many:
                continue
            table = relation.related_model
            hanging = table._default_manager.filter(**{f"{relation.field.name}__in": _those(model)})
            if table in own:
                hanging = hanging.filter(_not_those(table))
            # Counted, not listed: asked for the first few, the database would go through all in their order.
            found = hanging.order_by().aggregate(number=Count("pk"), first=Min("pk"))
            if found["number"]:
                number += found["number"]
                some.append(table._default_manager.get(pk=found["first"]))
    return number, some


def remove(club: Club, say: Say) -> None:
    """Takes out the demo's rows and no others. Call it in a transaction.

    Raises DemoError if rows that are not the demo's would go with them.
    """
    count_rows()
    keys_in_memory()
    leaving.send(sender=None, members=own_rows(club)[get_user_model()])
    with _written_down(club) as own:
        number, others = _strangers(list(own))
        if number:
            named = dict.fromkeys(f"{row._meta.verbose_name} “{row}”" for row in others[:5])
            raise DemoError(
                f"{number} rows that are not the demo's hang on it: {', '.join(named)}. Nothing was changed. "
                "Delete them or move them to a platform, part or body of your own first, or load the demo "
                "into an empty database."
            )
        _remove(own)
    say("Removed what was there of the demo")


def _remove(own: dict[type[Model], QuerySet[Any]]) -> None:
    with bare(own[Setup].count()):
        taken_up = Setup.objects.filter(started_from__setup__in=_those(Setup))
        taken_up.filter(_not_those(Setup)).update(started_from=None)
        for model in _FROM_THE_LEAVES:
            _take_out(own[model] if model in own else model.objects.filter(photo__setup__in=_those(Setup)))
        for model in (Fitment, PartDimension):
            _take_out(model.objects.filter(part__in=own[Part].filter(slug__startswith=SERIES)))
        for model in (Body, Part):
            _take_out(own[model].filter(slug__startswith=SERIES))
    _take_out_drivers(own[get_user_model()].filter(username__startswith=DRIVER))
    for model in (Configuration, Body, KnownWheelbase, Part, Platform, get_user_model()):
        own[model].delete()
    in_use = Q(parts__isnull=False) | Q(bodies__isnull=False) | Q(platforms__isnull=False)
    own[Maker].exclude(pk__in=Maker.objects.filter(in_use).values("pk")).delete()


def _take_out_drivers(drivers: QuerySet[Any]) -> None:
    """Members of whom there may be a hundred thousand; what hung on them is gone."""
    for groups in drivers.model._meta.many_to_many:
        through = groups.remote_field.through
        _take_out(through._default_manager.filter(**{f"{groups.m2m_field_name()}__in": drivers.values("pk")}))
    _take_out(drivers)


def _take_out(rows: QuerySet[Any]) -> None:
    """Delete ``rows`` by one statement: none passes through Python, and nothing may hang on them."""
    rows._raw_delete(rows.db)  # type: ignore[attr-defined]
