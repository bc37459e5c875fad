"""What a member owns and where it is: loose, on a chassis, or on offer to others."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.db.models import F
from django.db.models.functions import Least
from django.utils.translation import gettext as _

from club.models import Chassis, ChassisPart, Member, OwnedPart
from club.models.garage import MOST_PIECES
from fitcalc.dimensions import PartKind
from fitcalc.parts import Slot
from setups.models import MountingPosition, Part
from setups.translate import SLOT_KINDS

PIECES: dict[str, int] = {kind.value: slot.pieces for slot, kind in SLOT_KINDS.items()}
"""How many pieces of a kind of part a slot takes: two wheels, two tyres, two spacers, else one."""


def fitted(member: Member, but: Chassis | None = None) -> Counter[int]:
    """Pieces of each part (by key) on the member's chassis, those on ``but`` left out. One query."""
    rows = ChassisPart.objects.filter(chassis__member=member)
    if but is not None and but.pk:
        rows = rows.exclude(chassis=but)
    found: Counter[int] = Counter()
    for part, slot in rows.values_list("part_id", "slot"):
        found[part] += Slot(slot).pieces
    return found


def at_hand(member: Member, chassis: Chassis | None = None) -> Counter[int]:
    """Pieces of each part that the member could put on ``chassis`` without taking another one apart.

    Without a chassis, all that is owned. Two queries.
    """
    counts = Counter(dict(member.owned_parts.values_list("part_id", "count")))
    return counts - fitted(member, but=chassis) if chassis is not None else counts


def enough_for_a_slot(counts: Mapping[int, int], parts: Mapping[int, Part]) -> frozenset[int]:
    """Keys of those of ``parts`` of which there are pieces enough to fill a slot."""
    return frozenset(
        key for key, count in counts.items() if key in parts and count >= PIECES.get(parts[key].kind, 1)
    )


@transaction.atomic
def add(member: Member, part: Part, count: int) -> OwnedPart:
    """``count`` more pieces of ``part`` are owned, up to as many as the table takes."""
    row, new = OwnedPart.objects.get_or_create(member=member, part=part, defaults={"count": count})
    if not new:
        OwnedPart.objects.filter(pk=row.pk).update(count=Least(F("count") + count, MOST_PIECES))
        row.refresh_from_db(fields=["count"])
    return row


@transaction.atomic
def build(chassis: Chassis, position: MountingPosition, filled: Mapping[str, int]) -> int:
    """Stores the chassis with a part (by key) in each slot of ``filled``, and owns what stands on it.

    Returns of how many parts the count had to be raised. Raises IntegrityError if the name is taken.
    """
    chassis.position = position
    chassis.save()
    chassis.slots.all().delete()
    ChassisPart.objects.bulk_create(
        ChassisPart(chassis=chassis, slot=slot, part_id=part) for slot, part in filled.items()
    )
    return _own_what_is_fitted(chassis.member)


def _own_what_is_fitted(member: Member) -> int:
    needed = fitted(member)
    there = {row.part_id: row for row in member.owned_parts.filter(part__in=list(needed))}
    short = {part: count for part, count in needed.items() if part not in there or there[part].count < count}
    OwnedPart.objects.bulk_create(
        [OwnedPart(member=member, part_id=part, count=count) for part, count in short.items()],
        update_conflicts=True,
        unique_fields=["member", "part"],
        update_fields=["count"],
    )
    return len(short)


@dataclass(frozen=True, slots=True)
class Offered:
    """Loose pieces of a part that another member lends, or parts with for ``price`` each (or nothing)."""

    owner: Member
    part_id: int
    count: int
    lent: bool
    price: Decimal | None


def offered_to(member: Member) -> list[Offered]:
    """What other active members offer, without what stands on their own chassis. Two queries."""
    rows = list(
        OwnedPart.objects.exclude(offer=OwnedPart.Offer.NONE)
        .exclude(member=member)
        .filter(member__is_active=True)
        .select_related("member")
    )
    used: Counter[tuple[int, int]] = Counter()
    standing = ChassisPart.objects.filter(
        chassis__member__in={row.member_id for row in rows}, part__in={row.part_id for row in rows}
    )
    for owner, part, slot in standing.values_list("chassis__member_id", "part_id", "slot"):
        used[owner, part] += Slot(slot).pieces
    return [
        Offered(row.member, row.part_id, loose, row.offer == OwnedPart.Offer.LEND, row.price)
        for row in rows
        if (loose := row.count - used[row.member_id, row.part_id]) > 0
    ]


def by_kind(rows: list[OwnedPart]) -> list[tuple[str, list[OwnedPart]]]:
    """Rows under the plain name of their kind, in the catalogue's order of kinds."""
    order = {kind.value: place for place, kind in enumerate(PartKind)}
    groups: dict[str, list[OwnedPart]] = {}
    for row in sorted(rows, key=lambda row: (order[row.part.kind], row.part.name, row.pk)):
        groups.setdefault(_(PartKind(row.part.kind).label), []).append(row)
    return list(groups.items())
