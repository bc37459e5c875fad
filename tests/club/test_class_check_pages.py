"""The pages that check a car: the answer, why, what to do, and who may see what."""

from __future__ import annotations

import pytest

from setups.services import verifying
from tests.club.checked_cars import a_chassis, a_setup, at_least, at_most, edition_of
from tests.factories import (
    BodyFactory,
    ClauseFactory,
    EditionFactory,
    FullCatalogue,
    MemberFactory,
    RaceClassFactory,
    reading_for,
)
from tests.setups.pages import words

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


@pytest.fixture
def shop(catalogue) -> FullCatalogue:
    return catalogue


def test_the_check_page_says_the_answer_then_why_then_what_to_do(client, shop):
    setup = a_setup(shop, rear_tyre=shop.tyres[1])
    edition = edition_of(
        at_most("rear_tyre_diameter", 23),
        at_most("front_tyre_diameter", 23),
        at_least("mass", 150),
        {"seen": True},
    )
    page = client.get(f"/classes/{edition.race_class.slug}/check/?setup={setup.pk}")
    said = words(page)
    assert "does not comply 1 clause is not met." in said
    assert "1.00 mm outside the limit." in said
    assert "Computed 24.00 ± 0.06 mm; asked at most 23 mm. < 1 % likely to conform" in said
    assert "Nobody has measured it, and nothing computes it." in said
    assert "An inspector has to look at it." in said
    assert f"Buy one more pack of {shop.tyres[0].name}" in said
    for caution in ("officials decide", "Lithium batteries", "Shells", "Motors and gears"):
        assert caution in said
    assert page.content.count(b'class="limit-bar ') == 2


def test_a_contradiction_between_measured_and_computed_is_told(client, shop):
    setup = a_setup(shop)
    verifying.add(reading_for(setup, "front_width", "53.9"))
    edition = edition_of(at_most("front_width", 56))
    said = words(client.get(f"/classes/{edition.race_class.slug}/check/?setup={setup.pk}"))
    assert "The measured value contradicts the computed 55.00" in said
    assert "complies Every clause is met." in said


def test_the_guard_band_is_drawn_and_said(client, shop):
    setup = a_setup(shop)
    edition = edition_of(at_most("front_width", "55.1", rule="guarded_acceptance"))
    page = client.get(f"/classes/{edition.race_class.slug}/check/?setup={setup.pk}")
    said = words(page)
    assert "too close to call 1 clause asks for a value that is clearly inside." in said
    assert "it fails, since it is not clearly inside." in said
    assert b'class="limit-bar-guard"' in page.content


def test_the_class_matrix_names_each_class_with_its_gravest_clauses(
    client, shop, django_assert_max_num_queries
):
    setup = a_setup(shop)
    wide = edition_of(at_most("front_width", 60), race_class=RaceClassFactory(name="Wide"))
    edition_of(at_most("front_width", 50, number="7.7"), race_class=RaceClassFactory(name="Narrow"))
    RaceClassFactory(name="Unwritten")
    for _ in range(2):
        with django_assert_max_num_queries(22):
            said = words(client.get(f"/setups/{setup.pk}/classes/"))
        assert f"{setup} is legal in {'Wide'}" in said
        assert "7.7 front width 55.00" in said
        assert "No rulebook holds today for Unwritten" in said
        edition_of(at_most("front_width", 51), {"wheels": True, "items": list(shop.wheels.values())})
    assert (
        f"/classes/{wide.race_class.slug}/check/?setup={setup.pk}"
        in client.get(f"/setups/{setup.pk}/classes/").content.decode()
    )


def test_a_member_checks_an_own_chassis_and_nobody_elses(client, shop):
    member = MemberFactory()
    chassis = a_chassis(shop, member)
    edition = edition_of(at_most("front_width", 54))
    address = f"/classes/{edition.race_class.slug}/check/?chassis={chassis.pk}"
    assert client.get(address).status_code == 404
    client.force_login(MemberFactory())
    assert client.get(address).status_code == 404
    client.force_login(member)
    assert "Choose a body, and the library looks for parts" in words(client.get(address))
    under = words(client.get(f"{address}&body={shop.body.slug}"))
    assert f"{chassis} under {shop.body}" in under
    assert "nothing to buy" not in under
    other = BodyFactory(scale=24)
    assert "is of another scale" in words(client.get(f"{address}&body={other.slug}"))


@pytest.mark.parametrize(
    "odd", ["setup=0", "setup=x", "setup=99999999999999999999", "chassis=1", "edition=9", "edition=x"]
)
def test_odd_addresses_are_not_found(client, odd):
    edition = edition_of(at_most("front_width", 54))
    assert client.get(f"/classes/{edition.race_class.slug}/check/?{odd}").status_code == 404


def test_without_a_rulebook_the_page_says_what_is_missing(client, shop):
    race_class = RaceClassFactory()
    said = words(client.get(f"/classes/{race_class.slug}/check/?setup={a_setup(shop).pk}"))
    assert "No rulebook holds today" in said


def test_a_draft_is_checked_by_race_directors_only(client, shop):
    draft = EditionFactory()
    ClauseFactory(edition=draft)
    address = f"/classes/{draft.race_class.slug}/check/?edition={draft.pk}&setup={a_setup(shop).pk}"
    client.force_login(MemberFactory())
    assert client.get(address).status_code == 404
    client.force_login(MemberFactory(race_director=True))
    assert ", a draft." in words(client.get(address))


def test_a_barred_body_is_named(client, shop):
    edition = edition_of({"wheels": True, "thing": "body", "items": [], "allows": True})
    said = words(client.get(f"/classes/{edition.race_class.slug}/check/?setup={a_setup(shop).pk}"))
    assert f"Not allowed: {shop.body}." in said
    assert "Another body. No change to the chassis helps" in said


def test_a_setup_whose_parts_lost_their_dimensions_says_why_it_cannot_be_checked(client, shop):
    setup = a_setup(shop)
    edition = edition_of(at_most("front_width", 54))
    shop.rear_axle.dimensions.all().delete()
    for page in (
        f"/setups/{setup.pk}/classes/",
        f"/classes/{edition.race_class.slug}/check/?setup={setup.pk}",
    ):
        answer = client.get(page)
        assert answer.status_code == 200
        assert "choose a part with known dimensions for: rear axle" in words(answer)


def test_a_posted_setup_leads_to_where_it_may_race(client, shop):
    setup = a_setup(shop)
    assert f"/setups/{setup.pk}/classes/" in client.get(setup.get_absolute_url()).content.decode()
