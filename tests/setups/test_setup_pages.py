"""A setup's page, its revisions, and the page to measure its car."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal
from io import BytesIO, StringIO

import pytest
from django.core.files.base import ContentFile
from django.core.management import CommandError, call_command
from django.urls import reverse
from PIL import Image

from setups.models import Measurement, PartDimension, Photo, Revision, Setup
from setups.services import posting, verifying
from setups.services.cars import content_of, with_car
from tests.factories import MemberFactory, PartFactory, PlatformFactory, SetupFactory, reading_for
from tests.setups.pages import part, words

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]
CAR = {"front_width": 55, "rear_width": 55, "wheelbase": 92}
TUNING = {
    "front_camber": -1.5,
    "rear_spring": "soft <b>silver</b>",
    "pinion_teeth": 10.0,
    "spur_teeth": 44.0,
    "weight_fl": 40.0,
    "weight_fr": 42.0,
    "weight_rl": 50.0,
    "weight_rr": 48.0,
}


def content_now(setup):
    (revision,) = with_car(Revision.objects.filter(pk=Setup.objects.get(pk=setup.pk).current_id))
    return content_of(revision)


def revised(setup, **what):
    revision = posting.post(replace(content_now(setup), **what), setup.author, setup)
    setup.refresh_from_db()
    return revision


def measured_by(setup, member, **figures):
    for quantity, value in (CAR | figures).items():
        verifying.add(reading_for(setup, quantity, value, member=member))
    setup.refresh_from_db()


def page(client, setup, status=200):
    answer = client.get(reverse("setup", args=[setup.pk]))
    assert answer.status_code == status
    return answer


def measure(setup, quantity="wheelbase"):
    return reverse("measure-car", args=[setup.pk, quantity])


def typed(setup, **more):
    return {
        "value": "92.05",
        "instrument": "calliper",
        "uncertainty": "",
        "note": "",
        "revision": str(setup.current_id),
        **more,
    }


def the_answer(answer):
    return words(part(answer, '<section class="answer', "</section>"))


# The setup's page


def test_everybody_reads_what_a_setup_says(client):
    setup = SetupFactory(
        name="Club night",
        tuning=TUNING,
        circuit="Town hall",
        surface="carpet",
        best_lap=Decimal("9.871"),
        result="2nd of 14",
        notes="Turns in early.\n\n<script>alert(1)</script>",
    )
    answer = page(client, setup)
    text = words(answer)

    for said in ("Club night", str(setup.author), "Town hall", "carpet", "9.871 s", "2nd of 14"):
        assert said in text
    assert "Camber, front −1.5°" in text
    assert "soft <b>silver</b>" in text
    for slot in setup.current.slots.select_related("part"):
        assert f'<a href="{slot.part.get_absolute_url()}">{slot.part.name}</a>' in answer.content.decode()
    assert "<script>alert" not in answer.content.decode()
    assert "<b>silver" not in answer.content.decode()


def test_the_settings_are_worked_out_to_a_rollout_and_a_balance(client):
    """π · 22 · 10/44 = 15.71 mm; on the front 82 of 180 g, front right and rear left 92 of 180 g."""
    text = words(page(client, SetupFactory(tuning=TUNING)))

    assert re.search(r"Rollout, with no gears behind the spur 15\.7\d ± 0\.\d+ mm", text)
    assert re.search(r"On the front wheels 45\.5\d ± 0\.\d+ %", text)
    assert re.search(r"Cross weight, front right and rear left 51\.1\d? ± 0\.\d+ %", text)


def test_what_is_not_set_is_not_worked_out(client):
    text = words(page(client, SetupFactory(tuning={"pinion_teeth": 10.0, "weight_fl": 40.0})))

    assert "Rollout" not in text
    assert "Cross weight" not in text


def test_an_untouched_setup_says_what_is_wanted_and_how_to_begin(client):
    setup = SetupFactory()
    answer = page(client, setup)

    assert "not verified The front width, rear width and wheelbase want two members to measure them." in (
        the_answer(answer)
    )
    assert "Nobody has measured this car" in words(answer)
    assert measure(setup, "front_width") in answer.content.decode()


def test_a_setup_that_lacks_one_reading_says_which(client):
    setup = SetupFactory()
    measured_by(setup, MemberFactory())
    other = MemberFactory()
    verifying.add(reading_for(setup, "front_width", 55, member=other))
    verifying.add(reading_for(setup, "wheelbase", 92, member=other))

    assert "The rear width wants one more member to measure it." in the_answer(page(client, setup))


def test_a_verified_setup_says_by_how_many_and_by_whom(client):
    setup = SetupFactory()
    for name in ("Ada", "Bo", "Cy"):
        measured_by(setup, MemberFactory(display_name=name))
    measured_by(setup, setup.author)
    answer = page(client, setup)

    assert "Borne out by Ada, Bo and Cy." in the_answer(answer)
    assert "verified 3 members other than the author measured it and agree with what is computed." in (
        the_answer(answer)
    )
    assert "✓ 3 members agree" in words(answer)


def test_a_disputed_setup_says_what_stands_against_what(client):
    setup = SetupFactory()
    reading = reading_for(setup, "wheelbase", 94.5)
    verifying.add(reading)
    answer = page(client, setup)

    said = the_answer(answer)
    assert f"disputed {reading.member} measured the wheelbase as 94.50 mm; computed it is 92.00 ±" in said
    assert reverse("dispute", args=[setup.disputes.get().pk]) in answer.content.decode()
    assert f"{reading.member} contradicts it" in words(answer)


def test_a_car_that_does_not_fit_says_that_it_cannot_be_verified_and_what_would_mend_it(client):
    setup = SetupFactory(parts={"rear_wheel": PartFactory(wheel=True, figures={"offset": "3"})})
    said = the_answer(page(client, setup))

    assert "It does not fit by what is computed, so it cannot be verified" in said
    assert "does not fit By the library’s figures of today" in said
    assert "proud at the rear" in said


def test_the_authors_readings_are_shown_and_named_as_such(client):
    setup = SetupFactory()
    measured_by(setup, setup.author)
    answer = page(client, setup)

    assert "the author, does not count" in answer.content.decode()
    assert "want two members to measure them" in the_answer(answer)


def test_an_outlier_among_the_members_is_named_though_it_agrees_with_what_is_computed(client):
    setup = SetupFactory()
    names = ("Ada", "Bo", "Cy", "Dot")
    for name, value in zip(names, (92.06, 92.05, 92.07, 91.82), strict=True):
        member = MemberFactory(display_name=name)
        verifying.add(reading_for(setup, "wheelbase", value, member=member, uncertainty=Decimal("0.05")))
    text = words(page(client, setup))

    assert "Dot is an outlier among the members" in text
    assert "though it agrees with what is computed" in text
    assert "Ada is an outlier" not in text


def test_figures_that_moved_since_the_day_of_posting_are_told_then_and_now(client):
    setup = SetupFactory()
    assert "What differs" not in words(page(client, setup))
    axle = setup.current.slots.get(slot="rear_axle").part
    PartDimension.objects.filter(part=axle, quantity="hub_width").update(value=40)

    answer = page(client, setup)

    section = words(part(answer, '<h2 id="since"', "</section>"))
    assert "Then the fit was “fits”, now it is “does not fit”." in section
    assert re.search(r"Flush with the arch, rear fits 0\.00 ± 0\.\d+ mm does not fit \+2\.00 ±", section)
    assert re.search(r"Rear width 55\.00 ± 0\.\d+ mm 59\.00 ±", section)
    assert "Front width" not in section


@pytest.mark.parametrize(
    ("slot", "lost"), [("rear_axle", "hub_width"), ("rear_spacer", "thickness"), ("body_mount", "reach")]
)
def test_a_car_that_cannot_be_computed_any_more_keeps_its_page(client, slot, lost):
    platform = PlatformFactory()
    spacer = PartFactory(spacer=True, fits=platform, figures={"thickness": "0.05"})
    setup = SetupFactory(platform=platform, parts={"rear_spacer": spacer})
    for _ in range(2):
        measured_by(setup, MemberFactory())
    part_that_lost_it = setup.current.slots.get(slot=slot).part
    assert PartDimension.objects.filter(part=part_that_lost_it, quantity=lost).delete()[0] == 1
    verifying.recheck(Setup.objects.all())

    said = the_answer(page(client, setup))

    setup.refresh_from_db()
    assert (setup.state, setup.verdict) == (Setup.State.POSTED, "unknown")
    assert "It cannot be computed today:" in said
    assert slot.replace("_", " ") in said
    assert "On the day it was posted the fit was “fits”." in said
    client.force_login(MemberFactory())
    for address in (measure(setup), setup.current.get_absolute_url()):
        assert client.get(address).status_code == 200
    answer = client.post(measure(setup), typed(setup), follow=True)
    assert "Your reading is added." in words(answer)


def test_a_photo_stands_on_the_page_with_its_caption(client, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    setup = SetupFactory()
    picture = BytesIO()
    Image.new("RGB", (40, 30), "grey").save(picture, "WEBP")
    image = ContentFile(picture.getvalue(), "car.webp")
    photo = Photo.objects.create(setup=setup, image=image, caption="Before the final")
    revision = revised(setup, photos=[photo], notes="with a photo")

    shown = page(client, setup).content.decode()

    assert 'alt="Before the final"' in shown
    assert reverse("photo", args=[setup.pk, photo.pk]) in shown
    assert "Photos all kept 1 added" in words(client.get(revision.get_absolute_url()))


# Who sees what


def test_a_draft_is_not_there_but_for_its_author_who_goes_on_with_it(client):
    draft = posting.begin(MemberFactory(), {"name": "Secret"})
    address = reverse("setup", args=[draft.setup_id])

    assert client.get(address).status_code == 404
    client.force_login(MemberFactory(steward=True))
    assert client.get(address).status_code == 404
    assert client.get(reverse("measure-car", args=[draft.setup_id, "wheelbase"])).status_code == 404
    client.force_login(draft.setup.author)
    assert client.get(address).url == reverse("edit-setup", args=[draft.setup_id])


def test_the_author_is_told_of_a_revision_begun_and_nobody_else(client):
    setup = SetupFactory()
    posting.draft_of(setup)

    assert "begun another revision" not in words(page(client, setup))
    client.force_login(setup.author)
    assert "You have begun another revision and not posted it. Go on with it" in words(page(client, setup))


def test_a_setup_is_withdrawn_with_a_reason_and_says_so_at_its_address(client):
    setup = SetupFactory()
    client.force_login(setup.author)
    empty = client.post(reverse("withdraw-setup", args=[setup.pk]), {"reason": "  "})
    assert empty.status_code == 422
    assert "Say why" in words(empty)

    answer = client.post(reverse("withdraw-setup", args=[setup.pk]), {"reason": "Sold the car"}, follow=True)

    assert "The setup is withdrawn." in words(answer)
    assert re.search(rf"withdrawn Withdrawn by {setup.author} on .*: Sold the car", the_answer(answer))
    again = client.post(reverse("withdraw-setup", args=[setup.pk]), {"reason": "twice"})
    assert again.status_code == 422
    back = client.post(reverse("restore-setup", args=[setup.pk]), {"reason": "Bought it back"}, follow=True)
    assert "The setup is back." in words(back)
    setup.refresh_from_db()
    assert setup.state == Setup.State.POSTED


def test_a_steward_may_withdraw_a_setup_and_another_member_may_not(client):
    setup = SetupFactory()
    address = reverse("withdraw-setup", args=[setup.pk])
    assert client.post(address, {"reason": "I want to"}).url.startswith(reverse("sign-in"))
    client.force_login(MemberFactory())
    assert client.post(address, {"reason": "I want to"}).status_code == 403
    assert "Take this setup out" not in words(page(client, setup))

    client.force_login(MemberFactory(steward=True))
    client.post(address, {"reason": "An advertisement"})

    setup.refresh_from_db()
    assert setup.state == Setup.State.WITHDRAWN
    assert client.get(address).status_code == 405


# Revisions


def test_a_revision_says_what_changed_field_by_field_and_what_that_does(client):
    setup = SetupFactory(tuning=TUNING, notes="One")
    offset = PartFactory(wheel=True, name="Wider rear wheel", figures={"offset": "1.5"}, fits=setup.platform)
    was = setup.current.slots.get(slot="rear_wheel").part
    content = content_now(setup)
    parts = {slot: offset if slot == "rear_wheel" else one for slot, one in content.parts.items()}
    tuning = {key: value for key, value in TUNING.items() if key != "front_camber"} | {"pinion_teeth": 11.0}
    revision = revised(setup, parts=parts, tuning=tuning, notes="Two", what_changed="Wider at the rear")

    answer = client.get(revision.get_absolute_url())

    text = words(part(answer, '<h2 id="changes"', "</section>"))
    assert "What changed since revision 1" in text
    assert f"Rear wheel {was.name} Wider rear wheel" in text
    assert "Camber, front −1.5° not said" in text
    assert "Pinion 10 11" in text
    assert "Notes One Two" in text
    assert "Surface" not in text
    assert re.search(r"Rear width Over the rear wheels\. 55\.00 ± 0\.\d+ mm 56\.00 ± 0\.\d+ mm \+1\.00", text)
    assert re.search(r"Rollout .* 15\.7\d ± 0\.\d+ mm 17\.2\d ± 0\.\d+ mm \+1\.57", text)
    assert "Front width" not in text
    assert "Wider at the rear" in words(answer)


def test_an_older_revision_stays_as_it_was_and_points_to_the_newest(client):
    setup = SetupFactory(notes="As it was")
    revised(setup, notes="As it is", name="Another name")
    revised(setup, notes="As it became")

    first = words(client.get(reverse("revision", args=[setup.pk, 1])))
    last = words(client.get(reverse("revision", args=[setup.pk, 3])))

    assert "As it was" in first
    assert "There is a newer one: revision 3." in first
    assert "What changed" not in first
    assert "There is a newer one" not in last
    assert client.get(reverse("revision", args=[setup.pk, 4])).status_code == 404
    assert client.get(reverse("revision", args=[setup.pk, 0])).status_code == 404


def test_a_revision_keeps_the_findings_of_its_day_beside_those_of_today(client):
    setup = SetupFactory()
    axle = setup.current.slots.get(slot="rear_axle").part
    PartDimension.objects.filter(part=axle, quantity="hub_width").update(value=40)

    answer = client.get(setup.current.get_absolute_url())

    then = words(part(answer, '<h2 id="then"', "</section>"))
    assert re.search(r"Flush with the arch, rear fits 0\.00 ± ", then)
    assert "does not fit" not in then
    assert "On the day it was posted it was “fits”." in words(answer)


# Measuring


def test_a_member_measures_and_is_told_how_it_agrees_and_what_is_wanted(client):
    setup = SetupFactory()
    client.force_login(MemberFactory())

    answer = client.post(measure(setup), typed(setup), follow=True)

    text = words(answer)
    assert re.search(r"Your reading is added\. It agrees with what is computed \(Eₙ \+0\.\d\d\)\.", text)
    assert "To verify the setup, one more member has to measure this." in text
    assert "Computed: 92.00 ±" in text
    assert Measurement.objects.get().revision_id == setup.current_id


def test_the_reading_that_was_wanted_verifies_the_setup(client):
    setup = SetupFactory()
    measured_by(setup, MemberFactory())
    other = MemberFactory()
    for quantity in ("front_width", "rear_width"):
        verifying.add(reading_for(setup, quantity, 55, member=other))
    client.force_login(other)

    answer = client.post(measure(setup), typed(setup), follow=True)

    assert "With this the setup is verified." in words(answer)


def test_a_contradicting_reading_is_warned_of_and_can_be_withdrawn(client):
    setup = SetupFactory()
    client.force_login(MemberFactory())

    answer = client.post(measure(setup), typed(setup, value="94.5"), follow=True)

    text = words(answer)
    assert re.search(r"It does not agree with what is computed \(Eₙ \+\d+\.\d\d\)", text)
    assert "With this the setup is disputed: a steward finds out who is right." in text
    row = Measurement.objects.get()
    withdrawn = client.post(reverse("withdraw-measurement", args=[row.pk]), follow=True)
    assert "Your reading is withdrawn and counts no more." in words(withdrawn)
    assert "With this the setup is no longer disputed." in words(withdrawn)
    assert withdrawn.redirect_chain[-1][0] == measure(setup)
    assert "1 withdrawn" in words(withdrawn)


def test_nobody_withdraws_anothers_reading_of_a_car(client):
    setup = SetupFactory()
    row = reading_for(setup, "wheelbase", 92)
    verifying.add(row)
    client.force_login(setup.author)

    assert client.post(reverse("withdraw-measurement", args=[row.pk])).status_code == 403
    assert Measurement.objects.get().counts


def test_the_author_is_told_that_the_own_reading_counts_for_nothing(client):
    setup = SetupFactory()
    client.force_login(setup.author)
    assert "your own readings count for nothing" in words(client.get(measure(setup)))

    answer = client.post(measure(setup), typed(setup), follow=True)

    assert "it counts for nothing in its verification" in words(answer)


def test_a_visitor_reads_the_readings_and_signs_in_to_add_one_with_what_was_typed(client):
    setup = SetupFactory()
    verifying.add(reading_for(setup, "wheelbase", 92.05))
    assert "Sign in to measure" in words(client.get(measure(setup)))

    answer = client.post(measure(setup), typed(setup, note="both sides"))

    assert answer.url.startswith(reverse("sign-in"))
    assert "both+sides" in answer.url or "both%2Bsides" in answer.url
    assert Measurement.objects.count() == 1


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"value": ""}, "Type what the instrument shows."),
        ({"value": "9.2"}, "Wheelbase must lie between 40 and 420 mm"),
        ({"value": "ninety"}, "Type a number, such as 92.35."),
        ({"instrument": "scale"}, "Choose one of the instruments"),
        ({"revision": "999999"}, "The setup has been revised since you opened this page."),
    ],
)
def test_what_cannot_be_taken_is_told_and_nothing_typed_is_lost(client, wrong, said):
    setup = SetupFactory()
    client.force_login(MemberFactory())

    answer = client.post(measure(setup), typed(setup, note="held by its hubs") | wrong)

    assert answer.status_code == 422
    assert said in words(answer)
    assert 'value="held by its hubs"' in answer.content.decode()
    assert not Measurement.objects.exists()


def test_a_reading_of_a_withdrawn_setup_is_not_taken(client):
    setup = SetupFactory()
    posting.withdraw(setup, setup.author, "sold")
    client.force_login(MemberFactory())

    answer = client.post(measure(setup), typed(setup))

    assert "measuring it changes nothing until it is put back" in words(answer)
    assert not Measurement.objects.exists()


def test_what_is_not_computed_is_kept_beside_what_others_read(client):
    setup = SetupFactory()
    client.force_login(MemberFactory())

    answer = client.post(measure(setup, "mass"), typed(setup, value="182.5", instrument="scale"), follow=True)

    text = words(answer)
    assert "Nothing is computed here to hold it against." in text
    assert "Members settle 182.5" in text
    assert client.get(measure(setup, "teeth")).status_code == 404


def test_what_a_steward_set_aside_is_shown_apart(client):
    setup = SetupFactory()
    verifying.add(reading_for(setup, "wheelbase", 94.5))
    verifying.settle(setup.disputes.get(), MemberFactory(steward=True), "set_aside", "Wrong hub")

    text = words(client.get(measure(setup)))

    assert "1 set aside by a steward" in text
    assert "No reading of it counts yet" in text


# What a new figure of a body or a part does to setups


def test_whoever_measures_a_part_is_told_which_setups_it_turned(client):
    setup = SetupFactory(name="On this axle")
    axle = setup.current.slots.get(slot="rear_axle").part
    PartDimension.objects.filter(part=axle, quantity="hub_width").delete()
    PartDimension.objects.create(part=axle, quantity="hub_width", value=36, tolerance=Decimal("0.1"))
    for value in ("40", "40.05"):
        client.force_login(MemberFactory())
        address = reverse("measure-part", args=[axle.slug, "hub_width"])
        answer = client.post(address, {"value": value, "instrument": "calliper"}, follow=True)

    assert "The setup On this axle was “fits” and is now “does not fit”." in words(answer)
    assert f'<a href="{setup.get_absolute_url()}">On this axle</a>' in answer.content.decode()


def recheck(*given):
    out = StringIO()
    call_command("recheck", *given, stdout=out)
    return out.getvalue()


def test_the_command_computes_what_is_left_over_and_counts_what_changed():
    setups = [SetupFactory(), SetupFactory(), SetupFactory()]
    axle = setups[1].current.slots.get(slot="rear_axle").part
    PartDimension.objects.filter(part=axle, quantity="hub_width").update(value=40)

    assert "Setups computed: 1. Verdict changed: 0." in recheck("--body", setups[0].body.slug)
    assert "Setups computed: 1. Verdict changed: 1." in recheck("--part", axle.slug)
    said = recheck("--batch", "2")
    assert "Setups computed: 3. Verdict changed: 0. State changed: 0." in said
    with pytest.raises(CommandError, match="holds no body"):
        recheck("--body", "nothing")


# Where setups are listed


def test_a_body_lists_its_setups_verified_ones_first_and_no_withdrawn_one(client):
    setup = SetupFactory(name="Older, verified")
    for _ in range(2):
        measured_by(setup, MemberFactory())
    for name in ("Newer", "Gone"):
        posting.post(replace(content_now(setup), name=name), MemberFactory())
    posting.withdraw(Setup.objects.get(name="Gone"), MemberFactory(steward=True), "gone")

    address = reverse("body-setups", args=[setup.body.slug])
    page = client.get(setup.body.get_absolute_url()).content.decode()
    text = words(client.get(address, headers={"HX-Request": "true"}))

    assert f'hx-get="{address}"' in page
    assert client.get(address)["Location"] == f"/setups/?body={setup.body.slug}"
    assert text.index("Older, verified") < text.index("Newer")
    assert "Gone" not in text
    assert "Older, verified" in words(client.get(setup.author.get_absolute_url()))


# Cost


def grown(setup, members):
    """With so many members' readings, revisions that are built otherwise, and disputes settled."""
    setup.refresh_from_db()
    for n in range(members):
        tuning = {"caster": float(n + 1)}
        revised(setup, tuning=tuning, what_changed=f"Step {n}")
        measured_by(setup, MemberFactory())
        verifying.add(reading_for(setup, "wheelbase", 95 + n))
        verifying.settle(setup.disputes.get(outcome=""), MemberFactory(steward=True), "set_aside", "Slipped")
    setup.refresh_from_db()


def test_the_pages_take_as_many_queries_for_many_readings_and_revisions_as_for_few(
    client, django_assert_max_num_queries, django_assert_num_queries
):
    setup = SetupFactory()
    grown(setup, 2)
    client.force_login(setup.author)
    addresses = [
        setup.get_absolute_url(),
        reverse("revision", args=[setup.pk, 2]),
        measure(setup),
        reverse("dispute", args=[setup.disputes.first().pk]),
    ]
    few = []
    for address in addresses:
        with django_assert_max_num_queries(45) as counted:
            assert client.get(address).status_code == 200
        few.append(len(counted))

    grown(setup, 3)

    for address, number in zip(addresses, few, strict=True):
        with django_assert_num_queries(number):
            client.get(address)


def test_a_long_record_is_cut_short(client):
    setup = SetupFactory()
    for n in range(210):
        verifying.log(setup, "verdict", f"Line {n}")
    text = words(page(client, setup))

    assert "Line 209" in text
    assert "188 earlier" in text
    assert "11 lines are older still." in text
