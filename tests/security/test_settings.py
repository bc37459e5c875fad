"""What the settings make of a production environment: cookies, HSTS and how passwords are kept."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings

pytestmark = pytest.mark.one_database

ASKED = """
import json, django
from django.conf import settings
django.setup()
from django.contrib.auth.hashers import make_password
from django.test import Client
from club.cookies import InCookie
from club.reader import UNITS_COOKIE
from club.replicas import COOKIE
here = {"HTTP_HOST": "localhost", "HTTP_X_FORWARDED_PROTO": "https"}
answer = Client().get("/health/live/", **here)
print(json.dumps({
    "hsts": answer.get("Strict-Transport-Security"),
    "names": [settings.SESSION_COOKIE_NAME, settings.CSRF_COOKIE_NAME, settings.LANGUAGE_COOKIE_NAME,
              InCookie.cookie_name, UNITS_COOKIE, COOKIE],
    "same_site": [settings.SESSION_COOKIE_SAMESITE, settings.CSRF_COOKIE_SAMESITE],
    "http_only": [settings.SESSION_COOKIE_HTTPONLY, settings.CSRF_COOKIE_HTTPONLY],
    "domains": [settings.SESSION_COOKIE_DOMAIN, settings.CSRF_COOKIE_DOMAIN],
    "password": make_password("four quiet laps indoors"),
    "debug": settings.DEBUG,
}))
"""


def told(**environment: str) -> dict[str, Any]:
    """What a new process with ``environment`` says of itself."""
    done = subprocess.run(
        [sys.executable, "-c", ASKED],
        cwd=Path(settings.BASE_DIR),
        env={"PATH": os.environ["PATH"], "DJANGO_SETTINGS_MODULE": "club.settings", "SECRET_KEY": "x" * 50}
        | {"DATABASE_URL": "sqlite:///:memory:", "DEBUG": "False"}
        | environment,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def production() -> dict[str, Any]:
    return told(HTTPS="True", SECURE_HSTS_SECONDS="31536000", SECURE_HSTS_SUBDOMAINS="True")


def test_browsers_insist_on_https_for_a_year_and_on_all_names_where_the_club_says_so(production):
    assert production["hsts"] == "max-age=31536000; includeSubDomains"


def test_every_cookie_keeps_to_its_host_and_out_of_reach_of_scripts_and_other_sites(production):
    assert [name for name in production["names"] if not name.startswith("__Host-")] == []
    assert len(set(production["names"])) == 6
    assert production["same_site"] == ["Lax", "Lax"]
    assert production["http_only"] == [True, True]
    assert production["domains"] == [None, None]
    assert production["debug"] is False


def test_without_https_no_cookie_asks_for_what_a_browser_would_refuse():
    assert not any(name.startswith("__Host-") for name in told(HTTPS="False")["names"])


def test_passwords_are_kept_by_a_slow_hash(production):
    """OWASP's password storage cheat sheet asks PBKDF2 with SHA-256 for 600 000 rounds or more."""
    algorithm, rounds, _salt, _hash = production["password"].split("$")
    assert algorithm == "pbkdf2_sha256"
    assert int(rounds) >= 600_000
