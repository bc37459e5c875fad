"""What one platform offers: wheelbases, front ends, wheel offsets, and what is sold for it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count, Min

from fitcalc import parts as calc
from fitcalc.chain import Agreement, chain_of, conflicts
from fitcalc.dimensions import PartKind
from fitcalc.pairs import clashes
from fitcalc.parts import Axle, PairRules, Slot
from fitcalc.quantities import Quantity, propagate
from fitcalc.wheel import across_from_hub_width
from setups.models import Fitment, KnownWheelbase, MountingPosition, Part, PartDimension, Platform
from setups.translate import known_wheelbase_of, pair_rules, part_of, platform_of, position_of

MOST_OFFSETS = 60
"""A grid of more offsets than this is shown only where something is sold."""

MOST_ROWS = 400
"""So many mounts with a plate are listed at most."""


@dataclass(frozen=True, slots=True)
class Reach:
    """The wheelbase of a mount and plate at one position, and the published one where there is one."""

    position: MountingPosition
    length: Quantity
    worst: float
    known: KnownWheelbase | None = None
    published: Quantity | None = None
    agreement: Agreement | None = None

    @property
    def conflict(self) -> bool:
        """True if no part within its tolerance explains the difference to the published wheelbase."""
        return self.agreement is not None and not self.agreement.agrees


@dataclass(frozen=True, slots=True)
class PlateRow:
    plate: Part
    reaches: list[Reach]


@dataclass(frozen=True, slots=True)
class MountTable:
    """One motor mount with every plate that goes with it."""

    mount: Part
    rows: list[PlateRow]

    def _lengths(self) -> list[float]:
        return [float(reach.length.value) for row in self.rows for reach in row.reaches]

    @property
    def shortest(self) -> float:
        return min(self._lengths())

    @property
    def longest(self) -> float:
        return max(self._lengths())


@dataclass(frozen=True, slots=True)
class Wheelbases:
    """All wheelbases that the platform's parts reach, and the published ones that contradict them."""

    positions: list[MountingPosition]
    mounts: list[MountTable]
    conflicts: list[tuple[Part, Part, Reach]]
    unmatched: list[KnownWheelbase]
    cut: bool

    @property
    def shortest(self) -> float | None:
        return min((mount.shortest for mount in self.mounts), default=None)

    @property
    def longest(self) -> float | None:
        return max((mount.longest for mount in self.mounts), default=None)


@dataclass(frozen=True, slots=True)
class FrontEnd:
    """A front suspension and its width over zero-offset wheels, the trade's name for it."""

    part: Part
    record: calc.FrontSuspension
    across: Quantity


@dataclass(frozen=True, slots=True)
class Offset:
    """One offset of the grid and how many wheels are sold at it; a wheel for either axle counts for both."""

    value: float
    front: int
    rear: int


@dataclass(frozen=True, slots=True)
class Offered:
    """The platform's page: everything computed from what is sold for it, in a constant number of queries."""

    wheelbases: Wheelbases
    front_ends: list[FrontEnd]
    incomplete: list[Part]
    offsets: list[Offset]
    kinds: list[tuple[PartKind, int, str]]


def offered(platform: Platform) -> Offered:
    """What ``platform`` offers; seven queries."""
    needed = [kind.value for kind in (PartKind.FRONT_SUSPENSION, PartKind.MOTOR_MOUNT, PartKind.PLATE)]
    parts = list(
        platform.parts.filter(kind__in=needed)
        .select_related("maker")
        .prefetch_related("dimensions")
        .order_by("name")
    )
    records = {part.pk: part_of(part) for part in parts}
    by_kind: dict[str, list[Part]] = defaultdict(list)
    incomplete = []
    for part in parts:
        if records[part.pk] is None:
            incomplete.append(part)
        else:
            by_kind[part.kind].append(part)
    seen = platform_of(platform)
    # Only what stands in the table: a mount that goes only with some front ends is not held to it here.
    chain = (PartKind.MOTOR_MOUNT, PartKind.PLATE)
    pairs = pair_rules({part.pk: PartKind(part.kind) for kind in chain for part in by_kind[kind]})
    return Offered(
        _wheelbases(platform, seen, by_kind, records, pairs),
        _front_ends(seen, by_kind[PartKind.FRONT_SUSPENSION], records),
        incomplete,
        _offsets(platform, seen),
        _kinds(platform),
    )


def _wheelbases(
    platform: Platform,
    seen: calc.Platform,
    by_kind: dict[str, list[Part]],
    records: dict[int, calc.Part | None],
    pairs: PairRules,
) -> Wheelbases:
    positions = list(platform.positions.all())
    settings = [(position, position_of(position)) for position in positions]
    published = {
        (known.motor_mount_id, known.plate_id, known.position_id): known
        for known in platform.known_wheelbases.select_related("motor_mount", "plate", "position")
    }
    tables: list[MountTable] = []
    contradicted = []
    listed = 0
    for mount in sorted(by_kind[PartKind.MOTOR_MOUNT], key=lambda part: _share(records[part.pk])):
        rows = []
        for plate in sorted(by_kind[PartKind.PLATE], key=lambda part: (_share(records[part.pk]), part.name)):
            if clashes({Slot.MOTOR_MOUNT: mount.pk, Slot.PLATE: plate.pk}, pairs) or listed >= MOST_ROWS:
                continue
            reaches = []
            for position, setting in settings:
                chain = chain_of(seen, records[mount.pk], records[plate.pk], setting)  # type: ignore[arg-type]
                known = published.pop((mount.pk, plate.pk, position.pk), None)
                reach = Reach(position, chain.length, float(chain.worst_case))
                if known is not None:
                    stated = known_wheelbase_of(known)
                    reach = Reach(
                        position, chain.length, reach.worst, known, stated.wheelbase, conflicts(chain, stated)
                    )
                reaches.append(reach)
                if reach.conflict:
                    contradicted.append((mount, plate, reach))
            if reaches:
                rows.append(PlateRow(plate, reaches))
                listed += 1
        if rows:
            tables.append(MountTable(mount, rows))
    return Wheelbases(positions, tables, contradicted, list(published.values()), listed >= MOST_ROWS)


def _share(record: calc.Part | None) -> float:
    return float(record.chain_length.value)  # type: ignore[union-attr]


def _front_ends(
    seen: calc.Platform, parts: Iterable[Part], records: dict[int, calc.Part | None]
) -> list[FrontEnd]:
    found = []
    for part in parts:
        record = records[part.pk]
        if isinstance(record, calc.FrontSuspension):
            across = propagate(across_from_hub_width, record.hub_width, seen.front_rim_width)
            found.append(FrontEnd(part, record, across))
    return sorted(found, key=lambda end: (float(end.across.value), end.part.name))


def _offsets(platform: Platform, seen: calc.Platform) -> list[Offset]:
    rows = (
        PartDimension.objects.filter(
            quantity="offset", part__kind=PartKind.WHEEL.value, part__fitments__platform=platform
        )
        .order_by()
        .values_list("value", "part__axle")
        .annotate(wheels=Count("pk"))
    )
    sold: dict[float, dict[str, int]] = defaultdict(lambda: dict.fromkeys(("front", "rear"), 0))
    for value, axle, count in rows:
        for one in [axle] if axle else [axle.value for axle in Axle]:
            sold[round(float(value), 6)][one] += count
    every = seen.offsets.values()
    shown = every if len(every) <= MOST_OFFSETS else sorted(sold)
    return [Offset(value, **sold[value]) if value in sold else Offset(value, 0, 0) for value in shown]


def _kinds(platform: Platform) -> list[tuple[PartKind, int, str]]:
    """Each kind of part with how many are sold for the platform and one of their names."""
    rows = (
        Fitment.objects.filter(platform=platform)
        .order_by()
        .values_list("part__kind")
        .annotate(parts=Count("pk"), example=Min("part__name"))
    )
    found = {kind: (count, example) for kind, count, example in rows}
    return [(kind, *found[kind.value]) for kind in PartKind if kind.value in found]
