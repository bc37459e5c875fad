"""The check page: one's own chassis under a body, what fails, what to change and what to buy."""

from __future__ import annotations

import re
from decimal import Decimal
from html import unescape

import pytest
from django.test import Client

from fitcalc.parts import Slot
from setups.models import BodyPart, ConfigurationPart, Part, PartDimension
from setups.services.fitting import answer as answer_for
from tests.factories import (
    BodyFactory,
    ConfigurationFactory,
    MemberFactory,
    PartFactory,
    PlatformFactory,
    full_catalogue,
)
from tests.setups.pages import chosen, part, words

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


def check(client: Client, catalogue, htmx: bool = False, **query):
    headers = {"HX-Request": "true"} if htmx else {}
    answer = client.get(f"/bodies/{catalogue.body.slug}/check/", query, headers=headers)
    assert answer.status_code == 200
    return answer


def the_answer(answer) -> str:
    return words(part(answer, '<section id="answer"', "</section>"))


def ways(answer) -> list[str]:
    """The ways offered, as words."""
    return [
        words(way) for way in re.findall(r'<div class="card way">.*?</dl>', answer.content.decode(), re.S)
    ]


def built(catalogue) -> dict[str, int]:
    """The query of a chassis that fits: the best answer's parts."""
    match = answer_for(catalogue.body).platforms[0].best
    query = {slot.value: one.id for slot, one in match.report.configuration.parts()}
    return query | {"position": match.report.configuration.position.id[1]}


# The form


def test_the_page_asks_for_a_part_for_every_slot_of_the_first_platform(client, catalogue):
    answer = check(client, catalogue)
    text = answer.content.decode()
    for slot in Slot:
        assert f'<select name="{slot.value}"' in text
    labels = re.findall(r'<label for="id_[a-z_]+">(.*?)</label>', text)
    assert len(labels) == len(set(labels)) == len(Slot)
    assert "Nothing chosen yet" in the_answer(answer)


def test_only_what_goes_in_a_slot_is_offered_for_it(client, catalogue):
    rear_only = PartFactory(wheel=True, axle="rear", fits=catalogue.platform)
    full_catalogue(platform=catalogue.platform)
    text = check(client, catalogue).content.decode()
    front, rear = (part(text, f'<select name="{axle}_wheel"', "</select>") for axle in ("front", "rear"))
    assert rear_only.name in rear
    assert rear_only.name not in front
    mounts = part(text, '<select name="body_mount"', "</select>")
    assert mounts.count("<option") == 2
    assert catalogue.body_mount.name in mounts


def test_the_mounting_positions_stand_in_their_order(client, catalogue):
    select = part(check(client, catalogue), '<select name="position"', "</select>")
    assert re.findall(r">([a-z ]+)</option>", select) == ["not chosen", "short", "middle", "long"]


def test_two_parts_of_one_name_are_told_apart_by_their_maker(client, catalogue):
    mine, other = (PartFactory(plate=True, name="Plate", slug=f"p{n}", fits=catalogue.platform) for n in "12")
    select = part(check(client, catalogue), '<select name="plate"', "</select>")
    assert f"Plate ({mine.maker})" in select
    assert f"Plate ({other.maker})" in select


# A whole chassis


def test_a_chassis_that_fits_has_nothing_to_change_and_nothing_to_buy(client, catalogue):
    answer = check(client, catalogue, **built(catalogue))
    said = the_answer(answer)
    assert "Your chassis fits as it is: nothing to change, nothing to buy." in said
    assert ways(answer) == []
    assert "What to change" not in said
    assert '<svg class="drawing drawing-plan' in answer.content.decode()


def test_a_chassis_that_does_not_fit_is_told_what_fails_and_the_fewest_parts_that_mend_it(client, catalogue):
    """Rear wheels on +2.5 instead of +1 stand 1.5 proud; one other pair, a pack of 4.50, mends it."""
    wrong = {"rear_wheel": catalogue.wheels[Decimal("2.5")].pk}
    answer = check(client, catalogue, **(built(catalogue) | wrong))
    said = the_answer(answer)
    assert "Not as it is: 1 thing to mend." in said
    assert re.search(r"Stands 1\.50 ± 0\.\d+ mm proud at the rear, 1\.00 mm too far out", said)
    first = ways(answer)[0]
    assert first.startswith("Buy 1 part: € 4.50")
    assert "rear wheel" in first
    assert f"instead of {catalogue.wheels[Decimal('2.5')].name}" in first


def test_fewest_parts_come_first(client, catalogue):
    wrong = {"rear_wheel": catalogue.wheels[Decimal("2.5")].pk, "motor_mount": catalogue.mid_mount.pk}
    counts = [
        int(re.match(r"Buy (\d) parts?", way)[1])
        for way in ways(check(client, catalogue, **(built(catalogue) | wrong)))
    ]
    assert counts == sorted(counts)
    assert counts[0] == 2


def test_only_what_is_bought_is_paid_for(client, catalogue):
    """Two parts at 4.50 and 30.00; seven that are there cost nothing."""
    Part.objects.filter(kind="motor_mount").update(price=Decimal("30.00"))
    wrong = {"rear_wheel": catalogue.wheels[Decimal("2.5")].pk, "motor_mount": catalogue.mid_mount.pk}
    first = ways(check(client, catalogue, **(built(catalogue) | wrong)))[0]
    assert first.startswith("Buy 2 parts: € 34.50")


def test_moving_the_rear_end_is_no_purchase(client, catalogue):
    query = built(catalogue)
    query["position"] = next(one.pk for one in catalogue.positions if one.pk != query["position"])
    first = ways(check(client, catalogue, **query))[0]
    assert first.startswith("Nothing to buy")
    assert "mounting" in first or "position" in first
    assert "set it" in first


def test_a_part_that_is_in_the_way_is_taken_out(client, catalogue):
    spacer = PartFactory(spacer=True, figures={"thickness": "2"}, fits=catalogue.platform)
    answer = check(client, catalogue, **built(catalogue), rear_spacer=spacer.pk)
    assert any(f"take {spacer.name} out nothing to buy" in way for way in ways(answer))


def test_a_chassis_that_only_just_fits_is_told_what_is_in_doubt(client):
    catalogue = full_catalogue(platform=PlatformFactory(datum_tolerance=Decimal("3")))
    said = the_answer(check(client, catalogue, **built(catalogue)))
    assert "It fits by the nominal figures, but the doubt of one reaches over a limit" in said
    assert re.search(r"\d\d % likely to fit", said)
    assert "Not as it is" not in said


def test_a_body_with_dimensions_missing_is_answered_as_far_as_it_can_be(client):
    catalogue = full_catalogue(body=BodyFactory(figures={"front_arch_width": None}))
    said = the_answer(check(client, catalogue, **built(catalogue)))
    assert "Nothing known speaks against it, but not everything is known." in said
    assert "Cannot be told: the front arch width is not known. Measure the front arch width." in said


def test_a_body_that_nothing_fits_is_told_what_the_nearest_fails_in(client):
    catalogue = full_catalogue(body=BodyFactory(figures={"front_arch_width": "46"}))
    said = the_answer(check(client, catalogue, front_suspension=catalogue.wide.pk))
    assert f"No set of parts in the library makes the {catalogue.platform} fit. The nearest fails in:" in said
    assert "proud at the front" in said


def test_a_platform_with_a_part_missing_says_which(client, catalogue):
    PartDimension.objects.filter(part__kind="plate").delete()
    said = the_answer(check(client, catalogue, front_suspension=catalogue.wide.pk))
    assert (
        f"Nothing can be fitted to the {catalogue.platform} yet: the library holds no plate for it." in said
    )


def test_a_mount_that_fouls_the_floor_is_said_so_for_ones_own_chassis_too(client, catalogue):
    query = built(catalogue)
    BodyPart.objects.create(body=catalogue.body, part_id=query["motor_mount"], rule=BodyPart.Rule.FOULS)
    assert "The motor mount or its plate fouls this body's floor." in the_answer(
        check(client, catalogue, **query)
    )


# Some slots open


def test_what_is_left_open_is_named_and_filled_in(client, catalogue):
    query = built(catalogue)
    del query["plate"], query["rear_tyre"]
    answer = check(client, catalogue, **query)
    said = the_answer(answer)
    assert "Still open: rear tyre, plate." in said
    assert "What would complete it" in said
    first = ways(answer)[0]
    assert first.startswith("Buy 2 parts: € 9.00")
    assert "instead of" not in first


def test_one_part_is_enough_to_ask(client, catalogue):
    answer = check(client, catalogue, front_suspension=catalogue.narrow.pk)
    assert "Still open: front wheel, front tyre" in the_answer(answer)
    assert ways(answer)[0].startswith("Buy 8 parts: € 36.00")


def test_nothing_chosen_is_no_question(client, catalogue):
    empty = dict.fromkeys((slot.value for slot in Slot), "")
    answer = check(client, catalogue, platform=catalogue.platform.slug, **empty)
    assert "Nothing chosen yet" in the_answer(answer)


# Sets as supplied


def test_a_set_as_supplied_fills_the_form_in(client, catalogue):
    parts = {slot: Part.objects.get(pk=pk) for slot, pk in built(catalogue).items() if slot != "position"}
    ConfigurationFactory(name="As supplied", platform=catalogue.platform, parts=parts)
    text = check(client, catalogue).content.decode()
    address = unescape(re.search(r'<a class="chip" href="([^"]+)">As supplied</a>', text)[1])
    answer = client.get(address.partition("#")[0])
    assert chosen(answer, "plate").startswith(parts["plate"].name)
    assert chosen(answer, "position") == "middle"
    assert "Your chassis fits as it is" in the_answer(answer)


def test_a_set_with_another_bodys_mount_leaves_the_mount_open(client, catalogue):
    other = full_catalogue(platform=catalogue.platform)
    configuration = ConfigurationFactory(name="With its body", platform=catalogue.platform)
    ConfigurationPart.objects.create(configuration=configuration, slot="body_mount", part=other.body_mount)
    text = check(client, catalogue).content.decode()
    address = unescape(re.search(r'<a class="chip" href="([^"]+)">With its body</a>', text)[1])
    answer = client.get(address.partition("#")[0])
    assert not answer.context["form"].errors
    assert chosen(answer, "body_mount") == "none"


# What cannot be


def strangers(catalogue) -> dict[str, tuple[str, object, str]]:
    elsewhere = full_catalogue(platform=PlatformFactory(name="Elsewhere"))
    rear_only = PartFactory(wheel=True, axle="rear", fits=catalogue.platform)
    bare = PartFactory(plate=True, figures={"chain_length": None}, fits=catalogue.platform)
    neighbour = full_catalogue(platform=catalogue.platform)
    return {
        "of another platform": (
            "front_suspension",
            elsewhere.wide,
            f"is not sold for the {catalogue.platform}",
        ),
        "of another kind": ("front_wheel", catalogue.plates[0], "is a plate and does not go here"),
        "for the other axle": ("front_wheel", rear_only, "is for the rear axle: choose one for the front."),
        "another platform's hole": ("position", elsewhere.positions[0], "is a position of the Elsewhere"),
        "without its dimension": ("plate", bare, "lacks a figure that the fit needs"),
        "another body's": ("body_mount", neighbour.body_mount, "is made for another body"),
    }


@pytest.mark.parametrize(
    "which",
    [
        "of another platform",
        "of another kind",
        "for the other axle",
        "another platform's hole",
        "without its dimension",
        "another body's",
    ],
)
def test_what_does_not_go_there_stays_chosen_and_is_told_why(client, catalogue, which):
    slot, one, why = strangers(catalogue)[which]
    query = built(catalogue) | {slot: one.pk, "platform": catalogue.platform.slug}
    answer = check(client, catalogue, **query)
    said = the_answer(answer)
    assert "cannot be fitted to the" in said
    assert why in said
    assert chosen(answer, slot) == f"{one.name} (does not go here)"
    kept = {name for name in query if name not in (slot, "platform")}
    assert all(chosen(answer, name) for name in kept)
    field = part(answer, f'<select name="{slot}"', ">")
    assert 'aria-invalid="true"' in field
    assert why in words(answer)


@pytest.mark.parametrize(
    "given",
    ["<script>alert(1)</script>", "abc", "-1", "9" * 30, "9" * 10_000, "x" * 10_000, "1.5", "%s", "NaN"],
)
@pytest.mark.parametrize("slot", ["front_wheel", "position"])
def test_what_is_nothing_at_all_is_said_so_and_the_rest_stays_chosen(client, catalogue, slot, given):
    query = built(catalogue) | {slot: given}
    answer = check(client, catalogue, **query)
    said = the_answer(answer)
    assert f"“{given[:39]}" in said
    assert "is nothing that the library knows: choose from the list." in said
    assert chosen(answer, slot).startswith(given[:39])
    assert all(chosen(answer, name) for name in query if name != slot)
    assert "<script>alert" not in answer.content.decode()


def test_several_mistakes_are_all_named_and_each_leads_to_its_field(client, catalogue):
    answer = check(client, catalogue, plate="x", position="y", front_tyre="z")
    summary = part(answer, '<div class="error-summary"', "</div>")
    assert re.findall(r'href="#(id_[a-z_]+)"', summary) == ["id_front_tyre", "id_plate", "id_position"]


@pytest.mark.parametrize("given", ["<script>alert(1)</script>", "no-such", "x" * 10_000])
def test_a_platform_that_is_none_is_said_so(client, catalogue, given):
    text = words(check(client, catalogue, platform=given))
    assert f"There is no platform “{given[:39]}" in text
    assert f"this is the {catalogue.platform} instead" in text


def test_a_platform_of_another_scale_is_said_not_to_be_of_this_one(client, catalogue):
    other = PlatformFactory(scale=24)
    assert f"There is no platform “{other.slug}” of this scale" in words(
        check(client, catalogue, platform=other.slug)
    )


def test_a_scale_without_platforms_says_who_can_help(client):
    answer = client.get(f"/bodies/{BodyFactory(scale=10).slug}/check/")
    assert "No platform of this scale yet" in words(answer)
    assert "Ask a librarian to add one" in words(answer)


def test_a_nul_is_refused_in_words(client, catalogue):
    answer = client.get(f"/bodies/{catalogue.body.slug}/check/?plate=a%00b")
    assert answer.status_code == 400
    assert "characters in it that cannot be read" in words(answer)


# Live, and for everybody


@pytest.mark.parametrize("case", ["fits", "fails", "open", "wrong", "nothing"])
def test_what_htmx_puts_in_place_is_what_the_whole_page_says(client, catalogue, case):
    query = {
        "fits": built(catalogue),
        "fails": built(catalogue) | {"rear_wheel": catalogue.wheels[Decimal("2.5")].pk},
        "open": {"plate": catalogue.plates[0].pk},
        "wrong": {"plate": "x"},
        "nothing": {"plate": ""},
    }[case]
    whole, fragment = check(client, catalogue, **query), check(client, catalogue, htmx=True, **query)
    assert part(fragment, '<section id="answer"', "</section>") == part(
        whole, '<section id="answer"', "</section>"
    )
    status = re.compile(r' hx-swap-oob="true"')
    assert status.sub("", part(fragment, '<p id="status"', "</p>")) == part(whole, '<p id="status"', "</p>")
    assert "<html" not in fragment.content.decode()
    assert "HX-Request" in whole["Vary"]
    assert "HX-Request" in fragment["Vary"]
    assert fragment["Cache-Control"] == "no-store"


def test_going_back_in_the_browser_gets_a_whole_page(client, catalogue):
    address = f"/bodies/{catalogue.body.slug}/check/"
    headers = {"HX-Request": "true", "HX-History-Restore-Request": "true"}
    assert "<html" in client.get(address, headers=headers).content.decode()


def test_a_member_is_answered_as_a_visitor_is(client, catalogue):
    visitor = the_answer(check(client, catalogue, **built(catalogue)))
    client.force_login(MemberFactory())
    assert the_answer(check(client, catalogue, **built(catalogue))) == visitor


@pytest.mark.parametrize(("parts", "bodies"), [(3, 0), (60, 12)])
@pytest.mark.parametrize("asked", [False, True])
def test_the_page_takes_fewer_than_ten_queries_at_any_size(
    client, django_assert_max_num_queries, parts, bodies, asked
):
    catalogue = full_catalogue()
    for n in range(parts):
        PartFactory(tyre=True, figures={"tyre_diameter": f"{22 + n / 60:.2f}"}, fits=catalogue.platform)
    for _ in range(bodies):
        full_catalogue(platform=catalogue.platform)
        ConfigurationFactory(platform=catalogue.platform)
    query = built(catalogue) if asked else {}
    client.force_login(MemberFactory())
    with django_assert_max_num_queries(9):
        check(client, catalogue, **query)
