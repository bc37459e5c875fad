"""Tokens: made on a page and shown once, as far as their scopes go, until they are revoked or expire."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils import timezone

from club.models import Member, Token
from club.models.token import MOST_TOKENS, digest_of
from setups.models import Setup
from tests.club.visiting import sign_in
from tests.factories import PASSWORD, MemberFactory
from tests.setups.asking import Caller, program, refused, secret_of

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

PAGE = "/account/tokens/"


@pytest.fixture
def member():
    return MemberFactory()


@pytest.fixture
def browser(member, client):
    confirmed(client, member)
    return client


def confirmed(client: Client, member: Member) -> None:
    """Signed in, the password given again."""
    sign_in(client, member.username)
    client.post("/account/confirm/", {"password": PASSWORD})


def make(browser: Client, **changes):
    return browser.post(PAGE, {"name": "lap timer", "scopes": ["write"], "days": "30"} | changes)


def secret_in(answer) -> str:
    return re.search(r"setups_[\w-]{43}", answer.content.decode())[0]


def with_token(secret: str, path: str = "/api/v1/drafts/"):
    return program().get(path, headers={"Authorization": f"Bearer {secret}"})


# The page


def test_a_token_is_shown_once_and_only_its_digest_is_kept(browser, member):
    answer = make(browser)
    secret = secret_in(answer)
    assert "no-store" in answer["Cache-Control"]
    token = Token.objects.get()
    assert (token.member, token.name, token.scopes) == (member, "lap timer", "read write")
    assert token.digest == digest_of(secret)
    assert secret not in "".join(str(value) for value in Token.objects.values_list().get())
    assert timedelta(days=29) < token.expires_at - timezone.now() <= timedelta(days=30)
    again = browser.get(PAGE).content.decode()
    assert secret not in again
    assert "lap timer" in again
    assert secret[:11] in again
    assert with_token(secret).status_code == 200


def test_a_token_tells_when_it_was_last_used(browser):
    secret = secret_in(make(browser))
    assert "Never used" in browser.get(PAGE).content.decode()
    with_token(secret)
    used = Token.objects.get().last_used_at
    assert timezone.now() - used < timedelta(minutes=1)
    assert "Last used" in browser.get(PAGE).content.decode()
    with_token(secret)
    assert Token.objects.get().last_used_at == used  # not written down again within a minute
    Token.objects.update(last_used_at=used - timedelta(minutes=2))
    with_token(secret)
    assert Token.objects.get().last_used_at > used - timedelta(minutes=1)


def test_a_revoked_token_works_no_more_and_its_name_is_free(browser):
    secret = secret_in(make(browser))
    token = Token.objects.get()
    answer = browser.post(f"{PAGE}{token.pk}/revoke/", follow=True)
    assert "works no more" in answer.content.decode()
    problem = refused(with_token(secret), 401, "unauthenticated")
    assert PAGE in problem["detail"]
    first = Token.objects.get().revoked_at
    browser.post(f"{PAGE}{token.pk}/revoke/")
    assert Token.objects.get().revoked_at == first
    assert secret_in(make(browser)) != secret


def test_nobody_revokes_anothers_token(browser):
    secret = secret_of(MemberFactory())
    assert browser.post(f"{PAGE}{Token.objects.get().pk}/revoke/").status_code == 404
    assert with_token(secret).status_code == 200


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"name": ""}, "Give it a name"),
        ({"name": "x" * 61}, "up to 60"),
        ({"days": "4000"}, "Choose one of the times"),
        ({"scopes": ["steward"]}, "not a thing that your tokens can do"),
        ({"scopes": ["everything"]}, "not a thing that your tokens can do"),
    ],
)
def test_a_mistake_in_the_form_is_told_and_makes_no_token(browser, change, said):
    answer = make(browser, **change)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not Token.objects.exists()


def test_a_second_token_of_the_name_is_refused(browser):
    make(browser)
    assert "You have a token of this name" in make(browser).content.decode()
    assert Token.objects.count() == 1


def test_a_member_has_so_many_tokens_at_most(browser, member):
    for _ in range(MOST_TOKENS):
        secret_of(member)
    assert f"You have {MOST_TOKENS} tokens" in make(browser).content.decode()
    Token.objects.filter(pk=Token.objects.first().pk).update(revoked_at=timezone.now())
    assert make(browser).status_code == 200


def test_only_a_steward_is_offered_the_scope_of_one(client):
    steward = MemberFactory(steward=True)
    confirmed(client, steward)
    assert "Settle disputes" in client.get(PAGE).content.decode()
    make(client, scopes=["steward", "write"])
    assert Token.objects.get().scopes == "read write steward"


def test_who_makes_a_token_gives_the_password_again_and_types_nothing_twice(member, client):
    assert Client().get(PAGE)["Location"].startswith("/account/sign-in/")
    sign_in(client, member.username)
    answer = make(client)
    assert answer.status_code == 302
    assert answer["Location"].startswith("/account/confirm/")
    assert not Token.objects.exists()
    assert not re.search("setups_", client.post(answer["Location"], {"password": "guessed"}).content.decode())
    assert not Token.objects.exists()
    made = client.post(answer["Location"], {"password": PASSWORD})
    assert with_token(secret_in(made)).status_code == 200
    assert Token.objects.get().name == "lap timer"


def test_a_token_of_another_site_is_not_made(member):
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(member)
    assert make(strict).status_code == 403
    assert not Token.objects.exists()


# What a token does


@pytest.mark.parametrize(
    "header",
    [
        "Bearer",
        "Bearer ",
        "Bearer nothing",
        "Token {secret}",
        "Basic {secret}",
        "Bearer {secret}x",
        "{secret}",
        "Bearer ä",
        "Bearer {secret} more",
    ],
)
def test_what_is_no_token_is_refused_even_where_anybody_may_read(member, header):
    secret = secret_of(member)
    answer = program().get("/api/v1/makers/", headers={"Authorization": header.format(secret=secret)})
    refused(answer, 401, "unauthenticated")
    assert answer["WWW-Authenticate"].startswith("Bearer")


def test_the_scheme_is_read_in_any_case(member):
    answer = program().get("/api/v1/drafts/", headers={"Authorization": f"bearer {secret_of(member)}"})
    assert answer.status_code == 200


def test_an_expired_token_and_that_of_a_closed_account_are_refused(member):
    secret = secret_of(member)
    Token.objects.update(expires_at=timezone.now())
    refused(with_token(secret), 401, "unauthenticated")
    Token.objects.update(expires_at=timezone.now() + timedelta(hours=1))
    assert with_token(secret).status_code == 200
    Member.objects.update(is_active=False)
    refused(with_token(secret), 401, "unauthenticated")


def test_a_token_that_only_reads_is_told_which_scope_is_wanted(member):
    answer = Caller(member, "read").post("drafts/", {})
    refused(answer, 403, "insufficient-scope")
    assert answer["WWW-Authenticate"] == 'Bearer error="insufficient_scope", scope="write"'
    assert not Setup.objects.exists()


def test_a_steward_who_is_none_any_more_has_a_token_that_settles_nothing():
    steward = MemberFactory(steward=True)
    caller = Caller(steward, "read steward")
    Member.objects.update(role="member")
    refused(caller.post("disputes/1/settle/", {}), 404, "not-found")


@pytest.mark.parametrize(
    "change", [{"scopes": "write"}, {"scopes": "read admin"}, {"scopes": ""}, {"name": ""}]
)
def test_the_database_keeps_no_token_without_a_name_or_with_other_scopes(member, change):
    secret_of(member)
    with pytest.raises(IntegrityError), transaction.atomic():
        Token.objects.update(**change)


def test_the_database_keeps_one_live_token_of_a_name(member):
    Token.make(member, "one", "read", timezone.now())
    with pytest.raises(IntegrityError), transaction.atomic():
        Token.make(member, "one", "read", timezone.now())
    assert Token.make(MemberFactory(), "one", "read", timezone.now())


# Sessions


def test_a_session_reads_what_is_private_and_writes_with_csrf(member):
    strict = Client(enforce_csrf_checks=True, raise_request_exception=False)
    strict.force_login(member)
    assert strict.get("/api/v1/drafts/").status_code == 200
    answer = strict.post("/api/v1/drafts/", "{}", content_type="application/json")
    assert "X-CSRFToken" in refused(answer, 403, "forbidden")["detail"]
    assert not Setup.objects.exists()
    strict.get("/account/")
    token = strict.cookies["csrftoken"].value
    answer = strict.post(
        "/api/v1/drafts/", "{}", content_type="application/json", headers={"X-CSRFToken": token}
    )
    assert answer.status_code == 201


def test_a_session_makes_no_difference_to_what_everybody_reads(member, client):
    client.force_login(member)
    answer = client.get("/api/v1/setups/")
    assert "Cookie" not in answer.get("Vary", "")
    assert "public" in answer["Cache-Control"]


# Rates


@pytest.fixture
def rates(settings):
    def put(**given):
        settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"DEFAULT_THROTTLE_RATES": given}

    return put


def test_each_member_and_each_address_has_goes_of_their_own(member, rates):
    rates(reading="2/hour")
    caller, other = Caller(member), Caller(MemberFactory())
    assert [caller.get("makers/").status_code for _ in range(3)] == [200, 200, 429]
    assert [other.get("makers/").status_code for _ in range(2)] == [200, 200]
    assert [Caller().get("makers/").status_code for _ in range(3)] == [200, 200, 429]
    # Another token of the same member has no further goes.
    answer = Caller(member).get("bodies/")
    refused(answer, 429, "too-many-requests")
    assert 3500 < int(answer["Retry-After"]) <= 3600


def test_reading_writing_and_computing_are_counted_apart(member, rates):
    rates(reading="1/hour", writing="2/hour", computing="1/hour")
    caller = Caller(member)
    assert [caller.post("drafts/", {}).status_code for _ in range(3)] == [201, 201, 429]
    assert [caller.get("drafts/").status_code for _ in range(2)] == [200, 429]
    assert [caller.post("fit", {}).status_code for _ in range(2)] == [400, 429]
    assert Setup.objects.count() == 2
