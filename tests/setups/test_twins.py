"""The same width by other means is not the same car, and the library says so in numbers.

The default catalogue's wide front end on zero offset and its narrow one on +2.5 are both 55 mm wide:
38 + 2(0 + 8.5) = 33 + 2(2.5 + 8.5) = 55. Their scrub radii are (46.5 - 42)/2 = 2.25 and (46.5 - 37)/2 = 4.75.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from fitcalc.solver import Match
from setups.models import Body
from setups.services.fitting import Answer, answer
from setups.services.twins import as_wide, beside
from tests.factories import BodyFactory, PartFactory, full_catalogue

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

STATED = {
    "designated_front_width": Decimal("55"),
    "designated_front_offset": Decimal("0"),
    "designated_rear_offset": Decimal("1"),
}


@pytest.fixture
def designated(db):
    return full_catalogue(body=BodyFactory(**STATED, figures={"front_arch_radius": "16"}))


def solved(catalogue, limit: int = 200) -> Answer:
    body = Body.objects.prefetch_related("dimensions", "part_rules").get(pk=catalogue.body.pk)
    return answer(body, limit=limit)


def matches_of(catalogue) -> tuple[Match, ...]:
    return solved(catalogue).platforms[0].solution.matches


def on(front, matches) -> list[Match]:
    return [m for m in matches if m.report.configuration.front_suspension.id == front.pk]


def test_the_designated_front_end_is_listed_before_one_that_is_as_wide(designated):
    matches = matches_of(designated)
    assert matches[0].designated
    assert matches[0].report.configuration.front_suspension.id == designated.wide.pk
    first_narrow = on(designated.narrow, matches)[0]
    assert matches.index(first_narrow) > max(matches.index(m) for m in matches if m.designated)


def test_beside_the_designated_one_its_equal_in_width_has_more_scrub_less_lock_and_more_travel(designated):
    matches = matches_of(designated)
    found = beside(on(designated.narrow, matches)[0], matches)
    assert (found.scrub_was.value, found.scrub_now.value) == (2.25, 4.75)
    assert found.lock_now.value < found.lock_was.value
    assert found.travel_was.value == pytest.approx(1.5 * (12 + 2.25) / 12)
    assert found.travel_now.value == pytest.approx(1.5 * (12 + 4.75) / 12)
    assert found.more_offset


def test_the_comparison_is_on_the_same_tyre_where_there_is_one(designated):
    matches = matches_of(designated)
    found = [one for match in on(designated.narrow, matches) if (one := beside(match, matches))]
    assert {one.now.configuration.front_tyre.id for one in found} == {tyre.pk for tyre in designated.tyres}
    for one in found:
        assert one.was.configuration.front_tyre.id == one.now.configuration.front_tyre.id


def test_a_front_end_whose_maker_states_nothing_is_beside_nothing(catalogue):
    matches = matches_of(catalogue)
    assert [beside(match, matches) for match in matches] == [None] * len(matches)


def test_the_designated_front_end_is_not_set_beside_itself(designated):
    matches = matches_of(designated)
    assert on(designated.wide, matches)
    assert {beside(match, matches) for match in on(designated.wide, matches)} == {None}


def test_another_width_is_simply_another_width(designated):
    """A front end of 52 mm on +1 is 54 mm wide, a millimetre less: not the same width."""
    middle = PartFactory(
        front_suspension=True,
        figures={"hub_width": "35", "kingpin_spacing": "39"},
        fits=designated.platform,
    )
    matches = matches_of(designated)
    widths = {m.report.geometry.front_width.value: beside(m, matches) for m in on(middle, matches)}
    assert widths[54.0] is None


def test_the_designated_car_knows_what_would_be_as_wide_even_where_it_is_not_listed(designated):
    found = solved(designated, limit=1)
    (best,) = found.platforms[0].solution.matches
    other = as_wide(best, found.shelf.catalogues[designated.platform.pk])
    assert other.was is best.report
    assert other.now.configuration.front_suspension.id == designated.narrow.pk
    assert other.now.configuration.front_wheel.id == designated.wheels[Decimal("2.5")].pk
    assert other.now.geometry.front_width.value == best.report.geometry.front_width.value == 55.0
    assert (other.scrub_was.value, other.scrub_now.value) == (2.25, 4.75)


def test_a_spacer_counts_towards_the_width(designated):
    """Without the +2.5 wheels, +2 with half a millimetre of spacer is as wide."""
    designated.wheels[Decimal("2.5")].fitments.all().delete()
    spacer = PartFactory(spacer=True, fits=designated.platform)
    found = solved(designated)
    best = found.platforms[0].best
    other = as_wide(best, found.shelf.catalogues[designated.platform.pk]).now
    assert other.configuration.front_spacer.id == spacer.pk
    assert other.geometry.front_width.value == 55.0


def test_nothing_is_as_wide_where_nothing_sold_comes_near(designated):
    designated.narrow.delete()
    found = solved(designated)
    assert as_wide(found.platforms[0].best, found.shelf.catalogues[designated.platform.pk]) is None


def test_a_lock_that_no_arch_is_known_to_end_is_not_compared(designated):
    designated.body.dimensions.filter(quantity="front_arch_radius").delete()
    found = solved(designated)
    other = as_wide(found.platforms[0].best, found.shelf.catalogues[designated.platform.pk])
    assert (other.lock_was, other.lock_now) == (None, None)
    assert other.scrub_now.value == 4.75
