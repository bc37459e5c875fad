"""What a setup's settings come to: rollout from its gears, balance from its four corner weights."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fitcalc.balance import Balance, BalanceError, CornerWeights, balance
from fitcalc.dimensions import Unit
from fitcalc.fit import Geometry
from fitcalc.gearing import ratio, rollout_of
from fitcalc.quantities import Quantity
from fitcalc.tuning import TUNING, Group, TuningField
from setups.services.balancing import SCALE_DOUBT, Plan, plan_of

CORNERS = {"front_left": "fl", "front_right": "fr", "rear_left": "rl", "rear_right": "rr"}


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting as it is said: a number in its unit, or words."""

    field: TuningField
    value: float | str

    @property
    def quantity(self) -> Quantity | None:
        """The number, without any doubt; ``None`` for words."""
        return None if isinstance(self.value, str) else Quantity(self.value, 0.0, self.field.unit)

    @property
    def signed(self) -> bool:
        """True for what may lie either way, and is printed with its sign."""
        return self.field.low is not None and self.field.low < 0


def settings_of(tuning: Mapping[str, float | str]) -> list[tuple[Group, list[Setting]]]:
    """The settings that are said, by where on the car they are made, in the order of the catalogue."""
    said: dict[Group, list[Setting]] = {}
    for key, field in TUNING.items():
        if key in tuning:
            said.setdefault(field.group, []).append(Setting(field, tuning[key]))
    return [(group, said[group]) for group in Group if group in said]


@dataclass(frozen=True, slots=True)
class Tuned:
    """``ratio`` and ``rollout`` (mm) without any gears behind the spur; ``None`` where not said."""

    ratio: float | None
    rollout: Quantity | None
    balance: Balance | None
    plan: Plan | None


def tuned(tuning: Mapping[str, float | str], geometry: Geometry) -> Tuned:
    """Work out what the settings give on a car of this ``geometry``.

    The corner weights are taken to be as doubtful as a kitchen scale.
    """
    turns, rolls = None, None
    pinion, spur = _number(tuning, "pinion_teeth"), _number(tuning, "spur_teeth")
    if pinion and spur:
        turns = float(ratio(pinion, spur))
        rolls = rollout_of(geometry.rear_tyre_diameter, turns)
    weights = {name: _number(tuning, f"weight_{key}") for name, key in CORNERS.items()}
    found, plan = None, None
    if all(weight is not None for weight in weights.values()):
        lengths = geometry.wheelbase, geometry.front_track, geometry.rear_track
        try:
            corners = CornerWeights(
                **{
                    name: Quantity.from_tolerance(weight, SCALE_DOUBT, Unit.GRAM)  # type: ignore[arg-type]
                    for name, weight in weights.items()
                }
            )
            found = balance(corners, *lengths)
            plan = plan_of(corners, found, *lengths)
        except BalanceError:  # four noughts are no weights
            found, plan = None, None
    return Tuned(turns, rolls, found, plan)


def _number(tuning: Mapping[str, float | str], key: str) -> float | None:
    value = tuning.get(key)
    return value if isinstance(value, float | int) else None
