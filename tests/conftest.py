"""What every test shares."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from io import StringIO
from pathlib import Path

import pytest
from django.conf import settings
from django.core.cache import cache, caches
from django.core.management import call_command
from django.db import connection, transaction
from django.test import TransactionTestCase, override_settings
from pytest_django import DjangoDbBlocker

from club.models import Member
from setups.models import Draft
from setups.services import posting
from tests.factories import FullCatalogue, MemberFactory, full_catalogue

LONGEST = (
    "browser/test_every_page.py",
    "setups/test_demo.py",
    "security/test_api_fuzz.py",
    "setups/test_demo_setups.py",
    "security/test_parsers.py",
    "club/test_production.py",
    "faults/test_database_stopped.py",
    "browser/test_setup_life.py",
    "reference/test_against_enumeration.py",
    "browser/test_posting.py",
    "club/test_replicas.py",
    "setups/test_setup_search.py",
)
"""Files that take long begin, so that no process is alone with one of them at the end."""


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--database-only", action="store_true", help="Leave out what no kind of database can change."
    )


@pytest.hookimpl(trylast=True)  # after pytest-django has put them into an order
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: min((n for n, end in enumerate(LONGEST) if item.path.match(end)), default=99))
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
    """Forms and failures that one test sends are not counted against the next, nor are its pages kept."""
    cache.clear()
    caches["pages"].clear()


@pytest.fixture(scope="session")
def migrated(
    django_db_setup: None, django_db_blocker: DjangoDbBlocker, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Path]:
    """A copy of the tests' database as the migrations left it; of SQLite.

    A test that is in no transaction has its database put back from here. To empty it row by row, as Django
    does, would take much longer, and the guards of what is published would refuse.
    """
    empty = tmp_path_factory.mktemp("migrated") / "library.sqlite3"

    def put_back(case: TransactionTestCase) -> None:
        connection.close()
        file = connection.settings_dict["NAME"]
        with closing(sqlite3.connect(empty)) as kept, closing(sqlite3.connect(file, timeout=20)) as used:
            kept.backup(used)

    with django_db_blocker.unblock(), closing(sqlite3.connect(empty)) as copy:
        connection.ensure_connection()
        connection.connection.backup(copy)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TransactionTestCase, "_fixture_teardown", put_back)
        yield empty


@pytest.fixture(autouse=True)
def emptied_afterwards(request: pytest.FixtureRequest) -> None:
    """What a test outside a transaction leaves, the next one does not find."""
    marker = request.node.get_closest_marker("django_db")
    commits = marker is not None and bool(marker.kwargs.get("transaction"))
    if commits or {"transactional_db", "live_server"} & set(request.fixturenames):
        request.getfixturevalue("transactional_db")
        if connection.vendor == "sqlite":
            request.getfixturevalue("migrated")


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
def author(db: None) -> Member:
    """A member who posts setups."""
    return MemberFactory()


@pytest.fixture
def draft(author: Member) -> Draft:
    """What the author has begun to write."""
    return posting.begin(author, {"name": "Car", "notes": "typed"})


@pytest.fixture
def catalogue(db: None) -> FullCatalogue:
    """A platform with a small complete catalogue, and a body that fits it."""
    return full_catalogue()
