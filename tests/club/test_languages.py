"""German is complete, is shown to who asks for it, and reaches nothing that a program reads.

Gettext's own tools gather the texts and compare them with the catalogue, so that a text without German, or
one whose places are filled differently, fails here.
"""

from __future__ import annotations

import gettext
import html
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.apps import apps
from django.conf import settings
from django.core.management import call_command
from django.db import connection, models, transaction
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoDbBlocker

from club.management.commands.makemessages import Command
from club.models import Member
from setups.imports.kinds import KINDS
from tests.club.visiting import sign_in
from tests.every_page import Page, load_demo, pages
from tests.factories import PASSWORD, BodyFactory, MemberFactory

pytestmark = pytest.mark.one_database

CATALOGUE = Path(settings.BASE_DIR, "club", "locale", "de", "LC_MESSAGES")
SOURCES = ("fitcalc", "setups", "club", "templates")


def tool(*command: str | Path) -> str:
    done = subprocess.run([str(one) for one in command], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    return done.stdout


def said_in(catalogue: str) -> set[str]:
    return set(re.findall(r'^msgid "(.+)"$', catalogue, re.M))


class TestTheCatalogue:
    def test_every_text_has_its_german_and_nothing_more_is_kept(self, tmp_path, monkeypatch, settings):
        for source in SOURCES:
            leave = shutil.ignore_patterns("__pycache__", "locale", "static", "migrations")
            shutil.copytree(Path(settings.BASE_DIR, source), tmp_path / source, ignore=leave)
        shutil.copytree(CATALOGUE.parents[1], tmp_path / "club" / "locale")
        settings.LOCALE_PATHS = [tmp_path / "club" / "locale"]
        monkeypatch.chdir(tmp_path)

        call_command(Command(), locale=["de"], no_location=True, no_obsolete=True, verbosity=0)

        gathered = tmp_path / "club" / "locale" / "de" / "LC_MESSAGES" / "django.po"
        kept = {"--untranslated": "without German", "--only-fuzzy": "guessed"}
        for which, why in kept.items():
            left = said_in(tool("msgattrib", which, "--no-wrap", gathered))
            assert left == set(), f"{len(left)} texts {why}"
        before = said_in(tool("msgcat", "--no-wrap", CATALOGUE / "django.po"))
        after = said_in(tool("msgcat", "--no-wrap", gathered))
        assert before - after == set(), "texts that are no longer said: run makemessages with --no-obsolete"

    def test_every_place_in_a_text_is_filled_alike(self):
        tool("msgfmt", "--check-format", "--check-header", "-o", "/dev/null", CATALOGUE / "django.po")

    def test_what_is_compiled_is_what_is_written(self, tmp_path):
        tool("msgfmt", "-o", tmp_path / "django.mo", CATALOGUE / "django.po")
        with (tmp_path / "django.mo").open("rb") as fresh, (CATALOGUE / "django.mo").open("rb") as kept:
            assert gettext.GNUTranslations(kept)._catalog == gettext.GNUTranslations(fresh)._catalog


@pytest.mark.django_db
class TestChoosing:
    def test_a_visitor_reads_what_their_browser_asks_for(self, client):
        answer = client.get("/", headers={"accept-language": "de-AT, en;q=0.5"})

        assert '<html lang="de">' in answer.content.decode()
        assert {"Accept-Language", "Cookie"} <= set(answer.headers["Vary"].split(", "))
        assert '<html lang="en-GB">' in client.get("/", headers={"accept-language": "fr"}).content.decode()

    def test_a_visitors_choice_counts_for_more_and_lasts(self, client):
        answer = choose(client, "de", "inch", at="/platforms/")

        assert (answer.status_code, answer.headers["Location"]) == (302, "/platforms/")
        page = client.get("/", headers={"accept-language": "en"}).content.decode()
        assert '<html lang="de">' in page
        assert '<option value="inch" selected>' in page

    def test_what_nobody_offers_changes_nothing(self, client):
        choose(client, "de", "inch")

        answer = choose(client, "xx", "furlong", at="https://elsewhere.example/")

        assert answer.headers["Location"] == "/"
        assert '<html lang="de">' in client.get("/").content.decode()

    def test_a_members_choice_is_there_on_another_device_once_they_sign_in(self):
        member = MemberFactory()
        first, second = Client(), Client()
        first.force_login(member)
        choose(first, "de", "inch")
        assert '<html lang="en-GB">' in second.get("/").content.decode()

        sign_in(second, member.username, PASSWORD)

        page = second.get("/").content.decode()
        assert '<html lang="de">' in page
        assert '<option value="inch" selected>' in page
        member.refresh_from_db()
        assert (member.language, member.units) == ("de", "inch")

    def test_signing_in_leaves_the_device_as_it_is_for_who_never_chose(self, client):
        choose(client, "de", "inch")

        sign_in(client, MemberFactory().username, PASSWORD)

        assert '<html lang="de">' in client.get("/").content.decode()

    def test_the_choice_costs_no_query(self, client, django_assert_num_queries):
        choose(client, "de", "inch")
        with django_assert_num_queries(0):
            client.get("/gearing/nowhere/")


@pytest.mark.django_db
class TestPrograms:
    def test_the_interface_answers_in_english_and_mm_whatever_was_chosen(self, client):
        body = BodyFactory()
        plain = Client()
        choose(client, "de", "inch")

        for path in (f"/api/v1/bodies/{body.slug}/", "/api/v1/bodies/nothing/", "/api/v1/", "/health/"):
            told, before = client.get(path), plain.get(path)
            assert told.content == before.content, path
            assert "Accept-Language" not in told.headers.get("Vary", ""), path

    def test_what_is_refused_there_is_refused_in_english(self, client):
        choose(client, "de", "inch")

        answer = client.post("/api/v1/fit/", {"body": "nothing"}, content_type="application/json")

        assert answer.status_code >= 400
        assert "German" not in answer.headers.get("Content-Language", "")
        assert ENGLISH.search(answer.content.decode())

    def test_a_page_that_is_refused_is_refused_in_german(self, client):
        choose(client, "de", "mm")

        answer = client.get("/no/such/page/")

        assert answer.status_code == 404
        assert '<html lang="de">' in answer.content.decode()


def choose(client: Client, language: str, units: str, at: str = "/"):
    return client.post(reverse("choose-reader"), {"language": language, "units": units, "next": at})


ENGLISH = re.compile(r"\b(the|and|your|with|from|which|that|what|not|are|this|for|you|has|here|yet)\b", re.I)
"""Words that every English sentence has one of, and no German one."""

SHAPES = {"x", "y", "x1", "y1", "x2", "y2", "cx", "cy", "r", "rx", "ry", "width", "height", "dx", "dy"}
SHAPES |= {"font-size", "stroke-width"}
PATHS = {"d", "points", "viewBox", "transform"}
NUMBER = re.compile(r"-?(\d+(\.\d*)?|\.\d+)(e-?\d+)?")
COMMANDS = re.compile(r"[A-Za-z()\s]*")


@pytest.fixture(scope="class")
def demo_told(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[list[Page]]:
    """The demo with its accounts, loaded once for the class, as ``demo_loaded`` is."""
    with django_db_blocker.unblock():
        with transaction.atomic(), pytest.MonkeyPatch.context() as patch:
            load_demo()
            patch.setattr(connection, "close", lambda: None)
            yield pages()
            transaction.set_rollback(True)
        connection.close()


def looked_at(every: list[Page], language: str, units: str) -> dict[str, str]:
    """What each page says to who reads it so, by its address."""
    found = {}
    clients: dict[str, Client] = {}
    for page in every:
        if page.who not in clients:
            client = clients[page.who] = Client()
            if page.who:
                client.force_login(Member.objects.get(username=page.who))
            client.cookies[settings.LANGUAGE_COOKIE_NAME] = language
            client.cookies["units"] = units
        answer = clients[page.who].get(page.path)
        assert answer.status_code in (200, 403, 404, 405), page
        found[page.path] = answer.content.decode()
    return found


@pytest.mark.django_db
class TestEveryPage:
    def test_german_and_inches_reach_words_and_no_number_that_a_program_reads(self, demo_told):
        data = words_of_the_data()
        left, wrong = {}, []
        for path, page in looked_at(demo_told, "de", "inch").items():
            if '<html lang="de">' not in page:
                wrong.append(f"{path}: not in German")
            wrong += [f"{path}: {one}" for one in unreadable(page)]
            for said in texts(page):
                if ENGLISH.search(said) and not about(said, data):
                    left.setdefault(said, path)
        assert wrong == []
        assert left == {}


def unreadable(page: str) -> list[str]:
    """Attributes that take a number, and have something else in it."""
    found = []
    for drawing in re.findall(r"<svg\b.*?</svg>", page, re.S):
        for name, value in re.findall(r'\s([\w-]+)="([^"]*)"', drawing):
            if name in SHAPES and not NUMBER.fullmatch(value.removesuffix("%")):
                found.append(f"{name}={value}")
            if name in PATHS and not COMMANDS.fullmatch(NUMBER.sub("", value)):
                found.append(f"{name}={value}")
            if name in ("data-from", "data-to", "data-side") and not NUMBER.fullmatch(value):
                found.append(f"{name}={value}")
    for field in re.findall(r"<input\b[^>]*>", page):
        given = dict(re.findall(r'\s([\w-]+)="([^"]*)"', field))
        for name in ("value", "min", "max", "step"):
            value = given.get(name, "")
            if given.get("type") == "number" and value not in ("", "any") and not NUMBER.fullmatch(value):
                found.append(field)
            if given.get("type") == "date" and value and not re.fullmatch(r"\d{4}-\d\d-\d\d", value):
                found.append(field)
    found += [u for u in re.findall(r'\sdata-u="([^"]*)"', page) if u and not NUMBER.fullmatch(u)]
    return found


def texts(page: str) -> list[str]:
    """What a person sees or hears of a page, piece by piece."""
    page = re.sub(r"<(script|style|code|pre)\b.*?</\1>", " ", page, flags=re.S)
    page = re.sub(r'<option[^>]* lang="en-gb".*?</option>', " ", page)
    pieces = re.split(r"<[^>]*>", page)
    pieces += re.findall(r'\s(?:aria-label|title|placeholder|alt|data-label|content)="([^"]*)"', page)
    plain = (re.sub(r"\s+", " ", html.unescape(piece)).strip() for piece in pieces)
    return [piece for piece in plain if piece]


def words_of_the_data() -> list[str]:
    """Every text that is kept in a table: names, notes and reasons, which are nobody's to translate. Those
    that hold others come before them."""
    found: set[str] = set()
    for model in apps.get_models():
        names = [
            one.name
            for one in model._meta.concrete_fields
            if isinstance(one, models.CharField | models.TextField) and not one.choices
        ]
        for row in model._default_manager.values_list(*names) if names else ():
            found |= {re.sub(r"\s+", " ", text).strip() for text in row if isinstance(text, str)}
        kept = [one.name for one in model._meta.concrete_fields if isinstance(one, models.JSONField)]
        for row in model._default_manager.values_list(*kept) if kept else ():
            found |= set(_strings(row))
    # A file has its words in English, and so the page says what may stand in it.
    columns = [column for kind in KINDS.values() for column in kind.columns]
    found |= {one.takes.values["choices"] for one in columns if "choices" in getattr(one.takes, "values", ())}
    return sorted((text for text in found if ENGLISH.search(text)), key=len, reverse=True)


def _strings(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield re.sub(r"\s+", " ", value).strip()
    elif isinstance(value, dict):
        for one in value.values():
            yield from _strings(one)
    elif isinstance(value, list | tuple):
        for one in value:
            yield from _strings(one)


def about(said: str, data: list[str]) -> bool:
    """True for a piece whose English words are all of the data, or the beginning of one, cut short."""
    for text in data:
        if text in said:
            said = said.replace(text, " ")
    short = said.rstrip("…").strip()
    # A number or a word may stand before it in the same piece.
    ends = [short, *(short.split(" ", words)[-1] for words in (1, 2))]
    return not ENGLISH.search(said) or any(text.startswith(end) for text in data for end in ends if end)
