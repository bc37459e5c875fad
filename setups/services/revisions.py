"""Two revisions side by side, and one revision then and now: what differs, as data."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from django.utils.formats import number_format
from django.utils.translation import gettext

from fitcalc.findings import Finding, Rule
from fitcalc.fit import FitReport, Geometry
from fitcalc.parts import Slot
from fitcalc.quantities import Quantity
from fitcalc.said import said
from fitcalc.tuning import TUNING
from setups.models import Part, Revision
from setups.services.cars import Kept, content_of, findings_then, geometry_then, reports_of
from setups.services.comparing import EFFECTS
from setups.services.tuned import Setting, tuned

SEEN = 0.005
"""Two figures that differ by less, mm or degrees, are printed alike."""


# Then and now


@dataclass(frozen=True, slots=True)
class FindingMoved:
    """One rule's finding on the day of posting and today; ``None`` where there was, or is, none."""

    rule: Rule
    axle: str | None
    then: Kept | None
    now: Finding | None

    @property
    def turned(self) -> bool:
        """True if the verdict is another."""
        return (self.then and self.then.verdict) != (self.now and self.now.verdict)


@dataclass(frozen=True, slots=True)
class FigureMoved:
    """A computed figure; ``then`` or ``now`` is ``None`` where not known."""

    label: str
    then: Quantity | None
    now: Quantity | None


@dataclass(frozen=True, slots=True)
class Since:
    """What the library's figures of today make of a revision that is as it was."""

    verdict_then: str
    verdict_now: str
    findings: list[FindingMoved]
    figures: list[FigureMoved]

    @property
    def moved(self) -> bool:
        return bool(self.findings or self.figures)


def since_posted(revision: Revision, report: FitReport) -> Since:
    """What differs between the day that ``revision`` was posted and its ``report`` of today."""
    then = {_about(one): one for one in findings_then(revision)}
    now = {_about(one): one for one in report.findings}
    findings = []
    for about in dict.fromkeys([*now, *then]):
        before, after = then.get(about), now.get(about)
        if before is None or after is None or _differs(before, after):
            findings.append(FindingMoved(Rule(about[0]), about[1], before, after))
    kept = geometry_then(revision)
    figures = []
    for key, label in _FIGURES.items():
        was, is_ = kept.get(key), getattr(report.geometry, key)
        if not _alike(was, is_):
            figures.append(FigureMoved(label, was, is_))
    return Since(revision.verdict, report.verdict.value, findings, figures)


_FIGURES = {
    "front_width": said("Front width"),
    "rear_width": said("Rear width"),
    "front_track": said("Front track"),
    "rear_track": said("Rear track"),
    "wheelbase": said("Wheelbase"),
    "scrub_radius": said("Scrub radius"),
    "lock_inward": said("Lock, inward"),
    "lock_outward": said("Lock, outward"),
}
"""The figures that a finding does not tell itself."""


def _about(one: Kept | Finding) -> tuple[str, str | None, str, str]:
    """What a finding is about: a rule and an axle, and of parts that do not go together which."""
    pair = (one.required_word, one.found_word) if one.rule == Rule.PAIRS else ("", "")
    return str(one.rule), None if one.axle is None else str(one.axle), *pair


def _differs(then: Kept, now: Finding) -> bool:
    if then.verdict != now.verdict or not _alike(then.found, now.found):
        return True
    if now.found is None:
        return (then.required_word, then.found_word) != (now.required_word, now.found_word)
    bounds = (then.low, now.low), (then.high, now.high)
    return any((a is None) != (b is None) or (a is not None and abs(a - b) >= SEEN) for a, b in bounds)  # type: ignore[operator]


def _alike(was: Quantity | None, now: Quantity | None) -> bool:
    if was is None or now is None:
        return was is now
    return abs(float(was.value - now.value)) < SEEN and abs(float(was.u - now.u)) < SEEN


# One revision and the one before it


@dataclass(frozen=True, slots=True)
class FieldChange:
    """What a revision says in words; ``was`` and ``now`` are empty where nothing is said."""

    label: str
    was: str
    now: str


@dataclass(frozen=True, slots=True)
class PartChange:
    """One slot; ``None`` where it is empty."""

    slot: Slot
    was: Part | None
    now: Part | None


@dataclass(frozen=True, slots=True)
class SettingChange:
    label: str
    was: Setting | None
    now: Setting | None


@dataclass(frozen=True, slots=True)
class EffectChange:
    """One computed figure, both by the library's figures of today; ``change`` is now less was."""

    label: str
    meaning: str
    was: Quantity | None
    now: Quantity | None

    @property
    def change(self) -> float | None:
        if self.was is None or self.now is None:
            return None
        return float(self.now.value - self.was.value)


@dataclass(frozen=True, slots=True)
class Changes:
    """From one revision to the next."""

    fields: list[FieldChange]
    parts: list[PartChange]
    settings: list[SettingChange]
    effects: list[EffectChange]
    photos_added: int
    photos_removed: int
    verdict_was: str
    verdict_now: str

    @property
    def nothing(self) -> bool:
        return not (self.fields or self.parts or self.settings or self.photos_added or self.photos_removed)


def changes_between(before: Revision, after: Revision) -> Changes:
    """What ``after`` says otherwise than ``before`` and what that does; both loaded ``with_car``.

    Both cars are computed by the library's figures of today, so that an effect is of the change alone.
    Reads the photos of both and the pair rules. Raises NotBuildable.
    """
    was, now = reports_of([content_of(before), content_of(after)])
    photos = [{photo.pk for photo in revision.photos.all()} for revision in (before, after)]
    return Changes(
        fields=_fields(before, after),
        parts=_parts(before, after),
        settings=_settings(before, after),
        effects=_effects((before, was), (after, now)),
        photos_added=len(photos[1] - photos[0]),
        photos_removed=len(photos[0] - photos[1]),
        verdict_was=was.verdict.value,
        verdict_now=now.verdict.value,
    )


SAID: list[tuple[str, Callable[[Revision], object]]] = [
    (said("Name"), lambda r: r.name),
    (said("Body"), lambda r: r.body),
    (said("Platform"), lambda r: r.platform),
    (said("Mounting position"), lambda r: r.position.name),
    (said("Class"), lambda r: r.race_class or ""),
    (said("Surface"), lambda r: gettext(r.get_surface_display()) if r.surface else ""),
    (said("Circuit"), lambda r: r.circuit),
    (said("Best lap"), lambda r: "" if r.best_lap is None else f"{number_format(r.best_lap)} s"),
    (said("Result"), lambda r: r.result),
    (said("Notes"), lambda r: r.notes),
]


def _fields(before: Revision, after: Revision) -> list[FieldChange]:
    both = [(label, str(say(before)), str(say(after))) for label, say in SAID]
    return [FieldChange(label, was, now) for label, was, now in both if was != now]


def _parts(before: Revision, after: Revision) -> list[PartChange]:
    was, now = ({row.slot: row.part for row in revision.slots.all()} for revision in (before, after))
    return [
        PartChange(slot, was.get(slot.value), now.get(slot.value))
        for slot in Slot
        if was.get(slot.value) != now.get(slot.value)
    ]


def _settings(before: Revision, after: Revision) -> list[SettingChange]:
    def setting(revision: Revision, key: str) -> Setting | None:
        return Setting(TUNING[key], revision.tuning[key]) if key in revision.tuning else None

    return [
        SettingChange(field.label, setting(before, key), setting(after, key))
        for key, field in TUNING.items()
        if before.tuning.get(key) != after.tuning.get(key)
    ]


def _effects(*cars: tuple[Revision, FitReport]) -> list[EffectChange]:
    before, after = (figures_of(report, revision.tuning) for revision, report in cars)
    return [
        EffectChange(label, meaning, was, now)
        for (label, meaning, was), (_, _, now) in zip(before, after, strict=True)
        if not _alike(was, now)
    ]


def figures_of(
    report: FitReport, tuning: Mapping[str, float | str]
) -> list[tuple[str, str, Quantity | None]]:
    """A car's computed figures and what its settings come to: label, meaning, figure (or ``None``)."""
    settings = tuned(tuning, report.geometry)
    rows = [(label, meaning, of(report.geometry)) for label, meaning, of in EFFECTS]
    rows.append((said("Turning circle"), _TURN, _circle(report.geometry)))
    rows.append(
        (
            said("Rollout"),
            said("A turn of the motor, by the teeth that are said."),
            settings.rollout,
        )
    )
    for label, meaning, name in _SHARES:
        share = None if settings.balance is None else getattr(settings.balance, name).scaled(100.0)
        rows.append((label, meaning, share))
    return rows


_TURN = said("Diameter at the outer front wheel.")
_SHARES = [
    (said("Front weight, %"), said("Share of the car's weight on the front wheels."), "front"),
    (said("Left weight, %"), said("Share of the car's weight on the left wheels."), "left"),
    (said("Cross weight, %"), said("Share on front right and rear left together."), "cross"),
]


def _circle(geometry: Geometry) -> Quantity | None:
    circle = geometry.turning_circle
    return None if circle is None else Quantity(circle, 0.0)
