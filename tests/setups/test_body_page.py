"""The body page: what a body needs, every configuration that fits it, and why."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from django.test import Client

from fitcalc.work import Work
from setups.models import BodyPart, Part, PartDimension, Platform
from tests.factories import BodyFactory, MemberFactory, PartFactory, PlatformFactory, full_catalogue
from tests.setups.pages import part, words

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

STATED = {
    "designated_front_width": Decimal("55"),
    "designated_front_offset": Decimal("0"),
    "designated_rear_offset": Decimal("1"),
}


def page(client: Client, body, **query):
    answer = client.get(f"/bodies/{body.slug}/", query)
    assert answer.status_code == 200
    return answer


def the_answer(answer) -> str:
    return words(part(answer, '<section class="answer', "</section>"))


def rows(answer) -> list[str]:
    """The configurations listed, as words."""
    return [
        words(row)
        for row in re.findall(r'<li class="card configuration".*?</li>', answer.content.decode(), re.S)
    ]


# The answer


def test_a_body_that_fits_is_answered_with_the_platform_and_what_to_fit(client, catalogue):
    answer = page(client, catalogue.body)
    said = the_answer(answer)
    assert f"Fits the {catalogue.platform}: " in said
    assert "offsets" in said
    assert "wheelbase 92.0 mm" in said
    text = words(answer)
    for shown in (catalogue.wide, catalogue.wheels[Decimal("0")], catalogue.rear_axle, catalogue.body_mount):
        assert f'href="{shown.get_absolute_url()}"' in answer.content.decode()
    assert "Parts, € 40.50 in packs" in text
    assert "Why it fits" in text


def test_the_page_draws_the_car_in_plan_and_from_the_side_with_words_for_who_cannot_see_it(client, catalogue):
    text = page(client, catalogue.body).content.decode()
    assert text.count('<svg class="drawing drawing-plan') == 2
    assert text.count('<svg class="drawing drawing-side') == 2
    for drawing in re.findall(r'<svg class="drawing.*?</svg>', text, re.S):
        assert re.search(r"<title>.+</title><desc>.+</desc>", drawing)


def test_each_number_comes_with_its_doubt_and_what_is_asked(client, catalogue):
    """Front width 38 ± 0.1 + 2(0 ± 0.1 + 8.5 ± 0.1), arches 55 ± 0.1, each as rectangular."""
    text = words(page(client, catalogue.body))
    assert "Flush at the front" in text
    assert "Asked: at most 0.5 mm proud and 1.5 mm inset" in text
    assert re.search(r"Wheelbase 92\.0\d? ± 0\.1\d? mm", text)


def test_the_designated_front_end_is_first_and_the_page_says_why_in_numbers(client):
    catalogue = full_catalogue(body=BodyFactory(**STATED))
    answer = page(client, catalogue.body)
    first = rows(answer)[0]
    assert catalogue.wide.name in first
    assert "as designated" in first
    beside = words(part(answer, "As wide, but not the same car", "</div>\n"))
    text = words(answer)
    assert f"{catalogue.narrow.name}, at +2.5 offset" in text
    assert "Scrub radius 2.3 mm → 4.8 mm" in text or "Scrub radius 2.2 mm → 4.8 mm" in text
    assert re.search(r"Lock \d\d\.\d° → \d\d\.\d°", text)
    assert "Wheel’s rise in full bump 1.78 mm → 2.09 mm" in text
    assert beside


def test_the_equal_in_width_says_on_its_own_row_and_page_what_it_costs(client):
    catalogue = full_catalogue(body=BodyFactory(**STATED, figures={"front_arch_radius": "16"}))
    listed = rows(page(client, catalogue.body, pages=3))
    (number, row) = next(
        (n, row) for n, row in enumerate(listed, 1) if "As wide as designated, but scrub radius" in row
    )
    assert number > 1
    assert re.search(r"lock \d\d\.\d° → \d\d\.\d°, rise in bump 1\.78 mm → 2\.09 mm", row)
    shown = words(page(client, catalogue.body, show=number))
    assert f"Configuration {number} on the" in shown
    assert "with more offset" in shown
    assert "That is why the designated front end is listed first." in shown


def test_other_configurations_say_how_they_differ_from_the_best(client, catalogue):
    listed = rows(page(client, catalogue.body))
    assert listed[0].startswith("1. ")
    assert " · offsets " in listed[0]
    names = set(Part.objects.values_list("name", flat=True)) | {"Position short", "Position long"}
    for number, row in enumerate(listed[1:], start=2):
        assert row.startswith(f"{number}. ")
        assert any(name in row for name in names) or " · offsets " in row


def test_the_page_counts_what_fits_out_of_what_there_is(client, catalogue):
    """2 fronts x 5 wheels x 2 tyres, 1 axle x 5 wheels x 2 tyres, 3 mounts x 2 plates x 3 positions."""
    assert re.search(r"\d+ of 3 600 combinations of parts fit", words(page(client, catalogue.body)))


# Near misses


def narrow_body(**more):
    """Three millimetres narrower in front than anything sold makes the car."""
    return BodyFactory(figures={"front_arch_width": "46"}, **more)


def test_what_fits_nothing_is_told_what_fails_by_how_much_and_what_would_mend_it(client):
    """The narrowest front is 33 + 2 * 8.5 = 50 wide: (50 - 46) / 2 = 2 proud, where 0.5 may be."""
    catalogue = full_catalogue(body=narrow_body())
    answer = page(client, catalogue.body)
    said = the_answer(answer)
    assert f"No set of parts in the library fits it on the {catalogue.platform}." in said
    found = re.search(
        r"The nearest set of parts: Stands (.*) ± 0.\d+ mm proud at the front, (.*) mm too far out", said
    )
    assert float(found[1]) - 0.5 == float(found[2]) >= 1.5
    assert "It would take −2.0 offset front wheels, which are not sold" in said
    text = words(answer)
    assert "Nearest on the" in text
    assert "Why it does not fit" in text
    assert 'class="d-gap fails"' in answer.content.decode()


def test_a_near_miss_names_the_part_that_would_mend_it(client, catalogue):
    text = words(part(page(client, catalogue.body), '<h2 id="near"', "</section>"))
    assert "These fail in one thing only." in text
    mended = re.findall(r"Fit (Part \d+)", text)
    assert mended
    assert set(mended) <= set(Part.objects.values_list("name", flat=True))


def test_any_near_miss_can_be_drawn(client, catalogue):
    answer = page(client, catalogue.body, near=2)
    text = words(answer)
    assert "Near miss 2 on the" in text
    assert "Why it does not fit" in text
    assert "Fits the" in the_answer(answer)
    current = part(answer, '<li class="card" aria-current="true"', "</li>")
    assert "near=2" in current


def test_a_near_miss_that_fails_in_more_than_another_tells_nothing_new(client):
    catalogue = full_catalogue(body=narrow_body())
    misses = page(client, catalogue.body).context["near_misses"]
    failures = [{(f.rule, f.axle) for f in miss.report.failing} for miss in misses]
    assert failures
    assert not any(one < other for one in failures for other in failures)


# Not everything is known


def test_a_body_with_nothing_measured_is_answered_as_far_as_it_can_be(client):
    catalogue = full_catalogue(body=BodyFactory(unmeasured=True))
    answer = page(client, catalogue.body)
    said = the_answer(answer)
    assert f"Nothing known speaks against the {catalogue.platform}, but not everything is known." in said
    for name in ("wheelbase", "front arch width", "rear arch width", "front arch opening radius"):
        assert f"the {name}" in said
    assert "Measure the front arch width." in said
    text = words(answer)
    assert "The body’s own dimensions (9 not known)" in text
    assert "Wheelbase Distance from front" in text
    assert "Lock and turning circle not known" in text
    assert "What is certain, and what is not" in text


def test_one_missing_dimension_leaves_the_rest_answered(client):
    catalogue = full_catalogue(body=BodyFactory(figures={"rear_arch_height": None}))
    answer = page(client, catalogue.body)
    said = the_answer(answer)
    assert "Cannot be told: the rear arch height is not known. Measure the rear arch height." in said
    assert "front" not in said.partition("Cannot be told")[2].partition("All sets")[0]
    assert re.search(r"At full bump the front tyre stays .* clear", words(answer))


def test_a_row_without_arch_widths_begins_with_what_is_known(client):
    catalogue = full_catalogue(body=BodyFactory(figures={"front_arch_width": None, "rear_arch_width": None}))
    assert all(
        "· tyres" not in row and "tyres 22.0 mm" in row for row in rows(page(client, catalogue.body))[:1]
    )


def test_a_predicted_wheelbase_is_flagged_in_the_answer_and_on_the_card(client):
    body = BodyFactory(figures={"wheelbase": None}, full_size_wheelbase=Decimal(2576))
    answer = page(client, full_catalogue(body=body).body)
    assert "The wheelbase is predicted from the full-size car’s" in the_answer(answer)
    needs = words(part(answer, '<dl class="facts needs">', "</dl>"))
    assert re.search(r"92\.0 ± 1\.4 mm predicted from the full-size car; measure it to be sure", needs)


def test_a_doubt_that_reaches_over_a_limit_is_called_too_close_and_given_in_per_cent(client):
    catalogue = full_catalogue(platform=PlatformFactory(datum_tolerance=Decimal("3")))
    said = the_answer(page(client, catalogue.body))
    assert "too close to call" in said
    assert "by the nominal figures, but the doubt of one reaches over a limit" in said
    assert re.search(r"\d\d % likely to fit: measure before you buy", said)


def test_a_layout_that_nobody_has_tried_is_said_so(client):
    catalogue = full_catalogue(body=BodyFactory(takes_rear_motor=True, takes_mid_motor=None))
    assert "rear motor nobody has tried a mid motor" in words(page(client, catalogue.body))
    BodyPart.objects.all().delete()
    text = words(
        page(client, full_catalogue(body=BodyFactory(takes_rear_motor=None, takes_mid_motor=None)).body)
    )
    assert "nobody has tried" in text
    assert "Try which motor layouts go under the floor, and note it." in text


def test_a_body_without_a_front_mount_in_the_library_says_so(client, catalogue):
    BodyPart.objects.all().delete()
    assert "not in the library" in words(
        part(page(client, catalogue.body), '<dl class="facts needs">', "</dl>")
    )


# Platforms


@pytest.mark.parametrize(
    ("kind", "named"), [("motor_mount", "motor mount"), ("plate", "plate"), ("rear_axle", "rear axle")]
)
def test_a_platform_with_a_part_missing_says_which_and_where_to_add_it(client, catalogue, kind, named):
    PartDimension.objects.filter(part__kind=kind).delete()
    answer = page(client, catalogue.body)
    assert f"the library holds no {named} for it. Add one from a spreadsheet." in the_answer(answer)
    assert 'href="/imports/"' in answer.content.decode()
    assert "What it needs" in words(answer)


def test_a_scale_without_platforms_still_shows_what_the_body_needs(client):
    body = BodyFactory(scale=10)
    answer = page(client, body)
    assert "No platform of this scale yet" in words(answer)
    assert "Ask a librarian to add one" in words(answer)
    assert re.search(r"92\.0\d ± 0\.0\d mm", words(part(answer, '<dl class="facts needs">', "</dl>")))


def test_each_platform_of_the_scale_is_one_press_away(client):
    body = BodyFactory()
    good = full_catalogue(platform=PlatformFactory(name="Zebra"), body=body)
    PlatformFactory(name="Aardvark", slug="aardvark")
    answer = page(client, body)
    chips = words(part(answer, 'aria-label="Platforms of this scale"', "</nav>"))
    assert "Zebra fits" in chips
    assert "Aardvark parts missing" in chips
    other = page(client, body, platform="aardvark")
    assert "Nothing can be fitted on the Aardvark yet" in the_answer(other)
    current = part(other, 'aria-label="Platforms of this scale"', "</nav>")
    assert re.search(r'href="[^"]*platform=aardvark" aria-current="true"', current)
    assert good.platform.name in words(other)


def test_where_one_platform_does_not_fit_the_answer_names_the_one_that_does(client):
    catalogue = full_catalogue(platform=PlatformFactory(name="Zebra"))
    long = PlatformFactory(name="Aardvark", slug="aardvark", datum=Decimal("50"))
    for one in catalogue.platform.parts.all():
        one.platforms.add(long)
    said = the_answer(page(client, catalogue.body, platform="aardvark"))
    assert "No set of parts in the library fits it on the Aardvark. It fits the Zebra." in said


# The address


def test_a_number_shows_that_configuration_and_its_list_as_far_as_it_reaches(client, catalogue):
    answer = page(client, catalogue.body, show=14)
    assert "Configuration 14 on the" in words(answer)
    assert len(rows(answer)) == 24
    assert 'id="row-14" aria-current="true"' in answer.content.decode()


def test_show_more_shows_more(client, catalogue):
    first = page(client, catalogue.body)
    assert len(rows(first)) == 12
    more = re.search(r'href="([^"]+)">Show more', first.content.decode())[1].replace("&amp;", "&")
    second = client.get(more.partition("#")[0])
    assert len(rows(second)) == 24
    assert rows(second)[:12] == rows(first)


def test_the_last_page_offers_no_more(client, catalogue):
    listed = rows(page(client, catalogue.body, pages=20))
    assert 24 < len(listed) <= 240
    assert "Show more" not in words(page(client, catalogue.body, pages=20))


@pytest.mark.parametrize("given", ["9999999999999", "-1", "NaN", "0", "1.5", "abc", "9" * 5000, "٣", "1e3"])
@pytest.mark.parametrize("name", ["show", "near"])
def test_a_number_that_is_none_is_said_so_and_the_best_is_drawn(client, catalogue, name, given):
    answer = page(client, catalogue.body, **{name: given})
    said = the_answer(answer)
    what = "configuration" if name == "show" else "near miss"
    assert f"There is no {what} “{given[:39]}" in said
    assert "the best one is drawn instead" in said
    assert "Best configuration on the" in words(answer)


def test_a_configuration_beyond_the_list_is_said_not_to_be_there(client):
    catalogue = full_catalogue()
    PartDimension.objects.filter(part=catalogue.narrow).delete()
    answer = page(client, catalogue.body, show=240)
    assert "There is no configuration “240” in the list: the best one is drawn instead." in the_answer(answer)


@pytest.mark.parametrize("given", ["abc", "-3", "21", "NaN"])
def test_pages_that_are_no_number_are_said_so(client, catalogue, given):
    answer = page(client, catalogue.body, pages=given)
    assert f"“{given}” is no number of pages to list: the list starts short." in the_answer(answer)
    assert len(rows(answer)) == 12


@pytest.mark.parametrize("given", ["<script>alert(1)</script>", "no-such", "x" * 10_000, "%", "' OR 1=1 --"])
def test_a_platform_that_is_none_is_said_so_and_never_run(client, catalogue, given):
    answer = page(client, catalogue.body, platform=given)
    assert f"There is no platform “{given[:39]}" in the_answer(answer)
    assert f"this is the {catalogue.platform} instead" in the_answer(answer)
    assert "<script>alert" not in answer.content.decode()
    assert len(answer.content) < 200_000


def test_a_platform_of_another_scale_is_said_not_to_be_of_this_one(client, catalogue):
    other = PlatformFactory(scale=24)
    said = the_answer(page(client, catalogue.body, platform=other.slug))
    assert f"There is no platform “{other.slug}” of this scale" in said
    assert f"this is the {catalogue.platform} instead" in said


@pytest.mark.parametrize("name", ["platform", "show", "pages", "near", "anything"])
def test_a_nul_is_refused_in_words(client, catalogue, name):
    answer = client.get(f"/bodies/{catalogue.body.slug}/?{name}=a%00b")
    assert answer.status_code == 400
    assert "characters in it that cannot be read" in words(answer)


def test_an_unknown_body_is_a_page_in_the_sites_look(client):
    for address in ("/bodies/no-such-body/", "/bodies/no-such-body/check/"):
        answer = client.get(address)
        assert answer.status_code == 404
        assert 'class="masthead"' in answer.content.decode()
        assert "There is nothing at this address" in words(answer)


def test_nothing_can_be_posted(client, catalogue):
    assert client.post(f"/bodies/{catalogue.body.slug}/").status_code == 405


# For everybody, at any size


def test_a_member_is_answered_as_a_visitor_is(client, catalogue):
    visitor = page(client, catalogue.body)
    client.force_login(MemberFactory())
    member = page(client, catalogue.body)
    assert member.context["user"].is_authenticated
    assert (the_answer(member), rows(member)) == (the_answer(visitor), rows(visitor))


@pytest.mark.parametrize(("parts", "bodies"), [(3, 0), (60, 12)])
def test_the_page_takes_at_most_ten_queries_at_any_size_and_three_the_next_time(
    client, django_assert_max_num_queries, parts, bodies
):
    catalogue = full_catalogue(body=BodyFactory(**STATED))
    other = PlatformFactory()
    for n in range(parts):
        PartFactory(
            tyre=True, figures={"tyre_diameter": f"{22 + n / 60:.2f}"}, fits=[catalogue.platform, other]
        )
    for _ in range(bodies):
        full_catalogue(platform=catalogue.platform)
    client.force_login(MemberFactory())
    with django_assert_max_num_queries(10):
        page(client, catalogue.body, show=2)
    with django_assert_max_num_queries(3):
        page(client, catalogue.body, show=2)


def test_a_visitor_costs_fewer_queries_and_the_next_one_the_mark_alone(
    client, catalogue, django_assert_max_num_queries
):
    with django_assert_max_num_queries(8):
        page(client, catalogue.body)
    with django_assert_max_num_queries(1):
        client.get(f"/bodies/{catalogue.body.slug}/")


def test_a_price_that_nobody_knows_is_said_so(client, catalogue):
    Part.objects.update(price=None)
    text = words(page(client, catalogue.body))
    assert "Parts, price not known" in text
    assert "None" not in text


def test_names_are_shown_as_they_are_and_never_run(client, catalogue):
    catalogue.body.name = "<b>Bold</b> & “quoted”"
    catalogue.body.save()
    Platform.objects.update(name="<script>1</script>")
    text = page(client, catalogue.body).content.decode()
    assert "<b>Bold</b>" not in text
    assert "<script>1" not in text
    assert "&lt;b&gt;Bold&lt;/b&gt; &amp; “quoted”" in text


def test_a_platform_with_too_many_parts_to_try_is_said_to_have_them(client, catalogue, monkeypatch):
    monkeypatch.setattr(Work, "within", lambda *_: False)
    page = client.get(f"/bodies/{catalogue.body.slug}/").content.decode()
    assert "that they cannot all be tried" in page
    assert "No set of parts" not in page
