"""Stewards see what waits for them, and settle it; everybody reads how it went."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from statistics import mean

import pytest
from django.urls import reverse
from django.utils import timezone, translation

from setups.models import Decision, Dispute, Measurement, PartDimension, Revision, Setup
from setups.services import posting, telling, verifying
from setups.services.cars import content_of, with_car
from tests.factories import MemberFactory, SetupFactory, reading_for
from tests.setups.pages import part, words

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]
QUEUE = "/stewards/"


@pytest.fixture
def steward(client):
    member = MemberFactory(steward=True, display_name="Stella Steward")
    client.force_login(member)
    return member


def disputed(value=94.5, setup=None, days=0, **given):
    """An open dispute, so many days old."""
    setup = setup or SetupFactory()
    verifying.add(reading_for(setup, "wheelbase", value, **given))
    dispute = Dispute.objects.get(setup=setup, outcome="")
    Dispute.objects.filter(pk=dispute.pk).update(opened_at=timezone.now() - timedelta(days=days))
    return Dispute.objects.select_related("setup", "measurement__member").get(pk=dispute.pk)


def address(dispute):
    return reverse("dispute", args=[dispute.pk])


# Several readings of one member


def test_several_readings_of_one_member_are_told_as_what_they_come_to_together(client, steward):
    """They are pooled before anything is tested, so the figure that decides is theirs together."""
    setup, member, values = SetupFactory(), MemberFactory(), [92.15]
    verifying.add(reading_for(setup, "wheelbase", values[0], member=member))
    assert not setup.disputes.exists()
    while not setup.disputes.exists():  # each later one pulls them further away from what is computed
        values.append(92.45)
        verifying.add(reading_for(setup, "wheelbase", values[-1], member=member))
    together = f"{round(mean(values), 2):g} mm over {len(values)} readings"
    pooled = f"{len(values)} readings pooled, the disputed one 92.45 ±"

    text = words(client.get(QUEUE))

    assert pooled in text
    assert re.search(r"E n of the readings \+1\.\d\d", text)
    assert f"{member} measured the wheelbase 92.45 ±" not in text
    assert pooled in words(client.get(address(setup.disputes.get())))
    (line,) = setup.decisions.filter(action=Decision.Action.DISPUTED)
    assert f"{member} measured the wheelbase as {together}, which contradicts" in line.reason
    with translation.override("de"):
        assert telling.retold(line) != line.reason


# The queue


def test_the_queue_is_for_stewards(client):
    assert client.get(QUEUE).url.startswith(reverse("sign-in"))
    client.force_login(MemberFactory())
    assert client.get(QUEUE).status_code == 403
    assert ">Disputes</a>" not in client.get("/").content.decode()


def test_a_steward_finds_the_queue_in_the_masthead_and_it_says_when_nothing_waits(client, steward):
    assert f'<a href="{QUEUE}">Disputes</a>' in client.get("/").content.decode()
    assert "Nothing to settle" in words(client.get(QUEUE))


def test_the_longest_open_dispute_comes_first_with_what_stands_against_what(client, steward):
    recent, old = disputed(days=1), disputed(days=9, value=89.4)

    text = words(client.get(QUEUE))

    assert "2 wait for a steward, the longest open first." in text
    assert text.index(old.setup.name) < text.index(recent.setup.name)
    assert f"{old.measurement.member} measured the wheelbase 89.40 ± 0.05 mm" in text
    assert f"Computed, for {old.setup.author}’s setup 92.00 ±" in text
    assert re.search(r"E n of the reading −\d+\.\d\d", text)
    assert "open for 1 week, 2 days" in text


def test_those_settled_lately_stand_below_with_who_was_right_and_why(client, steward):
    dispute = disputed()
    verifying.settle(dispute, steward, "set_aside", "Read at the wrong hub")
    gone = disputed()
    verifying.withdraw(gone.measurement, gone.measurement.member)

    text = words(part(client.get(QUEUE), '<h2 id="settled"', "</section>"))

    assert "Settled for the setup: the readings are set aside. Stella Steward" in text
    assert "“Read at the wrong hub”" in text
    assert "Closed of itself: the measurement no longer stands against the setup." in text


def test_a_car_that_cannot_be_computed_hides_no_other_dispute(client, steward):
    broken, whole = disputed(), disputed()
    axle = broken.setup.current.slots.get(slot="rear_axle").part
    PartDimension.objects.filter(part=axle, quantity="hub_width").delete()

    text = words(client.get(QUEUE))

    assert f"Computed, for {broken.setup.author}’s setup not known" in text
    assert f"Computed, for {whole.setup.author}’s setup 92.00 ±" in text
    answer = client.post(address(broken), {"outcome": "upheld", "reason": "It is gone"})
    assert answer.status_code == 422
    assert "rear axle" in words(answer)
    broken.refresh_from_db()
    assert broken.is_open


def test_a_long_queue_comes_in_pages(client, steward, monkeypatch):
    monkeypatch.setattr("setups.views.disputes.PAGE", 3)
    setup = SetupFactory()
    (revision,) = with_car(Revision.objects.filter(pk=setup.current_id))
    content = content_of(revision)
    for n in range(4):
        posted = posting.post(replace(content, name=f"Setup {n}"), setup.author).setup
        disputed(setup=Setup.objects.select_related("current").get(pk=posted.pk))

    assert words(client.get(QUEUE)).count("E n of the reading") == 3
    assert words(client.get(QUEUE, {"page": 2})).count("E n of the reading") == 1
    assert "There is no page “9”" in words(client.get(QUEUE, {"page": 9}))


# One dispute


def test_everybody_reads_a_dispute_and_only_a_steward_finds_the_form(client):
    dispute = disputed(note="both sides")

    answer = client.get(address(dispute))

    text = words(answer)
    assert "Only a steward settles a dispute." in text
    assert f"{dispute.measurement.member} noted: “both sides”" in text
    assert f"{dispute.measurement.member} contradicts it" in text
    assert '<textarea name="reason"' not in answer.content.decode()
    assert client.post(address(dispute), {"outcome": "upheld", "reason": "x"}).url.startswith(
        reverse("sign-in")
    )


def test_a_steward_settles_for_the_setup_and_the_reading_counts_no_more(client, steward):
    dispute = disputed()

    answer = client.post(
        address(dispute), {"outcome": "set_aside", "reason": "Read at the wrong hub"}, follow=True
    )

    text = words(answer)
    assert "The dispute is settled, with your reason in the setup’s record." in text
    assert "With this the setup is no longer disputed." in text
    assert "Settled for the setup: the readings are set aside. Stella Steward" in text
    assert "1 set aside by a steward" in text
    assert Measurement.objects.get().set_aside
    line = Decision.objects.get(action=Decision.Action.SETTLED)
    assert (line.member, line.reason) == (steward, "The measurement is set aside: Read at the wrong hub")


def test_a_steward_settles_for_the_measurement_and_only_another_build_clears_it(client, steward):
    dispute = disputed()
    client.post(address(dispute), {"outcome": "upheld", "reason": "It stands in the long hole"})
    setup = dispute.setup

    said = words(part(client.get(setup.get_absolute_url()), '<section class="answer', "</section>"))
    assert "A steward found that the car is not as posted: It stands in the long hole" in said
    (revision,) = with_car(Revision.objects.filter(pk=setup.current_id))
    longer = setup.platform.positions.get(name="long")
    posting.post(replace(content_of(revision), position=longer), setup.author, setup)

    text = words(client.get(address(dispute)))
    assert "the setup has been built otherwise since" in text
    assert "Settled for the measurement: the car is not as posted." in text
    setup.refresh_from_db()
    assert setup.state == Setup.State.POSTED


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"outcome": "set_aside", "reason": "  "}, "Say why"),
        ({"outcome": "", "reason": "Because it is so"}, "Choose who is right"),
        ({"outcome": "withdrawn", "reason": "Because it is so"}, "Choose who is right"),
        ({"outcome": "upheld", "reason": "x" * 901}, "Say it in 900 letters; you typed 901."),
    ],
)
def test_a_decision_without_a_side_or_a_reason_is_refused_and_nothing_typed_is_lost(
    client, steward, given, said
):
    dispute = disputed()

    answer = client.post(address(dispute), given)

    assert answer.status_code == 422
    assert said in words(answer)
    assert given["reason"].strip() in answer.content.decode()
    dispute.refresh_from_db()
    assert dispute.is_open


@pytest.mark.parametrize("who", ["author", "measurer"])
def test_a_steward_whom_it_concerns_is_told_why_not(client, who):
    setup = SetupFactory(author=MemberFactory(steward=True))
    dispute = disputed(setup=setup, member=MemberFactory(steward=True))
    person = setup.author if who == "author" else dispute.measurement.member
    client.force_login(person)

    assert "another steward has to settle this" in words(client.get(address(dispute)))
    assert "It concerns you" in words(client.get(QUEUE))
    assert client.post(address(dispute), {"outcome": "upheld", "reason": "Mine"}).status_code == 403
    dispute.refresh_from_db()
    assert dispute.is_open


def test_the_second_of_two_stewards_is_shown_what_the_first_decided(client, steward):
    dispute = disputed()
    verifying.settle(Dispute.objects.get(pk=dispute.pk), MemberFactory(steward=True), "upheld", "First")

    answer = client.post(address(dispute), {"outcome": "set_aside", "reason": "Second"})

    assert answer.status_code == 422
    assert "“First”" in words(answer)
    dispute.refresh_from_db()
    assert dispute.reason == "First"


# Cost


def test_a_full_queue_takes_as_many_queries_as_a_short_one(client, steward, django_assert_num_queries):
    for _ in range(2):
        verifying.settle(disputed(), steward, "set_aside", "Slipped")
        disputed()
    with django_assert_num_queries(16):
        client.get(QUEUE)
    for _ in range(6):
        verifying.settle(disputed(), steward, "set_aside", "Slipped")
        disputed()
    with django_assert_num_queries(16):
        client.get(QUEUE)
