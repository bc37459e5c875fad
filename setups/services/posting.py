"""Posting a setup: the draft that keeps what is typed, and the revision that it becomes.

A draft is anybody's unjudged typing and is saved as it is. ``post`` takes judged ``Content`` and makes the
next revision of it; the form, the API, an import and the demo all come through here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from fitcalc.fit import FitReport
from fitcalc.parts import Slot
from setups.models import Decision, Draft, Revision, RevisionPart, Setup
from setups.models.setup import typed_of
from setups.services import ruling
from setups.services.cars import Content, kept_findings, kept_geometry, offset_of, reports_of
from setups.services.writing import locked_first, update_each
from setups.words import folded


class PostingError(ValueError):
    """Why something cannot be done with a setup; the text says what to do."""


class PostedAlready(PostingError):
    """The draft was posted just before, as it stands: sent twice, it is posted once."""


@dataclass(eq=False)
class Conflict(Exception):
    """Somebody saved the draft after the version that was edited: ``stored`` is what stands now."""

    stored: Draft
    typed: Mapping[str, str]

    @property
    def differing(self) -> list[str]:
        """The fields in which what was typed and what stands differ."""
        keys = dict.fromkeys([*self.stored.typed, *self.typed])
        return [key for key in keys if self.stored.typed.get(key, "") != self.typed.get(key, "")]


def begin(author: Any, typed: Mapping[str, str], started_from: Revision | None = None) -> Draft:
    """A new setup with a draft of what is known so far."""
    with transaction.atomic():
        setup = Setup.objects.create(
            author=author, name=typed.get("name", "").strip()[:120], started_from=started_from
        )
        return Draft.objects.create(setup=setup, typed=_kept(typed))


def draft_of(setup: Setup) -> Draft:
    """The setup's draft; of a posted one without any, a new one that says what the current revision says."""
    found = Draft.objects.filter(setup=setup).first()
    if found is not None:
        return found
    assert setup.current is not None
    return Draft.objects.get_or_create(setup=setup, defaults={"typed": typed_of(setup.current)})[0]


def save(draft: Draft, typed: Mapping[str, str], version: int) -> Draft:
    """Keep what was typed, if ``version`` is still the newest. Raises Conflict, and changes nothing, if not.

    Saving what stands already is no new version. If the draft was posted meanwhile, it is begun anew from
    what was posted; if the setup was thrown away, PostingError says so.
    """
    kept = _kept(typed)
    with transaction.atomic():
        # The setup first, as posting and discarding do: two that lock in another order wait for each other.
        setup = Setup.objects.select_for_update(of=("self",)).filter(pk=draft.setup_id).first()
        if setup is None:
            raise PostingError(
                _("The draft was thrown away meanwhile, on another page: start a new one.")
            )
        found = Draft.objects.select_for_update().select_related("setup").filter(setup=setup)
        locked = found.first() or draft_of(setup)
        if locked.typed == kept:
            return locked
        if locked.version != version:
            raise Conflict(locked, kept)
        locked.typed, locked.version = kept, version + 1
        locked.save()
        if locked.setup.state == Setup.State.DRAFT:
            locked.setup.name = kept.get("name", "").strip()[:120]
            locked.setup.save(update_fields=["name"])
    return locked


def discard(draft: Draft) -> None:
    """Throw a draft away; with it a setup that was never posted."""
    with transaction.atomic():
        setup = Setup.objects.select_for_update().get(pk=draft.setup_id)
        if setup.state == Setup.State.DRAFT:
            setup.delete()
        else:
            Draft.objects.filter(pk=draft.pk).delete()


def post(content: Content, author: Any, setup: Setup | None = None, version: int | None = None) -> Revision:
    """Post ``content`` as the next revision of ``setup``, or as a new setup; the draft is done with.

    ``version`` is that of the draft that is posted: raises Conflict if there is a newer one, PostedAlready
    if it was posted meanwhile. Raises PermissionError for another member's setup, PostingError if nothing has
    changed since the last revision or the setup is withdrawn, NotBuildable.
    """
    (report,) = reports_of([content])
    with transaction.atomic():
        if setup is None:
            setup = Setup(author=author)
            setup.save()
        setup = locked_first(Setup.objects.filter(pk=setup.pk).select_related("current")).get()
        if setup.author_id != author.pk:
            raise PermissionError(_("Only the member who posted a setup can revise it."))
        if setup.state == Setup.State.WITHDRAWN:
            raise PostingError(_("The setup is withdrawn: put it back first, then revise it."))
        _refuse_stale(setup, version, content)
        if setup.current is not None and _says_the_same(setup.current, content):
            raise PostingError(
                _("Nothing has changed since the last revision: there is nothing to post.")
            )
        (revision,) = _store([(setup, content, report, timezone.now())])
        Draft.objects.filter(setup=setup).delete()
        ruling.bring_up_to_date(setup)
    return revision


def post_many(
    posts: Sequence[tuple[Setup, Content, datetime]], known: dict[str, FitReport] | None = None
) -> list[Revision]:
    """Many revisions at once, in order, within the caller's transaction; the setups are saved already.

    For imports and the demo: asks neither who posts nor whether anything changed, and leaves it to the caller
    to bring the setups' standing up to date once their measurements are there. ``known`` is as of
    ``reports_of``.
    """
    reports = reports_of((content for _, content, _ in posts), known)
    return _store(
        [(setup, content, report, at) for (setup, content, at), report in zip(posts, reports, strict=True)]
    )


def withdraw(setup: Setup, member: Any, reason: str, at: datetime | None = None) -> None:
    """Take a posted setup out of the library's lists; its address stays. PermissionError for others.

    The author may, and whoever settles disputes. Raises PostingError without a reason. ``at``: if that was
    not just now.
    """
    _change_state(setup, member, reason, Decision.Action.WITHDRAWN, Setup.State.WITHDRAWN, at)


def restore(setup: Setup, member: Any, reason: str) -> None:
    """Put a withdrawn setup back; its standing is worked out anew."""
    _change_state(setup, member, reason, Decision.Action.RESTORED, Setup.State.POSTED)


def may_change(setup: Setup, member: Any) -> bool:
    """True for those who may withdraw a setup and put it back: its author and whoever settles disputes."""
    return bool(
        member.is_authenticated
        and (setup.author_id == member.pk or getattr(member, "settles_disputes", False))
    )


def _change_state(
    setup: Setup, member: Any, reason: str, action: str, state: str, at: datetime | None = None
) -> None:
    if not may_change(setup, member):
        raise PermissionError(_("Only the member who posted a setup, or a steward, can do that."))
    if not reason.strip():
        raise PostingError(_("Say why: the reason is kept with the setup."))
    with transaction.atomic():
        locked = Setup.objects.select_for_update().get(pk=setup.pk)
        withdrawn = locked.state == Setup.State.WITHDRAWN
        if locked.state == Setup.State.DRAFT or withdrawn == (state == Setup.State.WITHDRAWN):
            raise PostingError(
                _("That is done already, or the setup was never posted: look at it again.")
            )
        locked.state = state
        locked.save(update_fields=["state"])
        ruling.log(locked, action, reason.strip(), member, at)
        ruling.bring_up_to_date(locked)
    setup.refresh_from_db()


def _refuse_stale(setup: Setup, version: int | None, content: Content) -> None:
    if version is None:
        return
    draft = Draft.objects.filter(setup=setup).first()
    if draft is not None:
        if draft.version != version:
            raise Conflict(draft, {})
    elif setup.current is not None:
        if _says_the_same(setup.current, content):
            raise PostedAlready(_("It is posted already, and nothing has changed since."))
        raise PostingError(
            _(
                "The draft was posted meanwhile, from another page, and says something else now. "
                "Nothing was posted from here: look at what stands, then change it."
            )
        )


def _kept(typed: Mapping[str, str]) -> dict[str, str]:
    return {key: text for key, text in typed.items() if text}


def _says_the_same(revision: Revision, content: Content) -> bool:
    plain = ("name", "race_class_id", "surface", "circuit", "best_lap", "result", "notes")
    return (
        revision.build == content.build
        and revision.tuning == dict(content.tuning)
        and all(getattr(revision, name) == getattr(content, name) for name in plain)
        and {photo.pk for photo in revision.photos.all()} == {photo.pk for photo in content.photos}
    )


def _store(posts: Iterable[tuple[Setup, Content, FitReport, datetime]]) -> list[Revision]:
    """Write revisions and what the setups' own columns tell of them."""
    posts = list(posts)
    numbers = _numbers([setup for setup, *_ in posts])
    revisions = []
    for setup, content, report, at in posts:
        numbers[setup.pk] += 1
        revisions.append(
            Revision(
                setup=setup,
                number=numbers[setup.pk],
                author_id=setup.author_id,
                posted_at=at,
                what_changed=content.what_changed,
                name=content.name,
                body=content.body,
                platform=content.platform,
                position=content.position,
                race_class_id=content.race_class_id,
                surface=content.surface,
                circuit=content.circuit,
                best_lap=content.best_lap,
                result=content.result,
                notes=content.notes,
                tuning=dict(content.tuning),
                build=content.build,
                geometry=kept_geometry(report.geometry),
                findings=kept_findings(report),
                verdict=report.verdict.value,
            )
        )
    Revision.objects.bulk_create(revisions, batch_size=500)
    RevisionPart.objects.bulk_create(
        [
            RevisionPart(revision=revision, slot=slot.value, part=part)
            for revision, (_, content, _, _) in zip(revisions, posts, strict=True)
            for slot, part in content.parts.items()
        ],
        batch_size=2000,
    )
    logged = []
    for revision, (setup, content, report, at) in zip(revisions, posts, strict=True):
        if content.photos:
            revision.photos.set(content.photos)
        _tell(setup, revision, content, report, at)
        first = revision.number == 1
        action = Decision.Action.POSTED if first else Decision.Action.REVISED
        reason = content.what_changed or ("first posted" if first else "revised")
        logged.append(
            Decision(
                setup=setup, revision=revision, action=action, member_id=setup.author_id, reason=reason, at=at
            )
        )
    Decision.objects.bulk_create(logged, batch_size=500)
    update_each(dict.fromkeys(setup for setup, *_ in posts), TOLD)
    return revisions


def _numbers(setups: Sequence[Setup]) -> dict[int, int]:
    """Setup -> the highest number that a revision of it has."""
    numbers = dict.fromkeys((setup.pk for setup in setups), 0)
    rows = Revision.objects.filter(setup__in=list(numbers)).order_by("number").values_list("setup", "number")
    return numbers | dict(rows)


TOLD = [
    "name",
    "state",
    "current",
    "posted_at",
    "body",
    "platform",
    "race_class",
    "surface",
    "circuit",
    "best_lap",
    "front_width",
    "rear_width",
    "front_offset",
    "rear_offset",
    "wheelbase",
    "verdict",
    "words",
]
"""The columns of a setup that tell what its current revision says."""


def _tell(setup: Setup, revision: Revision, content: Content, report: FitReport, at: datetime) -> None:
    setup.name = content.name
    if setup.state == Setup.State.DRAFT:
        setup.state = Setup.State.POSTED
    setup.current = revision
    setup.posted_at = at
    setup.body, setup.platform = content.body, content.platform
    setup.race_class_id = content.race_class_id
    setup.surface, setup.circuit, setup.best_lap = content.surface, content.circuit, content.best_lap
    setup.front_offset = offset_of(content.parts.get(Slot.FRONT_WHEEL))
    setup.rear_offset = offset_of(content.parts.get(Slot.REAR_WHEEL))
    setup.verdict = ""  # another car: how it differs from the last one is no news about the figures
    ruling.tell_geometry(setup, report)
    setup.words = words_of(content, str(setup.author))


def words_of(content: Content, author: str) -> str:
    """What a search by words looks in: names, parts, settings said in words, notes."""
    said = [
        content.name,
        str(content.body),
        str(content.body.maker),
        content.body.full_size_car,
        str(content.platform),
        author,
        content.circuit,
        content.result,
        *dict.fromkeys(part.name for part in content.parts.values()),
        *(value for value in content.tuning.values() if isinstance(value, str)),
        content.notes,
    ]
    return folded(" ".join(said))
