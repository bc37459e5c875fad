"""What every test shares."""

from __future__ import annotations

from collections.abc import Iterator
from io import StringIO

import pytest
from django.conf import settings
from django.core.cache import cache
from django.core.management import call_command
from django.db import connection, transaction
from django.test import override_settings
from pytest_django import DjangoDbBlocker

from club.racing import guards
from club.racing.events import guards as race_days
from tests.factories import FullCatalogue, full_catalogue


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--database-only", action="store_true", help="Leave out what no kind of database can change."
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("database_only"):
        config.hook.pytest_deselected(items=[item for item in items if not _asks_the_database(item)])
        items[:] = filter(_asks_the_database, items)


def _asks_the_database(item: pytest.Item) -> bool:
    if item.get_closest_marker("one_database") is not None:
        return False
    asked = set(getattr(item, "fixturenames", ()))
    return item.get_closest_marker("django_db") is not None or not asked.isdisjoint(
        {"db", "transactional_db", "live_server", "django_db_setup"}
    )


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """SQLite is a file, as for a site, so that whoever asks at the same time has a connection of its own.

    Django's default is one connection to a database in memory, which the threads of a live server would share
    with the test: with two of them in it at once, the interpreter crashes.
    """
    default = settings.DATABASES["default"]
    if default["ENGINE"] == "django.db.backends.sqlite3":
        default.setdefault("TEST", {})["NAME"] = str(tmp_path_factory.mktemp("database") / "library.sqlite3")
        default["OPTIONS"]["init_command"] += "PRAGMA synchronous=OFF;"


@pytest.fixture(scope="session", autouse=True)
def quick_passwords() -> Iterator[None]:
    """A member is made in many tests; the real hasher takes a third of a second each on purpose."""
    with override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"]):
        yield


@pytest.fixture(scope="session", autouse=True)
def no_pages_kept() -> Iterator[None]:
    """What a browser's worker fetches ahead when its test is over would meet the next test's database."""
    with override_settings(OFFLINE_PAGES=False):
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


@pytest.fixture(scope="class")
def demo_loaded(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """The demo without setups, loaded once for all tests of a class, each of which starts from it anew.

    A test's own transaction is a savepoint in the one that holds the demo. Django closes the connection after
    each test, which would end it.
    """
    with django_db_blocker.unblock():
        with transaction.atomic(), pytest.MonkeyPatch.context() as patch:
            call_command("demo", setups=0, stdout=StringIO())
            patch.setattr(connection, "close", lambda: None)
            yield
            transaction.set_rollback(True)
        connection.close()


@pytest.fixture
def catalogue(db: None) -> FullCatalogue:
    """A platform with a small complete catalogue, and a body that fits it."""
    return full_catalogue()
