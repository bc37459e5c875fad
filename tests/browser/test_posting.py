"""A setup is written, computed as it is typed, and posted, in a real browser: at a desk and in the pits."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.select import Select

from fitcalc.parts import Slot
from setups.models import Draft, Photo, Setup
from setups.services import posting
from setups.services.fitting import answer
from tests.factories import BodyFactory, MemberFactory, full_catalogue


@pytest.fixture(autouse=True)
def media(settings, tmp_path) -> None:
    settings.MEDIA_ROOT = tmp_path / "media"


@pytest.fixture
def catalogue(transactional_db):
    return full_catalogue(body=BodyFactory(name="Lapwing Coupé", slug="lapwing"))


def fitting(catalogue) -> dict[str, str]:
    """Slot -> the key of the part that makes the car fit."""
    best = answer(catalogue.body).platforms[0].best.report.configuration
    keys = {slot.value: str(one.id) for slot, one in best.parts()}
    return keys | {Slot.POSITION.value: str(best.position.id[1])}


def choose(screen, **options: str) -> None:
    for name, key in options.items():
        Select(screen.find(f"[name={name}]")).select_by_value(key)


def saved(screen, draft: Draft, **fields: str) -> None:
    """Wait until the draft holds ``fields`` and the page says that it is saved."""
    stored = lambda: Draft.objects.get(pk=draft.pk).typed  # noqa: E731
    screen.wait(lambda: fields.items() <= stored().items(), f"the draft never held {fields}")


def connect(screen, there: bool) -> None:
    """Whether the connection is there."""
    how = {"offline": not there, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
    screen.driver.execute_cdp_cmd("Network.enable", {})
    screen.driver.execute_cdp_cmd("Network.emulateNetworkConditions", how)


def in_view(screen, selector: str):
    """What may stand below the bar at the foot, once a person has scrolled to it."""
    found = screen.find(selector)
    screen.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", found)
    return found


def test_a_setup_is_written_and_posted_with_its_findings_told_as_it_is_typed(phone, catalogue):
    author = MemberFactory()
    phone.as_member(author).open("/setups/new/?body=lapwing", sound=False)
    phone.fill(name="Carpet, autumn").press("Start the draft")
    draft = Draft.objects.get()

    phone.driver.execute_script("window.stayed = true")
    parts = fitting(catalogue)
    wrong = str(catalogue.positions[0].pk)
    choose(phone, **parts | {"position": wrong})
    phone.wait(lambda: "to mend" in phone.find("#answer").text, "it never said what fails")
    choose(phone, position=parts["position"])
    phone.wait(lambda: "fits this car" in phone.find("#answer").text, "it never said that it fits")
    phone.wait(lambda: "fits" in phone.find("#saved").text, "the bar never told the answer")
    assert phone.driver.execute_script("return window.stayed") is True
    saved(phone, draft, **parts)
    phone.assert_quiet()
    phone.assert_not_wider()

    phone.leave_by(phone.find(".post-bar .button:not(.button-quiet)"))
    assert phone.path == f"/setups/{draft.setup_id}/edit/?step=settings"
    phone.fill(tuning_front_camber="-1,5", tuning_pinion_teeth="9", tuning_spur_teeth="44")
    phone.wait(lambda: "Rollout" in phone.find("#live").text, "the rollout never came")
    phone.assert_sound()
    phone.fill(tuning_front_camber="-99")
    phone.leave_by(phone.find(".post-step[value=ran]"))
    phone.fill(best_lap="1:02.345", notes="Turns in well.")
    phone.find("[name=notes]").send_keys(Keys.ENTER, "Loose on the way out.")
    phone.leave_by(phone.find(".post-step[value=post]"))
    phone.assert_sound()
    assert "must lie between" in phone.text
    phone.leave_by(phone.link("Camber, front"))
    assert phone.find("[name=tuning_front_camber]").get_attribute("value") == "-99"
    phone.assert_not_wider()
    phone.fill(tuning_front_camber="-2")
    phone.leave_by(phone.find(".post-step[value=post]"))
    phone.leave_by(in_view(phone, "button[value=send]"))

    revision = Setup.objects.get().current
    assert revision.notes == "Turns in well.\nLoose on the way out."
    assert revision.tuning["front_camber"] == -2
    assert revision.verdict == "fits"
    assert phone.path == f"/setups/{draft.setup_id}/"


def test_it_all_works_without_scripts(phone, catalogue):
    phone.as_member(MemberFactory()).without_scripts()
    phone.open("/setups/new/?body=lapwing", sound=False)
    phone.fill(name="By hand")
    phone.find("main form button").click()
    phone.wait(lambda: "step=parts" in phone.path, "the draft never began")
    choose(phone, **fitting(catalogue))
    phone.find(".post-step[value=ran]").click()
    phone.wait(lambda: "step=ran" in phone.path, "the next step never came")
    phone.fill(circuit="Hall")
    phone.find(".post-step[value=post]").click()
    phone.wait(lambda: "step=post" in phone.path, "the last step never came")
    assert "fits this car" in phone.text
    in_view(phone, "button[value=send]").click()
    phone.wait(lambda: phone.path.endswith(f"/setups/{Setup.objects.get().pk}/"), "it was not posted")
    assert Setup.objects.get().current.circuit == "Hall"


def test_two_tabs_never_lose_a_word(desktop, catalogue):
    author = MemberFactory()
    draft = posting.begin(author, {"name": "Car", "notes": "as it was"})
    desktop.as_member(author).open(f"/setups/{draft.setup_id}/edit/?step=ran", sound=False)
    first = desktop.driver.current_window_handle
    desktop.driver.switch_to.new_window("tab")
    try:
        desktop.open(f"/setups/{draft.setup_id}/edit/?step=ran", sound=False)
        desktop.fill(notes="from the second tab", circuit="Hall")
        saved(desktop, draft, notes="from the second tab", circuit="Hall")
    finally:
        desktop.driver.close()
        desktop.driver.switch_to.window(first)

    desktop.fill(notes="from the first tab")
    desktop.wait(lambda: "Changed elsewhere" in desktop.find("#live").text, "it was not told")
    in_view(desktop, "#live button").click()
    desktop.wait(lambda: "Typed on two sides" in desktop.text, "both sides were not shown")
    desktop.assert_sound()
    assert "from the second tab" in desktop.text
    assert "from the first tab" in desktop.text
    desktop.find("#both-notes").click()
    desktop.press("Save these words")

    assert Draft.objects.get().typed == {
        "name": "Car",
        "circuit": "Hall",
        "notes": "from the second tab\n\nfrom the first tab",
    }
    assert desktop.find("[name=circuit]").get_attribute("value") == "Hall"


def test_what_is_typed_while_the_connection_is_gone_is_saved_once_it_is_back(phone, catalogue):
    draft = posting.begin(MemberFactory(), {"name": "Car"})
    phone.as_member(draft.setup.author).open(f"/setups/{draft.setup_id}/edit/?step=ran", sound=False)
    connect(phone, False)
    try:
        phone.fill(notes="typed in a hall without any signal")
        phone.wait(lambda: "Not saved since" in phone.text, "it was not told")
        phone.find(".post-step[value=post]").click()
        phone.wait(lambda: phone.find("#unsaved").is_displayed(), "it was no longer told")
        assert "typed in a hall" in phone.find("[name=notes]").get_attribute("value")
    finally:
        connect(phone, True)
    saved(phone, draft, notes="typed in a hall without any signal")
    phone.wait(lambda: not phone.find("#unsaved").is_displayed(), "it still said that it is not saved")


def test_a_body_is_found_while_its_name_is_typed(phone, catalogue):
    draft = posting.begin(MemberFactory(), {"name": "Car"})
    phone.as_member(draft.setup.author).open(f"/setups/{draft.setup_id}/edit/?step=car", sound=False)
    phone.find("#id_find").send_keys("lapw")
    phone.wait(lambda: "Lapwing Coupé" in phone.find("#bodies").text, "the body never came")
    phone.find("#bodies input").click()
    saved(phone, draft, body=str(catalogue.body.pk))
    phone.wait(lambda: phone.all("#platform-choice input"), "the platforms never came")
    phone.find("#platform-choice input").click()
    saved(phone, draft, platform=str(catalogue.platform.pk))
    phone.assert_sound()


def test_a_photo_is_added_and_removed(phone, catalogue, tmp_path: Path):
    picture = tmp_path / "car.png"
    Image.new("RGB", (900, 600), "olive").save(picture)
    draft = posting.begin(MemberFactory(), {"name": "Car"})
    phone.as_member(draft.setup.author).open(f"/setups/{draft.setup_id}/edit/?step=photos", sound=False)
    phone.find("#id_photo").send_keys(str(picture))
    phone.fill(caption="On the scales")
    phone.leave_by(in_view(phone, ".post-add button"))
    shown = phone.find(".post-photos img")
    phone.wait(lambda: shown.get_property("naturalWidth") == 400, "the photo never came")
    phone.assert_sound()
    phone.find(".post-caption input[name=caption]").send_keys(", ready to run")
    said = lambda: Photo.objects.get().caption  # noqa: E731
    phone.wait(lambda: said() == "On the scales, ready to run", "the caption was not saved by itself")
    phone.leave_by(in_view(phone, ".post-photos .button-plain"))
    assert not phone.all(".post-photos img")


def test_my_setups_are_sound_in_the_dark(phone, catalogue):
    author = MemberFactory()
    posting.begin(author, {"name": "A name that is long enough to need a second line on a phone"})
    phone.in_the_dark().as_member(author).open("/setups/mine/", sound=False)
    phone.find(".post-discard summary").click()
    phone.assert_sound()
    phone.press("Throw it away for good")
    assert not Setup.objects.exists()
