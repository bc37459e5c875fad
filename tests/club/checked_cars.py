"""Cars and rulebooks for the tests of the class check; the figures are those of ``full_catalogue``."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

from club.garage import stock
from club.models import Chassis, RulebookEdition
from club.racing.editions import today
from tests.factories import (
    ClauseFactory,
    EditionFactory,
    MemberFactory,
    RaceClassFactory,
    SetupFactory,
    published,
)


def slots(shop, **others) -> dict:
    """The catalogue's car that fits its body: 55 mm wide at both ends, wheelbase 92 mm, tyres of 22 mm."""
    return {
        "front_suspension": shop.wide,
        "front_wheel": shop.wheels[Decimal(0)],
        "front_tyre": shop.tyres[0],
        "rear_axle": shop.rear_axle,
        "rear_wheel": shop.wheels[Decimal(1)],
        "rear_tyre": shop.tyres[0],
        "motor_mount": shop.mounts[0],
        "plate": shop.plates[0],
        "body_mount": shop.body_mount,
    } | others


def a_setup(shop, author=None, tuning=None, **others):
    return SetupFactory(
        body=shop.body,
        platform=shop.platform,
        position=shop.platform.positions.get(name="middle"),
        parts=slots(shop, **others),
        author=author or MemberFactory(),
        tuning=tuning or {},
    )


def a_chassis(shop, member, name="Runner", **others) -> Chassis:
    chassis = Chassis(member=member, name=name)
    filled = {slot: part.pk for slot, part in slots(shop, **others).items() if part and slot != "body_mount"}
    stock.build(chassis, shop.platform.positions.get(name="middle"), filled)
    return chassis


def edition_of(*clauses, race_class=None, valid_from=None) -> RulebookEdition:
    """Published and holding today; a clause is what its factory takes."""
    edition = EditionFactory(
        race_class=race_class or RaceClassFactory(), valid_from=valid_from or today() - timedelta(days=9)
    )
    for given in clauses:
        ClauseFactory(edition=edition, **given)
    return published(edition)


def at_most(quantity, high, **more) -> dict:
    return {"quantity": quantity, "high": Decimal(str(high)), **more}


def at_least(quantity, low, **more) -> dict:
    return {"quantity": quantity, "low": Decimal(str(low)), "high": None, **more}
