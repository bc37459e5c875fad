"""The site as others see it: what docker-compose.yml starts, with the environment that it documents."""

from __future__ import annotations

import gc
import http.client
import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryFile
from typing import Any

import pytest
import yaml
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured

from club import serving
from club.keys import kept_key
from tests.outside import free_port, running

pytestmark = pytest.mark.one_database

ROOT = Path(settings.BASE_DIR)
HOST = "library.example.org"
SECURE = {"Host": HOST, "X-Forwarded-Proto": "https"}
COMPOSE: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
WEB = SERVICES["web"]


def environment(folder: Path, **given: str) -> dict[str, str]:
    """A server's environment: what docker-compose.yml sets, with its variables filled, and ``given``."""
    chosen = {"ALLOWED_HOSTS": HOST, "HTTPS": "True", "DEMO": "False", "SECRET_KEY": ""} | given
    filled = {
        name: re.sub(r"\$\{(\w+):-([^}]*)\}", lambda found: chosen.get(found[1], found[2]), value)
        for name, value in WEB["environment"].items()
    }
    return filled | {
        "PATH": f"{Path(sys.executable).parent}:{os.defpath}",
        "DATABASE_URL": f"sqlite:///{folder}/library.sqlite3",
        "SECRET_KEY_FILE": f"{folder}/secret-key",
        "STATIC_ROOT": f"{folder}/static",
    }


def federation() -> dict[str, str]:
    """What .env.federation says, as it stands there."""
    lines = (ROOT / ".env.federation").read_text().splitlines()
    return dict(line.split("=", 1) for line in lines if line and not line.startswith("#"))


def manage(environ: dict[str, str], *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=ROOT,
        env=environ,
        capture_output=True,
        text=True,
        timeout=120,
    )


def test_the_documented_environment_passes_djangos_deployment_checks(tmp_path):
    done = manage(environment(tmp_path), "check", "--deploy", "--fail-level", "INFO")
    assert done.returncode == 0, done.stderr


def test_the_deployment_checks_miss_https_where_it_is_off(tmp_path):
    done = manage(environment(tmp_path, HTTPS="False"), "check", "--deploy", "--fail-level", "WARNING")
    assert done.returncode == 1
    for name in ("SECURE_SSL_REDIRECT", "SESSION_COOKIE_SECURE", "CSRF_COOKIE_SECURE", "SECURE_HSTS_SECONDS"):
        assert name in done.stderr


def test_garbage_is_looked_for_among_what_requests_make_and_not_among_what_is_loaded():
    before = gc.get_threshold()
    try:
        serving.leave_what_is_loaded()
        assert gc.get_freeze_count() > 100_000
        assert len(gc.get_objects()) < 1000
    finally:
        gc.unfreeze()
        gc.set_threshold(*before)


def test_every_variable_that_compose_sets_is_one_that_something_reads():
    files = [(ROOT / f"club/{name}.py").read_text() for name in ("settings", "serving")]
    read_by = "".join(files + WEB["command"])
    for name in WEB["environment"]:
        assert name in read_by, name


def test_the_site_waits_for_a_well_database_that_keeps_its_rows():
    assert WEB["depends_on"]["db"] == {"condition": "service_healthy"}
    assert SERVICES["db"]["healthcheck"]["test"][1].startswith("pg_isready")
    kept = [mount.split(":")[0] for service in SERVICES.values() for mount in service["volumes"]]
    assert set(kept) == set(COMPOSE["volumes"])


def test_one_machine_starts_a_site_and_its_database_and_a_federation_the_rest_of_it():
    alone = {name for name, service in SERVICES.items() if "profiles" not in service}
    assert alone == {"db", "web"}
    assert {name: service["profiles"] for name, service in SERVICES.items() if name not in alone} == {
        "replica": ["federation"],
        "cache": ["federation"],
        "web2": ["federation"],
    }
    optional = {name for name, how in WEB["depends_on"].items() if how.get("required") is False}
    assert optional == set(WEB["depends_on"]) - alone, "what one machine does not start it does not wait for"


def test_a_federation_is_told_where_its_replica_and_its_cache_are():
    told = federation()
    assert told.pop("COMPOSE_PROFILES") == "federation"
    for name in told:
        assert f"${{{name}:-" in WEB["environment"][name], name
    for name in ("CACHE_URL", "REPLICA_URLS"):
        host = re.search(r"[@/]([a-z0-9]+):[0-9]+/", told[name])
        assert host is not None
        assert "federation" in SERVICES[host[1]]["profiles"]
    second = SERVICES["web2"]
    assert {key for key in WEB if second[key] != WEB[key]} == {"ports", "depends_on"}
    assert second["depends_on"] == {"web": {"condition": "service_healthy"}}, "who migrates the database"


def test_a_container_is_given_the_time_that_its_server_takes_to_stop():
    longest = int(federation()["DRAIN_SECONDS"]) + serving.graceful_timeout
    assert longest < int(WEB["stop_grace_period"].removesuffix("s"))


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """The port of a site started by docker-compose.yml's own command."""
    folder = tmp_path_factory.mktemp("site")
    environ = environment(folder)
    collected = manage(environ, "collectstatic", "--noinput", "-v", "0")
    assert collected.returncode == 0, collected.stderr
    port = free_port()
    command = [
        part.replace("$$", "$").replace("0.0.0.0:8000", f"127.0.0.1:{port}") for part in WEB["command"]
    ]
    with TemporaryFile() as log, running(command, port, environ, log):
        yield port


def ask(
    port: int, path: str, method: str = "GET", body: bytes | None = None, **headers: str
) -> tuple[http.client.HTTPResponse, str]:
    connected = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    connected.request(method, path, body, SECURE | {n.replace("_", "-"): v for n, v in headers.items()})
    answer = connected.getresponse()
    return answer, answer.read().decode()


def test_the_health_check_of_the_container_finds_the_site_well(site):
    check = [part.replace(":8000", f":{site}") for part in WEB["healthcheck"]["test"][1:]]
    check[0] = sys.executable
    said = ""
    for _ in range(WEB["healthcheck"]["retries"]):
        done = subprocess.run(check, capture_output=True, text=True, timeout=60)
        if done.returncode == 0:
            break
        said += done.stderr
    else:
        raise AssertionError(said)
    answer, text = ask(site, "/health/", Host="localhost", X_Forwarded_Proto="http")
    assert (answer.status, json.loads(text)["database"]) == (200, "ok")


def test_a_visitor_without_tls_is_sent_to_it(site):
    answer, _ = ask(site, "/account/sign-in/", X_Forwarded_Proto="http")
    assert (answer.status, answer.headers["Location"]) == (301, f"https://{HOST}/account/sign-in/")


def test_a_program_without_tls_is_refused_and_not_sent_on(site):
    answer, said = ask(site, "/api/v1/bodies/", X_Forwarded_Proto="http", Authorization="Bearer setups_x")
    assert (answer.status, answer.headers["Content-Type"]) == (403, "application/problem+json")
    assert "revoke it" in json.loads(said)["detail"]


def test_pages_are_served_with_secure_cookies_and_headers(site):
    answer, page = ask(site, "/account/sign-in/")
    assert answer.status == 200
    cookie = answer.headers["Set-Cookie"].split("; ")
    assert cookie[0].startswith("__Host-csrf=")
    assert {"HttpOnly", "Path=/", "SameSite=Lax", "Secure"} <= set(cookie)
    assert answer.headers["Strict-Transport-Security"] == "max-age=3600"
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    assert "Sign in" in page


def test_style_sheets_are_kept_by_browsers_under_names_that_change_with_them(site):
    _, page = ask(site, "/account/sign-in/")
    found = re.findall(r'href="(/static/club/[^"]+\.css)"', page)
    assert len(found) >= 3
    for address in found:
        assert re.search(r"\.[0-9a-f]{12}\.css$", address), address
        answer, _ = ask(site, address)
        assert answer.status == 200
        assert "immutable" in answer.headers["Cache-Control"]


def test_a_page_that_is_not_there_tells_nothing_of_the_code(site):
    answer, page = ask(site, "/no/such/page/")
    assert answer.status == 404
    assert "There is nothing at this address" in page
    assert "urlpatterns" not in page


def test_a_client_that_sends_ten_megabytes_hears_why_they_are_not_taken(site):
    for address in ("/account/sign-in/", "/api/v1/fit/"):
        answer, text = ask(site, address, "POST", b"a" * 10 * 1024 * 1024, Content_Type="application/json")
        assert answer.status == 413
        assert "in parts" in text


def test_a_key_is_made_once_and_only_its_owner_reads_it(tmp_path):
    place = tmp_path / "key"
    key = kept_key(place)
    assert len(key) >= 50
    assert kept_key(place) == key
    assert place.stat().st_mode & 0o077 == 0
    assert list(tmp_path.iterdir()) == [place]
    assert kept_key(tmp_path / "other") != key


def test_a_key_that_cannot_be_kept_says_what_to_set(tmp_path):
    with pytest.raises(ImproperlyConfigured, match="set SECRET_KEY in the environment"):
        kept_key(tmp_path / "no" / "folder" / "key")
    (tmp_path / "empty").touch()
    with pytest.raises(ImproperlyConfigured, match="remove it, or set SECRET_KEY"):
        kept_key(tmp_path / "empty")
