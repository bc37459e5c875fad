"""A load balancer learns whether the site can answer, and an operator what does not."""

from __future__ import annotations

import pytest
from django.db import OperationalError, connection

from club import views


@pytest.mark.django_db
def test_a_well_site_says_so_and_is_not_cached(client, django_assert_num_queries):
    with django_assert_num_queries(1):
        answer = client.get("/health/")
    assert (answer.status_code, answer.json()) == (200, {"status": "ok", "database": "ok"})
    assert "no-store" in answer["Cache-Control"]


@pytest.mark.django_db
def test_a_site_without_its_database_says_what_to_check(client):
    def gone(execute, sql, params, many, context):
        raise OperationalError('connection to server at "db.internal" failed: password "hush"')

    with connection.execute_wrapper(gone):
        answer = client.get("/health/")
    assert answer.status_code == 503
    assert answer.json()["database"] == "unreachable"
    assert "DATABASE_URL" in answer.json()["detail"]
    assert "hush" not in answer.content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize("address", ["/health/", "/health/live/", "/health/ready/"])
def test_health_is_only_read(client, address):
    assert client.post(address).status_code == 405


@pytest.fixture
def not_looked_at_yet(monkeypatch):
    monkeypatch.setattr(views, "_found", {})


@pytest.mark.django_db
def test_a_process_that_runs_says_so_and_asks_nothing(client, django_assert_num_queries):
    with django_assert_num_queries(0):
        answer = client.get("/health/live/")
    assert (answer.status_code, answer.json()) == (200, {"status": "ok"})


@pytest.mark.django_db
@pytest.mark.usefixtures("not_looked_at_yet")
def test_a_site_is_ready_once_all_that_it_stands_on_answers(client, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "made" / "later"
    answer = client.get("/health/ready/")
    well = {"status": "ok", "database": "ok", "cache": "ok", "photos": "ok"}
    assert (answer.status_code, answer.json()) == (200, well)
    assert "no-store" in answer["Cache-Control"]


@pytest.mark.django_db
@pytest.mark.usefixtures("not_looked_at_yet")
def test_a_site_without_a_place_for_photos_goes_on_and_says_so(client, settings, tmp_path):
    (tmp_path / "file").touch()
    settings.MEDIA_ROOT = tmp_path / "file"
    answer = client.get("/health/ready/")
    told = answer.json()
    assert (answer.status_code, told["status"], told["photos"]) == (200, "degraded", "failing")


@pytest.mark.django_db
def test_no_visitor_is_sent_to_a_server_that_stops_or_whose_database_is_away(client, monkeypatch):
    def gone(execute, sql, params, many, context):
        raise OperationalError("gone")

    with connection.execute_wrapper(gone):
        assert client.get("/health/ready/").status_code == 503
        assert client.get("/health/live/").status_code == 200, "nobody gains by starting it anew"

    monkeypatch.setattr(views, "draining", lambda: True)
    answer = client.get("/health/ready/")
    assert (answer.status_code, answer.json()["status"]) == (503, "draining")
    assert client.get("/health/").status_code == 200
