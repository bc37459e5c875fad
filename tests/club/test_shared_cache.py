"""What processes count together: in the database's cache no count is lost, and one that is away is told."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.conf import settings as configured_settings
from django.core.cache import caches
from django.core.management import call_command
from django.db import OperationalError, connection, router
from django.test import Client

from club import replicas
from setups.api.throttles import Counted
from tests.factories import PASSWORD, MemberFactory
from tests.outside import free_port

SIGN_IN = "/account/sign-in/"
SESSION_COOKIE = configured_settings.SESSION_COOKIE_NAME
TABLE = "cache_of_these_tests"


@pytest.fixture
def shared(settings):
    settings.CACHES = settings.CACHES | {
        "shared": {"BACKEND": "club.caching.SharedTable", "LOCATION": TABLE},
        "away": {"BACKEND": "club.caching.SharedRedis", "LOCATION": f"redis://127.0.0.1:{free_port()}/0"},
    }
    call_command("createcachetable", verbosity=0)
    yield caches["shared"]
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TABLE {TABLE}")


class Hourly(Counted):
    """Three requests an hour, whoever asks."""

    rate = "3/hour"

    def __init__(self, cache, clock=None) -> None:
        super().__init__()
        self.cache = cache
        if clock is not None:
            self.timer = lambda: clock[0]

    def get_cache_key(self, request, view) -> str:
        return "asked"


@pytest.mark.django_db
def test_a_count_goes_up_and_keeps_its_time_to_live(shared):
    shared.set("soon", 1, 100)
    before = _expires("soon")
    assert [shared.incr("soon"), shared.incr("soon", 5), shared.decr("soon")] == [2, 7, 6]
    assert (shared.get("soon"), _expires("soon")) == (6, before)

    shared.set("over", 1, -1)
    for key in ("over", "never"):
        with pytest.raises(ValueError, match="no figure under"):
            shared.incr(key)


def _expires(key: str) -> str:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT expires FROM {TABLE} WHERE cache_key = %s", [f":1:{key}"])
        return str(cursor.fetchone()[0])


@pytest.mark.django_db(transaction=True)
def test_of_a_hundred_requests_at_once_none_is_lost(shared):
    shared.set("asked", 0, 100)

    def ask(_: int) -> int:
        try:
            return caches["shared"].incr("asked")
        finally:
            connection.close()

    with ThreadPoolExecutor(8) as callers:
        assert sorted(callers.map(ask, range(100))) == list(range(1, 101))


@pytest.mark.django_db
def test_a_period_begins_with_the_first_request_and_ends_when_it_was_said_to(shared):
    clock = [1_000_000.0]

    def ask() -> tuple[bool, float]:
        limit = Hourly(shared, clock)
        return limit.allow_request(None, None), limit.wait()

    assert [ask() for _ in range(4)] == [(True, 3600.0)] * 3 + [(False, 3600.0)]
    clock[0] += 1000
    assert ask() == (False, 2600.0)
    clock[0] += 2600
    assert ask() == (True, 3600.0)


@pytest.mark.django_db
def test_a_clock_that_is_put_back_keeps_nobody_out_for_longer_than_a_period(shared):
    clock = [1_000_000.0]

    def ask() -> tuple[bool, float]:
        limit = Hourly(shared, clock)
        return limit.allow_request(None, None), limit.wait()

    assert [ask()[0] for _ in range(4)] == [True, True, True, False]
    clock[0] -= 60
    assert ask() == (False, 3600.0)
    clock[0] -= 24 * 3600
    assert ask()[0], "a new period has begun"


@pytest.mark.django_db
def test_a_cache_that_is_away_is_told_as_a_database_would_and_limits_nobody(shared):
    with pytest.raises(OperationalError, match="the cache does not answer"):
        caches["away"].get("anything")
    assert [Hourly(caches["away"]).allow_request(None, None) for _ in range(4)] == [True] * 4


@pytest.fixture
def no_cache(settings):
    away = {"BACKEND": "club.caching.SharedRedis", "LOCATION": f"redis://127.0.0.1:{free_port()}/0"}
    settings.CACHES = settings.CACHES | {"default": away}


@pytest.mark.django_db
class TestNoCache:
    """Signing in stands and falls with counting wrong passwords; all else goes on."""

    def answer(self, **sent):
        MemberFactory(username="ada")
        client = Client(raise_request_exception=False)
        return client.post(SIGN_IN, {"login": "ada", "password": PASSWORD, "next": "/garage/"} | sent)

    def test_nobody_is_let_in_and_is_told_why_and_when_to_try_again(self, no_cache):
        answer = self.answer()

        assert (answer.status_code, answer["Retry-After"]) == (503, "10")
        assert answer["Cache-Control"] == "no-store"
        page = answer.content.decode()
        assert "<h1>Nobody can sign in just now</h1>" in page
        assert "What counts wrong passwords does not answer." in page
        assert SESSION_COOKIE not in answer.cookies

    def test_the_name_and_where_to_go_are_kept_and_the_password_is_not(self, no_cache):
        page = self.answer().content.decode()

        form = page[page.index('class="account stack"') : page.index("</form>", page.index("account stack"))]
        assert 'name="login" value="ada"' in form
        assert '<input type="hidden" name="next" value="/garage/">' in form
        assert PASSWORD not in page

    def test_what_was_typed_as_a_name_is_no_markup(self, no_cache):
        assert 'value="&quot;&gt;&lt;b&gt;"' in self.answer(login='"><b>').content.decode()

    def test_the_form_is_good_once_the_cache_answers_again(self, no_cache, settings):
        member = MemberFactory(username="ada")
        client = Client(raise_request_exception=False, enforce_csrf_checks=True)
        token = client.get(SIGN_IN).content.decode().split('csrfmiddlewaretoken" value="')[1][:64]
        sent = {"login": "ada", "password": PASSWORD, "next": "/garage/", "csrfmiddlewaretoken": token}
        page = client.post(SIGN_IN, sent).content.decode()
        kept = dict(
            re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page[page.index("account stack") :])
        )

        settings.CACHES = settings.CACHES | {
            "default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}
        }
        answer = client.post(SIGN_IN, kept | {"login": "ada", "password": PASSWORD})

        assert (answer.status_code, answer["Location"]) == (302, "/garage/")
        assert client.session["_auth_user_id"] == str(member.pk)

    def test_who_is_signed_in_and_who_only_reads_go_on(self, no_cache):
        client = Client()
        assert [client.get(address).status_code for address in ("/", "/setups/", SIGN_IN)] == [200] * 3
        client.force_login(MemberFactory())
        assert client.get("/garage/").status_code == 200


def test_counting_is_no_writing_that_a_reader_must_wait_for(shared_model, settings, monkeypatch):
    monkeypatch.setattr(router, "routers", [replicas.Router()])
    token = replicas._route.set(route := replicas._Route("replica1"))
    try:
        assert (router.db_for_write(shared_model), route.wrote) == ("default", False)
        assert router.db_for_read(shared_model) == "default", "what lags does not count"
    finally:
        replicas._route.reset(token)


@pytest.fixture
def shared_model():
    from club.caching import SharedTable

    return SharedTable(TABLE, {}).cache_model_class
