"""Garages for the demo's open accounts: a chassis each, loose parts, bodies, and something on offer."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet

from club.garage import stock
from club.models import Chassis, Member, OwnedBody, OwnedPart
from fitcalc.dimensions import PartKind
from fitcalc.parts import Slot
from setups.demo.members import MEMBERS
from setups.models import Body, BodyPart, Configuration, Part

BUILT = {
    "member": ("Dunlin with Stormcock Coupé, as supplied", "Corncrake with Dotterel Rally, as supplied"),
    "steward": ("Dunlin as supplied, mid motor",),
    "director": ("Whimbrel with Wheatear Coupé, as supplied",),
    "librarian": ("Fieldfare with Fulmar High Downforce, as supplied",),
}
"""Which sets as supplied each account has built, by the name that the set has in the library."""
BODIES = 5
MOUNTS = 14
"""Each account has the front mounts of so many bodies of its first chassis' scale, and so many bodies."""
WHEELS = 5
"""Loose pairs of wheels, an axle."""


def move_in(members: QuerySet[Member], say: Callable[[str], object], **_: Any) -> None:
    """Fills the garages of those of ``members`` that the demo lets everybody sign in as."""
    accounts = {plan.username for plan in MEMBERS if plan.open_to_all}
    found = [one for one in members.order_by("pk") if one.username in accounts and one.username in BUILT]
    for place, member in enumerate(found):
        _furnish(member, place)
    say(f"Garages: {len(found)}, with {Chassis.objects.filter(member__in=found).count()} chassis")


def clear_out(members: QuerySet[Member], **_: Any) -> None:
    """Empties the garages of the demo's members, whatever is in them."""
    for table in (Chassis, OwnedPart, OwnedBody):
        table.objects.filter(member__in=members).delete()


def _furnish(member: Member, place: int) -> None:
    sets = Configuration.objects.filter(name__in=BUILT[member.username])
    sets = sets.select_related("platform", "position", "body")
    built = sorted(sets, key=lambda one: BUILT[member.username].index(one.name))
    for one in built:
        chassis = Chassis(member=member, name=f"My {one.platform.name.split()[-1]}")
        slots = one.slots.exclude(slot=Slot.BODY_MOUNT.value)
        stock.build(chassis, one.position, dict(slots.values_list("slot", "part_id")))
    if not built:
        return
    platform = built[0].platform
    shells = [one.body for one in built if one.body is not None]
    others = Body.objects.filter(scale=platform.scale).exclude(pk__in=[body.pk for body in shells])
    bodies = [*shells, *others.order_by("name", "pk")][:MOUNTS]
    OwnedBody.objects.bulk_create(OwnedBody(member=member, body=body) for body in bodies[:BODIES])
    made_for = BodyPart.objects.filter(body__in=bodies, rule=BodyPart.Rule.MADE_FOR)
    mounts = Part.objects.filter(body_rules__in=made_for, platforms__scale=platform.scale).distinct()
    loose = dict.fromkeys(mounts, 1)
    sold = Part.objects.filter(platforms=platform, maker=platform.maker).order_by("slug")
    for axle in ("front", "rear"):
        loose |= dict.fromkeys(sold.filter(kind=PartKind.WHEEL.value, axle=axle)[:WHEELS], 2)
    for kind in (PartKind.MOTOR_MOUNT, PartKind.PLATE, PartKind.FRONT_SUSPENSION):
        loose |= dict.fromkeys(sold.filter(kind=kind.value)[:2], 1)
    for number, (part, count) in enumerate(loose.items()):
        row = stock.add(member, part, count)
        if (number + place) % 3 == 0:
            row.offer = OwnedPart.Offer.LEND
        elif (number + place) % 5 == 0:
            row.offer = OwnedPart.Offer.PART_WITH
            row.price = Decimal("2.50") if part.kind == PartKind.WHEEL.value else None
        row.save()
