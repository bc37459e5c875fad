"""Guessing passwords soon has to wait, and nobody else does."""

from __future__ import annotations

import time

import pytest
from django.core.management import call_command
from django.test import Client

from tests.club.visiting import ELSEWHERE, HERE, IN, NEW, ask_for_a_link, follow, sign_in, signed_in
from tests.factories import PASSWORD, MemberFactory

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


def test_after_five_wrong_passwords_the_page_says_how_long_to_wait(client):
    MemberFactory(username="ada")
    assert [sign_in(client, "ada", f"guess {n}").status_code for n in range(5)] == [200] * 5
    answer = sign_in(client, "ada")
    page = answer.content.decode()
    assert answer.status_code == 429
    assert 890 <= int(answer["Retry-After"]) <= 900
    assert "Wait 15 minutes, then try again" in page
    assert 'value="ada"' in page
    assert PASSWORD not in page
    assert not signed_in(client)


def test_the_lock_holds_for_any_spelling_of_the_name(client, settings):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "2/900s/key"}
    MemberFactory(username="ada")
    assert [sign_in(client, name, "no").status_code for name in ("ada", "ADA", " Ada ")] == [200, 200, 429]


def test_a_lock_ends_by_itself(client, settings):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "2/2s/key"}
    MemberFactory(username="ada")
    for _ in range(2):
        sign_in(client, "ada", "guess")
    answer = sign_in(client, "ada")
    assert answer.status_code == 429
    assert not signed_in(client)
    time.sleep(int(answer["Retry-After"]))
    assert sign_in(client, "ada").status_code == 302
    assert signed_in(client)


def test_a_lock_keeps_out_neither_others_here_nor_the_member_elsewhere(client, settings):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "2/900s/key"}
    MemberFactory(username="ada")
    MemberFactory(username="bob")
    for _ in range(2):
        sign_in(client, "ada", "guess")
    assert sign_in(client, "ada").status_code == 429
    assert sign_in(Client(), "bob").status_code == 302
    assert sign_in(Client(), "ada", at=ELSEWHERE).status_code == 302


def test_nobody_escapes_a_lock_by_naming_another_address(client, settings):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "2/900s/key"}
    MemberFactory(username="ada")
    sent = {"login": "ada", "password": "guess"}
    answers = [client.post(IN, sent, headers={"x-forwarded-for": f"203.0.113.{n}"}) for n in range(3)]
    assert [answer.status_code for answer in answers] == [200, 200, 429]


def test_behind_a_proxy_the_address_is_the_one_that_the_proxy_saw(client, settings):
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 1
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "2/900s/key"}
    MemberFactory(username="ada")
    sent = {"login": "ada", "password": "guess"}

    def answers(seen: str) -> list[int]:
        claimed = {"x-forwarded-for": f"203.0.113.9, {seen}"}
        return [client.post(IN, sent, headers=claimed).status_code for _ in range(3)]

    assert answers(HERE) == [200, 200, 429]
    assert answers(ELSEWHERE) == [200, 200, 429]


def test_right_passwords_are_not_counted(client, settings):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "2/900s/key"}
    MemberFactory(username="ada")
    for _ in range(4):
        assert sign_in(Client(), "ada").status_code == 302


def test_a_new_password_ends_the_lock(client, settings):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "2/900s/key"}
    MemberFactory(username="ada", email="ada@example.org")
    for _ in range(3):
        sign_in(client, "ada", "guess", at="127.0.0.1")
    page = follow(client, ask_for_a_link(client, "ada@example.org"))
    client.post(page.request["PATH_INFO"], {"password1": NEW, "password2": NEW})
    assert sign_in(client, "ada", NEW, at="127.0.0.1").status_code == 302


def test_the_lock_lives_in_the_shared_cache(client, settings, django_db_blocker):
    settings.CACHES = {
        "default": {"BACKEND": "django.core.cache.backends.db.DatabaseCache", "LOCATION": "shared_cache"}
    }
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "2/900s/key"}
    call_command("createcachetable", verbosity=0)
    MemberFactory(username="ada")
    assert [sign_in(client, "ada", "guess").status_code for _ in range(3)] == [200, 200, 429]
    from django.core.cache import caches

    caches["default"].clear()
    assert sign_in(client, "ada").status_code == 302


def test_too_many_forms_in_a_minute_get_a_page_that_says_so(client, settings):
    settings.ACCOUNT_RATE_LIMITS = {"login": "2/m/ip"}
    answers = [sign_in(client, f"name{n}", "guess") for n in range(3)]
    assert [answer.status_code for answer in answers] == [200, 200, 429]
    assert "Wait a minute" in answers[2].content.decode()
    assert 'class="masthead"' in answers[2].content.decode()
    assert answers[2]["Retry-After"] == "60"
