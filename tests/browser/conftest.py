"""A headless Chromium that looks at the running site as a person at a desk or in the pits does.

``desktop`` (1280 × 900) and ``phone`` (390 × 844, touch) are screens on the live server. ``open`` already
checks what every page must be; a test goes on from there.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.servers.basehttp import WSGIRequestHandler
from django.db import OperationalError
from django.test import Client
from selenium.common.exceptions import WebDriverException
from selenium.webdriver import Chrome, ChromeOptions, ChromeService
from selenium.webdriver.common.by import By
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.wait import WebDriverWait

from club.models import Member

FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-dev-shm-usage",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
STILL = {"name": "prefers-reduced-motion", "value": "reduce"}
"""A page that glides to what is pressed would be pressed beside it."""
PATIENCE = 30.0
"""Seconds until a wait gives up: many, since a busy machine is no fault of the page."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)


class Screen:
    """One window on the site."""

    def __init__(self, driver: Chrome, site: str, width: int, height: int, touch: bool) -> None:
        self.driver, self.site = driver, site
        self._tell("Network.clearBrowserCookies")
        self._tell("Emulation.setScriptExecutionDisabled", value=False)
        self.in_the_light()
        self._measure(width, height, touch)
        driver.get("about:blank")
        driver.get_log("browser")

    def _measure(self, width: int, height: int, touch: bool) -> None:
        self.width, self.height = width, height
        self._tell("Emulation.setTouchEmulationEnabled", enabled=touch)
        self._tell(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=touch,
        )

    def _tell(self, command: str, **given: Any) -> None:
        self.driver.execute_cdp_cmd(command, given)

    # How the screen is

    def like_a_phone(self, phone: bool) -> Screen:
        """From now on of a phone's size, or of a desk's."""
        self._measure(*SIZES["phone" if phone else "desktop"])
        return self

    def in_the_light(self) -> Screen:
        """From now on, the person prefers light colours."""
        self._tell("Emulation.setEmulatedMedia", media="", features=[STILL])
        return self

    def in_the_dark(self) -> Screen:
        """From now on, the person prefers dark colours."""
        dark = {"name": "prefers-color-scheme", "value": "dark"}
        self._tell("Emulation.setEmulatedMedia", features=[STILL, dark])
        return self

    def without_scripts(self) -> Screen:
        """From the next page on, no script runs."""
        self._tell("Emulation.setScriptExecutionDisabled", value=True)
        return self

    def as_member(self, member: Member) -> Screen:
        """Signed in as ``member``, without the form."""
        client = Client()
        client.force_login(member)
        name = settings.SESSION_COOKIE_NAME
        self._tell(
            "Network.setCookie", name=name, value=client.cookies[name].value, url=self.site, httpOnly=True
        )
        return self

    # What a person does

    def open(self, address: str, sound: bool = True) -> Screen:
        """Go to ``address`` (a path); with ``sound``, check the page that comes, but for what axe-core finds:
        ``test_every_page`` has it look at each."""
        self.driver.get_log("browser")  # what earlier pages said is done with
        self.driver.get(self.site + address)
        if sound:
            self.assert_well_made()
        return self

    def find(self, selector: str) -> WebElement:
        """The first element of the CSS ``selector``, waited for."""
        return self.wait(lambda: self.all(selector), f"nothing on the page is {selector!r}")[0]

    def all(self, selector: str) -> list[WebElement]:
        return self.driver.find_elements(By.CSS_SELECTOR, selector)

    def link(self, text: str) -> WebElement:
        """The link whose words contain ``text``, waited for."""
        found = lambda: self.driver.find_elements(By.PARTIAL_LINK_TEXT, text)  # noqa: E731
        return self.wait(found, f"no link says {text!r}")[0]

    def fill(self, **fields: str) -> Screen:
        """Type into form fields by their names, in place of what is there."""
        for name, text in fields.items():
            field = self.find(f"[name={name}]")
            field.clear()
            field.send_keys(text)
        return self

    def press(self, words: str) -> Screen:
        """Press the button in the page's main part that says ``words``, and wait for the page that comes."""
        button = self.driver.find_element(
            By.XPATH, f"//main//*[self::button or @role='button'][normalize-space()={words!r}]"
        )
        return self.leave_by(button)

    def leave_by(self, element: WebElement) -> Screen:
        """Click ``element`` and wait until another page has come in place of this one."""
        self.driver.execute_script("window.isThePageBefore = true")
        element.click()
        self.wait(
            lambda: self.driver.execute_script(
                "return !window.isThePageBefore && document.readyState === 'complete'"
            ),
            "no other page came",
        )
        return self

    def wait(self, condition: Callable[[], Any], otherwise: str) -> Any:
        """What ``condition`` gives once it is true of the page, asked again while that changes, or while the
        site writes into the database that both share."""
        moving = [WebDriverException, OperationalError]
        patient = WebDriverWait(self.driver, PATIENCE, 0.05, ignored_exceptions=moving)
        return patient.until(lambda _: condition(), otherwise)

    # What a person sees

    @property
    def text(self) -> str:
        """The words in the page's main part, as shown."""
        return self.find("main").text

    @property
    def path(self) -> str:
        """Address of the page without the site's."""
        return self.driver.current_url.removeprefix(self.site)

    def picture(self, place: Path) -> None:
        """A PNG of the whole page at ``place``."""
        import base64

        shot = self.driver.execute_cdp_cmd("Page.captureScreenshot", {"captureBeyondViewport": True})
        place.write_bytes(base64.b64decode(shot["data"]))

    # What every page must be

    def assert_sound(self, quiet: bool = True) -> None:
        """Well made, and nothing that axe-core finds."""
        self.assert_well_made(quiet)
        self.assert_accessible()

    def assert_well_made(self, quiet: bool = True) -> None:
        """A quiet console, nothing wider than the screen, one main heading."""
        if quiet:
            self.assert_quiet()
        self.assert_not_wider()
        assert len(self.all("h1")) == 1, f"{self.path} has {len(self.all('h1'))} main headings, not one"

    def assert_quiet(self) -> None:
        errors = [entry["message"] for entry in self.driver.get_log("browser") if entry["level"] == "SEVERE"]
        assert errors == [], f"{self.path} has errors in the console"

    def assert_not_wider(self) -> None:
        width = self.driver.execute_script("return document.documentElement.scrollWidth")
        if width > self.width:
            wide = self.driver.execute_script(
                "return [...document.body.querySelectorAll('*')]"
                ".filter(e => e.getBoundingClientRect().right > arguments[0] + 0.5)"
                ".slice(0, 5).map(e => e.outerHTML.slice(0, 120))",
                self.width,
            )
            raise AssertionError(f"{self.path} is {width} px wide on a screen of {self.width}: {wide}")

    def assert_accessible(self) -> None:
        """What axe-core can tell of WCAG 2.2 A and AA (contrast, names, roles, target size) holds. Of what
        looks alike (the rows of a list) two are looked at."""
        # No rule that these tags bring reads style sheets; one asks how long a sound is.
        self._refuse(self._axe({"runOnly": WCAG, "preload": {"assets": ["media"]}}))

    def assert_contrast(self) -> None:
        """Words stand out from what they are on; of what looks alike two are looked at."""
        self._refuse(self._axe({"runOnly": ["color-contrast"], "preload": False}))

    def _axe(self, options: dict[str, Any]) -> list[dict[str, Any]]:
        if not self.driver.execute_script("return !!window.axe"):
            self.driver.execute_script(AXE)
        return self.driver.execute_async_script(  # type: ignore[no-any-return]
            f"const [options, done] = arguments; {MARK_ALIKE}"
            "axe.run({exclude: [['[data-seen-twice]']]}, {resultTypes: ['violations'], ...options})"
            ".then(result => done(result.violations), error => done([{id: String(error), nodes: []}]))"
            ".then(() => document.querySelectorAll('[data-seen-twice]')"
            ".forEach(e => delete e.dataset.seenTwice));",
            options,
        )

    def _refuse(self, found: list[dict[str, Any]]) -> None:
        said = [
            f"{violation['id']}: {node['html'][:160]} {node.get('failureSummary', '')}"
            for violation in found
            for node in violation["nodes"][:3] or [{"html": ""}]
        ]
        assert said == [], f"{self.path} cannot be used by everybody"


def _axe() -> str:
    """The engine's script; the package that brings it is not imported, only read."""
    spec = find_spec("axe_playwright_python")
    assert spec is not None
    assert spec.origin is not None
    return (Path(spec.origin).parent / "axe.min.js").read_text(encoding="utf-8")


AXE = _axe()
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
MARK_ALIKE = """
const like = e => `${e.tagName}.${e.getAttribute('class') || ''}`;
const seen = new Map();
(function visit(e) {
    for (const child of e.children) {
        if (e.children.length > 1 && child.textContent.trim()) {
            const within = [...new Set([...child.querySelectorAll('*')].map(like))];
            const looks = [like(e), like(child), ...within].join(' ');
            seen.set(looks, (seen.get(looks) || 0) + 1);
            if (seen.get(looks) > 2) { child.dataset.seenTwice = ''; continue; }
        }
        visit(child);
    }
})(document.body);
"""
"""Marks what has the same parent and the same things in it, by tags and classes, as two before it."""


def start_chromium(profile: Path) -> Chrome:
    """A headless Chromium that keeps what it keeps in the folder ``profile``."""
    programs = shutil.which("chromium"), shutil.which("chromedriver")
    assert all(programs), "Chromium and its driver are needed: apt-get install chromium chromium-driver"
    options = ChromeOptions()
    options.binary_location = programs[0]
    for flag in (*FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = Chrome(options=options, service=ChromeService(programs[1]))
    driver.set_page_load_timeout(60)
    driver.set_script_timeout(60)
    return driver


@pytest.fixture(scope="session")
def one_request_a_connection() -> Iterator[None]:
    """A connection that the browser kept would keep a thread of the server, and that the database."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(WSGIRequestHandler, "protocol_version", "HTTP/1.0")
        yield


@pytest.fixture(scope="session")
def chromium(tmp_path_factory: pytest.TempPathFactory, one_request_a_connection: None) -> Iterator[Chrome]:
    """One browser a test process, with a profile of its own."""
    driver = start_chromium(tmp_path_factory.mktemp("chromium"))
    yield driver
    driver.quit()


SIZES = {"desktop": (1280, 900, False), "phone": (390, 844, True)}


def _screen(name: str, chromium: Chrome, site: str) -> Iterator[Screen]:
    yield Screen(chromium, site, *SIZES[name])
    chromium.get("about:blank")  # what the page still asks for ends before its database does


@pytest.fixture
def desktop(chromium: Chrome, live_server: Any) -> Iterator[Screen]:
    """A window of 1280 × 900 on the live server."""
    yield from _screen("desktop", chromium, live_server.url)


@pytest.fixture
def phone(chromium: Chrome, live_server: Any) -> Iterator[Screen]:
    """A phone's screen of 390 × 844, with touch, on the live server."""
    yield from _screen("phone", chromium, live_server.url)


@pytest.fixture(params=list(SIZES))
def screen(request: pytest.FixtureRequest, chromium: Chrome, live_server: Any) -> Iterator[Screen]:
    """Each of the two in turn."""
    yield from _screen(request.param, chromium, live_server.url)


@pytest.fixture
def dark(screen: Screen) -> bool:
    """A desk by day, a phone in the pits by night: each size and each scheme of colours is looked at once."""
    return screen.width < 600
