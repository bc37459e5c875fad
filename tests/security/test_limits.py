"""Who asks too often is told when to come again, and keeps out nobody else."""

from __future__ import annotations

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.test import Client
from rest_framework.settings import api_settings

from club.limits import per_minute
from tests.club.visiting import ELSEWHERE, FORGOTTEN, HERE, sign_up
from tests.factories import MemberFactory
from tests.setups.pages import words

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


@pytest.fixture
def rates(monkeypatch):
    def at(**given: str) -> None:
        changed = api_settings.DEFAULT_THROTTLE_RATES | given
        monkeypatch.setattr(api_settings, "DEFAULT_THROTTLE_RATES", changed)

    return at


@pytest.mark.parametrize("address", ["/?q=heron", "/setups/?q=heron", "/parts/?q=rim", "/compare/"])
def test_a_place_that_searches_too_often_gets_a_page_that_says_when_to_come_again(client, rates, address):
    rates(searching="2/minute")
    answers = [client.get(address, REMOTE_ADDR=HERE) for _ in range(3)]
    assert [answer.status_code for answer in answers] == [200, 200, 429]
    assert 1 <= int(answers[2]["Retry-After"]) <= 60
    assert "too often" in words(answers[2])
    assert 'class="masthead"' in answers[2].content.decode()


def test_neither_other_places_nor_members_at_this_one_wait_for_it(client, rates):
    rates(searching="1/minute")
    ada, bob = Client(), Client()
    ada.force_login(MemberFactory())
    bob.force_login(MemberFactory())
    callers = [(client, HERE), (client, ELSEWHERE), (ada, HERE), (bob, HERE)]
    assert [who.get("/", REMOTE_ADDR=at).status_code for who, at in callers] == [200] * 4
    assert [who.get("/", REMOTE_ADDR=at).status_code for who, at in callers] == [429] * 4
    assert client.get("/platforms/no-such/", REMOTE_ADDR=HERE).status_code == 404


def test_forms_are_counted_too(rates):
    rates(sending="2/minute")
    ada = Client()
    ada.force_login(MemberFactory())
    sent = [ada.post("/account/", {"display_name": f"Ada {number}"}) for number in range(3)]
    assert [answer.status_code for answer in sent] == [302, 302, 429]
    assert ada.get("/account/").status_code == 200


def test_new_accounts_are_counted_by_the_place_that_they_are_made_at(settings):
    settings.ACCOUNT_RATE_LIMITS = {"signup": per_minute("SIGN_UP_RATE", "2/minute")}
    made = [sign_up(Client(), username=f"wren{n}", email=f"wren{n}@example.org") for n in range(3)]
    assert [answer.status_code for answer in made] == [302, 302, 429]
    assert made[2]["Retry-After"] == "60"
    assert 'class="masthead"' in made[2].content.decode()


def test_nobody_fills_a_members_mailbox_with_links(client, mailoutbox):
    MemberFactory(email="ada@example.org")
    asked = [client.post(FORGOTTEN, {"email": "ada@example.org"}) for _ in range(5)]
    assert [answer.status_code for answer in asked] == [302, 302, 302, 429, 429]
    assert len(mailoutbox) == 3


def test_a_rate_that_cannot_be_read_is_told_to_the_operator():
    assert per_minute("SIGN_UP_RATE", "20/minute") == "20/m/ip"
    for wrong in ("", "20", "0/minute", "20/hour", "many"):
        with pytest.raises(ImproperlyConfigured, match=r"SIGN_UP_RATE is .*20/minute"):
            per_minute("SIGN_UP_RATE", wrong)
