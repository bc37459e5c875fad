"""Find a body: words, facets and their counts, pages, near names, and what an odd address gets."""

from __future__ import annotations

import re
from decimal import Decimal
from urllib.parse import parse_qs

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from setups.models import Body
from setups.services.near import has_trigrams, near_names
from setups.services.search import Search
from tests.factories import BodyFactory, MakerFactory, PartFactory, PlatformFactory

pytestmark = pytest.mark.django_db


def _found(client: Client, query: str = "", **headers: str) -> list[str]:
    response = client.get(f"/{query}", **headers)
    assert response.status_code == 200
    return [card.body.name for card in response.context["cards"]]


def _search(query: str = "") -> Search:
    from django.http import QueryDict

    return Search(QueryDict(query))


def _counts(query: str, key: str) -> dict[str, int]:
    return next(
        (
            {option.label: option.count for option in facet.options}
            for facet in _search(query).facets
            if facet.key == key
        ),
        {},
    )


@pytest.fixture
def shelf() -> None:
    """Four bodies that differ in everything a facet tells apart."""
    reed = MakerFactory(name="Reed Shells", slug="reed")
    fen = MakerFactory(name="Fen Bodies", slug="fen")
    BodyFactory(
        name="Plover Coupé",
        maker=reed,
        scale=28,
        figures={"wheelbase": "94"},
        takes_mid_motor=True,
        designated_front_width=Decimal("60"),
        part_number="RS-1",
        full_size_car="Ambersett Plover",
    )
    BodyFactory(
        name="Plover Estate",
        maker=reed,
        scale=28,
        figures={"wheelbase": "98.4"},
        designated_front_width=Decimal("60"),
    )
    BodyFactory(
        name="Heron Spider",
        maker=fen,
        scale=24,
        figures={"wheelbase": "112"},
        takes_rear_motor=False,
        takes_mid_motor=True,
        designated_front_width=Decimal("70.5"),
    )
    BodyFactory(
        name="Gannet",
        maker=fen,
        scale=28,
        figures={"wheelbase": None},
        takes_rear_motor=None,
        takes_mid_motor=None,
    )


def test_the_front_page_says_in_one_line_what_the_library_does(client: Client) -> None:
    page = client.get("/").content.decode()
    assert "Which chassis configuration does this body need?" in page


def test_every_body_is_listed_by_name(client: Client, shelf: None) -> None:
    assert _found(client) == ["Gannet", "Heron Spider", "Plover Coupé", "Plover Estate"]


def test_the_newest_body_can_come_first(client: Client, shelf: None) -> None:
    assert _found(client, "?sort=newest")[0] == "Gannet"


@pytest.mark.parametrize(
    ("words", "names"),
    [
        ("plover", ["Plover Coupé", "Plover Estate"]),
        ("plover est", ["Plover Estate"]),
        ("reed", ["Plover Coupé", "Plover Estate"]),
        ("RS-1", ["Plover Coupé"]),
        ("ambersett", ["Plover Coupé"]),
        ("  HERON   spider ", ["Heron Spider"]),
        ("100%", []),
    ],
)
def test_words_find_by_name_maker_number_and_full_size_car(
    client: Client, shelf: None, words: str, names: list[str]
) -> None:
    response = client.get("/", {"q": words})
    assert [card.body.name for card in response.context["cards"]] == names


def test_values_of_one_facet_widen_and_different_facets_narrow(client: Client, shelf: None) -> None:
    assert _found(client, "?scale=24&scale=28") == ["Gannet", "Heron Spider", "Plover Coupé", "Plover Estate"]
    assert _found(client, "?scale=28&layout=mid") == ["Plover Coupé"]
    assert _found(client, "?layout=mid&layout=unknown") == ["Gannet", "Heron Spider", "Plover Coupé"]
    assert _found(client, "?maker=fen&wheelbase=unknown") == ["Gannet"]
    assert _found(client, "?wheelbase=98") == ["Plover Estate"]
    assert _found(client, "?wheelbase=94-100") == ["Plover Coupé", "Plover Estate"]
    assert _found(client, "?front=70.5&front=unknown") == ["Gannet", "Heron Spider"]


def test_a_platform_finds_bodies_of_its_scale_whose_floor_takes_one_of_its_mounts(
    client: Client, shelf: None
) -> None:
    rear_only = PlatformFactory(slug="rear-only", scale=28)
    PartFactory(motor_mount=True, layout="rear", fits=rear_only)
    either = PlatformFactory(slug="either", scale=28)
    PartFactory(motor_mount=True, layout="rear", fits=either)
    PartFactory(motor_mount=True, layout="mid", fits=either)
    mountless = PlatformFactory(slug="mountless", scale=28)
    BodyFactory(name="Smew Wedge", scale=28, takes_rear_motor=False, takes_mid_motor=True)

    assert _found(client, "?platform=rear-only") == ["Plover Coupé", "Plover Estate"]
    assert _found(client, "?platform=either") == ["Plover Coupé", "Plover Estate", "Smew Wedge"]
    assert _found(client, f"?platform={mountless.slug}") == []
    assert _counts("", "platform") == {rear_only.name: 2, either.name: 3}


def test_counts_are_of_what_the_other_facets_leave(shelf: None) -> None:
    assert _counts("", "scale") == {"1:24": 1, "1:28": 3}
    assert _counts("layout=mid", "scale") == {"1:24": 1, "1:28": 1}
    assert _counts("scale=28", "scale") == {"1:24": 1, "1:28": 3}
    assert _counts("scale=28", "layout") == {"rear motor": 2, "mid motor": 1, "nobody has tried": 1}
    assert _counts("q=plover", "maker") == {"Reed Shells": 2}
    assert _counts("", "front") == {"60\u202fmm": 2, "70.5\u202fmm": 1, "not known": 1}
    assert _counts("scale=28", "wheelbase") == {"94\u202fmm": 1, "98\u202fmm": 1, "not known": 1}


@pytest.mark.parametrize(
    "query", ["", "q=plover", "scale=28", "layout=mid&maker=fen", "wheelbase=98", "front=60"]
)
def test_choosing_a_value_finds_as_many_bodies_as_its_count_says(shelf: None, query: str) -> None:
    platform = PlatformFactory(scale=28)
    PartFactory(motor_mount=True, layout="rear", fits=platform)
    for facet in _search(query).facets:
        for option in facet.options:
            if option.chosen:
                continue
            alone = parse_qs(option.address.removeprefix("?"))
            alone[facet.key] = [option.value]
            pressed = "&".join(f"{key}={value}" for key, values in alone.items() for value in values)
            assert _search(pressed).total == option.count, f"{facet.key} {option.value} after {query!r}"


@pytest.mark.parametrize("hundredths", [4, 5, 6, 14, 15, 16])
def test_a_front_width_is_counted_where_it_is_found_even_on_the_edge(client: Client, hundredths: int) -> None:
    """61.05 has no exact place in a float: database and page must still round it the same way."""
    for whole in range(40, 52):
        BodyFactory(designated_front_width=Decimal(whole) + Decimal(hundredths) / 100)
    for facet in _search().facets:
        if facet.key == "front":
            for option in facet.options:
                assert _search(f"front={option.value}").total == option.count


def test_many_wheelbases_are_grouped_in_bands_that_hold_all_of_them(shelf: None) -> None:
    for mm in range(80, 120):
        BodyFactory(figures={"wheelbase": str(mm)})
    counts = _counts("", "wheelbase")
    assert len(counts) <= 11
    assert sum(counts.values()) == Body.objects.count()
    assert all(" to " in label for label in counts if label != "not known")


def test_a_chosen_band_stays_to_be_taken_out_where_the_bands_have_changed(shelf: None) -> None:
    facet = next(facet for facet in _search("wheelbase=90-99&scale=24").facets if facet.key == "wheelbase")
    assert [(option.value, option.count) for option in facet.chosen] == [("90-99", 0)]
    assert "wheelbase" not in facet.chosen[0].address


def test_the_form_carries_the_facets_along_without_scripts(client: Client, shelf: None) -> None:
    page = client.get("/?scale=28&layout=mid&sort=newest&q=plover").content.decode()
    carried = re.findall(r'<input type="hidden" form="find" name="(\w+)" value="(\w+)">', page)
    assert carried == [("scale", "28"), ("layout", "mid"), ("sort", "newest")]


def test_htmx_gets_the_part_that_changes_and_no_cache_takes_it_for_the_page(
    client: Client, shelf: None
) -> None:
    part = client.get("/?q=heron", headers={"HX-Request": "true"})
    assert "<html" not in part.content.decode()
    assert "Heron Spider" in part.content.decode()
    assert part["Cache-Control"] == "no-store"
    assert "HX-Request" in part["Vary"]
    assert "HX-Request" in client.get("/?q=heron")["Vary"]


def test_htmx_gets_the_whole_page_when_it_restores_history(client: Client, shelf: None) -> None:
    restored = client.get("/", headers={"HX-Request": "true", "HX-History-Restore-Request": "true"})
    assert "<html" in restored.content.decode()


def test_a_card_says_what_is_known(client: Client, shelf: None) -> None:
    page = client.get("/?q=gannet").content.decode()
    assert "8 of 9 dimensions known" in page
    assert "not tried" in page
    assert "not stated" in page


def test_a_wheelbase_from_the_full_size_car_is_called_predicted(client: Client) -> None:
    BodyFactory(figures={"wheelbase": None}, full_size_wheelbase=Decimal(2660))
    assert "predicted" in client.get("/").content.decode()


def test_no_hit_suggests_near_names(client: Client, shelf: None) -> None:
    response = client.get("/?q=ganet&scale=24")
    assert "Gannet" in response.context["near"]
    assert 'href="/?q=Gannet"' in response.content.decode()


def test_near_names_ignore_case_and_order_of_nearness_holds(shelf: None) -> None:
    assert near_names("HERON SPIDR")[0] == "Heron Spider"
    assert near_names("zzqx") == []
    assert near_names("p") == []


@pytest.mark.skipif(connection.vendor != "postgresql", reason="trigrams are PostgreSQL's")
def test_postgresql_looks_for_near_names_by_trigram(shelf: None) -> None:
    assert has_trigrams()
    with CaptureQueriesContext(connection) as queries:
        assert near_names("ganet") == ["Gannet"]
    assert any("similarity" in query["sql"].lower() for query in queries)


def test_no_hit_because_of_the_facets_says_how_many_there_are_without(client: Client, shelf: None) -> None:
    page = client.get("/?q=plover&scale=24").content.decode()
    assert "Without the chosen facets there are 2." in page


def test_an_empty_library_says_what_would_be_here_and_gives_the_button(client: Client) -> None:
    page = client.get("/").content.decode()
    assert "The library holds no bodies" in page
    assert 'href="/imports/"' in page


def test_long_lists_page(client: Client) -> None:
    maker = MakerFactory()
    for number in range(50):
        BodyFactory(name=f"Shell {number:03}", maker=maker)
    assert _found(client, "?page=3") == ["Shell 048", "Shell 049"]
    assert 'rel="prev"' in client.get("/?page=3&scale=28").content.decode()


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("page=nan", "There is no page “nan”: this is page 1 of 1."),
        ("page=-1", "There is no page “-1”"),
        ("page=99999999999999999999", "There is no page “99999999999999999999”"),
        ("page=7", "There is no page “7”: this is page 1 of 1."),
        ("page=٣", "There is no page “٣”"),
        ("scale=abc", "There is no scale “abc”: it was left out."),
        ("scale=9999", "There is no scale “9999”"),
        ("wheelbase=NaN", "There is no wheelbase “NaN”"),
        ("wheelbase=99-90", "There is no wheelbase “99-90”"),
        ("front=60.55", "There is no front width “60.55”"),
        ("layout=top", "There is no motor “top”"),
        ("platform=x'--", "There is no platform “x&#x27;--”"),
        ("maker=<b>", "There is no maker “&lt;b&gt;”"),
    ],
)
def test_what_means_nothing_is_left_out_and_named(client: Client, shelf: None, query: str, said: str) -> None:
    response = client.get(f"/?{query}")
    assert response.status_code == 200
    assert said in response.content.decode()
    assert len(response.context["cards"]) == 4


def test_ten_megabytes_of_words_are_cut_and_said_so(client: Client, shelf: None) -> None:
    response = client.get("/", {"q": "heron " * 1_700_000})
    page = response.content.decode()
    assert response.status_code == 200
    assert "That text is too long to search for" in page
    assert len(page) < 50_000


def test_a_thousand_facet_values_are_cut_to_a_few(client: Client, shelf: None) -> None:
    response = client.get("/?" + "&".join(f"wheelbase={mm % 900 + 1}" for mm in range(1000)))
    assert response.status_code == 200
    assert len(response.context["search"].chosen["wheelbase"]) == 20


def test_a_nul_is_refused_in_words(client: Client) -> None:
    assert client.get("/?q=a%00b").status_code == 400


@pytest.mark.parametrize("query", ["", "?q=shell", "?scale=28&layout=rear&wheelbase=92&page=2"])
def test_the_number_of_queries_does_not_grow_with_the_library(client: Client, query: str) -> None:
    platform = PlatformFactory()
    PartFactory(motor_mount=True, fits=platform)
    for number in range(30):
        BodyFactory(name=f"Shell {number}")
    with CaptureQueriesContext(connection) as few:
        client.get(f"/{query}")
    for number in range(60):
        BodyFactory(name=f"Further shell {number}", scale=28 if number % 2 else 24)
        if not number % 10:
            PartFactory(motor_mount=True, fits=PlatformFactory())
    with CaptureQueriesContext(connection) as many:
        client.get(f"/{query}")
    assert len(many) == len(few) <= 12
