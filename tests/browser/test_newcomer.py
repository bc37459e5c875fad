"""Somebody who knows a body's name, and nothing else, gets to a shopping list without an account."""

from __future__ import annotations

import pytest

from setups.services.fitting import answer
from tests.factories import BodyFactory, full_catalogue

pytestmark = pytest.mark.one_database


def test_a_newcomer_gets_from_a_name_to_a_shopping_list_in_three_presses(phone, transactional_db):
    catalogue = full_catalogue(body=BodyFactory(name="Lapwing Coupé", slug="lapwing"))
    BodyFactory(name="Oriole Van", slug="oriole")
    best = answer(catalogue.body).platforms[0].best
    owned = {slot: part for slot, part in best.to_buy if slot.value in ("front_suspension", "rear_axle")}
    phone.open("/")
    steps = [one.text for one in phone.all(".steps li")]
    assert steps == ["find the body", "see what fits it", "tick what you have", "take your shopping list"]

    phone.find("#q").send_keys("lapw")
    phone.wait(lambda: len(phone.all(".body-card")) == 1, "the search did not narrow down while typing")
    phone.leave_by(phone.link("Lapwing Coupé"))  # 1
    phone.link("What to buy").click()  # 2
    assert phone.path == "/bodies/lapwing/#build"
    for slot in owned:
        box = phone.find(f".parts-of input[name={slot.value}]")
        phone.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", box)
        box.click()
    phone.assert_sound()
    button = phone.find(".parts-of > .button")
    phone.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", button)
    phone.leave_by(button)  # 3, besides a tick for each part that is there already

    assert phone.path.startswith("/bodies/lapwing/check/?")
    first = phone.find(".way").text
    assert first.startswith(f"Buy {len(best.to_buy) - len(owned)} parts: ")
    assert not [part.name for part in owned.values() if f"{part.name}\n" in first]
    phone.assert_sound()


def test_who_has_nothing_yet_gets_the_whole_list(phone, transactional_db):
    full_catalogue(body=BodyFactory(name="Lapwing Coupé", slug="lapwing"))
    phone.without_scripts().open("/bodies/lapwing/", sound=False)
    phone.find(".parts-of > .button").submit()
    phone.wait(lambda: "/check/" in phone.path, "the list did not come")
    assert "Buy " in phone.find(".way").text
