"""Takes the README's pictures of a running demo: ``python -m tests.browser.pictures [ADDRESS]``.

Start the site with its demo first; ADDRESS is where it serves, http://localhost:8000 if left out.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "club.settings")
django.setup()

from tests.browser.conftest import Screen, start_chromium  # noqa: E402

FOLDER = Path(__file__).resolve().parents[2] / ".pictures"
PICTURES = [
    # name, path, width, height, dark
    ("find", "/", 1280, 800, False),
    ("body", "/bodies/brambling-touring-1-28/", 1280, 1270, False),
    ("setup", "/setups/", 1280, 1270, False),
    ("near-miss", "/bodies/pochard-truck-1-24/", 390, 1270, True),
]


def main(address: str) -> None:
    FOLDER.mkdir(exist_ok=True)
    with TemporaryDirectory() as profile:
        browser = start_chromium(Path(profile))
        try:
            for name, path, width, height, dark in PICTURES:
                screen = Screen(browser, address, width, height, touch=width < 600)
                if dark:
                    screen.in_the_dark()
                screen.open(path)
                if name == "setup":  # the one that is borne out best
                    screen.open(screen.find("#found h2 a, #found h3 a").get_dom_attribute("href"))
                browser.save_screenshot(str(FOLDER / f"{name}.png"))
        finally:
            browser.quit()


if __name__ == "__main__":
    main(sys.argv[1].rstrip("/") if len(sys.argv) > 1 else "http://localhost:8000")
