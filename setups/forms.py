"""Forms of the library's pages."""

from __future__ import annotations

from typing import Any

from django import forms

from fitcalc.parts import OPTIONAL_SLOTS, Axle, Catalogue, Position, Slot
from fitcalc.parts import Part as CalcPart
from setups.models import MountingPosition, Part

_LISTS: dict[Slot, tuple[str, Axle | None]] = {
    Slot.FRONT_SUSPENSION: ("front_suspensions", None),
    Slot.FRONT_WHEEL: ("wheels", Axle.FRONT),
    Slot.FRONT_TYRE: ("tyres", Axle.FRONT),
    Slot.FRONT_SPACER: ("spacers", Axle.FRONT),
    Slot.REAR_AXLE: ("rear_axles", None),
    Slot.REAR_WHEEL: ("wheels", Axle.REAR),
    Slot.REAR_TYRE: ("tyres", Axle.REAR),
    Slot.REAR_SPACER: ("spacers", Axle.REAR),
    Slot.MOTOR_MOUNT: ("motor_mounts", None),
    Slot.PLATE: ("plates", None),
    Slot.POSITION: ("positions", None),
    Slot.BODY_MOUNT: ("body_mounts", None),
}


class ChassisForm(forms.Form):
    """One's chassis as built: a part for each slot, any of which may be left open.

    ``catalogue`` is the platform's; ``parts`` the rows behind it, for their names and numbers.
    """

    def __init__(
        self,
        *args: Any,
        catalogue: Catalogue,
        parts: dict[int, Part],
        positions: list[MountingPosition],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self._choices: dict[str, dict[str, CalcPart | Position]] = {}
        for slot, (name, axle) in _LISTS.items():
            found = [part for part in getattr(catalogue, name) if axle is None or axle in part.axles]
            keyed = {str(part.id[1] if slot is Slot.POSITION else part.id): part for part in found}
            self._choices[slot.value] = keyed
            nothing = "none" if slot in OPTIONAL_SLOTS else "not chosen"
            labels = {
                key: part.name if slot is Slot.POSITION else f"{part.name} ({parts[part.id].maker})"
                for key, part in keyed.items()
            }
            self.fields[slot.value] = forms.ChoiceField(
                label=slot.label.capitalize(),
                required=False,
                choices=[("", nothing), *sorted(labels.items(), key=lambda item: item[1])],
                error_messages={"invalid_choice": "This part is not sold for this platform: choose another."},
            )
        self.order_positions = positions

    def chosen(self) -> dict[str, Any]:
        """Slot value -> the calculation's part or position, ``None`` where left open."""
        return {slot: keyed.get(self.cleaned_data[slot]) for slot, keyed in self._choices.items()}

    def missing(self) -> list[str]:
        """Names of the slots that are open and may not be."""
        return [
            slot.label
            for slot in Slot
            if slot not in OPTIONAL_SLOTS and not self.cleaned_data.get(slot.value)
        ]
