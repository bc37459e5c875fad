"""A race day in a real browser: a list is loaded and checked, and cars are inspected without a signal."""

from __future__ import annotations

import base64

import pytest
from selenium.webdriver.common.by import By

from club.models import Clause, Event, Inspection
from tests.club.race_days import race_day
from tests.factories import MemberFactory, SetupFactory

A4, LETTER = (210 / 25.4, 297 / 25.4), (8.5, 11.0)


def signal(screen, there: bool) -> None:
    screen.driver.execute_cdp_cmd("Network.enable", {})
    screen.driver.execute_cdp_cmd(
        "Network.emulateNetworkConditions",
        {"offline": not there, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1},
    )


@pytest.fixture(autouse=True)
def forgetful(chromium, live_server):
    """What one test leaves on the phone is not there for the next."""
    yield
    kinds = "local_storage,cache_storage,service_workers"
    chromium.execute_cdp_cmd("Storage.clearDataForOrigin", {"origin": live_server.url, "storageTypes": kinds})


@pytest.fixture
def cut(phone):
    """The phone's connection, to be cut and restored; restored at the end whatever happens."""
    yield lambda: signal(phone, False)
    signal(phone, True)


def open_inspection(screen, car, sound: bool = True) -> None:
    """Open the inspector's page of a car, and wait until its worker has fetched what it keeps."""
    screen.open(f"{car.get_absolute_url()}inspect/", sound)
    screen.wait(
        lambda: screen.driver.execute_script("return 'stays' in document.documentElement.dataset"),
        "the page was not kept",
    )


def card(screen, clause: Clause):
    return screen.find(f"[data-card='{clause.pk}']")


def type_reading(screen, clause: Clause, text: str) -> None:
    field = card(screen, clause).find_element(By.CSS_SELECTOR, "[data-reading]")
    field.clear()
    field.send_keys(text)


def keep(screen, clause: Clause) -> None:
    button = card(screen, clause).find_element(By.CSS_SELECTOR, "[data-keep]")
    screen.driver.execute_script(
        "arguments[0].scrollIntoView({behavior: 'instant', block: 'center'}); arguments[0].click()", button
    )


def status(screen) -> str:
    return screen.find("[data-status]").text


def printed(screen, size: tuple[float, float]) -> int:
    """How many pages the page prints on, on paper of ``size`` inches; a page of a PDF is an object of it."""
    told = screen.driver.execute_cdp_cmd(
        "Page.printToPDF", {"paperWidth": size[0], "paperHeight": size[1], "printBackground": False}
    )
    pdf = base64.b64decode(told["data"])
    return pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") + pdf.count(b"/Type /Page/")


def test_a_director_writes_a_class_enters_cars_and_sees_the_problems_first(desktop):
    director, setup = MemberFactory(race_director=True), SetupFactory()
    desktop.as_member(director)
    desktop.open("/classes/new/").fill(name="Hall Coupés")
    desktop.leave_by(desktop.find("main form button.button"))
    day = race_day(director=director)
    desktop.open("/events/")
    desktop.leave_by(desktop.link("New event"))
    desktop.fill(name="Night Round", venue="The hall")
    desktop.driver.execute_script("document.querySelector('[name=date]').value = '2031-08-02'")
    desktop.driver.execute_script(f"document.querySelector('[name=race_{day.race_class.pk}]').click()")
    desktop.press("Save")
    event = Event.objects.get(name="Night Round")
    assert desktop.path == event.get_absolute_url()
    desktop.leave_by(desktop.link("Load a list"))
    rows = f"number,driver,setup\n7,Ada,{setup.pk}\n8,Bo,{setup.pk}x\n"
    desktop.fill(text=rows)
    desktop.press("Check it")
    desktop.assert_sound()
    assert "1 row to correct" in desktop.text
    assert "line 3" in desktop.text
    assert not event.entries.exists()
    desktop.fill(text=rows.replace("x\n", "\n"))
    desktop.press("Check again")
    desktop.press("Enter 2 cars")
    assert "2 cars are entered" in desktop.text
    ada = event.entries.get(number=7)
    day.find(ada, "2.1", "56.4")
    desktop.leave_by(desktop.link("Check all entries"))
    first = desktop.all("main table tbody tr")[0].text
    assert "Ada" in first
    assert "does not comply" in first
    desktop.leave_by(desktop.all("main table tbody tr th a")[0])
    assert "1 clause is not met" in desktop.text


def test_what_is_typed_without_a_signal_is_kept_on_the_phone_and_sent_once(phone, cut):
    day = race_day()
    car, other = day.enter_setup(7), day.enter(8, "Bo")
    width, rear, mass, number = (day.clause(one) for one in ("2.1", "2.2", "3.1", "5.1"))
    phone.as_member(day.director)
    open_inspection(phone, car)
    type_reading(phone, width, "55.05")
    assert "in the guard band, would fail" in card(phone, width).text
    keep(phone, width)
    phone.wait(lambda: "On record" in card(phone, width).text, "the record did not come back")
    assert "it fails, since it is not clearly inside" in card(phone, width).text
    phone.assert_sound()

    cut()
    type_reading(phone, rear, "54,95")
    keep(phone, rear)
    phone.wait(lambda: "No signal" in status(phone), "the loss of the signal was not noticed")
    assert "kept on this phone, not sent yet" in card(phone, rear).text
    type_reading(phone, mass, "5505")
    keep(phone, mass)
    phone.driver.execute_script("document.querySelector(\"#car option[data-number='8']\").selected = true")
    phone.driver.execute_script("document.querySelector('[data-other-car]').requestSubmit()")
    assert phone.find("[data-car-driver]").text == "Bo"
    yes = card(phone, number).find_element(By.CSS_SELECTOR, "[value=yes]")
    phone.driver.execute_script("arguments[0].click()", yes)
    keep(phone, number)
    assert "3 records kept on this phone" in status(phone)
    assert Inspection.objects.count() == 1

    signal(phone, True)
    phone.wait(lambda: Inspection.objects.count() == 3, "nothing was sent when the signal came back")
    phone.wait(lambda: "1 record was not taken" in status(phone), "the refusal was not told")
    stored = Inspection.objects.order_by("pk")
    assert [(one.entry, one.clause.number) for one in stored] == [(car, "2.1"), (car, "2.2"), (other, "5.1")]
    open_inspection(phone, car)
    assert "Check the unit" in card(phone, mass).text
    phone.assert_sound()
    assert Inspection.objects.count() == 3


def test_a_page_that_was_open_stays_on_the_phone(phone):
    """Its worker keeps page, style and script, so that it opens again without a signal."""
    day = race_day()
    car = day.enter_setup(7)
    open_inspection(phone.as_member(day.director), car, sound=False)
    kept = phone.driver.execute_async_script(
        "const done = arguments[0];"
        "const paths = asked => asked.map(one => new URL(one.url).pathname);"
        "caches.open('race-day').then(async kept => done(paths(await kept.keys())))"
    )
    assert f"{car.get_absolute_url()}inspect/" in kept
    assert any("scrutineering" in one for one in kept)
    assert any("events" in one and one.endswith(".css") for one in kept)


def test_a_record_whose_answer_was_lost_is_not_stored_twice(phone, cut):
    """The club stores it and the phone never hears so: it sends again, under the same key."""
    day = race_day()
    car, width = day.enter_setup(7), day.clause("2.1")
    phone.as_member(day.director)
    open_inspection(phone, car)
    phone.driver.execute_script(
        "const real = window.fetch; let lost = 0;"
        "window.fetch = async (...asked) => { const answer = await real(...asked);"
        " if (lost++ === 0) throw new TypeError('lost'); return answer; }"
    )
    type_reading(phone, width, "54.9")
    keep(phone, width)
    phone.wait(lambda: "No signal" in status(phone), "the loss was not noticed")
    assert Inspection.objects.count() == 1
    phone.driver.execute_script("document.querySelector('[data-send-now]').click()")
    phone.wait(lambda: "All is sent" in status(phone), "it was not sent again")
    assert Inspection.objects.count() == 1
    assert "On record" in card(phone, width).text


def test_what_one_inspector_kept_is_not_sent_under_another_s_name(phone, cut):
    day = race_day()
    car, width = day.enter_setup(7), day.clause("2.1")
    phone.as_member(day.director)
    open_inspection(phone, car)
    cut()
    type_reading(phone, width, "54.9")
    keep(phone, width)
    phone.wait(lambda: "not sent yet" in status(phone), "it was not kept")
    phone.driver.execute_cdp_cmd("Network.setBlockedURLs", {"urls": ["*/records/"]})
    signal(phone, True)
    open_inspection(phone.as_member(MemberFactory(race_director=True)), car, sound=False)
    phone.driver.execute_cdp_cmd("Network.setBlockedURLs", {"urls": []})
    phone.wait(lambda: "another inspector" in status(phone), "the other's record was not told")
    assert not Inspection.objects.exists()


def test_without_scripts_the_phone_s_page_is_a_plain_form(phone):
    day = race_day()
    car, width = day.enter_setup(7), day.clause("2.1")
    phone.as_member(day.director).without_scripts()
    phone.open(f"{car.get_absolute_url()}inspect/", sound=False)
    field = phone.find(f"[name=reading_{width.pk}]")
    field.send_keys("54.9")
    field.submit()
    assert phone.find("[role=status] .notice").text == "1 record stored."
    assert float(Inspection.objects.get().value) == 54.9


def test_a_sheet_fits_on_one_page_of_either_paper(desktop):
    day = race_day()
    for number in (7, 8):
        day.enter_setup(number)
    desktop.as_member(day.director).open(f"{day.event.get_absolute_url()}sheets/")
    assert printed(desktop, A4) == 2
    assert printed(desktop, LETTER) == 2
