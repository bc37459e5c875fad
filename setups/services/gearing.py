"""What a pinion and a spur give on a car: mesh, centre distance, rollout, and the pinions beside it."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from fitcalc.dimensions import PART_DIMENSIONS, Unit
from fitcalc.gearing import (
    LOAD_FACTOR,
    Gear,
    GearingError,
    Reach,
    centre_distance,
    estimated_speed,
    meshing_module,
    pinions_in_reach,
    ratio,
    rollout_of,
    slot_reach,
)
from fitcalc.quantities import Quantity, exact
from fitcalc.said import Said
from setups.forms_tools import GearingForm
from setups.models import Part
from setups.models.dimension import Dimension
from setups.translated import tell

KV_SHARE = 0.05
"""A speed constant typed by hand is taken as good to 5 % either way; common practice, no source."""
BESIDE = 3
"""So many pinions smaller and larger are shown beside the chosen one."""


@dataclass(frozen=True, slots=True)
class Beside:
    """A neighbouring pinion; ``change`` is its rollout less the chosen one's, mm. ``part`` is on sale."""

    teeth: int
    ratio: float
    rollout: Quantity
    change: float
    speed: Quantity | None
    reach: Reach | None
    part: Part | None
    chosen: bool


@dataclass(frozen=True, slots=True)
class Gearing:
    """The answer. ``meshes`` is ``None`` where a module is not known, ``why`` says the reason in words.

    Whatever cannot be worked out is ``None``, and ``missing`` names what it hangs on. ``speed`` is an
    estimate in km/h. ``takes`` are the smallest and the largest pinion that the slot reaches with the spur.
    """

    meshes: bool | None
    why: str
    centre: Quantity | None
    reach: Reach | None
    takes: tuple[int, int] | None
    ratio: float | None
    rollout: Quantity | None
    speed: Quantity | None
    beside: list[Beside]
    missing: list[str]


def gearing_of(form: GearingForm) -> Gearing:
    """Work out a valid form. Raises GearingError if the slot's ends are the wrong way round."""
    given = form.cleaned_data
    teeth = form.figure("pinion_teeth", "pinion", "teeth")
    spur = form.figure("spur_teeth", "spur", "teeth")
    modules = form.figure("pinion_module", "pinion", "module"), form.figure("spur_module", "spur", "module")
    tyre, kv, voltage = _tyre(form), _kv(form), given["voltage"]
    internal = 1.0 if given["internal"] is None else given["internal"]
    load = LOAD_FACTOR
    if given["load"] is not None:
        load = Quantity.from_tolerance(given["load"], LOAD_FACTOR.limit, Unit.NONE)
    slot = None
    if given["slot_low"] is not None:
        slot = _measured(given["slot_low"]), _measured(given["slot_high"])
        slot_reach(slot[0], *slot)  # the ends are looked at even where nothing else is known

    missing = [
        name
        for name, known in (
            (_("the pinion’s teeth"), teeth),
            (_("the spur’s teeth"), spur),
            (_("the pinion’s module"), modules[0]),
            (_("the spur’s module"), modules[1]),
            (_("the tyre’s diameter"), tyre),
            (_("the motor’s speed constant"), kv),
            (_("the battery’s voltage"), voltage),
        )
        if known is None
    ]
    meshes, why, module = _mesh(teeth, spur, modules)
    if teeth is None or spur is None or meshes is False:
        return Gearing(meshes, why, None, None, None, None, None, None, [], missing)

    def speed(rollout: Quantity | None) -> Quantity | None:
        if rollout is None or kv is None or voltage is None:
            return None
        return estimated_speed(kv, exact(voltage, Unit.VOLT), rollout, load)

    def reach(pinion: float) -> Reach | None:
        if module is None or slot is None:
            return None
        return slot_reach(exact(centre_distance(module, pinion, spur)), *slot)

    def row(pinion: int) -> Beside:
        turns = float(ratio(pinion, spur, internal))
        rolled = rollout_of(tyre, turns)
        part = on_sale.get((pinion, module))
        change = float(rolled.value - rollout.value)
        return Beside(pinion, turns, rolled, change, speed(rolled), reach(pinion), part, pinion == teeth)

    turns = float(ratio(teeth, spur, internal))
    rollout = None if tyre is None else rollout_of(tyre, turns)
    kind = PART_DIMENSIONS["teeth"]
    beside: list[Beside] = []
    if rollout is not None:
        on_sale = _on_sale(form)
        counts = range(max(int(kind.low), int(teeth) - BESIDE), min(int(kind.high), int(teeth) + BESIDE) + 1)
        beside = [row(count) for count in counts]
    takes = None
    if module is not None and slot is not None:
        counts = pinions_in_reach(module, int(spur), slot[0].value, slot[1].value)
        takes = (counts[0], counts[-1]) if counts else None
    return Gearing(
        meshes,
        why,
        None if module is None else exact(centre_distance(module, teeth, spur)),
        reach(teeth),
        takes,
        turns,
        rollout,
        speed(rollout),
        beside,
        missing,
    )


def _mesh(
    teeth: float | None, spur: float | None, modules: tuple[float | None, float | None]
) -> tuple[bool | None, str, float | None]:
    """Whether the gears run together, why, and their module."""
    if modules[0] is None or modules[1] is None:
        why = _("It takes the module of both gears: type it, or choose gears of the library.")
        return None, why, None
    # Whether two gears mesh hangs on their modules alone: a count not yet known is left out of the words.
    pair = Gear(int(teeth or 1), modules[0]), Gear(int(spur or 1), modules[1])
    try:
        module = meshing_module(*pair)
    except GearingError:
        why = Said(
            "The modules differ: the pinion has {pinion:.3g}, the spur {spur:.3g}. "
            "Fit a pinion of module {spur:.3g}, or a spur of module {pinion:.3g}.",
            pinion=modules[0],
            spur=modules[1],
        )
        return False, tell(why), None
    return True, tell(Said("Both gears have module {module:.3g}.", module=module)), module


def _measured(value: float) -> Quantity:
    """A length typed by hand, as doubtful as a figure that the library has no doubt for."""
    return Quantity.from_tolerance(value, float(Dimension.ASSUMED_TOLERANCE))


def _tyre(form: GearingForm) -> Quantity | None:
    typed, wear = form.cleaned_data["diameter"], form.cleaned_data["wear"]
    known = _measured(typed) if typed is not None else form.recorded("tyre", "tyre_diameter")
    if known is None or wear is None:
        return known
    return Quantity.from_tolerance(known.value, wear)


def _kv(form: GearingForm) -> Quantity | None:
    typed = form.cleaned_data["kv"]
    if typed is None:
        return form.recorded("motor", "speed_constant")
    return Quantity.from_tolerance(typed, KV_SHARE * typed, Unit.RPM_PER_VOLT)


def _on_sale(form: GearingForm) -> dict[tuple[int, float], Part]:
    """(teeth, module) -> a pinion that the form offers."""
    found = {}
    for part in form.sold("pinion"):
        rows = {row.quantity: float(row.value) for row in part.dimensions.all()}
        if {"teeth", "module"} <= rows.keys():
            found[int(rows["teeth"]), rows["module"]] = part
    return found
