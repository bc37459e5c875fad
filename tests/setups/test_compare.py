"""Compare two to six configurations: the address holds them, differences come first."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from django.urls import reverse

from fitcalc.parts import Slot
from setups.services import posting
from setups.services.cars import content_of
from setups.services.comparing import cars_of, code_of, compare
from setups.services.fitting import answer
from tests.factories import PartFactory, SetupFactory, full_catalogue

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


@pytest.fixture
def library():
    return full_catalogue()


@pytest.fixture
def codes(library) -> list[str]:
    """Codes of the configurations that fit, best first."""
    (found,) = answer(library.body).platforms
    return [code_of(match.report.configuration) for match in found.solution.matches]


def ask(client, codes, body=None, **query):
    query |= {"car": codes} | ({"body": body.slug} if body else {})
    return client.get(reverse("compare"), query)


def test_an_address_carries_a_car_and_gives_it_back(library, codes):
    assert [code_of(car) for car in cars_of(codes[:4])] == codes[:4]


def test_what_differs_stands_apart_from_what_is_the_same(library, codes):
    cars = cars_of(codes[:3])
    compared = compare(cars, library.body)
    assert {row.slot for row in (*compared.parts, *compared.same_parts)} == set(Slot)
    for row in compared.parts:
        assert len({car.part(row.slot) and car.part(row.slot).id for car in cars}) > 1
    for row in compared.same_parts:
        assert len({car.part(row.slot) and car.part(row.slot).id for car in cars}) == 1


def test_the_computed_effects_are_those_of_the_cars_own_reports(library, codes):
    (found,) = answer(library.body).platforms
    matches = found.solution.matches[:2]
    compared = compare(cars_of(codes[:2]), library.body)
    assert [report.geometry for report in compared.reports] == [match.report.geometry for match in matches]
    assert [report.verdict for report in compared.reports] == [match.report.verdict for match in matches]


def test_the_page_names_the_parts_that_differ_and_draws_the_second_over_the_first(client, library, codes):
    response = ask(client, codes[:2], library.body)
    page = response.content.decode()
    assert response.status_code == 200
    for row in response.context["comparison"].parts:
        for part in row.parts:
            assert part is None or part[1] in page
    assert 'class="d-second' in page


def test_any_other_car_can_be_laid_over_the_first(client, library, codes):
    response = ask(client, codes[:3], library.body, over=3)
    assert response.context["second"] is response.context["comparison"].reports[2]


def test_bare_chassis_are_compared_without_a_body(client, library, codes):
    response = ask(client, codes[:2])
    assert response.status_code == 200
    assert "Front width" in response.content.decode()
    assert "Verdict" not in response.content.decode()


def test_the_same_car_twice_is_one_car(client, library, codes):
    assert ask(client, [codes[0], codes[0]], library.body).context["too_few"]


def test_one_car_is_nothing_to_compare_and_the_page_says_what_to_do(client, library, codes):
    page = ask(client, codes[:1], library.body).content.decode()
    assert "Tick two to six configurations" in page
    assert library.body.get_absolute_url() in page


def test_more_than_six_are_cut_to_six_with_a_word(client, library, codes):
    assert len(codes) > 6
    response = ask(client, codes[:7], library.body)
    assert len(response.context["cars"]) == 6
    assert "Only the first 6 of 7" in response.content.decode()


@pytest.mark.parametrize(
    "wrong",
    ["", "x", "1-2-3", "nan", "-".join(["0"] * 13), "9" * 5000, "1-1-" + "-".join(["999999"] * 11), "\x00"],
)
def test_a_car_that_cannot_be_read_is_answered_in_words(client, library, codes, wrong):
    response = ask(client, [codes[0], wrong], library.body)
    assert response.status_code in (400, 404)
    assert b"Traceback" not in response.content


def test_a_part_in_the_wrong_slot_is_refused(client, library, codes):
    fields = codes[0].split("-")
    fields[2], fields[3] = fields[3], fields[2]
    response = ask(client, [codes[0], "-".join(fields)], library.body)
    assert response.status_code == 404


def test_an_unknown_body_leaves_bare_chassis_and_says_so(client, library, codes):
    response = client.get(reverse("compare"), {"car": codes[:2], "body": "no-such-body"})
    assert response.status_code == 200
    assert "compared as bare chassis" in response.content.decode()


def test_two_cars_and_six_take_as_many_queries(client, library, codes, django_assert_num_queries):
    ask(client, codes[:2], library.body)
    for count in (2, 6):
        with django_assert_num_queries(8):
            ask(client, codes[:count], library.body)


def test_ticking_cars_on_the_body_page_leads_here(client, library):
    page = client.get(library.body.get_absolute_url()).content.decode()
    assert 'name="car"' in page
    assert reverse("compare") in page


# Setups and revisions


@pytest.fixture
def revised():
    """A setup with two revisions: the second one on harder springs, other gears and a wider rear wheel."""
    setup = SetupFactory(
        name="Winter",
        circuit="Mill hall",
        tuning={"rear_spring": "soft", "pinion_teeth": 9.0, "spur_teeth": 44.0, "caster": 4.0},
    )
    content = content_of(setup.current)
    wider = PartFactory(wheel=True, name="Wheel +1.5", figures={"offset": "1.5"}, fits=setup.platform)
    tuning = content.tuning | {"rear_spring": "hard", "pinion_teeth": 11.0}
    parts = content.parts | {Slot.REAR_WHEEL: wider}
    posting.post(replace(content, parts=parts, tuning=tuning, best_lap=Decimal("9.5")), setup.author, setup)
    setup.refresh_from_db()
    return setup


def rows(found) -> dict[str, list[str]]:
    return {row.label: [getattr(value, "value", value) for value in row.values] for row in found}


def test_two_revisions_differ_in_what_was_changed_and_in_what_it_does(client, revised):
    response = ask(client, [f"r{revised.pk}.1", f"s{revised.pk}"])
    found = response.context["found"]
    assert [row.slot for row in found.comparison.parts] == [Slot.REAR_WHEEL]
    assert rows(found.settings) == {"Spring, rear": ["soft", "hard"], "Pinion": [9.0, 11.0]}
    assert rows(found.same_settings) == {"Caster": [4.0, 4.0], "Spur gear": [44.0, 44.0]}
    assert rows(found.ran) == {"Best lap": [None, "9.500 s"]}
    assert rows(found.same_ran)["Circuit"] == ["Mill hall", "Mill hall"]
    effects = {row.label: row for row in found.comparison.effects}
    assert effects["Rear width"].changes[1][1] == pytest.approx(1.0)
    one_turn = [3.14159265 * 22 * pinion / 44 for pinion in (9, 11)]
    assert [value.value for value in effects["Rollout"].values] == pytest.approx(one_turn)
    assert "Front width" not in effects


def test_a_setup_stands_beside_a_bare_car_under_the_named_body(client, library, codes):
    setup = SetupFactory(name="Posted")
    response = ask(client, [codes[0], f"s{setup.pk}"], library.body)
    page = response.content.decode()
    assert response.status_code == 200
    assert "Posted" in page
    assert [car.report.body.name for car in response.context["cars"]] == [library.body.name, setup.body.name]
    assert not response.context["one_body"]


def test_the_address_of_today_outlives_a_revision(client, revised):
    old = ask(client, [f"r{revised.pk}.1", f"s{revised.pk}"]).context["as_they_are"]
    content = content_of(revised.current)
    posting.post(replace(content, notes="once more"), revised.author, revised)
    cars = client.get(old).context["cars"]
    assert [car.revision.number for car in cars] == [1, 2]


@pytest.mark.parametrize("code", ["s0", "s99999999999999999999", "r1", "r{}.9", "s-1", "s١", "draft"])
def test_a_setup_that_is_not_there_is_answered_in_words(client, revised, code):
    draft = posting.begin(revised.author, {"name": "secret"}).setup
    code = f"s{draft.pk}" if code == "draft" else code.format(revised.pk)
    response = ask(client, [f"s{revised.pk}", code])
    assert response.status_code == 404
    assert "secret" not in response.content.decode()


def test_six_setups_take_as_many_queries_as_two(client, django_assert_max_num_queries):
    codes = [f"s{SetupFactory(name=f'Car {number}').pk}" for number in range(6)]
    ask(client, codes[:2])
    for count in (2, 6):
        with django_assert_max_num_queries(10):
            ask(client, codes[:count])


def test_any_car_of_three_can_be_taken_out(client, revised):
    third = SetupFactory()
    codes = [f"r{revised.pk}.1", f"s{revised.pk}", f"s{third.pk}"]
    (_, without), *_ = ask(client, codes).context["listed"]
    assert [car.code for car in client.get(without).context["cars"]] == codes[1:]
