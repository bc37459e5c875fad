"""Pages that were looked at open without a signal, on the device of who looked at them and nobody else's."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import suppress
from datetime import timedelta
from typing import Any
from urllib.parse import urlsplit

import pytest
from allauth.usersessions.models import UserSession
from django.conf import settings
from django.utils import timezone
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By

from club.models import Chassis, Member
from setups.models import Body
from tests.browser.conftest import SIZES, Screen
from tests.club.race_days import race_day
from tests.factories import PASSWORD, MemberFactory, full_catalogue

pytestmark = pytest.mark.one_database


class Signal:
    """A way to the site that can be cut: a worker has connections of its own, which cutting a page off does
    not reach. At another port it is another origin too, so that nothing stays for other tests."""

    def __init__(self, site: str) -> None:
        there = urlsplit(site)
        self._site = (there.hostname, there.port)
        self._open: list[socket.socket] = []
        self._listening = socket.create_server(("localhost", 0))
        self.port = self._listening.getsockname()[1]
        self.there = True
        threading.Thread(target=self._answer, daemon=True).start()

    def cut(self) -> None:
        self.there = False
        for one in self._open:
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)

    def restore(self) -> None:
        self.there = True

    def close(self) -> None:
        self.cut()
        self._listening.close()

    def _answer(self) -> None:
        with suppress(OSError):
            while True:
                near, _address = self._listening.accept()
                if not self.there:
                    near.close()
                    continue
                far = socket.create_connection(self._site)
                self._open += [near, far]
                for one, other in ((near, far), (far, near)):
                    threading.Thread(target=self._pass_on, args=(one, other), daemon=True).start()

    def _pass_on(self, one: socket.socket, other: socket.socket) -> None:
        with suppress(OSError):
            while self.there and (data := one.recv(65536)):
                other.sendall(data)
        for end in (one, other):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)


@pytest.fixture
def signal(live_server: Any) -> Iterator[Signal]:
    made = Signal(live_server.url)
    yield made
    made.close()


@pytest.fixture
def pocket(chromium: Chrome, signal: Signal, settings: Any) -> Iterator[Screen]:
    """A phone on the site by way of ``signal``, which keeps pages."""
    settings.OFFLINE_PAGES = True
    screen = Screen(chromium, f"http://localhost:{signal.port}", *SIZES["phone"])
    yield screen
    chromium.get("about:blank")
    chromium.execute_cdp_cmd("Storage.clearDataForOrigin", {"origin": screen.site, "storageTypes": "all"})


def kept(screen: Screen) -> list[str]:
    """Addresses of the pages on the device."""
    return screen.driver.execute_async_script(  # type: ignore[no-any-return]
        "const done = arguments[0]; (async () => { const found = [];"
        "for (const name of await caches.keys()) if (name.startsWith('kept-'))"
        " for (const one of await (await caches.open(name)).keys()) found.push(new URL(one.url).pathname);"
        "done(found); })()"
    )


def open_and_keep(screen: Screen, path: str) -> None:
    screen.open(path)
    screen.wait(lambda: path.partition("?")[0] in kept(screen), f"{path} was not kept")


def sign_in(screen: Screen, member: Member) -> None:
    screen.open("/account/sign-in/", sound=False)
    screen.fill(login=member.username, password=PASSWORD)
    screen.press("Sign in")


def notice(screen: Screen) -> str:
    return " ".join(one.text for one in screen.all("[data-as-of]"))


def test_a_body_opens_without_a_signal_and_says_of_when_it_is(pocket, signal):
    full_catalogue()
    body = Body.objects.order_by("pk")[0]
    open_and_keep(pocket, body.get_absolute_url())
    assert notice(pocket) == ""

    signal.cut()
    pocket.open(body.get_absolute_url(), sound=False)
    assert pocket.find("h1").text == body.name
    assert notice(pocket).startswith("No signal: this is the page as it was on ")
    pocket.assert_accessible()

    pocket.open("/platforms/", sound=False)
    assert pocket.find("h1").text == "No signal"
    assert [one.text for one in pocket.all(".offline-list a")] == [f"{body.name}: what it needs"]
    pocket.assert_not_wider()
    pocket.assert_accessible()
    pocket.leave_by(pocket.find(".offline-list a"))
    assert pocket.find("h1").text == body.name

    signal.restore()
    pocket.open(body.get_absolute_url())
    assert notice(pocket) == ""


def test_a_garage_and_the_event_in_hand_are_fetched_ahead_and_put_away_when_signed_out(pocket, signal):
    full_catalogue()
    member, other = MemberFactory(), MemberFactory()
    day = race_day()
    entry = day.enter_setup(7)
    type(entry).objects.filter(pk=entry.pk).update(member=member)
    chassis = Chassis.objects.create(member=member, name="Evening car", position=entry.revision.position)
    sign_in(pocket, member)
    open_and_keep(pocket, "/garage/")
    pocket.wait(lambda: f"/garage/chassis/{chassis.pk}/" in kept(pocket), "the chassis was not fetched")
    open_and_keep(pocket, day.event.get_absolute_url())
    pocket.wait(lambda: f"{entry.get_absolute_url()}sheet/" in kept(pocket), "the sheet was not fetched")
    pocket.open("/account/", sound=False)
    pocket.open("/account/tokens/", sound=False)

    signal.cut()
    pocket.open(f"/garage/chassis/{chassis.pk}/", sound=False)
    assert "Evening car" in pocket.text
    pocket.open("/account/", sound=False)
    assert pocket.find("h1").text == "No signal"
    assert not [one for one in kept(pocket) if one.startswith(("/account/", "/api/"))]

    signal.restore()
    pocket.open("/account/", sound=False)
    pocket.leave_by(pocket.driver.find_element(By.XPATH, "//main//button[normalize-space()='Sign out']"))
    pocket.wait(lambda: kept(pocket) == [], "pages were left when their reader signed out")
    sign_in(pocket, member)
    open_and_keep(pocket, "/garage/")
    pocket.as_member(other)
    pocket.open("/platforms/", sound=False)
    pocket.wait(lambda: kept(pocket) == [], "another member finds what was kept")
    signal.cut()
    pocket.open("/garage/", sound=False)
    assert pocket.find("h1").text == "No signal"


def test_what_is_kept_is_read_without_a_signal_after_the_sign_in_has_ended_idle(pocket, signal):
    member = MemberFactory()
    sign_in(pocket, member)
    open_and_keep(pocket, "/garage/")
    long_ago = timezone.now() - timedelta(hours=settings.SESSION_IDLE_HOURS + 1)
    assert UserSession.objects.filter(user=member).update(last_seen_at=long_ago) == 1

    signal.cut()
    pocket.open("/garage/", sound=False)
    assert pocket.find("h1").text == "My garage"
    assert notice(pocket).startswith("No signal: this is the page as it was on ")

    signal.restore()
    pocket.open("/garage/", sound=False)
    assert pocket.path == "/account/sign-in/?next=/garage/"


def test_a_form_and_a_search_say_that_there_is_no_signal(pocket, signal):
    full_catalogue()
    pocket.open("/")
    signal.cut()
    pocket.find("#q").send_keys("zz")
    pocket.wait(lambda: "No signal" in pocket.find(".trouble").text, "the search said nothing")
    signal.restore()
    pocket.find("#q").send_keys("z")
    pocket.wait(lambda: not pocket.all(".trouble"), "the trouble stayed")
    assert "zzz" in pocket.text
