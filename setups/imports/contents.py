"""What a row of a file of setups says: a car that can be computed, with its settings."""

from __future__ import annotations

from typing import Any

from fitcalc import tuning
from fitcalc.parts import Slot
from fitcalc.tuning import TUNING
from setups.imports.given import Given
from setups.imports.names import Names
from setups.imports.planned import By
from setups.imports.record_kinds import SLOTS
from setups.imports.words import too_long
from setups.models import Revision
from setups.services.cars import Content, wrong_slots
from setups.translate import SLOT_KINDS, build_configuration, part_of, platform_of, position_of
from setups.translated import sentence

RELATED = {
    "part": ("dimensions", "body_rules", "fitments"),
    "body": ("dimensions", "part_rules"),
}
PLAIN = ("name", "what_changed", "surface", "circuit", "best_lap", "result", "notes")


def content_of_row(given: Given, names: Names, by: By) -> Content | None:
    """What the row says, if a car can be made of it; what is wrong is added to ``given``."""
    values = given.values
    body, platform = names.find(given, "body"), names.find(given, "platform")
    position = names.find(given, "position", platform)
    race_class = names.find(given, "race_class")
    parts = {Slot(slot): names.find(given, slot) for slot in SLOTS}
    settings = _settings(given, by)
    if given.problems or body is None or platform is None or position is None:
        return None
    content = Content(
        body=body,
        platform=platform,
        position=position,
        parts={slot: part for slot, part in parts.items() if part is not None},
        race_class_id=None if race_class is None else race_class.pk,
        tuning=settings,
        **{key: values[key] for key in PLAIN if key in values},
    )
    _lengths(given, content)
    _buildable(given, content, by)
    return content


def _settings(given: Given, by: By) -> dict[str, float | str]:
    typed = {key: str(given.values[key]) for key in TUNING if key in given.values}
    try:
        return tuning.read(typed)
    except tuning.TuningError as error:
        # What is put back may be older than a rule of what has to be said beside what.
        wrong = {key: why for key, why in error.wrong.items() if key in typed or not by.keeps_library}
        for key, message in wrong.items():
            given.wrong(key, message)
        return {} if wrong else {key: _setting(key, text) for key, text in typed.items()}


def _setting(key: str, text: str) -> float | str:
    return text.strip() if TUNING[key].in_words else round(float(text), TUNING[key].decimals)


def _lengths(given: Given, content: Content) -> None:
    for key in PLAIN:
        most = getattr(Revision._meta.get_field(key), "max_length", None)
        text = getattr(content, key)
        if most is not None and text and len(text) > most:
            given.wrong(key, too_long(text, most))


def _buildable(given: Given, content: Content, by: By) -> None:
    """A part stands in a slot of its kind, and every slot that a car needs is filled with a known part."""
    for slot, message in wrong_slots(content).items():
        # What was sold for a platform once may not be on record for it any more.
        if not by.keeps_library or content.parts[slot].kind != SLOT_KINDS[slot]:
            given.wrong(slot.value, message)
    if given.problems:
        return
    filled = {slot.value: _record_of(part) for slot, part in content.parts.items()}
    try:
        build_configuration(platform_of(content.platform), position_of(content.position), filled)
    except (ValueError, TypeError) as error:
        given.wrong("", sentence(error))


def _record_of(part: Any) -> Any:
    if not hasattr(part, "_fitcalc_record"):
        part._fitcalc_record = part_of(part)
    return part._fitcalc_record
