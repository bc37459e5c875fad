"""Every log line says which request it belongs to, and an answer says which request it was."""

from __future__ import annotations

import json
import logging

import pytest
from django.conf import settings
from django.http import HttpResponse
from django.test import RequestFactory
from pythonjsonlogger.json import JsonFormatter

from club.logs import RequestId, Traced


@pytest.fixture
def lines():
    """What is logged, as the site's JSON lines."""
    kept: list[str] = []
    handler = logging.Handler()
    handler.setFormatter(JsonFormatter(settings.LOGGING["formatters"]["json"]["format"]))
    handler.addFilter(RequestId())
    handler.emit = lambda record: kept.append(handler.format(record))
    root = logging.getLogger()
    requests = logging.getLogger("club.requests")
    level = requests.level
    root.addHandler(handler)
    requests.setLevel(logging.INFO)
    yield kept
    requests.setLevel(level)
    root.removeHandler(handler)


def visited(view, **headers):
    return Traced(view)(RequestFactory().get("/parts/?q=secret", **headers))


def test_a_request_keeps_the_id_that_its_proxy_gave(lines):
    def view(_):
        logging.getLogger("club").warning("something odd")
        return HttpResponse("well")

    answer = visited(view, HTTP_X_REQUEST_ID="proxy-0123456789")

    odd, request = map(json.loads, lines)
    assert answer["X-Request-ID"] == odd["request_id"] == request["request_id"] == "proxy-0123456789"
    assert (request["path"], request["status"], request["levelname"]) == ("/parts/", 200, "INFO")
    assert "secret" not in "".join(lines)


@pytest.mark.parametrize("given", ["", "short", "two words here", "x" * 65, "line\nbreak-0123"])
def test_an_id_that_is_not_sane_is_replaced(lines, given):
    answer = visited(lambda _: HttpResponse(), HTTP_X_REQUEST_ID=given)

    assert answer["X-Request-ID"] != given
    assert len(answer["X-Request-ID"]) == 32


def test_a_failure_is_logged_as_one(lines):
    visited(lambda _: HttpResponse(status=503))

    assert json.loads(lines[0])["levelname"] == "ERROR"
