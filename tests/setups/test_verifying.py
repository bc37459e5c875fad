"""Members measure a posted car: it turns verified, or disputed, and a steward settles it."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from setups.models import Decision, Dispute, Measurement, Revision, Setup
from setups.services import measuring, posting, verifying
from setups.services.cars import content_of, with_car
from setups.services.verifying import VerifyingError
from tests.factories import MemberFactory, PartFactory, SetupFactory, reading_for

pytestmark = pytest.mark.django_db
CAR = {"front_width": 55, "rear_width": 55, "wheelbase": 92}


def measured_by(setup, member, **figures):
    for quantity, value in (CAR | figures).items():
        verifying.add(reading_for(setup, quantity, value, member=member))
    setup.refresh_from_db()


def verified():
    setup = SetupFactory()
    for _ in range(2):
        measured_by(setup, MemberFactory())
    return setup


def test_two_members_who_agree_verify_it():
    setup = SetupFactory()
    measured_by(setup, MemberFactory())
    assert (setup.state, setup.confirmations) == (Setup.State.POSTED, 1)

    measured_by(setup, MemberFactory())

    assert (setup.state, setup.confirmations) == (Setup.State.VERIFIED, 2)
    assert setup.decisions.filter(action=Decision.Action.VERIFIED).count() == 1


def test_nobody_verifies_their_own():
    setup = SetupFactory()
    measured_by(setup, setup.author)
    measured_by(setup, MemberFactory())

    assert setup.state == Setup.State.POSTED


def test_the_same_member_twice_is_one_member():
    setup = SetupFactory()
    member = MemberFactory()
    measured_by(setup, member)
    measured_by(setup, member)

    assert (setup.state, setup.confirmations) == (Setup.State.POSTED, 1)


def test_a_car_that_fails_its_geometry_is_never_verified():
    wide = PartFactory(wheel=True, figures={"offset": "3"})
    setup = SetupFactory(parts={"rear_wheel": wide})
    for _ in range(2):
        measured_by(setup, MemberFactory(), rear_width=59)

    assert setup.verdict == "fails"
    assert setup.state == Setup.State.POSTED


def test_a_contradicting_measurement_makes_it_disputed():
    setup = verified()

    verifying.add(reading_for(setup, "wheelbase", 94.5))

    setup.refresh_from_db()
    assert setup.state == Setup.State.DISPUTED
    assert Dispute.objects.get().measurement.value == Decimal("94.5")
    assert "94.5 mm" in setup.decisions.last().reason


def test_a_steward_sets_the_measurement_aside_and_it_is_verified_again():
    setup = verified()
    verifying.add(reading_for(setup, "wheelbase", 94.5))
    dispute = Dispute.objects.get()

    turn = verifying.settle(dispute, MemberFactory(steward=True), "set_aside", "Read at the wrong hub")

    assert turn.after == Setup.State.VERIFIED
    assert Measurement.objects.get(value=Decimal("94.5")).set_aside
    assert dispute.reason == "Read at the wrong hub"


def test_a_steward_upholds_it_and_only_another_build_clears_it():
    setup = verified()
    verifying.add(reading_for(setup, "wheelbase", 94.5))
    turn = verifying.settle(Dispute.objects.get(), MemberFactory(steward=True), "upheld", "Position is long")
    assert turn.after == Setup.State.DISPUTED
    (revision,) = with_car(Revision.objects.filter(pk=setup.current_id))
    content = content_of(revision)
    posting.post(replace(content, notes="words only"), setup.author, setup)
    setup.refresh_from_db()
    assert setup.state == Setup.State.DISPUTED

    longer = setup.platform.positions.get(name="long")
    posting.post(replace(content, position=longer, what_changed="As it really is"), setup.author, setup)

    setup.refresh_from_db()
    assert setup.state == Setup.State.POSTED


def test_a_dispute_closes_when_the_member_withdraws_the_reading():
    setup = verified()
    reading = reading_for(setup, "wheelbase", 94.5)
    verifying.add(reading)

    turn = verifying.withdraw(reading, reading.member)

    assert turn.after == Setup.State.VERIFIED
    assert Dispute.objects.get().outcome == Dispute.Outcome.WITHDRAWN


@pytest.mark.parametrize("who", ["member", "author", "measurer"])
def test_a_dispute_is_not_settled_by_whom_it_concerns(who):
    setup = SetupFactory(author=MemberFactory(steward=True))
    reading = reading_for(setup, "wheelbase", 94.5, member=MemberFactory(steward=True))
    verifying.add(reading)
    people = {"member": MemberFactory(), "author": setup.author, "measurer": reading.member}

    with pytest.raises(PermissionError):
        verifying.settle(Dispute.objects.get(), people[who], "upheld", "because")
    assert Dispute.objects.get().is_open


def test_settling_twice_is_refused():
    setup = SetupFactory()
    verifying.add(reading_for(setup, "wheelbase", 94.5))
    dispute = Dispute.objects.get()
    verifying.settle(dispute, MemberFactory(steward=True), "upheld", "first")

    with pytest.raises(VerifyingError, match="Another steward"):
        verifying.settle(dispute, MemberFactory(steward=True), "set_aside", "second")


def test_measurements_count_for_a_revision_that_is_built_alike():
    setup = verified()
    (revision,) = with_car(Revision.objects.filter(pk=setup.current_id))

    posting.post(replace(content_of(revision), notes="more grip"), setup.author, setup)

    setup.refresh_from_db()
    assert setup.state == Setup.State.VERIFIED


def test_a_reading_of_an_older_revision_is_refused():
    setup = SetupFactory()
    old = reading_for(setup, "wheelbase", 92)
    (revision,) = with_car(Revision.objects.filter(pk=setup.current_id))
    posting.post(replace(content_of(revision), notes="changed"), setup.author, setup)

    with pytest.raises(VerifyingError, match="revised since"):
        verifying.add(old)


def test_a_new_figure_of_the_body_computes_its_setups_anew_and_says_which_changed():
    setup = verified()
    body = setup.body
    for value in (60, 60.05):
        member = MemberFactory()
        outcome = measuring.add(
            Measurement(
                body=body, quantity="rear_arch_width", value=value, member=member, instrument="calliper"
            )
        )

    setup.refresh_from_db()
    assert [(one.pk, before) for one, before, _ in outcome.setups.changed] == [(setup.pk, "fits")]
    assert setup.verdict == "fails"
    assert setup.state == Setup.State.POSTED
    assert setup.decisions.filter(action=Decision.Action.VERDICT).exists()
    assert Revision.objects.get(pk=setup.current_id).verdict == "fits"
