"""The form of a setup, a step at a time; each shows a draft's typing as it was typed, right or wrong."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.db.models import Model
from django.utils.functional import Promise
from django.utils.text import format_lazy
from django.utils.translation import gettext, pgettext, pgettext_lazy
from django.utils.translation import gettext_lazy as lazy

from fitcalc.dimensions import Unit
from fitcalc.parts import Slot
from fitcalc.said import said
from fitcalc.tuning import TUNING, Group, TuningError, TuningField, read
from setups.models import Body, Platform, Revision, Surface
from setups.services import laps
from setups.translated import tell
from setups.typed import shown

RaceClass: type[Model] = Revision._meta.get_field("race_class").related_model  # type: ignore[assignment]
"""The club's table of classes; the library knows it by its foreign key only."""


@dataclass(frozen=True, slots=True)
class Step:
    """A page of the form, and which fields of the draft are typed there."""

    key: str
    label: str | Promise
    short: str | Promise
    fields: tuple[str, ...]


STEPS: dict[str, Step] = {
    step.key: step
    for step in (
        Step("car", lazy("Body and platform"), lazy("Car"), ("name", "body", "platform")),
        Step("parts", lazy("Parts"), lazy("Parts"), tuple(slot.value for slot in Slot)),
        Step(
            "settings",
            lazy("Settings"),
            pgettext_lazy("step", "Settings"),
            tuple(f"tuning_{key}" for key in TUNING),
        ),
        Step(
            "ran",
            lazy("Where it ran"),
            pgettext_lazy("step", "Track"),
            ("circuit", "surface", "race_class", "best_lap", "result", "notes"),
        ),
        Step("photos", lazy("Photos"), lazy("Photos"), ()),
        Step("post", lazy("Look it over and post"), pgettext_lazy("step", "Post"), ("what_changed",)),
    )
}
STEP_OF: dict[str, str] = {field: step.key for step in STEPS.values() for field in step.fields}
"""Field -> the step that it is typed on."""


def _words(model_field: str, too_long: str | Promise) -> dict[str, Any]:
    """Bounds of a text as the revision keeps it, and what to do about one that is longer."""
    most = Revision._meta.get_field(model_field).max_length
    return {
        "required": False,
        "max_length": most,
        "error_messages": {"max_length": format_lazy(too_long, most=most)},
    }


class _Typed(forms.Form):
    """A form of one step on what is typed so far. Nothing is required of a draft, and nothing cut off."""

    def __init__(self, typed: Mapping[str, str], **options: Any) -> None:
        super().__init__(typed, **options)
        for field in self.fields.values():
            field.widget.attrs.pop("maxlength", None)  # would cut off what is pasted, without a word


def _choices(field: forms.ChoiceField, options: Iterable[tuple[str, str]], typed: str, gone: str) -> None:
    """Give ``field`` its options; what was typed and is none of them stays, with an error on it."""
    options = list(options)
    field.choices = options
    if typed and all(key != typed for key, _ in options):
        field.widget.choices = [*options, (typed, gone)]
        why = gettext("{gone}: choose another.").format(gone=gone)
        field.error_messages["invalid_choice"] = why.replace("%", "%%")


class CarForm(_Typed):
    """What the car is called, which body is on it, and on which platform it stands."""

    name = forms.CharField(
        label=lazy("Name of the setup"),
        help_text=lazy("As you would tell it from your others: “Carpet, autumn series”."),
        **_words("name", lazy("A name takes {most} letters: shorten it.")),
    )
    body = forms.ChoiceField(label=lazy("Body"), required=False, widget=forms.RadioSelect)
    platform = forms.ChoiceField(label=lazy("Platform"), required=False, widget=forms.RadioSelect)

    def __init__(
        self, typed: Mapping[str, str], bodies: Iterable[Body], platforms: Iterable[Platform], **options: Any
    ) -> None:
        super().__init__(typed, **options)
        _choices(
            self.fields["body"],  # type: ignore[arg-type]
            [(str(body.pk), f"{body.name}, {body.maker}, 1:{body.scale}") for body in bodies],
            typed.get("body", ""),
            gettext("A body that the library does not know"),
        )
        _choices(
            self.fields["platform"],  # type: ignore[arg-type]
            [(str(one.pk), f"{one.name}, {one.maker}, 1:{one.scale}") for one in platforms],
            typed.get("platform", ""),
            gettext("A platform that the library does not know"),
        )


@dataclass(frozen=True, slots=True)
class SettingRow:
    """Settings that stand side by side: ``name`` over them, and each bound field with its own label."""

    name: str
    unit: str
    meaning: str
    fields: list[tuple[str, forms.BoundField]]


LENGTHS = [(f"tuning_{key}", one.unit) for key, one in TUNING.items() if one.unit is Unit.MM]
"""The fields that take a length."""


class TuningForm(_Typed):
    """The settings; judged by ``fitcalc.tuning.read``, whose sentences stand at their fields."""

    def __init__(self, typed: Mapping[str, str], **options: Any) -> None:
        lengths = {name: shown(typed[name], unit) for name, unit in LENGTHS if typed.get(name)}
        super().__init__({**typed, **lengths}, **options)
        for key, one in TUNING.items():
            self.fields[f"tuning_{key}"] = forms.CharField(
                label=gettext(one.label),
                required=False,
                widget=forms.TextInput(attrs={"inputmode": _keyboard(one), "autocomplete": "off"}),
            )

    def clean(self) -> dict[str, Any]:
        given = {key: self.cleaned_data.get(f"tuning_{key}", "") for key in TUNING}
        try:
            self.cleaned_data["tuning"] = read(given)
        except TuningError as error:
            for key, said in error.wrong.items():
                self.add_error(f"tuning_{key}", tell(said))
        return self.cleaned_data

    @property
    def groups(self) -> list[tuple[str, list[SettingRow]]]:
        """The rows by where on the car they are: front and rear of one setting side by side."""
        groups: dict[str, list[SettingRow]] = {}
        for key, one in TUNING.items():
            title = gettext(_TITLES[one.group])
            ends = [f"{end}_{key.partition('_')[2]}" for end in ("front", "rear")]
            if key == ends[0] and ends[1] in TUNING:
                pair = [
                    (gettext("Front"), self[f"tuning_{ends[0]}"]),
                    (gettext("Rear"), self[f"tuning_{ends[1]}"]),
                ]
                groups.setdefault(title, []).append(_row(gettext(one.label.partition(",")[0]), one, pair))
            elif key.startswith("weight_"):
                rows = groups.setdefault(title, [])
                corner = (gettext(_CORNERS[key]), self[f"tuning_{key}"])
                if rows and rows[-1].name == gettext("Corner weights"):
                    rows[-1].fields.append(corner)
                else:
                    meaning = gettext("On four scales: all four, or none.")
                    rows.append(SettingRow(gettext("Corner weights"), one.unit.value, meaning, [corner]))
            elif key != ends[1] or ends[0] not in TUNING:
                alone = [("", self[f"tuning_{key}"])]
                groups.setdefault(title, []).append(_row(gettext(one.label), one, alone))
        return list(groups.items())


_OF_BOTH_ENDS = (
    said("Camber"),
    said("Toe"),
    said("Ride height"),
    said("Droop"),
    said("Spring"),
    said("Damping"),
    said("Tyre compound"),
)
"""What settings of front and rear are called without the end: the label up to its comma."""
_TITLES = {
    Group.FRONT: said("Suspension"),
    Group.REAR: said("Suspension"),
    Group.TYRES: said("Tyres"),
    Group.DRIVE: said("Motor and gearing"),
    Group.WEIGHT: said("Weight"),
}
_CORNERS = {
    "weight_fl": said("Front left"),
    "weight_fr": said("Front right"),
    "weight_rl": said("Rear left"),
    "weight_rr": said("Rear right"),
}


def _row(name: str, one: TuningField, fields: list[tuple[str, forms.BoundField]]) -> SettingRow:
    return SettingRow(name, one.unit.value, gettext(one.meaning), fields)


def _keyboard(one: TuningField) -> str:
    """A phone's number pad has no minus sign, so what may be negative gets the full keyboard."""
    if one.low is None or one.low < 0:
        return "text"
    return "numeric" if one.decimals == 0 else "decimal"


class RanForm(_Typed):
    """Circuit, surface, class, lap, result and notes."""

    circuit = forms.CharField(
        label=lazy("Circuit"),
        **_words("circuit", lazy("A circuit takes {most} letters: shorten it.")),
    )
    surface = forms.ChoiceField(label=lazy("Surface"), required=False)
    race_class = forms.ChoiceField(label=lazy("Race class"), required=False)
    best_lap = forms.CharField(
        label=lazy("Best lap"),
        required=False,
        help_text=lazy("Seconds, 9.871, or minutes and seconds, 1:02.345."),
        widget=forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off"}),
    )
    result = forms.CharField(
        label=lazy("Result"),
        help_text=lazy("“3rd of 14, A final”."),
        **_words("result", lazy("A result takes {most} letters: shorten it.")),
    )
    notes = forms.CharField(
        label=lazy("Notes"),
        help_text=lazy("What it drives like, and what you tried."),
        **_words("notes", lazy("Notes take {most} letters: shorten them."))
        | {"widget": forms.Textarea(attrs={"rows": 7})},
    )

    def __init__(self, typed: Mapping[str, str], **options: Any) -> None:
        super().__init__(typed, **options)
        self.fields["circuit"].widget.attrs["list"] = "circuits"
        _choices(
            self.fields["surface"],  # type: ignore[arg-type]
            [("", gettext("not said")), *((value, gettext(label)) for value, label in Surface.choices)],
            typed.get("surface", ""),
            gettext("A surface that the library does not know"),
        )
        _choices(
            self.fields["race_class"],  # type: ignore[arg-type]
            [
                ("", pgettext("class", "none")),
                *((str(one.pk), str(one)) for one in RaceClass._default_manager.all()),
            ],
            typed.get("race_class", ""),
            gettext("A class that the club no longer has"),
        )

    def clean_best_lap(self) -> Decimal | None:
        text = self.cleaned_data["best_lap"]
        try:
            return laps.read(text) if text else None
        except ValueError as error:
            raise forms.ValidationError(str(error)) from error


class PostForm(_Typed):
    """What the last step asks: of a revision, what changed."""

    what_changed = forms.CharField(
        label=lazy("What changed"),
        help_text=lazy(
            "One line, for those who compare: “Softer rear spring, half a degree more camber”."
        ),
        **_words("what_changed", lazy("What changed takes {most} letters: shorten it.")),
    )
