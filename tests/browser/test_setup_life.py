"""A setup's whole life in a real browser: built, posted, measured, verified, contradicted, settled."""

from __future__ import annotations

from dataclasses import replace

import pytest
from selenium.webdriver.support.select import Select

from fitcalc.parts import Slot
from setups.models import Dispute, Draft, Setup
from setups.services import posting, verifying
from setups.services.cars import content_of
from setups.services.fitting import answer
from tests.factories import PASSWORD, BodyFactory, MemberFactory, SetupFactory, full_catalogue, reading_for

CAR = {"front_width": "55.04", "rear_width": "54.97", "wheelbase": "92.05"}


def choose(screen, **options: str) -> None:
    for name, key in options.items():
        Select(screen.find(f"[name={name}]")).select_by_value(key)


def press_in_view(screen, button) -> None:
    """Press what a sticky bar could cover, once the window has stopped gliding."""
    glide = "arguments[0].scrollIntoView({behavior: 'instant', block: 'center'})"
    screen.driver.execute_script(glide, button)
    screen.leave_by(button)


def drafted(screen, **typed: str) -> None:
    """Wait until the draft holds what was typed."""
    held = lambda: typed.items() <= Draft.objects.get().typed.items()  # noqa: E731
    screen.wait(held, f"the draft never held {typed}")


def measure(screen, setup: Setup, member, **figures: str) -> None:
    screen.as_member(member)
    for quantity, value in figures.items():
        screen.open(f"/setups/{setup.pk}/measure/{quantity}/", sound=False)
        screen.fill(value=value)
        press_in_view(screen, screen.find(".measure-form .button"))


def test_from_signing_up_to_a_settled_dispute_on_a_phone(phone, transactional_db):
    catalogue = full_catalogue(body=BodyFactory(name="Lapwing Coupé", slug="lapwing"))
    best = answer(catalogue.body).platforms[0].best.report.configuration
    parts = {slot.value: str(part.id) for slot, part in best.parts() if slot is not Slot.POSITION}
    mount = parts.pop("body_mount")

    # Wren signs up and builds a chassis
    phone.open("/account/sign-up/", sound=False)
    phone.fill(username="wren", email="wren@example.org", password1=PASSWORD).press("Sign up")
    phone.open(f"/garage/chassis/new/?platform={catalogue.platform.slug}", sound=False)
    phone.fill(name="Runner")
    choose(phone, **parts, position=str(best.position.id[1]))
    press_in_view(phone, phone.find("main form.stack > .button"))

    # and posts it under a body
    phone.leave_by(phone.link("Post a setup with it"))
    phone.fill(name="Carpet, autumn").press("Start the draft")
    phone.find("#id_find").send_keys("lapw")
    phone.wait(lambda: "Lapwing Coupé" in phone.find("#bodies").text, "the body never came")
    phone.find("#bodies input").click()
    drafted(phone, body=str(catalogue.body.pk))
    press_in_view(phone, phone.find(".post-step[value=parts]"))
    choose(phone, body_mount=mount)
    drafted(phone, body_mount=mount)
    press_in_view(phone, phone.find(".post-step[value=post]"))
    press_in_view(phone, phone.find("button[value=send]"))
    setup = Setup.objects.get()
    phone.assert_sound()
    assert phone.path == f"/setups/{setup.pk}/"
    assert "The front width, rear width and wheelbase want two members to measure them." in phone.text
    assert setup.verdict == "fits"

    # Ada measures it, Bo confirms
    measure(phone, setup, MemberFactory(display_name="Ada"), **CAR)
    assert "To verify the setup, one more member has to measure this." in phone.text
    bo = MemberFactory(display_name="Bo")
    for quantity in ("front_width", "rear_width"):
        verifying.add(reading_for(setup, quantity, CAR[quantity], member=bo))
    measure(phone, setup, bo, wheelbase=CAR["wheelbase"])
    assert "With this the setup is verified." in phone.text
    phone.assert_sound()
    phone.open(setup.get_absolute_url())
    assert "2 members other than the author measured it and agree" in phone.text

    # Cy contradicts it
    measure(phone, setup, MemberFactory(display_name="Cy"), wheelbase="94.6")
    assert "With this the setup is disputed" in phone.text
    assert len(phone.all(".measure-outside")) == 1
    phone.assert_sound()
    phone.open(setup.get_absolute_url())
    assert "Cy measured the wheelbase as 94.60" in phone.text

    # and a steward settles it
    phone.as_member(MemberFactory(display_name="Stella", steward=True))
    phone.open("/", sound=False).leave_by(phone.find(".masthead-nav a[href='/stewards/']")).assert_sound()
    phone.leave_by(phone.link("Carpet, autumn")).assert_sound()
    press_in_view(phone, phone.find(".reason-form .button"))
    assert "Choose who is right" in phone.text
    phone.assert_accessible()  # a refusal is an error in the console, so no more can be asked
    phone.driver.get_log("browser")
    phone.find("[name=outcome][value=set_aside]").click()
    phone.fill(reason="Read to the tyre's edge, not to the hub")
    press_in_view(phone, phone.find(".reason-form .button"))
    phone.assert_sound()
    assert "With this the setup is verified." in phone.text
    assert "Settled for the setup: the readings are set aside. Stella" in phone.text
    setup.refresh_from_db()
    assert setup.state == Setup.State.VERIFIED


@pytest.fixture
def eventful(transactional_db) -> Setup:
    """A setup with a long name, two revisions, readings that agree and one that does not."""
    setup = SetupFactory(
        name="The long autumn of carpet racing at the town hall, anticlockwise, with the softest tyres",
        tuning={"front_camber": -1.5, "pinion_teeth": 9.0, "spur_teeth": 44.0, "weight_fl": 40.0}
        | {"weight_fr": 42.0, "weight_rl": 50.0, "weight_rr": 48.0, "rear_spring": "x" * 80},
        notes="word " * 100 + "w" * 300,
    )
    content = content_of(verifying.standing_of(setup).revision)
    longer = setup.platform.positions.get(name="long")
    posting.post(replace(content, position=longer, notes="Shorter"), setup.author, setup)
    setup = Setup.objects.select_related("current").get()
    verifying.add(reading_for(setup, "front_width", 55.03))
    verifying.add(reading_for(setup, "wheelbase", 94.5, note="n" * 200))
    return setup


def test_every_page_of_a_setup_can_be_used_by_everybody_by_day_at_a_desk_and_by_night_in_the_pits(
    screen, eventful
):
    if screen.width < 600:
        screen.in_the_dark()
    screen.as_member(MemberFactory(steward=True))
    screen.open(eventful.get_absolute_url())
    for summary in screen.all("main details:not([open]) > summary"):
        screen.driver.execute_script("arguments[0].parentElement.open = true", summary)
    screen.assert_sound()
    for page in (
        f"/setups/{eventful.pk}/revisions/2/",
        f"/setups/{eventful.pk}/measure/wheelbase/",
        "/stewards/",
        f"/disputes/{Dispute.objects.get().pk}/",
    ):
        screen.open(page)


def test_a_setup_is_withdrawn_and_put_back_without_scripts(phone, eventful):
    phone.as_member(eventful.author).without_scripts()
    phone.open(eventful.get_absolute_url(), sound=False)
    phone.find("#withdraw ~ details summary").click()
    phone.fill(reason="Sold the car")
    phone.find(".reason-form .button").click()
    phone.wait(lambda: "Withdrawn by" in phone.text, "it was not withdrawn")
    phone.find("#withdraw ~ details summary").click()
    phone.fill(reason="Bought it back")
    phone.find(".reason-form .button").click()
    phone.wait(lambda: "The setup is back" in phone.text, "it was not put back")
    assert Setup.objects.get().state == Setup.State.DISPUTED
