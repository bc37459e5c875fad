"""A draft as far as it is: what is typed, how it is judged, and how two people's typing comes together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from django.forms import Form
from django.utils.translation import gettext as _

from fitcalc.findings import Verdict
from fitcalc.fit import FitReport, evaluate
from fitcalc.parts import OPTIONAL_SLOTS, Slot
from setups.forms import ChassisForm
from setups.forms_setup import STEPS, CarForm, PostForm, RanForm, TuningForm
from setups.models import Body, Configuration, Draft, MountingPosition, Part, Photo, Platform, Revision, Setup
from setups.models.setup import typed_of
from setups.services import photos, posting
from setups.services.cars import Content, wrong_slots
from setups.services.fitting import platforms_for
from setups.translate import Shelf, body_of, build_configuration, shelf_for

LEFT_BEHIND = ("circuit", "best_lap", "result", "notes", "what_changed")
"""Fields of another setup that are true of its own car only, and are not taken along."""
TRIES = 5


@dataclass(frozen=True, slots=True)
class Problem:
    """What has to be put right before posting: on which step, at which field (its id), and the sentence."""

    step: str
    field_id: str
    label: str
    said: str
    open: bool = False
    """True where it is a choice that is still to be made."""

    @property
    def names_itself(self) -> bool:
        """True where the sentence begins with the field's label already."""
        return self.said.startswith(self.label)


@dataclass(frozen=True)
class Judged:
    """A draft with what it comes to. The step forms are bound to what is typed."""

    draft: Draft
    body: Body | None
    platform: Platform | None
    shelf: Shelf | None
    forms: Mapping[str, Form]
    report: FitReport | None
    missing: Sequence[str]
    photos: Sequence[Photo] = field(default_factory=list)

    @property
    def setup(self) -> Setup:
        return self.draft.setup

    @property
    def parts(self) -> dict[int, Part]:
        """The rows of the parts that the choices name, by primary key."""
        return self.shelf.parts if self.shelf else {}

    @property
    def chassis(self) -> ChassisForm | None:
        return self.forms.get("parts")  # type: ignore[return-value]

    @property
    def asked(self) -> bool:
        """True once a part is chosen."""
        return any(self.draft.typed.get(slot.value) for slot in Slot)

    @property
    def fails(self) -> bool:
        return self.report is not None and self.report.verdict is Verdict.FAILS

    @cached_property
    def problems(self) -> list[Problem]:
        """All that stands between the draft and posting, in the order of the steps."""
        found = []
        for step in STEPS.values():
            form = self.forms.get(step.key)
            if form is not None:
                found += [
                    Problem(step.key, form[name].id_for_label, str(form[name].label), str(said))
                    for name, errors in form.errors.items()
                    for said in errors
                ]
            found += [problem for problem in self._lacking if problem.step == step.key]
        return found

    @property
    def _lacking(self) -> list[Problem]:
        typed = self.draft.typed
        found = []
        if not typed.get("name", "").strip():
            found.append(Problem("car", "id_name", _("Name of the setup"), _("Give it a name.")))
        if self.body is None and not typed.get("body"):
            found.append(Problem("car", "body-choice", _("Body"), _("Choose the body that is on it.")))
        if self.platform is None and not typed.get("platform"):
            found.append(Problem("car", "platform-choice", _("Platform"), _("Choose what it stands on.")))
        if self.open_slots:
            names = ", ".join(_(slot.label) for slot in self.open_slots)
            field_id = f"id_{self.open_slots[0].value}"
            found.append(Problem("parts", field_id, _("Still open"), f"{names}.", open=True))
        if self.setup.current_id and not typed.get("what_changed", "").strip():
            found.append(
                Problem("post", "id_what_changed", _("What changed"), _("Say in a line what changed."))
            )
        return found

    @property
    def open_slots(self) -> list[Slot]:
        """The slots that are open and may not be, of a car whose platform is known."""
        if self.platform is None:
            return []
        return [
            slot
            for slot in Slot
            if slot not in OPTIONAL_SLOTS and not self.draft.typed.get(slot.value)
        ]

    def on(self, step: str) -> list[Problem]:
        """The problems of one step."""
        return [problem for problem in self.problems if problem.step == step]

    def content(self) -> Content:
        """What is to be posted. Only without problems; PostingError for a part that is out of its place."""
        assert not self.problems
        assert self.body is not None
        assert self.platform is not None
        typed = self.draft.typed
        keys = {
            slot: int(typed[slot.value])
            for slot in Slot
            if slot is not Slot.POSITION and typed.get(slot.value)
        }
        rows = (
            Part.objects.filter(pk__in=keys.values())
            .select_related("maker")
            .prefetch_related("fitments", "dimensions", "body_rules")
            .in_bulk()
        )
        settings, ran = self.forms["settings"].cleaned_data, self.forms["ran"].cleaned_data
        content = Content(
            name=self.forms["car"].cleaned_data["name"].strip(),
            body=self.body,
            platform=self.platform,
            position=MountingPosition.objects.get(pk=int(typed[Slot.POSITION.value])),
            parts={slot: rows[key] for slot, key in keys.items()},
            race_class_id=int(ran["race_class"]) if ran["race_class"] else None,
            surface=ran["surface"],
            circuit=ran["circuit"].strip(),
            best_lap=ran["best_lap"],
            result=ran["result"].strip(),
            notes=ran["notes"].strip(),
            tuning=settings["tuning"],
            photos=list(self.photos),
            what_changed=self.forms["post"].cleaned_data["what_changed"].strip(),
        )
        if wrong := wrong_slots(content):
            raise posting.PostingError(" ".join(wrong.values()))
        return content


def judge(draft: Draft, bodies: Sequence[Body] = ()) -> Judged:
    """Judge what is typed so far, in a constant number of queries.

    ``bodies`` are offered on the first step beside the one that is chosen. The draft comes with ``setup``.
    """
    typed = draft.typed
    body = body_at(typed.get("body", ""))
    platforms = list(platforms_for(body) if body else Platform.objects.select_related("maker"))
    platform = next((one for one in platforms if str(one.pk) == typed.get("platform")), None)
    if platform is None and (key := key_in(typed.get("platform", ""))):
        platform = Platform.objects.select_related("maker").filter(pk=key).first()
        platforms += [platform] if platform else []
    offered = [*([body] if body else []), *(one for one in bodies if one != body)]
    forms: dict[str, Form] = {
        "car": CarForm(typed, offered, platforms),
        "settings": TuningForm(typed),
        "ran": RanForm(typed),
        "post": PostForm(typed),
    }
    shelf, report, missing = None, None, []
    if platform is not None:
        shelf = shelf_for([platform], body)
        catalogue = shelf.catalogues[platform.pk]
        chassis = ChassisForm(typed, platform=platform, catalogue=catalogue, parts=shelf.parts)
        forms["parts"] = chassis
        if chassis.is_valid():
            missing = chassis.missing()
            if body is not None and not missing:
                filled = chassis.chosen()
                configuration = build_configuration(
                    catalogue.platform,
                    filled[Slot.POSITION],
                    {slot.value: part for slot, part in filled.items() if slot is not Slot.POSITION},
                )
                report = evaluate(configuration, body_of(body), catalogue.pairs)
    shown = list(photos.on_draft(draft.setup))
    return Judged(draft, body, platform, shelf, forms, report, missing, shown)


def key_in(text: str) -> int | None:
    """The primary key that ``text`` spells, ``None`` if it spells none."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else None


def body_at(text: str) -> Body | None:
    """The body of the key in ``text``, with what the fit reads of it."""
    key = key_in(text)
    rows = Body.objects.select_related("maker").prefetch_related("dimensions", "part_rules")
    return None if key is None else rows.filter(pk=key).first()


# Where a draft starts from


def start_from(revision: Revision) -> dict[str, str]:
    """A new draft's typing: the car and the settings of ``revision``, without what is its own."""
    return {key: text for key, text in typed_of(revision).items() if key not in (*LEFT_BEHIND, "name")}


def start_with(body: Body | None, platform: Platform | None, chosen: Mapping[str, str]) -> dict[str, str]:
    """A new draft's typing: a body, a platform, and parts by slot."""
    typed = {"body": str(body.pk) if body else "", "platform": str(platform.pk) if platform else ""}
    return typed | {slot.value: chosen[slot.value][:20] for slot in Slot if chosen.get(slot.value)}


def supplied(judged: Judged, most: int = 8) -> list[Configuration]:
    """Sets as supplied for the draft's platform, which may be filled in while no part is chosen."""
    if judged.platform is None or judged.asked:
        return []
    return list(judged.platform.configurations.order_by("name")[:most])


def filled_in(judged: Judged, configuration: int) -> dict[str, str]:
    """The slots of a set as supplied that go under the draft's body; empty if there is no such set."""
    found = judged.platform and judged.platform.configurations.filter(pk=configuration).first()
    if not found or judged.chassis is None:
        return {}
    filled = {Slot.POSITION.value: str(found.position_id)}
    return filled | {
        row.slot: str(row.part_id)
        for row in found.slots.all()
        if judged.chassis.offers(row.slot, row.part_id)
    }


# Two who type at once


@dataclass(eq=False)
class Collision(Exception):
    """Fields that were changed here and elsewhere, to different words. Nothing was saved.

    ``typed`` is what the step's fields say here, with what was changed elsewhere only.
    """

    stored: Draft
    fields: Sequence[str]
    typed: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Typing:
    """What a form sends: the fields of a step, what they said when it was opened, and the version then."""

    fields: Mapping[str, str]
    was: Mapping[str, str]
    version: int

    def choosing(self, choices: Mapping[str, str]) -> Typing:
        """With the words that were chosen for fields that collided: ``stands``, ``typed`` or ``both``."""
        fields = dict(self.fields)
        for name, choice in choices.items():
            was = self.was.get(name, "")
            if choice == "stands":
                fields[name] = was
            elif choice == "both":
                fields[name] = f"{was}\n\n{fields[name]}"
        return replace(self, fields=fields)


def keep(draft: Draft, typing: Typing, untouched_only: bool = False) -> tuple[Draft, list[str]]:
    """Save what was typed on a step, and bring in what was typed elsewhere meanwhile.

    Gives the draft, and the step's fields that were changed elsewhere only. Raises Collision, and saves
    nothing, if a field was changed on both sides; with ``untouched_only`` already if the step shows
    something that no longer stands.
    """
    fields, version, brought = dict(typing.fields), typing.version, []
    for _try in range(TRIES):
        try:
            return posting.save(draft, draft.typed | fields, version), brought
        except posting.Conflict as conflict:
            draft = conflict.stored
        now = {name: draft.typed.get(name, "") for name in fields}
        moved = [
            name for name in fields if now[name] not in (typing.was.get(name, ""), typing.fields[name])
        ]
        brought = [name for name in moved if typing.fields[name] == typing.was.get(name, "")]
        fields = dict(typing.fields) | {name: now[name] for name in brought}
        collided = [name for name in moved if name not in brought]
        if collided or (moved and untouched_only):
            raise Collision(draft, collided, fields)
        version = draft.version
    raise Collision(draft, [], fields)
