"""What the demo's members posted: enough of everything to look at, and the same for the same seed."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta

import pytest
import time_machine
from django.core.management import CommandError
from django.utils import timezone

from club.models import Entry, Event, RulebookEdition
from setups.demo import many
from setups.demo.seasons import SATURDAY
from setups.demo.setups import SETUPS
from setups.models import Decision, Dispute, Measurement, Revision, Setup
from setups.services import verifying
from tests.factories import MemberFactory, reading_for
from tests.setups.test_demo import content, run

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


def test_two_seasons_have_setups_of_every_standing():
    said = run(setups=SETUPS)
    assert f"Setups: {SETUPS}" in said
    states = Counter(Setup.objects.values_list("state", flat=True))
    assert states["verified"] > SETUPS * 0.35
    assert all(states[state] >= 5 for state in ("posted", "disputed", "withdrawn", "draft"))
    outcomes = Counter(Dispute.objects.values_list("outcome", flat=True))
    assert all(outcomes[outcome] >= 2 for outcome in ("", "set_aside", "upheld", "withdrawn"))
    verdicts = Counter(Setup.objects.values_list("verdict", flat=True))
    assert verdicts["fits"] > SETUPS / 2
    assert verdicts["close"] > 5
    assert verdicts["fails"] > 5
    assert Setup.objects.exclude(race_class=None).values("race_class").distinct().count() == 3
    assert Counter(Revision.objects.values_list("number", flat=True))[3] > 10
    _stand_where_the_rules_put_them()
    _are_verified_by_others()


@pytest.mark.parametrize("day", ["2027-02-28", "2029-09-16"])
def test_on_whatever_day_it_is_loaded_it_was_lately_used_and_nothing_in_it_is_still_to_come(day):
    with time_machine.travel(f"{day}T12:00:00+00:00", tick=False):
        run(setups=SETUPS)
        now = timezone.now()
        posted = [one.posted_at for one in Revision.objects.all()]
        assert now - timedelta(weeks=6) < max(posted) < now
        assert min(posted) < now - timedelta(weeks=100)
        assert all(one.at < now for one in Decision.objects.all())
        assert all(one.measured_on < now.date() for one in Measurement.objects.all())
        stands = Dispute.objects.filter(outcome="")
        assert all(now - timedelta(weeks=10) < one.opened_at < now for one in stands)
        assert len(stands) >= 5
        past, to_come = Event.objects.filter(date__lt=now.date()), Event.objects.filter(date__gt=now.date())
        assert (past.count(), to_come.count()) == (5, 1)
        assert max(one.date for one in past) > now.date() - timedelta(weeks=24)
        assert all(one.date.weekday() == SATURDAY for one in Event.objects.all())
        for entry in Entry.objects.exclude(revision=None).select_related("revision", "event"):
            assert entry.revision.posted_at.date() < entry.event.date
        first = Event.objects.get(name="Harvest Round")
        editions = RulebookEdition.objects.filter(race_class__slug="hall-saloons").order_by("-valid_from")
        assert timedelta() < first.date - editions[0].valid_from < timedelta(days=30)
        assert Event.objects.get(name="Autumn Opener").date < editions[0].valid_from
        whole = {event.name: event.entries.exclude(revision=None).count() for event in past}
        assert sum(whole.values()) > 50, whole
        assert all(whole.values()), whole


def _stand_where_the_rules_put_them():
    """Working out any of them anew changes nothing."""
    for setup in Setup.objects.exclude(state="draft").order_by("?")[:15]:
        before = (setup.state, setup.confirmations, setup.verdict)
        verifying.bring_up_to_date(setup)
        setup.refresh_from_db()
        assert (setup.state, setup.confirmations, setup.verdict) == before


def _are_verified_by_others():
    for setup in Setup.objects.filter(state="verified")[:10]:
        others = Measurement.objects.filter(revision__setup=setup).exclude(member=setup.author)
        assert others.values("member").distinct().count() >= 2


def test_the_same_seed_gives_the_same_setups_and_a_reset_brings_them_back():
    run(setups=25)
    before = content()
    Setup.objects.filter(state="verified").update(circuit="somewhere else")
    run("--reset", setups=25)
    assert content() == before


def test_a_reset_refuses_to_take_a_members_reading_along():
    run(setups=20)
    setup = Setup.objects.filter(state="verified").select_related("current")[0]
    reading_for(setup, "wheelbase", float(setup.wheelbase), member=MemberFactory()).save()
    with pytest.raises(CommandError, match="not the demo's hang on it"):
        run("--reset")
    assert Setup.objects.count() == 20


def test_a_large_library_is_copied_from_the_small_one_under_other_members():
    run(setups=30)
    before = Setup.objects.count()
    told: list[str] = []
    many.grow(100, 20, told.append)
    assert Setup.objects.count() == 100
    assert told[-1] == "Setups: 100 of 100"
    copies = Setup.objects.order_by("pk")[before:]
    assert all(setup.author.username.startswith(many.DRIVER) for setup in copies)
    for setup in copies:
        setup.full_clean(exclude=["current"])
        if setup.current is not None:
            assert setup.current.setup_id == setup.pk
            assert setup.current.author_id == setup.author_id
            assert setup.current.slots.count() >= 8
    _stand_where_the_rules_put_them()
    run("--reset", setups=0)
    assert not Setup.objects.exists()
    assert not Revision.objects.exists()
