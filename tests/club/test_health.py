"""A load balancer learns whether the site can answer."""

from __future__ import annotations

import pytest
from django.db import OperationalError, connection


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
def test_health_is_only_read(client):
    assert client.post("/health/").status_code == 405
