"""Find a setup: words, facets and their counts, orders, who sees what, and what an odd address gets.

The suite runs on SQLite and on PostgreSQL: what is expected here is what both answer.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from django.http import QueryDict

from setups.models import Setup
from setups.services import posting, verifying
from setups.services.cars import content_of
from setups.services.search_setups import SetupSearch
from setups.words import folded, words_in
from tests.factories import BodyFactory, MemberFactory, PlatformFactory, SetupFactory, reading_for

pytestmark = pytest.mark.django_db


def found(client, query: str = "") -> list[str]:
    response = client.get(f"/setups/{query}")
    assert response.status_code == 200
    return [setup.name for setup in response.context["page"]]


def counts(query: str, key: str, **given) -> dict[str, int]:
    facets = SetupSearch(QueryDict(query), **given).facets
    return next(({o.value: o.count for o in facet.options} for facet in facets if facet.key == key), {})


@pytest.fixture
def hall():
    """Three setups of two members on two chassis, the last one verified."""
    small = PlatformFactory(name="Marsh Harrier", slug="harrier", scale=28)
    large = PlatformFactory(name="Bittern", slug="bittern", scale=12)
    ada, bo = MemberFactory(username="ada", display_name="Ada"), MemberFactory(username="bo")
    coupe = BodyFactory(name="Plover Coupé", slug="plover", scale=28)
    long = BodyFactory(name="Heron Spider", slug="heron", scale=12)
    given = {"tuning": {"rear_spring": "soft, 0.45 wire"}, "surface": "carpet", "circuit": "Mill hall"}
    SetupFactory(name="Dry carpet", author=ada, body=coupe, platform=small, best_lap=Decimal("9.8"), **given)
    SetupFactory(name="Wet loft", author=bo, body=coupe, platform=small, surface="wood", circuit="Loft")
    proven = SetupFactory(
        name="Long runs", author=bo, body=long, platform=large, best_lap=Decimal("9.1"), **given
    )
    for _ in range(2):
        member = MemberFactory()
        for key in ("front_width", "rear_width", "wheelbase"):
            reading_for(proven, key, getattr(proven, key), member=member).save()
    verifying.bring_up_to_date(proven)
    assert proven.state == "verified"
    return proven


# Words


def test_words_are_folded_in_case_and_accents():
    assert words_in("Stormcock COUPÉ, 1:28 (−1.5)") == ["stormcock", "coupe", "1", "28", "1", "5"]
    assert folded("Loft LOFT, “loft’s”") == "loft s"


@pytest.mark.parametrize(
    ("asked", "names"),
    [
        ("plover", {"Dry carpet", "Wet loft"}),
        ("PLOV", {"Dry carpet", "Wet loft"}),
        ("coupe", {"Dry carpet", "Wet loft"}),
        ("Coupé loft", {"Wet loft"}),
        ("marsh dry", {"Dry carpet"}),
        ("ada", {"Dry carpet"}),
        ("0.45 wire", {"Dry carpet", "Long runs"}),
        ("over", set()),
        ("mill'; DROP", set()),
        ("mill & !loft", set()),
        ("mill:*", {"Dry carpet", "Long runs"}),
        ("%", set()),
        ("...", set()),
    ],
)
def test_every_word_has_to_begin_a_word_of_the_setup(client, hall, asked, names):
    assert set(found(client, f"?{_query(q=asked)}")) == names


def _query(**given: str) -> str:
    query = QueryDict(mutable=True)
    query.update(given)
    return query.urlencode()


def test_a_revision_is_found_by_its_words_and_no_more_by_those_before(client, hall):

    content = content_of(hall.current)
    posting.post(replace(content, notes="grippy", circuit="Barn"), hall.author, hall)
    assert found(client, "?q=grip") == ["Long runs"]
    assert "Long runs" not in found(client, "?q=mill")


def test_a_slip_of_the_keyboard_is_answered_with_a_near_name(client, hall):
    response = client.get("/setups/?q=plvoer+coupe")
    assert "Plover Coupé" in response.context["near"]


# Facets


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ("?body=plover", {"Dry carpet", "Wet loft"}),
        ("?platform=bittern", {"Long runs"}),
        ("?scale=28&scale=12", {"Dry carpet", "Wet loft", "Long runs"}),
        ("?scale=12", {"Long runs"}),
        ("?state=verified", {"Long runs"}),
        ("?state=posted&surface=wood", {"Wet loft"}),
        ("?circuit=Mill+hall", {"Dry carpet", "Long runs"}),
        ("?author=bo", {"Wet loft", "Long runs"}),
        ("?front=55", {"Dry carpet", "Wet loft", "Long runs"}),
        ("?front=56-70", set()),
        ("?front_offset=0&rear_offset=1", {"Dry carpet", "Wet loft", "Long runs"}),
        ("?rear_offset=-1.5", set()),
        ("?wheelbase=92&q=mill", {"Dry carpet", "Long runs"}),
    ],
)
def test_facets_narrow_down(client, hall, query, names):
    assert set(found(client, query)) == names


def test_a_count_is_what_one_gets_by_choosing_it(client, hall):
    """For every facet, with nothing, something and words chosen already."""
    for query in ("", "surface=carpet", "q=plover", "author=bo&scale=12", "q=mill&body=heron&state=verified"):
        search = SetupSearch(QueryDict(query))
        for facet in search.facets:
            for option in facet.options:
                chosen = QueryDict(query, mutable=True)
                chosen.setlist(facet.key, [option.value])
                again = SetupSearch(chosen)
                assert option.count == again.total == again.setups().count(), (query, facet.key, option)


def test_more_matches_than_a_page_are_counted_and_paged(client):
    setup = SetupFactory(name="One of many")
    copies = [Setup(author=setup.author, name=f"Copy {number}") for number in range(29)]
    Setup.objects.bulk_create(copies)
    said = content_of(setup.current)
    posting.post_many([(copy, replace(said, name=copy.name), setup.posted_at) for copy in copies])
    response = client.get("/setups/")
    assert response.context["search"].total == 30
    assert len(response.context["page"]) == 24
    assert len(found(client, "?page=2")) == 6
    assert len(found(client, "?page=2&q=cop")) == 5
    for odd in ("9", "0", "-1", "9" * 30):
        assert "this is page" in client.get(f"/setups/?page={odd}&q=shell").content.decode()


# Orders


def test_what_is_verified_comes_first_then_the_newest(client, hall):
    assert found(client) == ["Long runs", "Wet loft", "Dry carpet"]
    assert found(client, "?sort=recent") == ["Long runs", "Wet loft", "Dry carpet"]


def test_best_laps_are_an_order_within_one_circuit_only(client, hall):
    assert found(client, "?sort=lap&circuit=Mill+hall") == ["Long runs", "Dry carpet"]
    assert found(client, "?sort=lap&circuit=Loft") == []
    assert SetupSearch(QueryDict("sort=lap")).sort == "evidence"
    both = SetupSearch(QueryDict("sort=lap&circuit=Loft&circuit=Mill+hall"))
    assert both.sort == "evidence"
    assert both.total == 3


# Who sees what


def test_what_was_withdrawn_is_found_by_its_author_alone(client, hall):
    posting.withdraw(hall, hall.author, "sold")
    assert "Long runs" not in found(client)
    assert "no standing" in client.get("/setups/?state=withdrawn").content.decode()
    client.force_login(MemberFactory())
    assert found(client, "?state=withdrawn") == []
    client.force_login(hall.author)
    assert "Long runs" not in found(client)
    assert counts("", "state", member=hall.author_id)["withdrawn"] == 1
    assert found(client, "?state=withdrawn") == ["Long runs"]
    assert set(found(client, "?state=withdrawn&state=posted")) == {"Long runs", "Dry carpet", "Wet loft"}


def test_a_draft_is_never_found(client, hall):
    posting.begin(hall.author, {"name": "Secret plans"})
    client.force_login(hall.author)
    assert found(client, "?q=secret") == []
    assert "draft" not in counts("", "state", member=hall.author_id)


# Odd addresses, htmx, queries


@pytest.mark.parametrize(
    "query",
    [
        "?state=draft",
        "?body=nothing&platform=x&scale=1000&surface=mud&class=z&author=%00y",
        "?front=1-9999&wheelbase=a&front_offset=1e5&rear_offset=--1",
        "?circuit=" + "x" * 300,
        "?q=" + "word " * 200,
        "?page=-1&sort=best",
    ],
)
def test_what_means_nothing_is_left_out_with_a_word(client, hall, query):
    response = client.get(f"/setups/{query}")
    assert response.status_code in (200, 400)
    if response.status_code == 200 and "page" not in query:
        assert response.context["search"].refused


def test_typing_gets_the_part_that_changes(client, hall):
    part = client.get("/setups/?q=plover", headers={"HX-Request": "true"})
    assert "<html" not in part.content.decode()
    assert 'hx-swap-oob="true"' in part.content.decode()
    assert part["Cache-Control"] == "no-store"


def test_an_empty_library_says_what_would_be_here(client):
    assert "Nobody has posted a setup yet" in client.get("/setups/").content.decode()


@pytest.mark.parametrize("query", ["", "?q=mill", "?body=plover&author=ada&surface=carpet&q=dry"])
def test_the_queries_do_not_grow_with_the_setups(client, hall, django_assert_max_num_queries, query):
    with django_assert_max_num_queries(9):
        client.get(f"/setups/{query}")


def test_the_masthead_leads_here(client):
    assert 'href="/setups/"' in client.get("/").content.decode()
