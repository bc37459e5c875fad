"""A catalogue too long to try: every page and program that would search it says so, and nothing is tried."""

from __future__ import annotations

import pytest
from django.urls import reverse

from fitcalc import solver
from fitcalc.work import Work
from setups.services.fitting import answer as answer_for
from tests.club.checked_cars import a_chassis, a_setup, at_most, edition_of
from tests.factories import FullCatalogue, MemberFactory
from tests.setups.asking import post
from tests.setups.pages import words

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

TOLD = "has so many parts for the {platform} that they cannot all be tried"


@pytest.fixture
def member(client):
    one = MemberFactory()
    client.force_login(one)
    return one


@pytest.fixture
def shop(catalogue) -> FullCatalogue:
    return catalogue


@pytest.fixture
def told(shop) -> str:
    return TOLD.format(platform=shop.platform)


@pytest.fixture
def too_long(monkeypatch) -> None:
    """From here on every catalogue is longer than can be tried, and trying one fails the test."""

    def tried(*_, **__):
        raise AssertionError("it was tried")

    monkeypatch.setattr(Work, "within", lambda *_, **__: False)
    monkeypatch.setattr(solver, "search_of", tried)


def test_the_body_page_says_it_and_its_check_page_still_judges_what_is_chosen(
    client, shop, told, too_long, monkeypatch
):
    page = words(client.get(shop.body.get_absolute_url()))
    assert told in page
    assert "ask a librarian" in page
    monkeypatch.undo()
    match = answer_for(shop.body).platforms[0].best.report.configuration
    query = {slot.value: one.id for slot, one in match.parts()} | {"position": match.position.id[1]}
    query["rear_wheel"] = max(shop.wheels.items())[1].pk

    monkeypatch.setattr(Work, "within", lambda *_, **__: False)
    checked = words(client.get(f"{shop.body.get_absolute_url()}check/", query))

    assert told in checked
    assert "does not fit" in checked
    assert "proud at the rear" in checked


def test_what_fits_a_chassis_says_it(client, member, shop, told, too_long):
    chassis = a_chassis(shop, member)
    assert told in words(client.get(reverse("chassis-fits", args=[chassis.pk])))


def test_what_a_chassis_needs_for_a_body_says_it(client, member, shop, told, too_long):
    a_chassis(shop, member)
    assert told in words(client.get(reverse("garage-needs", args=[shop.body.slug])))


def test_a_kit_says_it_and_what_to_do(client, member, shop, told, too_long):
    page = client.get(reverse("kit"), {"body": shop.body.slug, "plan": "1"})
    assert page.status_code == 200
    said = words(page)
    assert told in said
    assert "choose bodies of another scale, or ask a librarian" in said


def test_what_would_make_a_car_legal_says_it_and_the_verdict_stands(client, shop, told, too_long):
    setup = a_setup(shop, rear_tyre=shop.tyres[1])
    edition = edition_of(at_most("rear_tyre_diameter", 23))
    said = words(client.get(f"/classes/{edition.race_class.slug}/check/?setup={setup.pk}"))
    assert "does not comply 1 clause is not met." in said
    assert told in said


def test_a_program_is_told_in_a_field_of_the_answer(shop, too_long):
    answer = post("solve", {"body": shop.body.slug})
    assert answer.status_code == 200
    (one,) = answer.json()["platforms"]
    assert (one["endless"], one["fitting"], one["matches"], one["near_misses"]) == (True, 0, [], [])
    assert one["combinations"] > 0


def test_a_catalogue_that_can_be_tried_is_said_to_be_no_such_thing(client, member, shop, told):
    assert post("solve", {"body": shop.body.slug}).json()["platforms"][0]["endless"] is False
    a_chassis(shop, member)
    assert told not in words(client.get(reverse("garage-needs", args=[shop.body.slug])))
