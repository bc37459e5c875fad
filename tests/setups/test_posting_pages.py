"""A member fills a setup in, step by step, and posts it; nothing that is typed is ever lost."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal
from urllib.parse import urlencode

import pytest
from django.test import Client

from club.models import RaceClass
from fitcalc.parts import Slot
from setups.models import Draft, Revision, Setup
from setups.models.setup import typed_of
from setups.services import laps, posting
from setups.services.cars import content_of, with_car
from tests.factories import MemberFactory, SetupFactory, content_for, full_catalogue
from tests.setups.pages import chosen, part, words

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

HTMX = {"HX-Request": "true"}


@pytest.fixture
def client(client, author) -> Client:
    client.force_login(author)
    return client


def car() -> dict[str, str]:
    """Slot, body and platform -> what makes a car that fits, as a form sends it."""
    content = content_for()
    return {
        "body": str(content.body.pk),
        "platform": str(content.platform.pk),
        "position": str(content.position.pk),
        **{slot.value: str(one.pk) for slot, one in content.parts.items()},
    }


def draft_for(author, **typed: str) -> Draft:
    return posting.begin(author, {"name": "Club night"} | typed)


def send(client: Client, draft: Draft, step: str, go: str = "", version: int | None = None, **fields: str):
    """The form of ``step`` as a browser sends it that opened the page when the draft was as ``draft`` is."""
    was = {name: draft.typed.get(name, "") for name in fields}
    told = {"step": step, "go": go or step, "was": json.dumps(was), "version": version or draft.version}
    return client.post(f"/setups/{draft.setup_id}/edit/?step={step}", told | fields)


def by_itself(client: Client, draft: Draft, step: str, **fields: str):
    """What the page sends by itself while somebody types."""
    was = {name: draft.typed.get(name, "") for name in fields}
    told = {"step": step, "was": json.dumps(was), "version": draft.version}
    return client.post(f"/setups/{draft.setup_id}/edit/?step={step}", told | fields, headers=HTMX)


def page(client: Client, draft: Draft, step: str):
    return client.get(f"/setups/{draft.setup_id}/edit/?step={step}")


def typed(draft: Draft) -> dict[str, str]:
    return Draft.objects.get(setup=draft.setup_id).typed


# A car that is changed


def test_another_body_keeps_the_mount_that_was_chosen_says_what_is_wrong_and_offers_its_own(client, author):
    catalogue = full_catalogue()
    other = full_catalogue(platform=catalogue.platform)
    own, foreign = other.body_mount, catalogue.body_mount
    setup = SetupFactory(
        author=author, body=catalogue.body, platform=catalogue.platform, parts={"body_mount": foreign}
    )
    draft = posting.draft_of(setup)

    send(client, draft, "car", go="parts", body=str(other.body.pk))
    answer = page(client, draft, "parts")

    assert typed(draft)["body_mount"] == str(foreign.pk)
    select = part(answer, '<select name="body_mount"', "</select>")
    assert f'<option value="{foreign.pk}" selected>{foreign.name} (does not go here)</option>' in select
    assert f'<option value="{own.pk}">{own.name} (' in select
    told = words(answer)
    assert f"{foreign.name} is made for another body: choose this body's own, {own.name}, or none." in told

    draft.refresh_from_db()
    send(client, draft, "parts", body_mount=str(own.pk))
    assert "made for another body" not in words(page(client, draft, "parts"))
    assert typed(draft)["body_mount"] == str(own.pk)


# Where a draft starts


def test_a_draft_starts_from_a_body_and_its_only_platform(client):
    catalogue = full_catalogue()
    address = f"/setups/new/?body={catalogue.body.slug}"

    assert catalogue.body.name in words(client.get(address))
    assert not Setup.objects.exists()
    answer = client.post(address, {"name": "Carpet"})

    setup = Setup.objects.get()
    assert answer.headers["Location"] == f"/setups/{setup.pk}/edit/?step=parts"
    assert setup.draft.typed == {
        "name": "Carpet",
        "body": str(catalogue.body.pk),
        "platform": str(catalogue.platform.pk),
    }


def test_a_draft_starts_from_a_chassis_whose_parts_come_in_the_address(client):
    content = content_for()
    query = {
        "platform": content.platform.slug,
        "position": content.position.pk,
        **{slot.value: one.pk for slot, one in content.parts.items()},
    }

    client.post(f"/setups/new/?{urlencode(query)}", {"name": "My chassis"})

    draft = Draft.objects.get()
    for slot in Slot:
        if slot.value in query:
            assert draft.typed[slot.value] == str(query[slot.value])
    assert "body" not in draft.typed


def test_a_draft_starts_from_another_members_setup_without_its_lap_and_words(client, author):
    told = {"best_lap": Decimal("9.871"), "notes": "mine", "circuit": "Hall"}
    other = SetupFactory(**told, tuning={"front_camber": -1.5})

    client.post(f"/setups/new/?from={other.current_id}", {"name": "After theirs"})

    draft = Draft.objects.get()
    assert draft.setup.author == author
    assert draft.setup.started_from_id == other.current_id
    assert draft.typed["tuning_front_camber"] == "-1.5"
    assert draft.typed["plate"] == str(other.current.slots.get(slot="plate").part_id)
    assert not {"best_lap", "notes", "circuit"} & set(draft.typed)


def test_nothing_starts_from_what_is_not_there(client):
    assert client.get("/setups/new/?from=99999").status_code == 404
    assert client.get("/setups/new/?from=x&body=none&platform=none").status_code == 200


def test_somebody_who_is_signed_out_comes_back_to_the_same_start():
    answer = Client().post("/setups/new/?body=shell", {"name": "Carpet & rain"})

    assert answer.headers["Location"] == (
        "/account/sign-in/?next=/setups/new/%3Fbody%3Dshell%26name%3DCarpet%2B%2526%2Brain"
    )


def test_a_draft_is_its_authors_only(client):
    theirs = draft_for(MemberFactory(), notes="not for you")

    assert page(client, theirs, "ran").status_code == 404
    assert send(client, theirs, "ran", notes="mine now").status_code == 404
    assert client.post(f"/setups/{theirs.setup_id}/discard/").status_code == 404
    assert typed(theirs)["notes"] == "not for you"
    signed_out = Client().get(f"/setups/{theirs.setup_id}/edit/")
    assert signed_out.headers["Location"].startswith("/account/sign-in/")


# Filling it in


def test_every_step_saves_and_leads_where_the_button_says(client, author):
    draft = draft_for(author, **car())

    answer = send(client, draft, "settings", "ran", tuning_front_camber="-1,5", tuning_battery="soft pack")

    assert answer.headers["Location"] == f"/setups/{draft.setup_id}/edit/?step=ran"
    assert typed(draft)["tuning_front_camber"] == "-1,5"
    for step in ("car", "parts", "settings", "ran", "photos", "post"):
        assert page(client, draft, step).status_code == 200


def test_what_is_wrong_is_kept_as_typed_and_told_at_its_field(client, author):
    draft = draft_for(author, **car())
    send(client, draft, "ran", best_lap="1:72", notes="x" * 4001, circuit="c" * 81)

    ran = page(client, draft, "ran")

    assert 'value="1:72"' in ran.content.decode()
    said = words(ran)
    assert "After the minutes come seconds below 60" in said
    assert "The notes takes 4000 letters" not in said
    assert "Notes take 4000 letters: shorten them." in said
    assert "A circuit takes 80 letters" in said
    assert "x" * 4001 in said


def test_the_page_that_saves_by_itself_gets_the_findings_and_when_it_was_saved(client, author):
    parts = car()
    draft = draft_for(author, **parts)

    answer = by_itself(client, draft, "parts", **{slot.value: parts.get(slot.value, "") for slot in Slot})
    fits = words(answer)
    longer = str(draft_platform(parts).positions.get(name="long").pk)
    fails = by_itself(client, Draft.objects.get(), "parts", position=longer)

    assert "fits this car" in fits
    assert "Saved " in fits
    assert "to mend" in words(fails)
    assert "behind the middle of its arch" in words(fails)
    assert 'name="version" value="2"' in fails.content.decode()
    assert typed(draft)["position"] == longer


def draft_platform(parts: dict[str, str]):
    from setups.models import Platform

    return Platform.objects.get(pk=parts["platform"])


def test_a_body_is_found_by_its_name_and_stays_chosen(client, author):
    catalogue = full_catalogue()
    draft = draft_for(author)
    found = client.get(f"/setups/{draft.setup_id}/edit/?step=car&find={catalogue.body.name}")
    assert catalogue.body.name in part(found, 'id="bodies"', "</fieldset>")

    saved = by_itself(client, draft, "car", name="Club night", body=str(catalogue.body.pk))

    assert catalogue.platform.name in part(saved, 'id="platform-choice"', "</fieldset>")
    assert "checked" in part(page(client, draft, "car"), 'id="bodies"', "</div>")


def test_a_set_as_supplied_fills_the_slots_in(client, author):
    parts = car()
    draft = draft_for(author, body=parts["body"], platform=parts["platform"])
    assert "Fill in a set as supplied" in words(page(client, draft, "parts"))
    configuration = draft_platform(parts).configurations.get()

    client.post(
        f"/setups/{draft.setup_id}/edit/?step=parts",
        {"step": "parts", "fill": configuration.pk, "was": "{}", "version": draft.version},
    )

    assert {name: typed(draft).get(name) for name in parts if name != "body_mount"} == {
        name: key for name, key in parts.items() if name != "body_mount"
    }


def test_parts_of_another_platform_stay_and_are_told(client, author):
    parts = car()
    other = full_catalogue().platform
    draft = draft_for(author, **parts | {"platform": str(other.pk)})

    shown = page(client, draft, "parts")

    assert "is not sold for" in words(shown)
    assert "does not go here" in chosen(shown, "plate")
    assert page(client, draft, "post").status_code == 200


@pytest.mark.parametrize(
    ("text", "seconds"), [("9.871", "9.871"), ("9,8", "9.8"), ("1:02.345", "62.345"), (" 62 ", "62")]
)
def test_a_lap_is_seconds_or_minutes_and_seconds(text, seconds):
    assert laps.read(text) == Decimal(seconds)
    assert laps.read(laps.show(Decimal(seconds))) == Decimal(seconds)


@pytest.mark.parametrize("text", ["", "fast", "0", "1:60", "9.8712", "99999", "-9", "1:2:3", "٩"])
def test_what_is_no_lap_is_refused(text):
    with pytest.raises(ValueError, match=r"[a-z]"):
        laps.read(text)


# Posting it


def test_a_whole_car_is_posted_with_all_that_was_typed(client, author):
    race_class = RaceClass.objects.create(name="Club touring", slug="club-touring")
    draft = draft_for(
        author,
        **car(),
        race_class=str(race_class.pk),
        surface="carpet",
        circuit=" Hall ",
        best_lap="1:02.345",
        result="3rd",
        notes="Turns in.\nLoose out.",
        tuning_front_camber="-1,5",
        tuning_rear_spring="grey",
    )
    assert "Post the setup" in words(page(client, draft, "post"))

    answer = send(client, draft, "post", "send")

    setup = Setup.objects.get()
    assert answer.headers["Location"] == setup.get_absolute_url()
    revision = setup.current
    assert (revision.name, revision.circuit, revision.surface) == ("Club night", "Hall", "carpet")
    assert revision.best_lap == Decimal("62.345")
    assert revision.tuning == {"front_camber": -1.5, "rear_spring": "grey"}
    assert revision.notes == "Turns in.\nLoose out."
    assert revision.race_class == setup.race_class == race_class
    assert setup.verdict == "fits"
    assert not Draft.objects.exists()


def test_an_unfinished_car_stays_a_draft_and_the_open_slots_are_named(client, author):
    parts = car()
    del parts["plate"], parts["rear_tyre"]
    draft = draft_for(author, **parts, tuning_weight_fl="41")

    answer = send(client, draft, "post", "send")

    assert answer.status_code == 422
    said = words(answer)
    for told in ("Still open: rear tyre, plate.", "weigh all four wheels"):
        assert told in said
    assert Setup.objects.get().state == Setup.State.DRAFT
    assert typed(draft)["tuning_weight_fl"] == "41"


def test_an_empty_draft_is_told_what_to_begin_with(client, author):
    draft = posting.begin(author, {})

    said = words(send(client, draft, "post", "send"))

    assert "Give it a name" in said
    assert "Choose the body" in said
    assert "Choose what it stands on" in said


def test_a_car_that_fails_is_posted_only_by_somebody_who_says_so(client, author):
    parts = car()
    parts["position"] = str(draft_platform(parts).positions.get(name="long").pk)
    draft = draft_for(author, **parts)

    refused = send(client, draft, "post", "send")
    assert refused.status_code == 422
    assert "Tick that you know it" in words(refused)
    assert not Revision.objects.exists()
    send(client, draft, "post", "send", acknowledged="yes")

    revision = Revision.objects.get()
    assert revision.verdict == "fails"
    assert any(one["verdict"] == "fails" and one["rule"] == "wheelbase" for one in revision.findings)


def test_a_revision_asks_what_changed_and_keeps_the_one_before(client, author):
    setup = SetupFactory(author=author, notes="first")
    draft = posting.draft_of(setup)
    send(client, draft, "ran", notes="second")
    draft.refresh_from_db()

    refused = send(client, draft, "post", "send", what_changed="")
    assert "Say in a line what changed" in words(refused)
    assert "Notes first → second" in words(refused)
    draft.refresh_from_db()
    send(client, draft, "post", "send", what_changed="Rewrote the notes")

    first, second = setup.revisions.order_by("number")
    assert (first.notes, second.notes) == ("first", "second")
    assert second.what_changed == "Rewrote the notes"


def test_looking_through_the_steps_of_a_posted_setup_begins_no_draft(client, author):
    setup = SetupFactory(author=author, notes="first")
    unsaved = Draft(setup=setup, typed=typed_of(setup.current))

    for step in ("car", "parts", "settings", "ran", "photos", "post"):
        assert page(client, unsaved, step).status_code == 200
    assert send(client, unsaved, "ran", "post", notes="first").status_code == 302
    assert "Nothing changed yet" in words(by_itself(client, unsaved, "ran", notes="first"))
    told = client.get(send(client, unsaved, "post", "send", what_changed="").url)
    assert "is posted already, and nothing has changed since" in words(told)

    assert not Draft.objects.exists()
    by_itself(client, unsaved, "ran", notes="second")
    assert Draft.objects.get().typed["notes"] == "second"


def test_a_revision_that_changes_nothing_is_not_posted_and_its_words_stay(client, author):
    setup = SetupFactory(author=author)
    draft = posting.draft_of(setup)

    answer = send(client, draft, "post", "send", what_changed="Nothing at all")

    assert "Nothing has changed since the last revision" in words(answer)
    assert typed(draft)["what_changed"] == "Nothing at all"
    assert setup.revisions.count() == 1


def test_a_withdrawn_setup_can_be_written_on_but_not_posted(client, author):
    setup = SetupFactory(author=author)
    posting.withdraw(setup, author, "sold")
    draft = posting.draft_of(setup)

    assert "is withdrawn" in words(page(client, draft, "car"))
    answer = send(client, draft, "post", "send", what_changed="x")

    assert "put it back first" in words(answer)
    assert setup.revisions.count() == 1


# Two who type


def test_two_tabs_that_change_different_fields_are_brought_together(client, author):
    draft = draft_for(author, circuit="Hall", notes="n")
    send(client, draft, "ran", circuit="Hall two", notes="n")

    answer = send(client, draft, "ran", circuit="Hall", notes="better")

    assert answer.status_code == 302
    assert typed(draft) == {"name": "Club night", "circuit": "Hall two", "notes": "better"}
    said = words(page(client, draft, "ran"))
    assert "Brought together with what was typed elsewhere meanwhile: Circuit." in said


def test_two_tabs_that_change_one_field_are_asked_and_no_word_is_lost(client, author):
    draft = draft_for(author, circuit="Hall", notes="n")
    send(client, draft, "ran", circuit="Hall", notes="from the phone")

    conflict = send(client, draft, "ran", "post", circuit="Hall", notes="from the laptop")

    assert conflict.status_code == 409
    assert typed(draft)["notes"] == "from the phone"
    said = words(conflict)
    assert "What stands now from the phone" in said
    assert "What you typed here from the laptop" in said
    assert "Circuit" not in said

    undecided = resolve(client, draft, conflict)
    assert "Choose for each field" in words(undecided)
    answer = resolve(client, draft, undecided, choice_notes="typed")
    assert answer.headers["Location"] == f"/setups/{draft.setup_id}/edit/?step=post"
    assert typed(draft)["notes"] == "from the laptop"


def resolve(client: Client, draft: Draft, conflict, **choices: str):
    """Send the conflict page's form with ``choices``, all its hidden fields as they are."""
    import re
    from html import unescape

    form = part(conflict, '<form method="post" action="/setups/', "</form>")
    hidden = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form)
    go = re.search(r'name="go" value="(\w+)"', form)
    fields = {name: unescape(text) for name, text in hidden} | {"go": go[1]} | choices
    return client.post(f"/setups/{draft.setup_id}/edit/?step=ran", fields)


def test_of_two_texts_both_may_stay(client, author):
    draft = draft_for(author, notes="n")
    send(client, draft, "ran", notes="from the phone")
    conflict = send(client, draft, "ran", notes="from the laptop")

    resolve(client, draft, conflict, choice_notes="both")

    assert typed(draft)["notes"] == "from the phone\n\nfrom the laptop"


def test_a_third_change_while_somebody_chooses_is_asked_about_again(client, author):
    draft = draft_for(author, notes="n")
    send(client, draft, "ran", notes="first")
    conflict = send(client, draft, "ran", notes="second")
    draft.refresh_from_db()
    send(client, draft, "ran", notes="third")

    again = resolve(client, draft, conflict, choice_notes="typed")

    assert again.status_code == 409
    assert "What stands now third" in words(again)
    assert "What you typed here second" in words(again)
    assert typed(draft)["notes"] == "third"


def test_a_page_that_saves_by_itself_overwrites_nothing_that_was_typed_elsewhere(client, author):
    draft = draft_for(author, notes="n")
    send(client, draft, "ran", notes="from the phone")

    answer = by_itself(client, draft, "ran", notes="from the lap")

    assert "Changed elsewhere" in words(answer)
    assert typed(draft)["notes"] == "from the phone"


def test_two_tabs_on_two_steps_are_in_nobodys_way(client, author):
    draft = draft_for(author, notes="n")
    send(client, draft, "settings", tuning_caster="4")

    answer = by_itself(client, draft, "ran", notes="better")

    assert "Saved " in words(answer)
    assert typed(draft) == {"name": "Club night", "notes": "better", "tuning_caster": "4"}


def test_a_post_from_a_page_that_is_out_of_date_is_shown_what_stands(client, author):
    setup = SetupFactory(author=author)
    draft = posting.draft_of(setup)
    send(client, draft, "post", what_changed="from the phone")

    answer = send(client, draft, "post", "send", what_changed="from the laptop")

    assert answer.status_code == 409
    assert setup.revisions.count() == 1


def test_what_is_typed_after_the_signing_in_ran_out_is_there_when_the_member_is_back(client, author):
    draft = draft_for(author, notes="n")
    client.logout()

    told = by_itself(client, draft, "ran", notes="a long thought")
    assert "You are signed out" in words(told)
    answer = send(client, draft, "ran", notes="a long thought")
    assert answer.headers["Location"].startswith("/account/sign-in/")
    assert typed(draft)["notes"] == "n"
    client.force_login(author)
    page(client, draft, "ran")

    assert typed(draft)["notes"] == "a long thought"


@pytest.mark.parametrize(
    "sent",
    [
        {},
        {"step": "none", "version": "x", "was": "[1]", "go": "none"},
        {"step": "car", "version": "-1", "was": '{"name": 3}', "body": "x", "platform": "9" * 30},
        {"step": "parts", "fill": "9999", "plate": "x", "position": "1e3"},
        {"step": "ran", "race_class": "99", "surface": "moon", "best_lap": "1:1:1", "version": "9"},
    ],
)
def test_no_form_however_odd_breaks_the_page(client, author, sent):
    draft = draft_for(author, **car())

    assert client.post(f"/setups/{draft.setup_id}/edit/", sent).status_code in (302, 409)
    for step in ("car", "parts", "settings", "ran", "post"):
        assert page(client, draft, step).status_code == 200


# What a member has


def test_my_setups_lists_drafts_and_posted_ones_in_a_constant_number_of_queries(
    client, author, django_assert_max_num_queries
):
    mine = SetupFactory(author=author, name="Posted car")
    SetupFactory(name="Of somebody else")
    for n in range(5):
        draft_for(author, **car(), result=str(n))
    send(client, posting.draft_of(mine), "ran", notes="not yet posted")

    with django_assert_max_num_queries(9):
        answer = client.get("/setups/mine/")

    said = words(answer)
    assert "5 drafts, 1 posted" in said
    assert "Posted car" in said
    assert "Changes that are not posted yet" in said
    assert "Of somebody else" not in said


def test_a_step_takes_a_constant_number_of_queries(client, author, django_assert_max_num_queries):
    draft = draft_for(author, **car())
    for step in ("car", "parts", "settings", "ran", "post"):
        with django_assert_max_num_queries(24):
            page(client, draft, step)


def test_a_draft_thrown_away_is_gone_and_what_was_posted_stays(client, author):
    draft = draft_for(author)
    mine = SetupFactory(author=author)
    posting.draft_of(mine)

    client.post(f"/setups/{draft.setup_id}/discard/")
    client.post(f"/setups/{mine.pk}/discard/")

    assert list(Setup.objects.all()) == [mine]
    assert not Draft.objects.exists()


def test_whoever_has_as_many_drafts_as_are_kept_is_told_so(client, author, monkeypatch):
    monkeypatch.setattr("setups.views.drafts.MOST_DRAFTS", 1)
    draft_for(author)

    answer = client.post("/setups/new/", {"name": "One more"})

    assert "as many as are kept" in words(answer)
    assert 'value="One more"' in answer.content.decode()
    assert Setup.objects.count() == 1


def test_an_edited_setup_says_the_same_as_it_was_posted(client, author):
    """What the form makes of an untouched draft is the revision that it came from."""
    setup = SetupFactory(author=author, best_lap=Decimal("62.345"), tuning={"caster": 4.5}, notes="a\nb")
    (revision,) = with_car(Revision.objects.filter(pk=setup.current_id))
    content = content_of(revision)
    posting.post(replace(content, notes="c"), author, setup)
    draft = posting.draft_of(Setup.objects.get())
    send(client, draft, "ran", notes="a\r\nb")
    draft.refresh_from_db()

    send(client, draft, "post", "send", what_changed="as at first")

    newest = with_car(Revision.objects.order_by("-number"))[0]
    assert replace(content_of(newest), what_changed="") == content
