"""What a draft says in words that a person reads: names for keys, labels for fields."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.utils.translation import gettext as _

from fitcalc.parts import Slot
from fitcalc.said import said
from fitcalc.tuning import TUNING
from fitcalc.typed import plain
from setups.forms_setup import STEP_OF, STEPS, RaceClass, Step
from setups.models import Body, MountingPosition, Part, Platform, Surface
from setups.services.drafting import Judged, key_in

LABELS: dict[str, str] = {
    "name": said("Name of the setup"),
    "body": said("Body"),
    "platform": said("Platform"),
    **{slot.value: slot.label for slot in Slot},
    "position": said("Mounting position"),
    "body_mount": said("Front body mount"),
    **{f"tuning_{key}": one.label for key, one in TUNING.items()},
    "circuit": said("Circuit"),
    "surface": said("Surface"),
    "race_class": said("Race class"),
    "best_lap": said("Best lap"),
    "result": said("Result"),
    "notes": said("Notes"),
    "what_changed": said("What changed"),
}
"""Every field of a draft by its name, in English."""


def _label(name: str) -> str:
    label = _(LABELS[name])
    return label[0].upper() + label[1:]


@dataclass(frozen=True, slots=True)
class Clash:
    """One field in two wordings, as a person reads them; empty where nothing is said."""

    name: str
    label: str
    step: str
    stands: str
    typed: str

    @property
    def both_may_stay(self) -> bool:
        """True where one text can be put below the other."""
        return self.name == "notes"


def clashes(
    names: Iterable[str], stands: Mapping[str, str], typed: Mapping[str, str]
) -> list[Clash]:
    """``names`` in the order of the form, with what stands and what was typed."""
    names = [name for name in STEP_OF if name in set(names)]
    first, second = _readable(names, stands), _readable(names, typed)
    return [Clash(name, _label(name), STEP_OF[name], first[name], second[name]) for name in names]


def everything_in(judged: Judged) -> list[tuple[Step, list[tuple[str, str]]]]:
    """All that the draft says, by step: label and words. Steps that say nothing are there, empty."""
    readable = _readable(LABELS, judged.draft.typed)
    return [
        (step, [(_label(name), readable[name]) for name in step.fields if readable[name]])
        for step in STEPS.values()
        if step.key not in ("photos", "post")
    ]


def _readable(names: Iterable[str], typed: Mapping[str, str]) -> dict[str, str]:
    """The words of each field; a key that the library does not know is shown as it is."""
    names = list(names)
    tables = {name: _TABLES.get(name, Part) for name in names if name in _TABLES or name in _SLOTS}
    keys: dict[type, set[int]] = {}
    for name, table in tables.items():
        if (key := key_in(typed.get(name, ""))) is not None:
            keys.setdefault(table, set()).add(key)
    rows = {table: table._default_manager.in_bulk(found) for table, found in keys.items()}
    shown = {}
    for name in names:
        text = typed.get(name, "")
        if name in tables:
            row = rows.get(tables[name], {}).get(key_in(text))
            text = text if row is None else _named(row)
        elif name == "surface" and text in Surface.values:
            text = _(str(Surface(text).label))
        elif name.startswith("tuning_") and text.strip():
            unit = TUNING[name.removeprefix("tuning_")].unit
            bare = plain(text, unit) == text.strip().replace(",", ".")
            text = f"{text.strip()} {unit.value if bare else ''}".strip()
        shown[name] = text
    return shown


def _named(row: object) -> str:
    return row.name if isinstance(row, MountingPosition) else str(row)


_SLOTS = {slot.value for slot in Slot}
_TABLES = {"body": Body, "platform": Platform, "position": MountingPosition, "race_class": RaceClass}
