"""What cannot be answered is refused in words that say what to do, and never with a stack trace."""

from __future__ import annotations

import json

import pytest
from django.core.exceptions import BadRequest, PermissionDenied
from django.db import DataError
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.test import Client
from django.urls import include, path

from club import refusals
from setups.models import Maker
from tests.factories import MakerFactory

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.club.test_refusals")]

LARGE = 10 * 1024 * 1024


def _raise(exception: Exception):
    def view(request):
        raise exception

    return view


def _save(request):
    maker = MakerFactory()
    maker.name = json.loads(request.body)["name"]
    maker.save()
    return HttpResponse(Maker.objects.get(pk=maker.pk).name)


def _echo(request):
    return HttpResponse(repr((request.GET.dict(), request.POST.dict(), len(request.FILES))))


trial = [
    path("missing/", _raise(Http404("There is no body called Heron"))),
    path("missing-row/", _raise(Http404("No Body matches the given query."))),
    path("closed/", _raise(PermissionDenied("Only a librarian loads parts: ask one."))),
    path("closed-silently/", _raise(PermissionDenied())),
    path("bad/", _raise(BadRequest("Give the width in mm."))),
    path("broken/", _raise(RuntimeError("a secret of the code"))),
    path("driver/", _raise(DataError("PostgreSQL text fields cannot contain NUL (0x00) bytes"))),
    path("save/", _save),
    path("echo/", _echo),
    path("base/", lambda request: render(request, "base.html")),
]
handler400, handler403 = refusals.bad_request, refusals.not_allowed
handler404, handler500 = refusals.not_found, refusals.failed
urlpatterns = [
    path("trial/", include(trial)),
    path("api/trial/", include(trial)),
    path("", include("club.urls")),
]


@pytest.fixture
def visitor() -> Client:
    return Client(raise_request_exception=False)


REFUSED = [
    ("trial/missing/", 404, "There is no body called Heron"),
    ("trial/missing-row/", 404, "There is nothing at this address"),
    ("no/such/page/", 404, "There is nothing at this address"),
    ("trial/closed/", 403, "Only a librarian loads parts: ask one."),
    ("trial/closed-silently/", 403, "That is not open to you"),
    ("trial/bad/", 400, "Give the width in mm."),
    ("trial/broken/", 500, "The site made a mistake"),
    ("trial/driver/", 400, "characters in it that cannot be read"),
]


@pytest.mark.parametrize(("address", "status", "said"), REFUSED)
def test_a_person_gets_a_page_in_the_sites_look(visitor, address, status, said):
    answer = visitor.get("/" + address)
    page = answer.content.decode()
    assert answer.status_code == status
    assert answer["Content-Type"].startswith("text/html")
    assert said in page
    assert 'class="masthead"' in page
    for trace in ("Traceback", "a secret of the code", "URLconf", "No Body matches"):
        assert trace not in page


@pytest.mark.parametrize(("address", "status", "said"), REFUSED)
def test_a_program_gets_problem_details(visitor, address, status, said):
    answer = visitor.get("/api/" + address)
    problem = answer.json()
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.status_code == problem["status"] == status
    assert problem["title"]
    assert problem["detail"]
    assert "secret of the code" not in answer.content.decode()
    if status in (400, 403) and "closed-silently" not in address:
        assert said in problem["title"] + problem["detail"]


def test_the_page_of_a_mistake_needs_neither_database_nor_session(visitor, django_assert_num_queries):
    visitor.cookies["sessionid"] = "a" * 32
    with django_assert_num_queries(0):
        assert visitor.get("/trial/broken/").status_code == 500


@pytest.mark.parametrize(
    "sent",
    [
        {"data": b"a" * LARGE, "content_type": "text/csv"},
        {"data": b'{"name": "' + b"a" * LARGE + b'"}', "content_type": "application/json"},
        {"data": b"text=" + b"a" * LARGE, "content_type": "application/x-www-form-urlencoded"},
        {"data": {"text": "a" * LARGE}},
    ],
    ids=["csv", "json", "form", "upload"],
)
@pytest.mark.parametrize(
    "address", ["/trial/echo/", "/api/trial/echo/", "/", "/account/sign-in/", "/no/such/"]
)
def test_ten_megabytes_are_refused_with_the_limit(visitor, sent, address):
    answer = visitor.post(address, **sent)
    assert answer.status_code == 413
    assert "2.0" in answer.content.decode()
    assert "in parts" in answer.content.decode()


def test_a_length_that_is_no_number_is_no_mistake_of_the_site(visitor):
    assert visitor.post("/trial/echo/", CONTENT_LENGTH="ten").status_code == 200


def test_a_form_with_thousands_of_fields_is_refused_with_their_number(visitor):
    answer = visitor.post("/trial/echo/", {f"field{n}": "1" for n in range(2001)})
    assert answer.status_code == 400
    assert "Up to 2000 are taken" in answer.content.decode()


@pytest.mark.parametrize("address", ["/trial/echo/?q=a%00b", "/trial/echo/?q%00=a", "/trial/%00/", "/?q=%00"])
def test_a_nul_in_an_address_is_refused_in_words(visitor, address):
    answer = visitor.get(address)
    assert answer.status_code == 400
    assert "characters in it that cannot be read" in answer.content.decode()


@pytest.mark.parametrize(
    "sent",
    [
        {"data": {"name": "a\0b"}},
        {"data": b"name=a%00b", "content_type": "application/x-www-form-urlencoded"},
    ],
    ids=["upload", "form"],
)
def test_a_nul_in_a_form_is_refused_in_words(visitor, sent):
    assert visitor.post("/trial/echo/", **sent).status_code == 400


def test_half_a_character_pair_never_reaches_the_database(visitor):
    answer = visitor.post("/trial/save/", b'{"name": "\\ud800"}', content_type="application/json")
    assert answer.status_code == 400
    assert "characters in it that cannot be read" in answer.content.decode()


def test_a_nul_in_json_is_kept_or_refused_but_no_mistake_of_the_site(visitor):
    answer = visitor.post("/trial/save/", b'{"name": "a\\u0000b"}', content_type="application/json")
    assert (answer.status_code, "a\0b" in answer.content.decode()) in ((200, True), (400, False))


@pytest.mark.parametrize("text", ["Straße", "日本", "😀", "line\nbreak", "a\tb", "%2500", "\ufeffx"])
def test_every_other_text_passes(visitor, text):
    answer = visitor.get("/trial/echo/", {"q": text})
    assert answer.content.decode() == repr(({"q": text}, {}, 0))


def test_a_broken_upload_is_refused_in_words(visitor):
    answer = visitor.post("/trial/echo/", b"--x\r\nnot a part", content_type="multipart/form-data; boundary=")
    assert answer.status_code == 400
    assert 'class="masthead"' in answer.content.decode()


def test_a_host_that_is_not_the_sites_is_refused(visitor):
    assert visitor.get("/trial/base/", headers={"host": "evil.example"}).status_code == 400
