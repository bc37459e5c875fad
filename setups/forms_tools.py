"""Forms of the pit tools: figures typed by hand, parts of the library, all of it kept in the address."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.utils.text import Truncator

from fitcalc.dimensions import BODY_DIMENSIONS, PART_DIMENSIONS, DimensionKind, PartKind
from fitcalc.gearing import LOAD_FACTOR, module_from_pitch
from fitcalc.quantities import Quantity
from setups.models import Part, PartDimension, Platform
from setups.printing import fixed

NUMBER = re.compile(r"[+-]?(\d{1,9}(\.\d{0,9})?|\.\d{1,9})", re.ASCII)
PITCH = re.compile(r"(\d{1,9}(\.\d{0,9})?)\s*(p|dp|pitch)", re.ASCII | re.IGNORECASE)
LONGEST_SHOWN = 20
"""So many letters of what is no figure are said again; the field itself keeps all of them."""


class FigureField(forms.Field):
    """A number between ``low`` and ``high``, with a decimal point or comma; empty is ``None``.

    ``whole`` asks for a whole number; ``pitch`` also takes a diametral pitch such as ``64 pitch``, as module.
    """

    def __init__(
        self,
        label: str,
        low: float,
        high: float,
        unit: str = "",
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
        self.low, self.high, self.unit = low, high, unit
        self.whole, self.pitch, self.example = whole, pitch, example

    @classmethod
    def of(cls, label: str, kind: DimensionKind, **kwargs: Any) -> FigureField:
        """A field with the bounds and the unit of a dimension of the catalogue."""
        return cls(label, kind.low, kind.high, kind.unit.value, **kwargs)

    def to_python(self, value: Any) -> float | None:
        text = str(value or "").strip()
        if not text:
            return None
        plain = text.replace(",", ".").replace("−", "-")
        if self.pitch and (written := PITCH.fullmatch(plain)) and float(written[1]) > 0:
            number = float(module_from_pitch(float(written[1])))
        elif NUMBER.fullmatch(plain):
            number = float(plain)
        else:
            raise forms.ValidationError(
                f"“{Truncator(text).chars(LONGEST_SHOWN)}” is no number: type one such as {self.example}, "
                "or leave it empty."
            )
        if not self.low <= number <= self.high:
            bounds = f"between {self.low:g} and {self.high:g} {self.unit}".rstrip()
            given = fixed(number, 3).rstrip("0").rstrip(".")
            raise forms.ValidationError(f"It lies {bounds}; you gave {given}. Check the unit and the point.")
        if self.whole and number != int(number):
            raise forms.ValidationError("It is a whole number: type it without a fraction.")
        return int(number) if self.whole else number


PART_FIELDS: dict[str, PartKind] = {
    kind.value: kind for kind in (PartKind.PINION, PartKind.SPUR, PartKind.MOTOR, PartKind.TYRE)
}
"""Name of a field -> the kind of part that it takes."""


class GearingForm(forms.Form):
    """Pinion, spur, motor and tyre as parts of ``platform`` or typed; what is typed counts first."""

    pinion_teeth = FigureField.of("Pinion teeth", PART_DIMENSIONS["teeth"], whole=True, example="9")
    pinion_module = FigureField.of(
        "Pinion module", PART_DIMENSIONS["module"], pitch=True, example="0.4 or 64 pitch"
    )
    spur_teeth = FigureField.of("Spur teeth", PART_DIMENSIONS["teeth"], whole=True, example="44")
    spur_module = FigureField.of(
        "Spur module", PART_DIMENSIONS["module"], pitch=True, example="0.4 or 64 pitch"
    )
    kv = FigureField.of("Speed constant, rpm/V", PART_DIMENSIONS["speed_constant"], example="3500")
    voltage = FigureField("Battery, V", 0.5, 60, "V", example="3.7")
    diameter = FigureField.of("Diameter, mm", PART_DIMENSIONS["tyre_diameter"], example="22.5")
    wear = FigureField("Doubt, ± mm", 0, 10, "mm", example="0.1")
    internal = FigureField("Internal ratio", 0.1, 30, example="1.9")
    load = FigureField("Load factor", 0.1, 1, example=f"{LOAD_FACTOR.value:g}")
    slot_low = FigureField("Nearest, mm", 1, 250, "mm", example="9.5")
    slot_high = FigureField("Farthest, mm", 1, 250, "mm", example="12")

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
                label=f"{name.capitalize()} from the library",
                required=False,
                choices=[("", "typed below"), *self._options(name, parts.values())],
            )
            given = self.data.get(name, "")
            if given and given not in parts:
                shown = Truncator(given).chars(LONGEST_SHOWN)
                field = self.fields[name]
                said = f"“{shown}” is no {name} that the library knows: choose another, or type its figures."
                field.error_messages["invalid_choice"] = said.replace("%", "%%")
                field.widget.choices = [*field.choices, (given, f"{shown} (not known)")]

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


class BalanceForm(forms.Form):
    """Four corner weights and the lengths between the wheels; empty lengths may come from a car."""

    front_left = FigureField("Front left, g", 0, 20_000, "g", example="52.5")
    front_right = FigureField("Front right, g", 0, 20_000, "g", example="52.5")
    rear_left = FigureField("Rear left, g", 0, 20_000, "g", example="61")
    rear_right = FigureField("Rear right, g", 0, 20_000, "g", example="61")
    scale = FigureField("Scale’s doubt, ± g", 0, 500, "g", example="0.5")
    wheelbase = FigureField.of("Wheelbase, mm", BODY_DIMENSIONS["wheelbase"], example="92")
    front_track = FigureField("Front track, mm", 10, 400, "mm", example="46.5")
    rear_track = FigureField("Rear track, mm", 10, 400, "mm", example="46.5")
    ruler = FigureField("Their doubt, ± mm", 0, 20, "mm", example="0.5")

    CORNERS = ("front_left", "front_right", "rear_left", "rear_right")

    def __init__(self, data: Any = None, *, sets: list[tuple[str, str]] = ()) -> None:
        """``sets`` are codes of cars with their names; another code in ``data`` stays in its field."""
        super().__init__(data)
        given = self.data.get("car", "")
        if given and given not in dict(sets):
            sets = [*sets, (given, "the car of this address")]
        self.fields["car"] = forms.ChoiceField(
            label="Lengths from a set of parts", required=False, choices=[("", "typed below"), *sets]
        )

    @property
    def weighed(self) -> bool:
        """True if all four corners have a weight. Of a valid form."""
        return all(self.cleaned_data[corner] is not None for corner in self.CORNERS)

    @property
    def not_weighed(self) -> list[str]:
        """Labels of the corners without a weight, if some have one. Of a valid form."""
        return [
            self.fields[corner].label.partition(",")[0].lower()
            for corner in self.CORNERS
            if self.cleaned_data[corner] is None
        ]


def is_slug(text: str) -> bool:
    """Whether ``text`` can be the slug of anything, so that the database need not be asked in vain."""
    return len(text) <= 140 and re.fullmatch(r"[-\w]+", text, re.ASCII) is not None


def _row(part: Part, quantity: str) -> PartDimension | None:
    return next((row for row in part.dimensions.all() if row.quantity == quantity), None)
