"""The body page beside what it cannot do without: solving the body, and the rows that it needs.

Run with ``pytest tests/benchmarks/test_body_page_speed.py --benchmark-only -o addopts=``, on PostgreSQL with
``DATABASE_URL``. Each benchmark notes the number of queries.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client

from setups.models import Body
from setups.services.fitting import platforms_for, solved
from setups.translate import body_of, shelf_for
from setups.views.fit import PAGE

BODY = "Siskin Saloon"


def page(client: Client) -> bytes:
    """The body's page, whole, as a visitor gets it."""
    answer = client.get(Body.objects.only("slug").get(name=BODY).get_absolute_url())
    assert answer.status_code == 200
    return answer.content


def asked_by(act: Callable[[], Any]) -> list[tuple[str, Any]]:
    """The queries of ``act`` with their parameters."""
    asked = []

    def note(execute, sql, params, many, context):
        asked.append((sql, params))
        return execute(sql, params, many, context)

    with connection.execute_wrapper(note):
        act()
    return asked


@pytest.mark.usefixtures("demo_loaded")
@pytest.mark.django_db
class TestTheBodyPage:
    def test_whole(self, benchmark, client):
        page(client)  # templates are read once a process
        benchmark.extra_info["queries"] = len(asked_by(lambda: page(client))) - 1
        assert BODY.encode() in benchmark(page, client)

    def test_its_solving_alone(self, benchmark):
        row = Body.objects.prefetch_related("dimensions", "part_rules").get(name=BODY)
        platforms = list(platforms_for(row))
        shelf, needs = shelf_for(platforms, row), body_of(row)
        found = benchmark(lambda: solved(platforms, shelf, needs, limit=PAGE + 1))
        benchmark.extra_info |= {
            "platforms": len(found),
            "combinations": sum(one.solution.combinations for one in found),
            "fitting": sum(one.solution.fitting for one in found),
            "queries": len(asked_by(lambda: solved(platforms, shelf, needs, limit=PAGE + 1))),
        }
        assert found[0].best

    def test_its_sql_alone(self, benchmark, client):
        asked = asked_by(lambda: page(client))[1:]  # the first one looked the address up

        def rows() -> int:
            with connection.cursor() as cursor:
                count = 0
                for sql, params in asked:
                    cursor.execute(sql, params)
                    count += len(cursor.fetchall())
                return count

        assert benchmark(rows) > 100
        benchmark.extra_info["queries"] = len(asked)
