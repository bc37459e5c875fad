"""SECOND_FACTOR_FOR: whose role needs a second factor, and what they come to before they have one."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from allauth.mfa.totp.internal.auth import TOTP
from django.conf import settings as site
from django.test import Client
from django.utils import timezone

from club.models import Member, Token
from tests.club.test_second_factor import FACTOR, KEY, turn_on
from tests.club.visiting import sign_in
from tests.factories import MemberFactory

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

STEWARD, LIBRARIAN = Member.Role.STEWARD, Member.Role.LIBRARIAN


def of(member: Member) -> Client:
    client = Client()
    client.force_login(member)
    return client


def test_nobody_needs_one_unless_the_club_says_so():
    assert site.SECOND_FACTOR_FOR == []
    assert of(MemberFactory(role=STEWARD)).get("/stewards/").status_code == 200


def test_who_has_the_role_and_no_second_factor_comes_to_the_page_that_turns_it_on(settings):
    settings.SECOND_FACTOR_FOR = ["steward", "librarian"]
    steward = of(MemberFactory(role=STEWARD))
    for address in ("/", "/stewards/", "/garage/", "/account/tokens/"):
        assert steward.get(address).url == FACTOR
    page = steward.get("/stewards/", follow=True).content.decode()
    assert "The club asks for a second factor from members with your role" in page
    assert of(MemberFactory()).get("/garage/").status_code == 200
    assert of(MemberFactory(role="race_director")).get("/garage/").status_code == 200
    assert Client().get("/").status_code == 200


def test_nothing_can_be_sent_before_it_is_on_and_all_after(settings):
    settings.SECOND_FACTOR_FOR = ["librarian"]
    member = MemberFactory(username="ada", role=LIBRARIAN)
    client = Client()
    sign_in(client, "ada")
    answer = client.post("/garage/bodies/add/", {})
    assert answer.status_code == 403
    assert "Your role needs a second factor" in answer.content.decode()
    assert FACTOR in answer.content.decode()
    part = client.get("/setups/", headers={"HX-Request": "true"})
    assert part.status_code == 403
    posted = client.post("/api/v1/drafts/", {}, content_type="application/json")
    assert posted.status_code == 403
    assert posted["Content-Type"] == "application/problem+json"
    assert "Turn it on at /account/second-factor/" in posted.json()["detail"]

    turn_on(client)
    assert client.get("/imports/").status_code == 200
    posted = client.post("/api/v1/drafts/", {}, content_type="application/json")
    assert posted.status_code == 201
    assert member.pk


def test_signing_out_and_the_account_are_open(settings):
    settings.SECOND_FACTOR_FOR = ["steward"]
    steward = of(MemberFactory(role=STEWARD))
    for address in ("/account/", "/account/password/", FACTOR, "/account/sign-ins/", "/offline/"):
        assert steward.get(address).status_code == 200
    steward.post("/account/sign-out/")
    assert steward.get("/").status_code == 200


def test_the_role_member_stands_for_everybody_and_a_superuser_has_every_role(settings):
    settings.SECOND_FACTOR_FOR = ["member"]
    for member in (MemberFactory(), MemberFactory(role=STEWARD)):
        assert of(member).get("/garage/").url == FACTOR
        TOTP.activate(member, KEY)
        assert of(member).get("/garage/").status_code == 200
    settings.SECOND_FACTOR_FOR = ["librarian"]
    assert of(MemberFactory(is_superuser=True)).get("/garage/").url == FACTOR


def test_recovery_codes_alone_are_none(settings):
    from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes

    settings.SECOND_FACTOR_FOR = ["steward"]
    member = MemberFactory(role=STEWARD)
    RecoveryCodes.activate(member)
    assert of(member).get("/garage/").url == FACTOR


def test_a_token_goes_on_but_a_session_does_not_pass_for_one(settings):
    member = MemberFactory(role=STEWARD)
    _, secret = Token.make(member, "timer", "read", timezone.now() + timezone.timedelta(days=1))
    settings.SECOND_FACTOR_FOR = ["steward"]
    address = "/api/v1/garage/bodies/"
    assert Client().get(address, headers={"Authorization": f"Bearer {secret}"}).status_code == 200
    assert of(member).get(address).status_code == 403
    assert of(member).get(address, headers={"Authorization": "Bearer guessed"}).status_code == 401
    assert of(member).get("/garage/", headers={"Authorization": "Bearer guessed"}).status_code == 302
    for nothing, refused in (("", 403), (" ", 403), (" guessed", 401)):
        assert of(member).get(address, headers={"Authorization": nothing}).status_code == refused


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        (
            "SECOND_FACTOR_FOR",
            "steward, librarian, warden",
            "SECOND_FACTOR_FOR names warden: write member, steward",
        ),
        ("SESSION_IDLE_HOURS", "-1", "SESSION_IDLE_HOURS is less than 0"),
        ("SESSION_IDLE_HOURS", "99999999999", "or more than a year"),
        ("SESSION_IDLE_HOURS", "eight days", "SESSION_IDLE_HOURS is no whole number: write one"),
    ],
)
def test_a_setting_that_means_nothing_is_told_at_the_start(name, value, said):
    done = subprocess.run(
        [sys.executable, "manage.py", "check"],
        cwd=Path(site.BASE_DIR),
        env={"PATH": os.environ["PATH"], "SECRET_KEY": "t", name: value},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode != 0
    assert said in done.stderr
