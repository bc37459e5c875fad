"""A page that is kept for readers who are signed out is the one that would be made anew, whatever changes."""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.cache import caches
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import resolve

from setups import marks
from setups.models import Body, BodyDimension, BodyPart, Fitment, Mark, Part, Platform, Setup
from tests.factories import BodyFactory, MemberFactory, RaceClassFactory, SetupFactory, full_catalogue

pytestmark = pytest.mark.django_db

MARKS = {
    "find": (marks.BODIES, marks.CATALOGUE),
    "body": (marks.BODIES, marks.CATALOGUE),
    "setups": (marks.BODIES, marks.CATALOGUE, marks.NAMES, marks.SETUPS),
    "body-setups": (marks.BODIES, marks.CATALOGUE, marks.NAMES, marks.SETUPS),
}
"""What each kept page hangs on, by the name of its address."""
OWN = {"setups_mark", "setups_tally", "setups_tallychange", "found", "pg_extension", "lengths"}
"""What is kept up with the tables that it hangs on, and what is no table."""
TOKEN = re.compile(r'name="csrfmiddlewaretoken" value="(\w*)"')


@pytest.fixture
def setup() -> Setup:
    full_catalogue()
    posted = SetupFactory(
        author=MemberFactory(display_name="Wren Ash"), circuit="The long one", surface="wood"
    )
    Setup.objects.filter(pk=posted.pk).update(race_class=RaceClassFactory(name="Hall class"))
    return Setup.objects.select_related("body", "platform", "author", "race_class").get(pk=posted.pk)


def addresses(setup: Setup) -> list[str]:
    slug, platform = setup.body.slug, setup.platform.slug
    return [
        "/",
        "/?q=body",
        "/?q=bodi+nowhere",
        f"/?scale={setup.body.scale}&maker={setup.body.maker.slug}&sort=newest",
        f"/bodies/{slug}/",
        f"/bodies/{slug}/?near=1",
        "/setups/",
        "/setups/?q=setup",
        "/setups/?q=sertup",
        f"/setups/?body={slug}&class={setup.race_class.slug}&author={setup.author.username}",
        f"/setups/?platform={platform}&circuit=The+long+one&sort=lap",
    ]


def shown(address: str, client: Client | None = None, **headers: str) -> str:
    """The page without the one thing that is each reader's own."""
    answer = (client or Client()).get(address, headers=headers)
    assert answer.status_code == 200
    return TOKEN.sub("", answer.content.decode())


def anew(address: str) -> str:
    caches["pages"].clear()
    return shown(address)


def part_of(setup: Setup) -> str:
    return shown(f"/bodies/{setup.body.slug}/setups/", **{"HX-Request": "true"})


def test_a_kept_page_is_the_same_and_asks_for_its_marks_alone(setup, django_assert_num_queries):
    for address in addresses(setup):
        first = anew(address)
        with django_assert_num_queries(1):
            assert shown(address) == first


def test_a_kept_page_reads_only_what_it_has_marks_of(setup):
    for address in addresses(setup):
        caches["pages"].clear()
        with CaptureQueriesContext(
            connection,
        ) as asked:
            shown(address)
        tables = {
            table
            for one in asked.captured_queries
            for table in re.findall(r'(?:FROM|JOIN)\s+"?([a-z_]+)"?', one["sql"])
        }
        of = MARKS[resolve(address.split("?")[0]).url_name]
        assert tables - OWN <= {table for what in of for table in marks.COUNTED[what]}, address
    assert len(tables - OWN) > 2


def test_the_views_name_the_marks_that_their_pages_hang_on(setup, monkeypatch):
    named = []
    real = marks.mark_of_all
    monkeypatch.setattr("setups.views.keeping.mark_of_all", lambda of: named.append(of) or real(of))
    for address in addresses(setup):
        shown(address)
        assert named.pop() == MARKS[resolve(address.split("?")[0]).url_name]
    part_of(setup)
    assert named == [MARKS["body-setups"]]


def test_no_page_outlives_a_change(setup):
    body, part = Body.objects.filter(pk=setup.body_id), Part.objects.filter(kind="motor_mount")
    rows = Setup.objects.filter(pk=setup.pk)
    member = type(setup.author).objects.filter(pk=setup.author_id)
    page = f"/bodies/{setup.body.slug}/"
    for change, address in (
        (lambda: body.update(name="Stilt"), "/"),
        (lambda: BodyFactory(name="Avocet"), "/"),
        (lambda: BodyDimension.objects.filter(body=setup.body, quantity="wheelbase").update(value="91"), "/"),
        (lambda: part.update(name="Stilt mount"), page),
        (lambda: Fitment.objects.filter(part__in=part).delete(), page),
        (lambda: BodyDimension.objects.filter(body=setup.body).delete(), page),
        (lambda: BodyPart.objects.filter(body=setup.body).delete(), page),
        (lambda: Platform.objects.filter(pk=setup.platform_id).update(name="Dunlin"), "/setups/"),
        (lambda: member.update(display_name="Another name"), "/setups/"),
        (lambda: type(setup.race_class).objects.update(name="Lantern class"), "/setups/"),
        (lambda: rows.update(best_lap=Decimal("9.5")), "/setups/"),
        (lambda: rows.update(posted_at=setup.posted_at - timedelta(days=40)), "/setups/"),
        (lambda: SetupFactory(name="New here"), "/setups/"),
    ):
        for one in addresses(setup):
            shown(one)
        before = shown(address)
        part_of(setup)
        change()
        after, beside = shown(address), part_of(setup)
        assert before != after == anew(address)
        assert beside == part_of(setup)


@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite knows no TRUNCATE")
@pytest.mark.django_db(transaction=True)
def test_no_page_outlives_a_table_that_is_emptied():
    posted = SetupFactory(name="Gone soon")
    marked = {what: marks.mark_of(what) for what in marks.COUNTED}
    assert posted.name in shown("/setups/")
    with connection.cursor() as cursor:
        cursor.execute("TRUNCATE club_member, setups_maker CASCADE")
    assert posted.name not in shown("/setups/")
    assert all(marks.mark_of(what) != mark for what, mark in marked.items())


def test_signing_in_is_no_change_to_what_is_shown_of_a_member():
    member = MemberFactory()
    mark = marks.mark_of(marks.NAMES)
    Client().force_login(member)
    assert marks.mark_of(marks.NAMES) == mark
    type(member).objects.filter(pk=member.pk).update(display_name="Wren")
    assert marks.mark_of(marks.NAMES) != mark


def test_a_member_has_a_page_of_their_own_and_leaves_none_behind(setup):
    client = Client()
    client.force_login(setup.author)
    theirs = shown("/setups/", client)
    assert "Wren Ash</a>" in theirs
    assert "Wren Ash</a>" not in shown("/setups/")
    assert shown("/setups/", client) == theirs


def test_a_members_body_page_is_the_one_made_anew_whatever_changes(setup):
    address, members = f"/bodies/{setup.body.slug}/", [MemberFactory() for _ in range(2)]
    clients = [Client(), Client()]
    for client, member in zip(clients, members, strict=True):
        client.force_login(member)

    def bare(client: Client) -> str:
        return re.sub("|".join(str(member) for member in members), "", shown(address, client))

    seen = [bare(clients[0])]
    assert "garage" in seen[0]
    for change in (
        lambda: Body.objects.filter(pk=setup.body_id).update(name="Stilt"),
        lambda: Part.objects.update(price="9.50"),
        lambda: BodyDimension.objects.filter(body=setup.body).delete(),
    ):
        change()
        seen.append(bare(clients[0]))
        assert seen[-1] not in seen[:-1]
        assert bare(clients[1]) == seen[-1]
        caches["pages"].clear()
        assert bare(clients[1]) == seen[-1]
    assert shown(address) != shown(address, clients[0])


def test_each_language_unit_and_part_is_kept_by_itself(setup):
    clients = [Client(), Client(), Client()]
    clients[0].cookies["language"] = clients[0].cookies["django_language"] = "de"
    clients[1].cookies["units"] = "inch"
    for _ in range(2):
        pages = [shown("/setups/", client) for client in clients]
        pages.append(shown("/setups/", clients[2], **{"HX-Request": "true"}))
        pages.append(
            shown("/setups/", clients[2], **{"HX-Request": "true", "HX-History-Restore-Request": "true"})
        )
        assert len(set(pages[:4])) == 4
        assert pages[4] == pages[2]
        assert 'lang="de"' in pages[0]


def test_what_a_part_says_of_keeping_it_is_said_again(setup):
    for _ in range(2):
        part = Client().get("/setups/", headers={"HX-Request": "true"})
        assert part["Cache-Control"] == "no-store"
        assert "HX-Request" in part["Vary"]
        whole = Client().get("/setups/")
        assert whole["Content-Type"] == "text/html; charset=utf-8"
        assert "HX-Request" in whole["Vary"]


def test_a_form_on_a_kept_page_has_a_token_of_the_readers_own(setup):
    clients = [Client(enforce_csrf_checks=True) for _ in range(2)]
    tokens = []
    for client in clients:
        (token,) = TOKEN.findall(client.get("/").content.decode())
        given = {"csrfmiddlewaretoken": token, "language": "de", "next": "/"}
        assert client.post("/reader/", given).status_code == 302
        tokens.append(token)
    assert tokens[0] != tokens[1]
    swapped = {"csrfmiddlewaretoken": tokens[0], "language": "de", "next": "/"}
    assert clients[1].post("/reader/", swapped).status_code == 403


def test_what_is_said_once_is_on_no_kept_page(setup):
    client = Client()
    client.force_login(setup.author)
    quiet = shown("/")
    client.post("/account/sign-out/")
    said = shown("/", client)
    assert "notice" in said
    assert said != quiet
    assert shown("/") == quiet
    assert shown("/", client) == quiet


def test_without_marks_nothing_is_kept(setup):
    Mark.objects.all().delete()
    with CaptureQueriesContext(connection) as asked:
        shown("/")
        shown("/")
    assert len(asked) > 4
