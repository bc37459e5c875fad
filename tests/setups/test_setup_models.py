"""What must never be in the tables of setups is refused by the database, whatever asks for it."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db import IntegrityError, models, transaction
from django.utils import timezone

from setups.models import Decision, Dispute, Measurement, MountingPosition, Revision, RevisionPart, Setup
from tests.factories import MemberFactory, PlatformFactory, SetupFactory, reading_for

pytestmark = pytest.mark.django_db


def setup_row(**change):
    return Setup(author=MemberFactory(), **change)


def revision_row(**change):
    revision = Revision.objects.get(pk=SetupFactory().current_id)
    revision.pk = None
    for name, value in {"number": 2, **change}.items():
        setattr(revision, name, value)
    return revision


def part_row(**change):
    row = SetupFactory().current.slots.get(slot="plate")
    row.pk = None
    for name, value in change.items():
        setattr(row, name, value)
    return row


def dispute_row(**change):
    reading = reading_for(SetupFactory(), "wheelbase", 92)
    reading.save()
    return Dispute(**{"setup": reading.revision.setup, "build": "x", "measurement": reading} | change)


def second_dispute():
    first = dispute_row()
    first.save()
    return Dispute(setup=first.setup, build="y", measurement=first.measurement)


REFUSED = {
    "posted without a revision": ("setup_posted_has_revision", lambda: setup_row(state="posted")),
    "a draft with a date": ("setup_posted_has_revision", lambda: setup_row(posted_at=timezone.now())),
    "a state that there is not": ("setup_state_known|setup_posted", lambda: setup_row(state="famous")),
    "one number twice": ("revision_number_once|UNIQUE.*number", lambda: revision_row(number=1)),
    "revision nought": ("revision_figures_positive", lambda: revision_row(number=0)),
    "a lap in no time": ("revision_figures_positive", lambda: revision_row(best_lap=Decimal(0))),
    "a slot twice": ("revision_slot_once|UNIQUE.*slot", part_row),
    "a slot that there is not": ("revision_slot_known", lambda: part_row(slot="ashtray")),
    "two open disputes": ("dispute_open_once_a_setup|UNIQUE.*setup_id", second_dispute),
    "settled by nobody": (
        "dispute_settled_with_reason",
        lambda: dispute_row(outcome="upheld", reason="seen", settled_at=timezone.now()),
    ),
    "settled without a reason": (
        "dispute_settled_with_reason",
        lambda: dispute_row(outcome="set_aside", settled_by=MemberFactory(), settled_at=timezone.now()),
    ),
    "a decision without a reason": (
        "decision_has_reason",
        lambda: Decision(setup=SetupFactory(), action="posted", reason=""),
    ),
}
NAMES = {
    "setup_posted_has_revision",
    "setup_state_known",
    "revision_number_once",
    "revision_figures_positive",
    "revision_slot_once",
    "revision_slot_known",
    "dispute_open_once_a_setup",
    "dispute_settled_with_reason",
    "decision_has_reason",
}
"""The constraints that are tried here."""


@pytest.mark.parametrize("what", REFUSED)
def test_what_must_never_be_is_refused(what):
    said, make = REFUSED[what]
    row = make()
    with pytest.raises(IntegrityError, match=said), transaction.atomic():
        type(row).objects.bulk_create([row])


def test_every_constraint_of_setups_is_tried():
    tables: list[type[models.Model]] = [Setup, Revision, RevisionPart, Dispute, Decision]
    assert {one.name for table in tables for one in table._meta.constraints} == NAMES


def test_a_revision_names_a_position_of_its_own_platform():
    elsewhere = MountingPosition.objects.filter(platform=PlatformFactory()).first()
    with pytest.raises(IntegrityError, match="position_of_another_platform"):
        Revision.objects.bulk_create([revision_row(position=elsewhere)])


@pytest.mark.parametrize(
    "change", [{"value": Decimal(19)}, {"quantity": "nose_reach"}, {"quantity": "hub_width"}]
)
def test_a_reading_of_a_car_is_a_sane_one_of_a_car(change):
    reading = reading_for(SetupFactory(), "wheelbase", 92)
    for name, value in change.items():
        setattr(reading, name, value)
    with pytest.raises(IntegrityError, match="measurement_plausible"):
        Measurement.objects.bulk_create([reading])


def test_a_setup_that_is_deleted_takes_all_of_it_along():
    setup = SetupFactory()
    reading_for(setup, "wheelbase", 92).save()

    setup.delete()

    assert not Revision.objects.exists()
    assert not Measurement.objects.exists()
