"""A newcomer signs up on the phone, forgets the password, and gets back in."""

from __future__ import annotations

import re

from django.core import mail

from tests.factories import PASSWORD, MemberFactory

NEW = "four quiet laps indoors"


def test_a_newcomer_signs_up_on_the_phone_signs_out_and_in_and_sets_a_new_password(phone):
    phone.open("/account/sign-in/")
    phone.leave_by(phone.link("I have no account yet")).assert_sound()
    phone.fill(username="wren", email="wren@example.org", password1="short").press("Sign up").assert_sound()
    assert "too short" in phone.text
    assert phone.find("[name=username]").get_attribute("value") == "wren"
    assert phone.find("[name=password1]").get_attribute("value") == ""
    phone.fill(password1=PASSWORD).press("Sign up").assert_sound()
    assert phone.path == "/members/wren/"
    assert phone.find(".masthead-who").text == "wren"

    phone.open("/account/sign-out/").press("Sign out")
    assert "You are signed out." in phone.text
    phone.open("/account/sign-in/").fill(login="wren", password=PASSWORD).press("Sign in")
    assert phone.find(".masthead-who").text == "wren"
    phone.open("/account/sign-out/").press("Sign out")

    phone.open("/account/sign-in/")
    phone.leave_by(phone.link("I have forgotten my password")).assert_sound()
    phone.fill(email="wren@example.org").press("Send the link").assert_sound()
    assert "Look into your mail" in phone.text
    phone.open(re.search(r"http://[^/]+(/account/\S+)", mail.outbox[-1].body)[1])
    phone.fill(password1=NEW, password2=NEW).press("Set the password").assert_sound()
    phone.leave_by(phone.find("main a.button"))
    phone.fill(login="wren", password=NEW).press("Sign in")
    assert phone.find(".masthead-who").text == "wren"


def test_too_many_wrong_passwords_are_told_with_the_time_to_wait(phone, settings):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed": "1/600s/key"}
    MemberFactory(username="ada")
    phone.open("/account/sign-in/")
    for _ in range(2):
        phone.fill(login="ada", password="not it").press("Sign in")
    assert "Wait 10 minutes" in phone.text
    phone.assert_not_wider()
    phone.assert_accessible()


def test_a_members_pages_suit_every_screen(desktop):
    member = MemberFactory(
        username="m" * 30, display_name="Wolfgang-Amadeus Featherstonehaugh-" * 2, steward=True
    )
    desktop.as_member(member)
    for address in (
        member.get_absolute_url(),
        "/account/",
        "/account/password/",
        "/account/e-mail/",
        "/account/confirm/",
    ):
        desktop.open(address)
    desktop.open("/account/")
    desktop.fill(display_name="Wolf").press("Save the name").assert_sound()
    assert "Others now see you as Wolf" in desktop.text
    assert desktop.find(".masthead-who").text == "Wolf"


def test_signing_up_needs_no_script(phone):
    phone.without_scripts()
    phone.open("/account/sign-up/", sound=False)
    phone.fill(username="wren", email="wren@example.org", password1=PASSWORD)
    phone.find("main button").click()
    phone.wait(lambda: phone.path == "/members/wren/", "signing up led nowhere")


def test_a_club_with_a_long_name_makes_no_page_wider_than_the_phone(phone, settings):
    settings.CLUB_NAME = "Modellrennsportgemeinschaft der Freunde kleiner Wagen von 1978 e. V."
    phone.open("/account/sign-in/").assert_not_wider()
    assert phone.find(".masthead-name").text.strip() == settings.CLUB_NAME
