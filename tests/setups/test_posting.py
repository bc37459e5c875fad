"""A setup is drafted, posted, revised; what is posted stays as it was."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from setups.models import Decision, Draft, PartDimension, Revision, Setup
from setups.services import posting
from setups.services.cars import content_of, findings_then, geometry_then, with_car
from setups.services.posting import Conflict, PostingError
from tests.factories import MemberFactory, PartFactory, SetupFactory, content_for

pytestmark = pytest.mark.django_db


def content_now(setup):
    (revision,) = with_car(Revision.objects.filter(pk=setup.current_id))
    return content_of(revision)


def test_a_posted_setup_tells_its_widths_offsets_and_wheelbase():
    setup = SetupFactory(name="Club night", circuit="Hall", best_lap=Decimal("9.871"))

    assert setup.state == Setup.State.POSTED
    assert (setup.front_width, setup.rear_width, setup.wheelbase) == (55, 55, 92)
    assert (setup.front_offset, setup.rear_offset) == (0, 1)
    assert setup.current.number == 1
    assert setup.decisions.get().action == Decision.Action.POSTED
    assert "club night" in setup.words


def test_what_was_computed_then_is_kept_when_a_part_is_measured_anew():
    setup = SetupFactory()
    axle = setup.current.slots.get(slot="rear_axle").part
    PartDimension.objects.filter(part=axle, quantity="hub_width").update(value=40)
    revision = Revision.objects.get(pk=setup.current_id)

    then = geometry_then(revision)

    assert then["rear_width"].value == 55
    assert {kept.rule for kept in findings_then(revision)} >= {"flush", "wheelbase", "arch"}
    assert revision.verdict == "fits"


@pytest.mark.parametrize("table", ["revision", "part", "decision"])
def test_what_is_posted_cannot_be_changed_even_past_the_models(table):
    setup = SetupFactory()
    rows = {
        "revision": (Revision.objects.filter(pk=setup.current_id), {"notes": "better"}),
        "part": (setup.current.slots.filter(slot="plate"), {"part": PartFactory(plate=True)}),
        "decision": (setup.decisions.all(), {"reason": "another"}),
    }
    queryset, change = rows[table]

    with pytest.raises(IntegrityError, match="what_is_posted_never_changes"), transaction.atomic():
        queryset.update(**change)


def test_a_revision_is_numbered_and_the_one_before_it_stays():
    setup = SetupFactory(notes="first")
    content = replace(content_now(setup), notes="second", what_changed="New notes")

    revision = posting.post(content, setup.author, setup)

    setup.refresh_from_db()
    assert (revision.number, setup.current_id) == (2, revision.pk)
    assert [one.notes for one in setup.revisions.all()] == ["first", "second"]
    assert setup.decisions.last().reason == "New notes"


def test_posting_what_stands_already_is_refused():
    setup = SetupFactory()

    with pytest.raises(PostingError, match="Nothing has changed"):
        posting.post(content_now(setup), setup.author, setup)


def test_nobody_revises_another_members_setup():
    setup = SetupFactory()

    with pytest.raises(PermissionError):
        posting.post(content_for(), MemberFactory(), setup)
    assert setup.revisions.count() == 1


def test_two_builds_are_alike_only_if_every_part_is():
    content = content_for()
    other = replace(content, parts=dict(content.parts) | {next(iter(content.parts)): PartFactory()})

    assert content.build == replace(content, notes="words change no geometry").build
    assert content.build != other.build


def test_a_draft_keeps_what_was_typed_as_it_was_typed():
    draft = posting.begin(MemberFactory(), {"name": "Half a thought", "tuning_caster": "about 4"})

    saved = posting.save(draft, {"name": "Half a thought", "tuning_caster": "4,5"}, version=1)

    assert saved.version == 2
    assert Draft.objects.get().typed == {"name": "Half a thought", "tuning_caster": "4,5"}


def test_the_second_of_two_who_edit_is_shown_what_stands_and_loses_nothing():
    draft = posting.begin(MemberFactory(), {"name": "Car"})
    posting.save(draft, {"name": "Car", "notes": "from the phone"}, version=1)

    with pytest.raises(Conflict) as caught:
        posting.save(draft, {"name": "Car", "notes": "from the laptop"}, version=1)

    assert caught.value.differing == ["notes"]
    assert caught.value.typed["notes"] == "from the laptop"
    assert Draft.objects.get().typed["notes"] == "from the phone"


def test_discarding_the_draft_of_a_posted_setup_leaves_what_was_posted():
    setup = SetupFactory()
    draft = posting.draft_of(setup)
    assert draft.typed["name"] == setup.name

    posting.discard(draft)

    assert Setup.objects.get(pk=setup.pk).current_id == setup.current_id
    assert not Draft.objects.exists()


def test_discarding_what_was_never_posted_takes_the_setup_with_it():
    posting.discard(posting.begin(MemberFactory(), {"name": "Nothing yet"}))

    assert not Setup.objects.exists()


def test_a_setup_is_withdrawn_with_a_reason_and_put_back():
    setup = SetupFactory()
    with pytest.raises(PermissionError):
        posting.withdraw(setup, MemberFactory(), "not mine")
    with pytest.raises(PostingError, match="Say why"):
        posting.withdraw(setup, setup.author, " ")

    posting.withdraw(setup, setup.author, "sold the car")
    assert setup.state == Setup.State.WITHDRAWN
    posting.restore(setup, MemberFactory(steward=True), "bought it back")

    assert setup.state == Setup.State.POSTED
    assert [one.reason for one in setup.decisions.all()][1:] == ["sold the car", "bought it back"]


def test_a_revision_that_fits_otherwise_is_no_news_about_the_librarys_figures():
    setup = SetupFactory()
    longer = setup.platform.positions.get(name="long")

    posting.post(replace(content_now(setup), position=longer), setup.author, setup)

    setup.refresh_from_db()
    assert setup.verdict == "fails"
    assert not setup.decisions.filter(action=Decision.Action.VERDICT).exists()


def test_what_is_typed_while_another_page_posts_begins_the_next_draft():
    setup = SetupFactory(notes="as posted")
    draft = posting.draft_of(setup)
    posting.post(replace(content_now(setup), notes="posted elsewhere"), setup.author, setup)

    with pytest.raises(Conflict) as caught:
        posting.save(draft, draft.typed | {"notes": "typed here"}, version=draft.version + 1)
    assert caught.value.stored.typed["notes"] == "posted elsewhere"

    saved = posting.save(caught.value.stored, draft.typed | {"notes": "typed here"}, version=1)
    assert saved.typed["notes"] == "typed here"


def test_what_is_typed_after_the_draft_was_thrown_away_is_told_so():
    draft = posting.begin(MemberFactory(), {"name": "Car"})
    posting.discard(posting.draft_of(draft.setup))

    with pytest.raises(PostingError, match="thrown away"):
        posting.save(draft, {"name": "Car, again"}, version=1)
