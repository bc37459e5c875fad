"""A member turns the second factor on and signs in with its codes; pyotp makes them (RFC 6238)."""

from __future__ import annotations

import time

import pyotp
from django.test import Client

from tests.club.test_second_factor import code_of, with_factor
from tests.factories import PASSWORD, MemberFactory


def next_code(app: pyotp.TOTP, after: str) -> str:
    """The code of ``app``, waited for if the last one is still shown."""
    while (code := app.now()) == after:
        time.sleep(0.2)
    return code


def test_a_member_turns_it_on_and_signs_in_with_a_code_and_a_recovery_code(phone):
    MemberFactory(username="ada", display_name="Ada")
    phone.open("/account/sign-in/").fill(login="ada", password=PASSWORD).press("Sign in")
    phone.open("/account/")
    phone.leave_by(phone.link("Second factor")).assert_sound()
    phone.leave_by(phone.link("Turn it on"))
    phone.fill(password=PASSWORD).press("Go on").assert_sound()
    picture = phone.find(".account-qr")
    assert phone.driver.execute_script("return arguments[0].naturalWidth", picture) > 100
    app = pyotp.TOTP(phone.find(".token-secret").text.replace(" ", ""))
    phone.fill(code="12 34").press("Turn it on").assert_sound()
    assert "That code is not right" in phone.text
    first = app.now()
    phone.fill(code=first).press("Turn it on").assert_sound()
    spare = [one.text for one in phone.all(".account-codes code")]
    assert len(spare) == 10
    phone.leave_by(phone.link("I have kept them")).assert_sound()
    assert "The second factor is on" in phone.text

    phone.open("/account/sign-out/").press("Sign out")
    phone.open("/account/sign-in/").fill(login="ada", password=PASSWORD).press("Sign in").assert_sound()
    assert phone.path == "/account/sign-in/code/"
    phone.fill(code=first).press("Sign in").assert_sound()
    assert "it was used already" in phone.text
    phone.fill(code=next_code(app, after=first)).press("Sign in")
    assert phone.find(".masthead-who").text == "Ada"

    phone.open("/account/sign-out/").press("Sign out")
    phone.open("/account/sign-in/").fill(login="ada", password=PASSWORD).press("Sign in")
    phone.fill(code=spare[4]).press("Sign in")
    assert phone.find(".masthead-who").text == "Ada"


def test_signing_in_with_a_code_needs_no_script(phone):
    with_factor()
    phone.without_scripts()
    phone.open("/account/sign-in/", sound=False)
    phone.fill(login="ada", password=PASSWORD).find("main .account button").click()
    phone.wait(lambda: phone.path == "/account/sign-in/code/", "no page asks for the code")
    phone.fill(code=code_of()).find("main .account button").click()
    phone.wait(lambda: phone.all(".masthead-who"), "the code led nowhere")


def test_a_member_ends_what_is_signed_in_elsewhere(screen):
    MemberFactory(username="ada")
    other = Client(headers={"User-Agent": "a browser of the hall/1.0 " + "with a long name " * 9})
    other.post("/account/sign-in/", {"login": "ada", "password": PASSWORD}, REMOTE_ADDR="2001:db8:1:2:3::4")
    screen.open("/account/sign-in/").fill(login="ada", password=PASSWORD).press("Sign in")
    screen.open("/account/sign-ins/").assert_sound()
    assert "2001:db8:1:2::…" in screen.text
    screen.press("End all others")
    screen.fill(password=PASSWORD).press("Go on").assert_sound()
    assert "1 other sign-in has ended." in screen.text
    assert other.get("/account/").status_code == 302
