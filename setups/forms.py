"""Forms of the library's pages."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.text import Truncator

from fitcalc.parts import OPTIONAL_SLOTS, Axle, Catalogue, Position, Slot
from fitcalc.parts import Part as CalcPart
from setups.models import MountingPosition, Part, Platform
from setups.translate import LISTS, SLOT_KINDS

_AXLES = {
    Slot.FRONT_WHEEL: Axle.FRONT,
    Slot.FRONT_TYRE: Axle.FRONT,
    Slot.FRONT_SPACER: Axle.FRONT,
    Slot.REAR_WHEEL: Axle.REAR,
    Slot.REAR_TYRE: Axle.REAR,
    Slot.REAR_SPACER: Axle.REAR,
}
_LABELS = {Slot.POSITION: "Mounting position", Slot.BODY_MOUNT: "Front body mount"}
LONGEST_SHOWN = 40
"""So many letters of what is no part at all are shown again."""


class ChassisForm(forms.Form):
    """One's chassis as built: a part for each slot, any of which may be left open.

    ``catalogue`` is the platform's; ``parts`` the rows behind it, for their makers. What was chosen and is
    not in the catalogue stays in its field, and the field's error says what is wrong with it; that costs
    two queries.
    """

    def __init__(
        self,
        data: Any = None,
        *,
        platform: Platform,
        catalogue: Catalogue,
        parts: dict[int, Part],
        **kwargs: Any,
    ) -> None:
        super().__init__(data, **kwargs)
        self._choices: dict[Slot, dict[str, CalcPart | Position]] = {}
        for slot in Slot:
            keyed = self._choices[slot] = _sold(catalogue, slot)
            if slot is Slot.POSITION:
                options = [(key, part.name) for key, part in keyed.items()]
            else:
                named = ((f"{part.name} ({parts[part.id].maker})", key) for key, part in keyed.items())
                options = [(key, label) for label, key in sorted(named)]
            self.fields[slot.value] = forms.ChoiceField(
                label=_LABELS.get(slot, slot.label.capitalize()),
                required=False,
                choices=[("", "none" if slot in OPTIONAL_SLOTS else "not chosen"), *options],
            )
        if data is not None:
            self._keep_strangers(platform)

    def offers(self, slot: str, part: int) -> bool:
        """True if the field of ``slot`` has the part of this primary key among its choices."""
        return str(part) in self._choices[Slot(slot)]

    def chosen(self) -> dict[Slot, Any]:
        """Slot -> the calculation's part or position, ``None`` where left open. Of a valid form."""
        return {slot: keyed.get(self.cleaned_data[slot.value]) for slot, keyed in self._choices.items()}

    def missing(self) -> list[str]:
        """Names of the slots that are open and may not be. Of a valid form."""
        return [
            _LABELS.get(slot, slot.label).lower()
            for slot in Slot
            if slot not in OPTIONAL_SLOTS and not self.cleaned_data[slot.value]
        ]

    def _keep_strangers(self, platform: Platform) -> None:
        """What is chosen and not sold here: an option that shows it, and an error that says why not."""
        strangers = {
            slot: given
            for slot in Slot
            if (given := self.data.get(slot.value, "")) and given not in self._choices[slot]
        }
        if not strangers:
            return
        keys = {int(given) for given in strangers.values() if _is_key(given)}
        parts = {part.pk: part for part in Part.objects.filter(pk__in=keys).prefetch_related("fitments")}
        holes = MountingPosition.objects.filter(pk__in=keys).select_related("platform").in_bulk()
        for slot, given in strangers.items():
            known = holes if slot is Slot.POSITION else parts
            one = known.get(int(given)) if _is_key(given) else None
            field = self.fields[slot.value]
            name = Truncator(given if one is None else one.name).chars(LONGEST_SHOWN if one is None else 140)
            said = _why_not(one, slot, platform, name)
            field.error_messages["invalid_choice"] = said.replace("%", "%%")
            field.widget.choices = [*field.choices, (given, f"{name} (does not go here)")]


def _sold(catalogue: Catalogue, slot: Slot) -> dict[str, Any]:
    """What the catalogue has for ``slot``, by the value of its option."""
    if slot is Slot.POSITION:
        return {str(position.id[1]): position for position in catalogue.positions}  # type: ignore[index]
    found = getattr(catalogue, LISTS[SLOT_KINDS[slot]])
    return {str(part.id): part for part in found if slot not in _AXLES or _AXLES[slot] in part.axles}


def _is_key(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 19


def _why_not(one: Part | MountingPosition | None, slot: Slot, platform: Platform, name: str) -> str:
    """Why ``one`` cannot be chosen for ``slot``, and what to do."""
    if one is None:
        return f"“{name}” is nothing that the library knows: choose from the list."
    if isinstance(one, MountingPosition):
        return f"“{name}” is a position of the {one.platform}, not of the {platform}: choose one of its own."
    if one.kind != SLOT_KINDS[slot]:
        return f"{name} is a {one.get_kind_display()} and does not go here: choose from the list."
    if slot in _AXLES and one.axle not in ("", _AXLES[slot]):
        return f"{name} is for the {one.axle} axle: choose one for the {_AXLES[slot]}."
    if all(fitment.platform_id != platform.pk for fitment in one.fitments.all()):
        return f"{name} is not sold for the {platform}: choose another."
    if slot is Slot.BODY_MOUNT:
        return f"{name} is made for another body: choose this body's own, or none."
    return f"{name} lacks a figure that the fit needs: measure it and tell a librarian, or choose another."
