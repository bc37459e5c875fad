"""Forms of the library's pages."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.text import Truncator
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as lazy

from fitcalc.dimensions import DimensionKind, Unit
from fitcalc.instruments import Instrument, instruments_for, standard_doubt
from fitcalc.parts import OPTIONAL_SLOTS, Axle, Catalogue, Position, Slot
from fitcalc.parts import Part as CalcPart
from fitcalc.said import said
from fitcalc.typed import plain
from setups.models import Measurement, MountingPosition, Part, Platform
from setups.printing import THIN, figure, unit_word
from setups.translate import LISTS, SLOT_KINDS
from setups.translated import within_a_sentence
from setups.units import Lengths, lengths, lengths_in, typed_in

_AXLES = {
    Slot.FRONT_WHEEL: Axle.FRONT,
    Slot.FRONT_TYRE: Axle.FRONT,
    Slot.FRONT_SPACER: Axle.FRONT,
    Slot.REAR_WHEEL: Axle.REAR,
    Slot.REAR_TYRE: Axle.REAR,
    Slot.REAR_SPACER: Axle.REAR,
}
_LABELS = {Slot.POSITION: said("Mounting position"), Slot.BODY_MOUNT: said("Front body mount")}
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
                label=name_of(slot),
                required=False,
                choices=[("", _("none") if slot in OPTIONAL_SLOTS else _("not chosen")), *options],
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
            within_a_sentence(name_of(slot))
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
            own = [part.name for part in self._choices[slot].values()]
            why = _why_not(one, slot, platform, name, own)
            field.error_messages["invalid_choice"] = why.replace("%", "%%")
            shown = _("{name} (does not go here)").format(name=name)
            field.widget.choices = [*field.choices, (given, shown)]


def name_of(slot: Slot) -> str:
    """What the field of a slot is called, in the reader's language."""
    label = _(_LABELS.get(slot, slot.label))
    return label[0].upper() + label[1:]


def _sold(catalogue: Catalogue, slot: Slot) -> dict[str, Any]:
    """What the catalogue has for ``slot``, by the value of its option."""
    if slot is Slot.POSITION:
        return {str(position.id[1]): position for position in catalogue.positions}  # type: ignore[index]
    found = getattr(catalogue, LISTS[SLOT_KINDS[slot]])
    return {str(part.id): part for part in found if slot not in _AXLES or _AXLES[slot] in part.axles}


def _is_key(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 19


def _why_not(
    one: Part | MountingPosition | None, slot: Slot, platform: Platform, name: str, own: list[str]
) -> str:
    """Why ``one`` cannot be chosen for ``slot``, and what to do; ``own`` are the names of what can."""
    if one is None:
        return _("“{name}” is nothing that the library knows: choose from the list.").format(name=name)
    if isinstance(one, MountingPosition):
        why = _("“{name}” is a position of the {its}, not of the {platform}: choose one of its own.")
        return why.format(name=name, its=one.platform, platform=platform)
    if one.kind != SLOT_KINDS[slot]:
        why = _("{name} is a {kind} and does not go here: choose from the list.")
        return why.format(name=name, kind=one.get_kind_display())
    if slot in _AXLES and one.axle not in ("", _AXLES[slot]):
        if _AXLES[slot] is Axle.FRONT:
            why = _("{name} is for the rear axle: choose one for the front.")
        else:
            why = _("{name} is for the front axle: choose one for the rear.")
        return why.format(name=name)
    if all(fitment.platform_id != platform.pk for fitment in one.fitments.all()):
        why = _("{name} is not sold for the {platform}: choose another.")
        return why.format(name=name, platform=platform)
    if slot is Slot.BODY_MOUNT and len(own) == 1:
        why = _("{name} is made for another body: choose this body's own, {own}, or none.")
        return why.format(name=name, own=own[0])
    if slot is Slot.BODY_MOUNT:
        why = _("{name} is made for another body: choose this body's own, or none.")
    else:
        why = _(
            "{name} lacks a figure that the fit needs: measure it and tell a librarian, or choose another."
        )
    return why.format(name=name)


class Reading(forms.DecimalField):
    """A number as a person types one in: a comma will do for the point, and a length may have its unit."""

    unit = Unit.NONE
    units = Lengths.MM

    def to_python(self, value: Any) -> Any:
        if isinstance(value, str):
            value = plain(value, self.unit, self.units is Lengths.INCH).replace(",", ".")
        return super().to_python(value)


class MeasurementForm(forms.ModelForm):  # type: ignore[type-arg]
    """A member's reading of the dimension that ``instance`` names; its checks are those of the model."""

    class Meta:
        model = Measurement
        fields = ("value", "instrument", "uncertainty", "note")
        field_classes = {"value": Reading, "uncertainty": Reading}
        labels = {"uncertainty": lazy("Doubt, if you know it"), "note": lazy("Note")}
        help_texts = {
            "note": lazy("How you held it, which of the two sides, how many readings. May stay empty."),
        }
        error_messages = {
            "value": {
                "required": lazy("Type what the instrument shows."),
                "invalid": lazy("Type a number, such as 92.35."),
                "max_decimal_places": lazy("Type three decimals at the most."),
            },
            "uncertainty": {
                "invalid": lazy("Type a number, such as 0.05, or leave it empty."),
                "max_decimal_places": lazy("Type three decimals at the most."),
                "max_whole_digits": lazy("A doubt of 1000 or more says nothing: leave the measurement out."),
                "max_digits": lazy("Type a smaller doubt, with three decimals at the most."),
            },
            "instrument": {"invalid_choice": lazy("Choose one of the instruments in the list.")},
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kind = self.instance.kind
        typed = self.data if self.is_bound else self.initial.get("value") and self.initial
        self.units = typed_in(typed) if typed else lengths()
        with lengths_in(self.units):
            self._say(kind)

    def _say(self, kind: DimensionKind) -> None:
        """Puts the unit that the form asks in on its fields."""
        unit = f", {unit_word(kind.unit)}" if kind.unit else ""
        self.fields["value"].label = f"{_(kind.label)}{unit}"
        self.fields["value"].help_text = _(kind.meaning)
        offered = instruments_for(kind.unit)
        self.fields["instrument"] = forms.ChoiceField(
            label=_("Measured with"),
            choices=[(one.value, _with_doubt(one, kind.unit)) for one in offered],
            initial=offered[0].value,
            error_messages=self.fields["instrument"].error_messages,
        )
        self.fields["uncertainty"].help_text = (
            _("One standard uncertainty{unit}. Empty: what the instrument leaves.").format(unit=unit)
            if len(offered) > 1
            else _("One standard uncertainty{unit}: about two of three readings fall within it.").format(
                unit=unit
            )
        )
        for name in ("value", "uncertainty"):
            # A text field keeps what was typed, a comma too; a number field would show nothing.
            self.fields[name].widget = forms.TextInput(
                attrs={"inputmode": "text" if kind.signed and name == "value" else "decimal", "size": 10}
            )
            self.fields[name].widget.is_required = False
            self.fields[name].unit, self.fields[name].units = kind.unit, self.units


def _with_doubt(instrument: Instrument, unit: Unit) -> str:
    doubt = standard_doubt(instrument)
    if doubt is None:
        return _("another instrument, with a doubt of your own")
    return f"{_(instrument.label)}, ± {figure(doubt, unit, 2).replace(THIN, ' ')}"
