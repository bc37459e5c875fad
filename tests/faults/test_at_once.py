"""Two who change the same at the same moment: one wins, the other is told, and nothing is there twice."""

from __future__ import annotations

import re
import time
from dataclasses import replace
from functools import partial
from html import unescape

import pytest
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from django.contrib.messages import get_messages
from django.test import Client

from club.accounts import second_factor
from fitcalc.verification import REQUIRED
from setups.imports.kinds import KINDS
from setups.imports.load import load
from setups.imports.plan import plan_of
from setups.models import Body, Decision, Dispute, Draft, KeptAnswer, Measurement, Revision, Setup
from setups.models.setup import typed_of
from setups.services import posting, verifying
from setups.services.cars import content_of, with_car
from setups.services.verifying import VerifyingError
from tests.club.test_second_factor import code_of, type_code, with_factor
from tests.club.visiting import sign_in, signed_in
from tests.factories import MakerFactory, MemberFactory, PartFactory, SetupFactory, reading_for
from tests.faults.racing import at_once, meeting, sorted_out
from tests.setups.asking import Caller, content

COMPUTED = {"front_width": "55", "rear_width": "55", "wheelbase": "92"}


def client_of(member) -> Client:
    client = Client()
    client.force_login(member)
    return client


def ready(author) -> Draft:
    """A draft that is complete."""
    model = SetupFactory(author=author)
    return posting.begin(author, typed_of(model.current) | {"name": "Sunday"})


def fields_of(page: str) -> dict[str, str]:
    found = re.findall(r'<input type="hidden" name="(step|version|was|once)" value="([^"]*)"', page)
    return {name: unescape(value) for name, value in found}


def told(answer) -> str:
    return " ".join(str(one) for one in get_messages(answer.wsgi_request))


# Posting


@pytest.mark.django_db(transaction=True)
def test_a_post_button_that_is_pressed_twice_posts_once_and_both_answers_lead_there(monkeypatch):
    author = MemberFactory()
    draft = ready(author)
    address = f"/setups/{draft.setup_id}/"
    form = fields_of(client_of(author).get(f"{address}edit/?step=post").content.decode()) | {"go": "send"}
    clients = [client_of(author) for _ in range(2)]
    meeting(monkeypatch, posting, "reports_of")

    answers = at_once(*(lambda one=one: one.post(f"{address}edit/", form) for one in clients))
    monkeypatch.undo()
    later = clients[0].post(f"{address}edit/", form)

    assert [(one.status_code, one.url) for one in [*answers, later]] == [(302, address)] * 3
    assert Revision.objects.filter(setup=draft.setup_id).count() == 1
    assert not Draft.objects.filter(setup=draft.setup_id).exists()
    assert "is posted already" in told(later)


@pytest.mark.django_db(transaction=True)
def test_of_two_who_post_different_words_from_one_draft_the_second_posts_nothing(monkeypatch):
    setup = SetupFactory(notes="as posted")
    draft = posting.draft_of(setup)
    (now,) = with_car(Revision.objects.filter(pk=setup.current_id))
    said = [replace(content_of(now), notes=word, what_changed=word) for word in ("phone", "laptop")]
    meeting(monkeypatch, posting, "reports_of")

    results = at_once(
        *(lambda one=one: posting.post(one, setup.author, setup, draft.version) for one in said)
    )

    (won,), (lost,) = sorted_out(results, posting.PostingError)
    assert "posted meanwhile" in str(lost)
    assert list(setup.revisions.values_list("notes", flat=True)) == ["as posted", won.notes]
    assert setup.decisions.filter(action=Decision.Action.REVISED).count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_program_that_sends_a_post_four_times_at_once_posts_it_once():
    caller, sent = Caller(MemberFactory()), content()

    answers = at_once(*[lambda: caller.post("setups/", sent, Idempotency_Key="k")] * 4)

    assert {(one.status_code, one.content, one["Location"]) for one in answers} == {
        (201, answers[0].content, answers[0]["Location"])
    }
    assert Setup.objects.count() == Revision.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_who_load_the_same_file_at_once_load_it_once():
    MakerFactory(name="Reed")
    text = "name,maker,scale,wheelbase\nPlover,Reed,28,98.4\nHeron,Reed,24,112\n"
    seen = plan_of(KINDS["bodies"], text).fingerprint

    results = at_once(*[lambda: load(KINDS["bodies"], text, seen)] * 2)

    assert sorted(loaded is None for _, loaded in results) == [False, True]
    assert Body.objects.count() == 2


# Measuring and settling


@pytest.mark.django_db(transaction=True)
def test_a_car_is_verified_once_when_two_members_add_the_last_reading_at_once(monkeypatch):
    assert set(COMPUTED) == set(REQUIRED)
    setup = SetupFactory()
    members = MemberFactory.create_batch(3)
    for member, quantities in zip(members, [COMPUTED, ["front_width", "rear_width"], []], strict=True):
        for quantity in quantities:
            verifying.add(reading_for(setup, quantity, COMPUTED[quantity], member=member))
    last = [reading_for(setup, "wheelbase", "92", member=member) for member in members[1:]]
    meeting(monkeypatch, verifying, "_locked")

    turns, _ = sorted_out(at_once(*(lambda one=one: verifying.add(one) for one in last)), VerifyingError)

    setup.refresh_from_db()
    assert setup.state == Setup.State.VERIFIED
    assert sorted(turn.changed for turn in turns) == [False, True]
    assert setup.decisions.filter(action=Decision.Action.VERIFIED).count() == 1
    assert Measurement.objects.filter(quantity="wheelbase").count() == 3


@pytest.mark.django_db(transaction=True)
def test_one_dispute_is_opened_by_two_and_settled_by_one_steward(monkeypatch):
    setup = SetupFactory()
    against = [reading_for(setup, "front_width", "53") for _ in range(2)]
    with monkeypatch.context() as patch:
        meeting(patch, verifying, "_locked")
        at_once(*(lambda one=one: verifying.add(one) for one in against))
    dispute = Dispute.objects.get()
    stewards = [client_of(MemberFactory(steward=True)) for _ in range(2)]
    decided = [Dispute.Outcome.SET_ASIDE, Dispute.Outcome.UPHELD]
    with monkeypatch.context() as patch:
        meeting(patch, verifying, "_locked")
        answers = at_once(
            *(
                lambda one=one, outcome=outcome: one.post(
                    f"/disputes/{dispute.pk}/", {"outcome": outcome, "reason": f"It is {outcome}."}
                )
                for one, outcome in zip(stewards, decided, strict=True)
            )
        )

    assert sorted(one.status_code for one in answers) == [302, 422]
    lost = next(one for one in answers if one.status_code == 422)
    dispute.refresh_from_db()
    (other,) = set(decided) - {dispute.outcome}
    assert "Another steward has settled this meanwhile" in lost.content.decode()
    assert f"You wrote: “It is {other}.”" in lost.content.decode()
    assert dispute.reason == f"It is {dispute.outcome}."
    assert setup.decisions.filter(action=Decision.Action.SETTLED).count() == 1


# Forms sent twice


@pytest.mark.django_db(transaction=True)
def test_every_form_that_adds_something_adds_it_once_when_it_is_sent_twice():
    setup, part = SetupFactory(), PartFactory(wheel=True)
    member = MemberFactory()
    pages = [
        ("/setups/new/", {"name": "Sunday"}, lambda: member.setups.count()),
        (
            f"/setups/{setup.pk}/measure/front_width/",
            {"value": "55.02", "instrument": "calliper", "revision": setup.current_id},
            lambda: Measurement.objects.filter(revision__isnull=False).count(),
        ),
        (
            f"/bodies/{setup.body.slug}/measure/wheelbase/",
            {"value": "92.1", "instrument": "calliper"},
            lambda: Measurement.objects.filter(body__isnull=False).count(),
        ),
        (
            "/garage/parts/add/",
            {"part": part.pk, "count": "2"},
            lambda: sum(member.owned_parts.values_list("count", flat=True)) // 2,
        ),
    ]
    for address, typed, count in pages:
        asked = f"{address}?part={part.slug}" if "garage" in address else address
        page = client_of(member).get(asked)
        assert page.status_code == 200, address
        form = fields_of(page.content.decode()) | typed
        assert form["once"], address
        clients = [client_of(member) for _ in range(2)]
        answers = at_once(*(partial(one.post, address, form) for one in clients))
        assert [one.status_code for one in answers] == [302, 302], (address, answers)
        assert count() == 1, address
        assert any("sent twice" in told(one) for one in answers), address
        clients[0].post(address, form | {"once": "0" * 32})
        assert count() == 2, f"{address}: another form is another thing"
    assert KeptAnswer.objects.filter(member=member).count() == 2 * len(pages)


# Signing in


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("spare", [False, True], ids=["code of the phone", "recovery code"])
def test_of_two_browsers_that_type_one_code_at_once_one_is_signed_in(monkeypatch, spare):
    ada = with_factor()
    code = RecoveryCodes.activate(ada).get_unused_codes()[0] if spare else code_of()
    browsers = [Client(), Client()]
    for one in browsers:
        sign_in(one, "ada")
    meeting(monkeypatch, second_factor, "takes")
    compared = second_factor.step_of

    def slowly(*given):
        time.sleep(0.5)  # in which the other reads the row too, if nothing keeps it from that
        return compared(*given)

    monkeypatch.setattr(second_factor, "step_of", slowly)
    at_once(*(lambda one=one: type_code(one, code) for one in browsers))

    assert sorted(signed_in(one) for one in browsers) == [False, True]
