"""Members measure a body in a real browser, and one of them slips."""

from __future__ import annotations

from tests.factories import BodyFactory, MemberFactory


def test_members_measure_until_one_is_named_an_outlier_and_withdraws(desktop):
    body = BodyFactory(name="Test Shell", figures={"wheelbase": None})
    address = f"/bodies/{body.slug}/measure/wheelbase/"
    desktop.open(address)
    assert "nobody has measured it" in desktop.text
    assert "Sign in to measure" in desktop.text
    for name, value in (("Ada", "92.45"), ("Bo", "92.5"), ("Cy", "92.55"), ("Dot", "97")):
        desktop.as_member(MemberFactory(display_name=name)).open(address, sound=False)
        desktop.fill(value=value).press("Add it")
    desktop.assert_sound()
    assert "It lies outside what the other members agree on" in desktop.text
    assert "Dot is an outlier" in desktop.text
    assert len(desktop.all(".measure-outside")) == 1
    assert len(desktop.all(".measure-inside")) == 3

    desktop.leave_by(desktop.find(".measure-table form button"))
    desktop.assert_sound()
    assert "Dot is an outlier" not in desktop.text
    assert "All 3 members agree within their doubt." in desktop.text


def test_a_slip_of_the_keyboard_keeps_what_was_typed_and_needs_no_script(phone):
    body = BodyFactory()
    phone.as_member(MemberFactory())
    phone.without_scripts()
    phone.open(f"/bodies/{body.slug}/measure/wheelbase/", sound=False)
    phone.fill(value="9.24", note="both sides")
    phone.find("main form.measure-form button").click()
    phone.wait(lambda: "Nothing was saved yet" in phone.text, "the slip was not told")
    assert phone.find("[name=value]").get_attribute("value") == "9.24"
    assert phone.find("[name=note]").get_attribute("value") == "both sides"


def test_a_body_leads_to_its_measurements(phone):
    body = BodyFactory()
    phone.open(body.get_absolute_url(), sound=False)
    phone.leave_by(phone.find(".needs .measure-link"))
    assert phone.path == f"/bodies/{body.slug}/measure/wheelbase/"
    phone.assert_sound()
