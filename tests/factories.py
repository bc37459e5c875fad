"""Valid objects for tests, each with no arguments; the figures are invented and go together.

The default body fits the default platform's ``full_catalogue``. Hub width H, offset o and rim width w
give the width over the wheels W = H + 2(o + w), and the wheelbase is datum + mount + plate + position:

    front   wide 38 + 2(0 + 8.5) = 55    narrow 33 + 2(2.5 + 8.5) = 55     arch to arch 55
    rear         36 + 2(1 + 8.5) = 55                                      arch to arch 55
    chain   30 + 44 + 18 + 0 = 92        30 + 48 + 18 - 4 = 92             wheelbase 92
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import factory
from django.utils.text import slugify

from club.models import Clause, ClauseItem, Member, RaceClass, RulebookEdition
from club.racing import editions
from fitcalc.dimensions import REQUIRED, PartKind
from fitcalc.parts import Layout, Slot
from setups import models
from setups.services import posting
from setups.services.cars import Content

PASSWORD = "a quiet lap of the hall"

BODY_FIGURES: dict[str, str] = {
    "wheelbase": "92",
    "front_arch_width": "55",
    "rear_arch_width": "55",
    "front_arch_radius": "14",
    "rear_arch_radius": "14",
    "front_arch_height": "15",
    "rear_arch_height": "15",
    "nose_reach": "32",
    "mass": "38",
}
"""Every dimension of the default body, mm and g."""

PART_FIGURES: dict[PartKind, dict[str, str]] = {
    PartKind.FRONT_SUSPENSION: {
        "hub_width": "38",
        "kingpin_spacing": "42",
        "arm_length": "12",
        "bump_travel": "1.5",
        "steer_limit": "35",
    },
    PartKind.REAR_AXLE: {"hub_width": "36", "bump_travel": "1"},
    PartKind.MOTOR_MOUNT: {"chain_length": "44"},
    PartKind.PLATE: {"chain_length": "18"},
    PartKind.WHEEL: {"offset": "0", "rim_width": "8.5"},
    PartKind.TYRE: {"tyre_diameter": "22", "tyre_width": "8.5"},
    PartKind.SPACER: {"thickness": "0.5"},
    PartKind.FRONT_BODY_MOUNT: {"reach": "32"},
    PartKind.REAR_BODY_MOUNT: {},
    PartKind.MOTOR: {"speed_constant": "3500"},
    PartKind.PINION: {"teeth": "9", "module": "0.4"},
    PartKind.SPUR: {"teeth": "44", "module": "0.4"},
    PartKind.SPRING: {"spring_rate": "0.5"},
}
"""Default dimensions a kind, mm, degrees, rpm/V and N/mm: all the required ones and some more."""

assert all(set(REQUIRED[kind]) <= set(PART_FIGURES[kind]) for kind in PartKind)


class MemberFactory(factory.django.DjangoModelFactory):
    """A member who signs in with ``PASSWORD``; traits ``librarian``, ``steward``, ``race_director``."""

    class Meta:
        model = Member
        skip_postgeneration_save = True

    class Params:
        librarian = factory.Trait(role=Member.Role.LIBRARIAN)
        steward = factory.Trait(role=Member.Role.STEWARD)
        race_director = factory.Trait(role=Member.Role.RACE_DIRECTOR)

    username = factory.Sequence(lambda n: f"member{n}")
    display_name = factory.Sequence(lambda n: f"Member {n}")
    email = factory.LazyAttribute(lambda member: f"{member.username}@example.org")
    password = factory.django.Password(PASSWORD)


class MakerFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = models.Maker

    name = factory.Sequence(lambda n: f"Workshop {n}")
    slug = factory.LazyAttribute(lambda maker: slugify(maker.name))


class PlatformFactory(factory.django.DjangoModelFactory):
    """A platform with three mounting positions, or those of ``positions``: name -> shift in mm."""

    class Meta:
        model = models.Platform
        skip_postgeneration_save = True

    name = factory.Sequence(lambda n: f"Chassis {n}")
    slug = factory.LazyAttribute(lambda platform: slugify(platform.name))
    maker = factory.SubFactory(MakerFactory)
    scale = 28
    datum = Decimal("30")
    datum_tolerance = Decimal("0.1")
    front_rim_width = Decimal("8.5")
    chassis_front_width = Decimal("26")
    offset_min = Decimal("-1")
    offset_max = Decimal("3")
    offset_step = Decimal("0.5")

    @factory.post_generation
    def positions(self, create: bool, extracted: Mapping[str, Any] | None, **_: Any) -> None:
        if not create:
            return
        shifts = {"short": -4, "middle": 0, "long": 4} if extracted is None else extracted
        for order, (name, shift) in enumerate(shifts.items()):
            MountingPositionFactory(platform=self, name=name, shift=Decimal(str(shift)), order=order)


class MountingPositionFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = models.MountingPosition

    platform = factory.SubFactory(PlatformFactory)
    name = factory.Sequence(lambda n: f"hole {n}")
    order = factory.Sequence(lambda n: n)
    shift = Decimal("0")
    tolerance = Decimal("0.05")


class PartFactory(factory.django.DjangoModelFactory):
    """A part with the dimensions that its kind requires: a wheel, or what a trait says.

    A trait a kind: ``PartFactory(plate=True)``. ``figures`` overrides dimensions by name, ``None`` leaves
    one out; ``fits`` is one platform or several: ``PartFactory(wheel=True, figures={"offset": 1.5},
    fits=platform)``.
    """

    class Meta:
        model = models.Part
        skip_postgeneration_save = True

    class Params:
        front_suspension = factory.Trait(kind=PartKind.FRONT_SUSPENSION.value)
        rear_axle = factory.Trait(kind=PartKind.REAR_AXLE.value)
        motor_mount = factory.Trait(kind=PartKind.MOTOR_MOUNT.value)
        plate = factory.Trait(kind=PartKind.PLATE.value)
        wheel = factory.Trait(kind=PartKind.WHEEL.value)
        tyre = factory.Trait(kind=PartKind.TYRE.value)
        spacer = factory.Trait(kind=PartKind.SPACER.value)
        front_body_mount = factory.Trait(kind=PartKind.FRONT_BODY_MOUNT.value)
        rear_body_mount = factory.Trait(kind=PartKind.REAR_BODY_MOUNT.value)
        motor = factory.Trait(kind=PartKind.MOTOR.value)
        pinion = factory.Trait(kind=PartKind.PINION.value)
        spur = factory.Trait(kind=PartKind.SPUR.value)
        spring = factory.Trait(kind=PartKind.SPRING.value)

    kind = PartKind.WHEEL.value
    name = factory.Sequence(lambda n: f"Part {n}")
    slug = factory.LazyAttribute(lambda part: slugify(part.name))
    maker = factory.SubFactory(MakerFactory)
    layout = factory.LazyAttribute(
        lambda part: Layout.REAR_MOTOR.value if part.kind == PartKind.MOTOR_MOUNT else ""
    )
    price = Decimal("4.50")
    pack_size = factory.LazyAttribute(lambda part: 2 if part.kind in (PartKind.WHEEL, PartKind.TYRE) else 1)

    @factory.post_generation
    def figures(self, create: bool, extracted: Mapping[str, Any] | None, **_: Any) -> None:
        if create:
            _measure(
                models.PartDimension,
                {"part": self},
                PART_FIGURES[PartKind(self.kind)] | dict(extracted or {}),
            )

    @factory.post_generation
    def fits(
        self, create: bool, extracted: models.Platform | Iterable[models.Platform] | None, **_: Any
    ) -> None:
        if create and extracted is not None:
            platforms = [extracted] if isinstance(extracted, models.Platform) else extracted
            models.Fitment.objects.bulk_create(
                models.Fitment(part=self, platform=platform) for platform in platforms
            )


class BodyFactory(factory.django.DjangoModelFactory):
    """A body with all its dimensions; ``figures`` overrides them by name, ``None`` leaves one out."""

    class Meta:
        model = models.Body
        skip_postgeneration_save = True

    class Params:
        unmeasured = factory.Trait(figures=dict.fromkeys(BODY_FIGURES))

    name = factory.Sequence(lambda n: f"Shell {n}")
    slug = factory.LazyAttribute(lambda body: slugify(body.name))
    maker = factory.SubFactory(MakerFactory)
    scale = 28
    price = Decimal("24.00")
    takes_rear_motor = True
    takes_mid_motor = False

    @factory.post_generation
    def figures(self, create: bool, extracted: Mapping[str, Any] | None, **_: Any) -> None:
        if create:
            _measure(models.BodyDimension, {"body": self}, BODY_FIGURES | dict(extracted or {}))


class ConfigurationFactory(factory.django.DjangoModelFactory):
    """A configuration with a part in every slot that a car cannot do without.

    ``parts`` puts others there by slot: ``ConfigurationFactory(parts={"plate": part})``; ``None`` leaves
    the slot empty.
    """

    class Meta:
        model = models.Configuration
        skip_postgeneration_save = True

    name = factory.Sequence(lambda n: f"Car {n}")
    platform = factory.SubFactory(PlatformFactory)
    position = factory.LazyAttribute(
        lambda configuration: configuration.platform.positions.get(name="middle")
    )

    @factory.post_generation
    def parts(self, create: bool, extracted: Mapping[str, models.Part | None] | None, **_: Any) -> None:
        if not create:
            return
        given = dict(extracted or {})
        for slot, (kind, figures) in _CAR.items():
            if slot not in given:
                given[slot] = PartFactory(kind=kind.value, figures=figures, fits=self.platform)
        models.ConfigurationPart.objects.bulk_create(
            models.ConfigurationPart(configuration=self, slot=slot, part=part)
            for slot, part in given.items()
            if part is not None
        )


class SetupFactory(factory.django.DjangoModelFactory):
    """A posted setup with one revision: the default body on the parts of ``ConfigurationFactory``.

    ``parts`` puts others in by slot; any field of ``setups.services.cars.Content`` may be given. Without
    anything it fits: 55 mm wide at both ends, wheelbase 92 mm.
    """

    class Meta:
        model = models.Setup

    @classmethod
    def _create(cls, model_class: type[models.Setup], *_: Any, **given: Any) -> models.Setup:
        author = given.pop("author", None) or MemberFactory()
        revision = posting.post(content_for(**given), author)
        return models.Setup.objects.select_related("current").get(pk=revision.setup_id)


def content_for(parts: Mapping[str, models.Part | None] | None = None, **given: Any) -> Content:
    """What a setup of the default body and parts says; see ``SetupFactory``."""
    body = given.pop("body", None) or BodyFactory()
    platform = given.pop("platform", None) or PlatformFactory(scale=body.scale)
    if "body_mount" not in (parts or {}):
        mount = PartFactory(front_body_mount=True, fits=platform)
        models.BodyPart.objects.create(body=body, part=mount, rule=models.BodyPart.Rule.MADE_FOR)
        parts = {**(parts or {}), "body_mount": mount}
    car = ConfigurationFactory(platform=platform, body=body, parts=parts)
    filled = {Slot(row.slot): row.part for row in car.slots.select_related("part")}
    said = {"name": f"Setup of {body.name}", "position": car.position} | given
    return Content(body=body, platform=platform, parts=filled, **said)


def reading_for(setup: models.Setup, quantity: str, value: str | float, **given: Any) -> models.Measurement:
    """An unsaved reading of the setup's car with a calliper, by a new member."""
    return models.Measurement(
        revision=setup.current,
        quantity=quantity,
        value=Decimal(str(value)),
        **{"member": given.pop("member", None) or MemberFactory(), "instrument": "calliper"} | given,
    )


class KnownWheelbaseFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = models.KnownWheelbase

    platform = factory.SubFactory(PlatformFactory)
    motor_mount = factory.LazyAttribute(lambda known: PartFactory(motor_mount=True, fits=known.platform))
    plate = factory.LazyAttribute(lambda known: PartFactory(plate=True, fits=known.platform))
    position = factory.LazyAttribute(lambda known: known.platform.positions.get(name="middle"))
    wheelbase = Decimal("92")
    tolerance = Decimal("0.2")


class RaceClassFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = RaceClass

    name = factory.Sequence(lambda n: f"Class {n}")
    slug = factory.LazyAttribute(lambda race_class: slugify(race_class.name))


class EditionFactory(factory.django.DjangoModelFactory):
    """A draft without clauses; see ``published``."""

    class Meta:
        model = RulebookEdition

    race_class = factory.SubFactory(RaceClassFactory)
    name = factory.Sequence(lambda n: f"Edition {n}")
    valid_from = factory.Sequence(lambda n: date(2030, 1, 1) + timedelta(days=n))


class ClauseFactory(factory.django.DjangoModelFactory):
    """A limit: front width at most 56 mm. Trait ``wheels`` allows the wheels of ``items`` only, ``seen`` asks
    for what an inspector has to look at."""

    class Meta:
        model = Clause
        skip_postgeneration_save = True

    class Params:
        wheels = factory.Trait(
            kind="list", quantity="", high=None, thing="wheel", wording="Listed wheels only."
        )
        seen = factory.Trait(kind="required", quantity="", high=None, wording="A number that can be read.")

    edition = factory.SubFactory(EditionFactory)
    place = factory.Sequence(lambda n: n + 1)
    number = factory.Sequence(lambda n: f"{n + 1}.")
    wording = "The front is at most 56 mm wide over the wheels."
    kind = "limit"
    quantity = "front_width"
    high = Decimal("56")

    @factory.post_generation
    def items(self, create: bool, extracted: Iterable[models.Part | models.Body] | None, **_: Any) -> None:
        if create:
            ClauseItem.objects.bulk_create(
                ClauseItem(clause=self, **{"body" if isinstance(one, models.Body) else "part": one})
                for one in extracted or ()
            )


def published(edition: RulebookEdition, by: Member | None = None) -> RulebookEdition:
    """The edition, published on the day that it holds from."""
    director = by or MemberFactory(race_director=True)
    return editions.publish(edition, director, on=edition.valid_from)


_CAR: dict[str, tuple[PartKind, dict[str, str]]] = {
    Slot.FRONT_SUSPENSION.value: (PartKind.FRONT_SUSPENSION, {}),
    Slot.FRONT_WHEEL.value: (PartKind.WHEEL, {}),
    Slot.FRONT_TYRE.value: (PartKind.TYRE, {}),
    Slot.REAR_AXLE.value: (PartKind.REAR_AXLE, {}),
    Slot.REAR_WHEEL.value: (PartKind.WHEEL, {"offset": "1"}),
    Slot.REAR_TYRE.value: (PartKind.TYRE, {}),
    Slot.MOTOR_MOUNT.value: (PartKind.MOTOR_MOUNT, {}),
    Slot.PLATE.value: (PartKind.PLATE, {}),
}


@dataclass(frozen=True)
class FullCatalogue:
    """A small complete catalogue: what ``full_catalogue`` made, by what it is."""

    platform: models.Platform
    body: models.Body
    wide: models.Part
    narrow: models.Part
    wheels: dict[Decimal, models.Part]
    tyres: list[models.Part]
    rear_axle: models.Part
    mounts: list[models.Part]
    mid_mount: models.Part
    plates: list[models.Part]
    positions: list[models.MountingPosition]
    body_mount: models.Part


def full_catalogue(platform: models.Platform | None = None, body: models.Body | None = None) -> FullCatalogue:
    """All that the default body needs on the default platform, and a little that does not fit it.

    Two front ends, five wheels (offsets 0 to 2.5), two tyres (22 and 24 mm), one rear axle, two rear-motor
    mounts and a mid-motor one, two plates, three positions, and the body's own front mount.
    """
    platform = platform or PlatformFactory()
    body = body or BodyFactory(scale=platform.scale)
    maker = platform.maker
    common = {"fits": platform, "maker": maker}
    body_mount = PartFactory(front_body_mount=True, name=f"{body.name} front mount", **common)
    models.BodyPart.objects.create(body=body, part=body_mount, rule=models.BodyPart.Rule.MADE_FOR)
    return FullCatalogue(
        platform=platform,
        body=body,
        wide=PartFactory(front_suspension=True, **common),
        narrow=PartFactory(
            front_suspension=True, figures={"hub_width": "33", "kingpin_spacing": "37"}, **common
        ),
        wheels={
            Decimal(offset): PartFactory(wheel=True, figures={"offset": offset}, **common)
            for offset in ("0", "0.5", "1", "2", "2.5")
        },
        tyres=[
            PartFactory(tyre=True, figures={"tyre_diameter": diameter}, **common) for diameter in ("22", "24")
        ],
        rear_axle=PartFactory(rear_axle=True, **common),
        mounts=[
            PartFactory(motor_mount=True, figures={"chain_length": length}, **common)
            for length in ("44", "48")
        ],
        mid_mount=PartFactory(
            motor_mount=True, layout=Layout.MID_MOTOR.value, figures={"chain_length": "56"}, **common
        ),
        plates=[
            PartFactory(plate=True, figures={"chain_length": length}, **common) for length in ("18", "20")
        ],
        positions=list(platform.positions.all()),
        body_mount=body_mount,
    )


def _measure(model: type[Any], owner: dict[str, Any], figures: Mapping[str, Any]) -> None:
    """Rows of ``model`` for every figure that is not ``None``, each ± 0.1."""
    model.objects.bulk_create(
        model(**owner, quantity=quantity, value=Decimal(str(value)), tolerance=Decimal("0.1"))
        for quantity, value in figures.items()
        if value is not None
    )
