"""Forms of the pit tools: figures typed by hand, parts of the library, all of it kept in the address."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.utils.text import Truncator
from django.utils.translation import gettext as _

from fitcalc.dimensions import BODY_DIMENSIONS, PART_DIMENSIONS, DimensionKind, PartKind, Unit
from fitcalc.gearing import LOAD_FACTOR, module_from_pitch
from fitcalc.quantities import Quantity
from fitcalc.said import said
from fitcalc.typed import plain
from setups.models import Part, PartDimension, Platform
from setups.printing import brief, unit_word
from setups.translated import within_a_sentence
from setups.units import Lengths, lengths, lengths_in, typed_in

NUMBER = re.compile(r"[+-]?(\d{1,9}(\.\d{0,9})?|\.\d{1,9})", re.ASCII)
PITCH = re.compile(r"(\d{1,9}(\.\d{0,9})?)\s*(p|dp|pitch)", re.ASCII | re.IGNORECASE)
LONGEST_SHOWN = 20
"""So many letters of what is no figure are said again; the field itself keeps all of them."""


class FigureField(forms.Field):
    """A number between ``low`` and ``high``, with a decimal point or comma; empty is ``None``.

    ``label`` has a place for the unit. A length may have ``mm`` or ``in`` behind it; without, it is in the
    ``units`` of its form. ``whole`` asks for a whole number; ``pitch`` also takes a diametral pitch such as
    ``64 pitch``, as module.
    """

    def __init__(
        self,
        label: str,
        low: float,
        high: float,
        unit: Unit = Unit.NONE,
        *,
        whole: bool = False,
        pitch: bool = False,
        example: str = "12.5",
        **kwargs: Any,
    ) -> None:
        widget = forms.TextInput(
            attrs={"inputmode": "text" if pitch else "numeric" if whole else "decimal", "autocomplete": "off"}
        )
        super().__init__(label=label, required=False, widget=widget, **kwargs)
        self.words = label
        self.units = Lengths.MM
        # A module is in mm for everybody: who thinks in inches has a pitch.
        self.low, self.high, self.unit = low, high, Unit.NONE if pitch else unit
        self.whole, self.pitch, self.example = whole, pitch, example

    @classmethod
    def of(cls, label: str, kind: DimensionKind, **kwargs: Any) -> FigureField:
        """A field with the bounds and the unit of a dimension of the catalogue."""
        return cls(label, kind.low, kind.high, kind.unit, **kwargs)

    def to_python(self, value: Any) -> float | None:
        text = str(value or "").strip()
        if not text:
            return None
        pitch = text.replace(",", ".")
        digits = plain(text, self.unit, self.units is Lengths.INCH)
        if self.pitch and (written := PITCH.fullmatch(pitch)) and float(written[1]) > 0:
            number = float(module_from_pitch(float(written[1])))
        elif NUMBER.fullmatch(digits):
            number = float(digits)
        else:
            raise forms.ValidationError(
                _("“{text}” is no number: type one such as {example}, or leave it empty.").format(
                    text=Truncator(text).chars(LONGEST_SHOWN), example=self._example()
                )
            )
        if not self.low <= number <= self.high:
            raise forms.ValidationError(self._outside(number))
        if self.whole and number != int(number):
            raise forms.ValidationError(_("It is a whole number: type it without a fraction."))
        return int(number) if self.whole else number

    def said_in(self, units: Lengths) -> None:
        """From here on lengths without a unit are in ``units``, and the label says so."""
        self.units = units
        with lengths_in(units):
            self.label = _(self.words).format(unit=unit_word(self.unit))

    def _example(self) -> str:
        try:
            with lengths_in(self.units):
                return brief(float(self.example), self.unit)
        except ValueError:
            return _(self.example)

    def _outside(self, number: float) -> str:
        with lengths_in(self.units):
            low, high, given = (brief(one, self.unit) for one in (self.low, self.high, number))
            unit = "mm" if self.pitch else unit_word(self.unit)
        if not unit:
            said = _("It lies between {low} and {high}; you gave {given}. Check the unit and the point.")
            return said.format(low=low, high=high, given=given)
        said = _("It lies between {low} and {high} {unit}; you gave {given}. Check the unit and the point.")
        return said.format(low=low, high=high, unit=unit, given=given)


class _Figures(forms.Form):
    """A form of figures. Its address says if lengths are typed in inches; an empty one asks in the reader's
    own unit."""

    def __init__(self, data: Any = None) -> None:
        super().__init__(data)
        self.units = typed_in(data) if data else lengths()
        for field in self.fields.values():
            if isinstance(field, FigureField):
                field.said_in(self.units)


PART_FIELDS: dict[str, PartKind] = {
    kind.value: kind for kind in (PartKind.PINION, PartKind.SPUR, PartKind.MOTOR, PartKind.TYRE)
}
"""Name of a field -> the kind of part that it takes."""

_FROM_THE_LIBRARY = {
    "pinion": said("Pinion from the library"),
    "spur": said("Spur from the library"),
    "motor": said("Motor from the library"),
    "tyre": said("Tyre from the library"),
}
_NO_SUCH = {
    "pinion": said("“{name}” is no pinion that the library knows: choose another, or type its figures."),
    "spur": said("“{name}” is no spur that the library knows: choose another, or type its figures."),
    "motor": said("“{name}” is no motor that the library knows: choose another, or type its figures."),
    "tyre": said("“{name}” is no tyre that the library knows: choose another, or type its figures."),
}


class GearingForm(_Figures):
    """Pinion, spur, motor and tyre as parts of ``platform`` or typed; what is typed counts first."""

    pinion_teeth = FigureField.of(said("Pinion teeth"), PART_DIMENSIONS["teeth"], whole=True, example="9")
    pinion_module = FigureField.of(
        said("Pinion module"), PART_DIMENSIONS["module"], pitch=True, example=said("0.4 or 64 pitch")
    )
    spur_teeth = FigureField.of(said("Spur teeth"), PART_DIMENSIONS["teeth"], whole=True, example="44")
    spur_module = FigureField.of(
        said("Spur module"), PART_DIMENSIONS["module"], pitch=True, example=said("0.4 or 64 pitch")
    )
    kv = FigureField.of(said("Speed constant, rpm/V"), PART_DIMENSIONS["speed_constant"], example="3500")
    voltage = FigureField(said("Battery, V"), 0.5, 60, Unit.VOLT, example="3.7")
    diameter = FigureField.of(said("Diameter, {unit}"), PART_DIMENSIONS["tyre_diameter"], example="22.5")
    wear = FigureField(said("Doubt, ± {unit}"), 0, 10, Unit.MM, example="0.1")
    internal = FigureField(said("Internal ratio"), 0.1, 30, example="1.9")
    load = FigureField(said("Load factor"), 0.1, 1, example=f"{LOAD_FACTOR.value:g}")
    slot_low = FigureField(said("Nearest, {unit}"), 1, 250, Unit.MM, example="9.5")
    slot_high = FigureField(said("Farthest, {unit}"), 1, 250, Unit.MM, example="12")

    def __init__(self, data: Any = None, *, platform: Platform | None = None) -> None:
        super().__init__(data)
        self._parts: dict[str, dict[str, Part]] = {name: {} for name in PART_FIELDS}
        if platform is not None:
            sold = Part.objects.for_platform(platform).filter(kind__in=PART_FIELDS.values())
            for part in sold.select_related("maker").prefetch_related("dimensions"):
                self._parts[part.kind][part.slug] = part
        self._take_in_strangers()
        for name, parts in self._parts.items():
            self.fields[name] = forms.ChoiceField(
                label=_(_FROM_THE_LIBRARY[name]),
                required=False,
                choices=[("", _("typed below")), *self._options(name, parts.values())],
            )
            given = self.data.get(name, "")
            if given and given not in parts:
                shown = Truncator(given).chars(LONGEST_SHOWN)
                field = self.fields[name]
                why = _(_NO_SUCH[name]).format(name=shown)
                field.error_messages["invalid_choice"] = why.replace("%", "%%")
                field.widget.choices = [*field.choices, (given, _("{name} (not known)").format(name=shown))]

    def _take_in_strangers(self) -> None:
        """Parts that the address names and that the platform does not list: one query, if there are any."""
        asked = {name: self.data.get(name, "") for name in PART_FIELDS}
        slugs = {slug for name, slug in asked.items() if is_slug(slug) and slug not in self._parts[name]}
        if slugs:
            for part in (
                Part.objects.filter(slug__in=slugs).select_related("maker").prefetch_related("dimensions")
            ):
                if asked.get(part.kind) == part.slug:
                    self._parts[part.kind][part.slug] = part

    @staticmethod
    def _options(name: str, parts: Any) -> list[tuple[str, str]]:
        chief = {"motor": "speed_constant", "tyre": "tyre_diameter"}.get(name, "teeth")

        def order(part: Part) -> tuple[float, str]:
            row = _row(part, chief)
            return (0.0 if row is None else float(row.value)), part.name

        return [(part.slug, f"{part.name} ({part.maker})") for part in sorted(parts, key=order)]

    def has_parts(self, name: str) -> bool:
        """Whether the field of this part has anything to choose or to correct."""
        return len(self.fields[name].widget.choices) > 1

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        low, high = given.get("slot_low"), given.get("slot_high")
        if "slot_low" in given and "slot_high" in given and (low is None) != (high is None):
            missing = "slot_low" if low is None else "slot_high"
            self.add_error(missing, "A slot has two ends: type this one too, or leave both empty.")
        return given

    def part(self, name: str) -> Part | None:
        """The part that is chosen in field ``name``. Of a valid form."""
        return self._parts[name].get(self.cleaned_data[name])

    def figure(self, typed: str, name: str, quantity: str) -> float | None:
        """The figure typed in field ``typed``, else that of the part in ``name``. Of a valid form."""
        value = self.cleaned_data[typed]
        part = self.part(name)
        row = None if part is None else _row(part, quantity)
        return value if value is not None or row is None else float(row.value)

    def recorded(self, name: str, quantity: str) -> Quantity | None:
        """What the library holds of the chosen part, with its doubt. Of a valid form."""
        part = self.part(name)
        row = None if part is None else _row(part, quantity)
        return None if row is None else row.quantity_value()

    def sold(self, name: str) -> list[Part]:
        """The parts that field ``name`` offers."""
        return list(self._parts[name].values())


class BalanceForm(_Figures):
    """Four corner weights and the lengths between the wheels; empty lengths may come from a car."""

    front_left = FigureField(said("Front left, g"), 0, 20_000, Unit.GRAM, example="52.5")
    front_right = FigureField(said("Front right, g"), 0, 20_000, Unit.GRAM, example="52.5")
    rear_left = FigureField(said("Rear left, g"), 0, 20_000, Unit.GRAM, example="61")
    rear_right = FigureField(said("Rear right, g"), 0, 20_000, Unit.GRAM, example="61")
    scale = FigureField(said("Scale’s doubt, ± g"), 0, 500, Unit.GRAM, example="0.5")
    wheelbase = FigureField.of(said("Wheelbase, {unit}"), BODY_DIMENSIONS["wheelbase"], example="92")
    front_track = FigureField(said("Front track, {unit}"), 10, 400, Unit.MM, example="46.5")
    rear_track = FigureField(said("Rear track, {unit}"), 10, 400, Unit.MM, example="46.5")
    ruler = FigureField(said("Their doubt, ± {unit}"), 0, 20, Unit.MM, example="0.5")

    CORNERS = ("front_left", "front_right", "rear_left", "rear_right")

    def __init__(self, data: Any = None, *, sets: list[tuple[str, str]] = ()) -> None:
        """``sets`` are codes of cars with their names; another code in ``data`` stays in its field."""
        super().__init__(data)
        given = self.data.get("car", "")
        if given and given not in dict(sets):
            sets = [*sets, (given, _("the car of this address"))]
        self.fields["car"] = forms.ChoiceField(
            label=_("Lengths from a set of parts"), required=False, choices=[("", _("typed below")), *sets]
        )

    @property
    def weighed(self) -> bool:
        """True if all four corners have a weight. Of a valid form."""
        return all(self.cleaned_data[corner] is not None for corner in self.CORNERS)

    @property
    def not_weighed(self) -> list[str]:
        """Labels of the corners without a weight, if some have one. Of a valid form."""
        return [
            within_a_sentence(str(self.fields[corner].label).partition(",")[0])
            for corner in self.CORNERS
            if self.cleaned_data[corner] is None
        ]


def is_slug(text: str) -> bool:
    """Whether ``text`` can be the slug of anything, so that the database need not be asked in vain."""
    return len(text) <= 140 and re.fullmatch(r"[-\w]+", text, re.ASCII) is not None


def _row(part: Part, quantity: str) -> PartDimension | None:
    return next((row for row in part.dimensions.all() if row.quantity == quantity), None)
