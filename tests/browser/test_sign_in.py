"""A member signs in and out in a real browser."""

from __future__ import annotations

from tests.factories import PASSWORD, MemberFactory


def test_a_member_signs_in_and_out(desktop):
    MemberFactory(username="ada", display_name="Ada")
    desktop.open("/account/sign-in/")
    desktop.fill(login="ada", password="not it").press("Sign in").assert_sound()
    assert "You are not signed in" in desktop.text
    assert desktop.find("[name=login]").get_attribute("value") == "ada"

    desktop.fill(password=PASSWORD).press("Sign in")
    assert desktop.path == "/"
    assert desktop.find(".masthead-who").text == "Ada"

    desktop.open("/account/sign-out/")
    assert "You are signed in as Ada" in desktop.text
    desktop.press("Sign out")
    assert desktop.path == "/"
    assert desktop.all(".masthead-who") == []


def test_signing_in_needs_no_script(phone):
    MemberFactory(username="ada")
    phone.without_scripts()
    phone.open("/account/sign-in/", sound=False)
    phone.fill(login="ada", password=PASSWORD)
    phone.find("main button").click()
    phone.wait(lambda: phone.path == "/", "signing in led nowhere")
    assert phone.find(".masthead-who").is_displayed()


def test_a_page_that_is_not_there_offers_a_way_on(phone):
    phone.open("/no/such/page/", sound=False)
    phone.assert_not_wider()
    phone.assert_accessible()
    phone.leave_by(phone.find("main a.button"))
    assert phone.path == "/"
