"""The card of what a body needs: known with its doubt, predicted and flagged, or said not to be known."""

from __future__ import annotations

from decimal import Decimal

import pytest

from fitcalc.dimensions import BODY_DIMENSIONS
from setups.models import Body, BodyPart
from setups.services.needs import Need, needs_of
from tests.factories import BODY_FIGURES, BodyFactory, PartFactory

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


def card(body: Body):
    return needs_of(Body.objects.prefetch_related("dimensions", "part_rules__part").get(pk=body.pk))


def by_key(needs: list[Need]) -> dict[str, Need]:
    return {need.key: need for need in needs}


def test_the_chassis_needs_come_first_and_the_shells_own_dimensions_apart():
    needs = card(BodyFactory())
    assert [need.key for need in needs.chassis] == [
        "wheelbase",
        "designated_front_width",
        "offsets",
        "layouts",
        "front_mount",
    ]
    assert [need.key for need in needs.shell] == [key for key in BODY_DIMENSIONS if key != "wheelbase"]
    assert needs.unknown == []
    assert all(need.quantity.value == float(BODY_FIGURES[need.key]) for need in needs.shell)


def test_what_nobody_has_measured_is_said_to_be_unknown_and_never_left_out():
    needs = card(BodyFactory(unmeasured=True))
    assert [need.key for need in needs.unknown] == list(BODY_DIMENSIONS)
    assert needs.shell == []
    wheelbase = by_key(needs.chassis)["wheelbase"]
    assert (wheelbase.quantity, wheelbase.predicted) == (None, False)


def test_a_predicted_wheelbase_is_flagged():
    needs = card(BodyFactory(figures={"wheelbase": None}, full_size_wheelbase=Decimal(2604)))
    wheelbase = by_key(needs.chassis)["wheelbase"]
    assert (wheelbase.quantity.value, wheelbase.predicted, wheelbase.row) == (93.0, True, None)
    assert "wheelbase" not in by_key(needs.unknown)


def test_a_measured_wheelbase_says_where_it_comes_from():
    wheelbase = by_key(card(BodyFactory(full_size_wheelbase=Decimal(2604))).chassis)["wheelbase"]
    assert (wheelbase.quantity.value, wheelbase.predicted) == (92.0, False)
    assert wheelbase.row.get_basis_display()


def test_a_bodys_own_front_mount_is_named_and_one_that_is_not_there_is_missed():
    body, mount = BodyFactory(), PartFactory(front_body_mount=True)
    assert by_key(card(body).chassis)["front_mount"].part is None
    BodyPart.objects.create(body=body, part=mount, rule=BodyPart.Rule.MADE_FOR)
    assert by_key(card(body).chassis)["front_mount"].part == mount


def test_what_fouls_the_floor_is_named_with_the_reason_that_was_noted():
    body = BodyFactory()
    first, second = PartFactory(motor_mount=True), PartFactory(motor_mount=True)
    BodyPart.objects.create(body=body, part=first, rule=BodyPart.Rule.FOULS, reason="It meets the seats.")
    BodyPart.objects.create(body=body, part=second, rule=BodyPart.Rule.FOULS)
    found = [(need.part, need.meaning) for need in card(body).chassis if need.key == "fouls"]
    assert found == [(first, "It meets the seats."), (second, "It fouls this body's floor.")]


def test_every_line_says_what_its_word_means():
    needs = card(BodyFactory(figures={"mass": None}))
    assert all(need.label and need.meaning for need in (*needs.chassis, *needs.shell, *needs.unknown))
