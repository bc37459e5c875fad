"""What every test shares."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.core.cache import cache
from django.test import override_settings

from club.racing import guards
from club.racing.events import guards as race_days
from tests.factories import FullCatalogue, full_catalogue


@pytest.fixture(scope="session", autouse=True)
def quick_passwords() -> Iterator[None]:
    """A member is made in many tests; the real hasher takes a third of a second each on purpose."""
    with override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"]):
        yield


@pytest.fixture(autouse=True)
def fresh_limits() -> None:
    """Forms and failures that one test sends are not counted against the next."""
    cache.clear()


@pytest.fixture(autouse=True)
def emptied_afterwards(request: pytest.FixtureRequest) -> Iterator[None]:
    """A database that a live server wrote to is emptied row by row on SQLite, which the guards of what is
    published would refuse; they come back with the next test, as after a migration."""
    if not {"transactional_db", "live_server"} & set(request.fixturenames):
        yield
        return
    request.getfixturevalue("transactional_db")
    yield
    guards.remove("default")
    race_days.remove("default")


@pytest.fixture
def catalogue(db: None) -> FullCatalogue:
    """A platform with a small complete catalogue, and a body that fits it."""
    return full_catalogue()
