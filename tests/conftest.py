"""What every test shares."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.core.cache import cache
from django.test import override_settings

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


@pytest.fixture
def catalogue(db: None) -> FullCatalogue:
    """A platform with a small complete catalogue, and a body that fits it."""
    return full_catalogue()
