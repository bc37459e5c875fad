"""A member signs in and out in a real browser."""

from __future__ import annotations

from tests.factories import PASSWORD, MemberFactory


def test_a_member_signs_in_and_out(screen, dark):
    if dark:
        screen.in_the_dark()
    MemberFactory(username="ada", display_name="Ada")
    screen.open("/account/sign-in/")
    screen.fill(login="ada", password="not it").press("Sign in").assert_sound()
    assert "You are not signed in" in screen.text
    assert screen.find("[name=login]").get_attribute("value") == "ada"

    screen.fill(password=PASSWORD).press("Sign in")
    assert screen.path == "/"
    assert screen.find(".masthead-who").text == "Ada"

    screen.open("/account/sign-out/")
    assert "You are signed in as Ada" in screen.text
    screen.press("Sign out")
    assert screen.path == "/"
    assert screen.all(".masthead-who") == []


def test_signing_in_needs_no_script(phone):
    MemberFactory(username="ada")
    phone.without_scripts()
    phone.open("/account/sign-in/", sound=False)
    phone.fill(login="ada", password=PASSWORD)
    phone.find("main button").click()
    phone.wait(lambda: phone.path == "/", "signing in led nowhere")
    assert phone.find(".masthead-who").is_displayed()


def test_a_page_that_is_not_there_offers_a_way_on(screen):
    screen.open("/no/such/page/", sound=False)
    screen.assert_not_wider()
    screen.assert_accessible()
    screen.leave_by(screen.find("main a.button"))
    assert screen.path == "/"
