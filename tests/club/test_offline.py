"""What a device may keep, whose it is, and what a phone is told when the site is put on its home screen."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import pytest
from django.conf import settings as site
from django.contrib.staticfiles import finders
from django.urls import reverse

from club.models import Chassis
from club.offline import KEPT, KINDS
from tests.club.race_days import race_day
from tests.club.visiting import sign_in
from tests.factories import PASSWORD, BodyFactory, MemberFactory

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


@pytest.fixture(autouse=True)
def pages_are_kept(settings):
    settings.OFFLINE_PAGES = True


class TestManifest:
    def test_it_names_the_club_and_pictures_that_are_there_in_their_size(self, client, settings):
        settings.CLUB_NAME = "Hall Nine Drivers"
        answer = client.get("/manifest.webmanifest")

        told = json.loads(answer.content)
        assert answer.headers["Content-Type"] == "application/manifest+json"
        assert (told["name"], told["short_name"]) == ("Hall Nine Drivers", "Hall Nine")
        assert client.get(told["start_url"]).status_code == 200
        assert {one["purpose"] for one in told["icons"]} == {"any", "maskable"}
        for one in told["icons"]:
            head = Path(finders.find(one["src"].removeprefix(site.STATIC_URL))).read_bytes()[:24]
            width, height = struct.unpack(">II", head[16:24])  # PNG, ISO/IEC 15948, 11.2.2
            assert f"{width}x{height}" == one["sizes"]

    def test_it_is_in_the_language_of_the_phone_s_owner(self, client):
        told = json.loads(client.get("/manifest.webmanifest", headers={"accept-language": "de"}).content)

        assert told["lang"] == "de"
        assert told["shortcuts"][0]["name"] == "Karosserie finden"

    def test_every_page_leads_to_it(self, client):
        assert f'<link rel="manifest" href="{reverse("manifest")}"' in client.get("/").content.decode()


class TestWhatIsKept:
    def test_a_body_is_and_a_list_is_not(self, client):
        body = BodyFactory()

        assert client.get(body.get_absolute_url()).headers["X-Keep"] == "body"
        assert "X-Keep" not in client.get("/").headers
        assert "X-Keep" not in client.get("/account/sign-in/").headers

    def test_an_account_a_form_s_answer_a_fragment_and_the_interface_are_not(self, client):
        client.force_login(MemberFactory())
        body = BodyFactory()

        for path in ("/account/", "/account/tokens/", "/garage/parts/add/", "/api/v1/bodies/"):
            assert "X-Keep" not in client.get(path).headers, path
        assert "X-Keep" not in client.post("/garage/parts/add/", {}).headers
        asked = client.get(f"{body.get_absolute_url()}check/", headers={"HX-Request": "true"})
        assert "X-Keep" not in asked.headers

    def test_a_page_says_for_whom_and_how_it_was_made_and_no_cache_keeps_it(self, client):
        body, member = BodyFactory(), MemberFactory()
        assert client.get(body.get_absolute_url()).headers["X-Reader"] == "0 en-gb mm"

        client.force_login(member)
        client.cookies[site.LANGUAGE_COOKIE_NAME], client.cookies["units"] = "de", "inch"
        answer = client.get(body.get_absolute_url())

        assert answer.headers["X-Reader"] == f"{member.pk} de inch"
        assert "no-store" in answer.headers["Cache-Control"]

    def test_a_club_can_have_phones_keep_nothing(self, client, settings):
        settings.OFFLINE_PAGES = False
        answer = client.get(BodyFactory().get_absolute_url())

        assert "X-Keep" not in answer.headers
        assert "data-worker" not in answer.content.decode()

    def test_every_kind_has_its_bounds(self):
        assert set(KEPT.values()) == set(KINDS)


class TestFetchedAhead:
    def test_a_garage_s_pages_are_its_owner_s_and_open(self, client):
        member, other = MemberFactory(), MemberFactory()
        position = race_day().enter_setup(7).revision.position
        mine = Chassis.objects.create(member=member, name="Mine", position=position)
        Chassis.objects.create(member=other, name="Theirs", position=position)
        client.force_login(member)
        assert client.get("/garage/").headers["X-Keep-Also"] == "/garage/pages.json"

        told = client.get("/garage/pages.json").json()["pages"]

        assert f"/garage/chassis/{mine.pk}/" in told
        assert len([one for one in told if one.endswith("/fits/")]) == 1
        assert {client.get(one).headers.get("X-Keep") for one in told} == {"garage"}

    def test_an_event_s_pages_open_to_its_driver_and_none_is_refused(self, client):
        day, member = race_day(), MemberFactory()
        mine, other = day.enter_setup(7), day.enter(8, "Bo")
        type(mine).objects.filter(pk=mine.pk).update(member=member)
        client.force_login(member)

        told = client.get(f"{day.event.get_absolute_url()}pages.json").json()["pages"]

        assert f"{mine.get_absolute_url()}sheet/" in told
        assert other.get_absolute_url() in told
        assert {client.get(one).headers.get("X-Keep") for one in told} == {"event"}

    def test_they_are_for_members(self, client):
        day = race_day()
        for path in ("/garage/pages.json", f"{day.event.get_absolute_url()}pages.json"):
            assert client.get(path).status_code in (302, 403, 404), path


class TestWorker:
    def test_it_names_what_pages_look_like_and_each_is_served(self, client):
        answer = client.get("/worker.js")
        given = json.loads(answer.content.decode().partition("const GIVEN = ")[2].partition(";\n")[0])

        assert answer.headers["Content-Type"].startswith("text/javascript")
        assert answer.headers["Cache-Control"] == "no-cache"
        assert {"/static/club/site.css", "/static/club/signal.js"} <= set(given["looks"])
        assert all(finders.find(one.removeprefix("/static/")) for one in given["looks"])
        assert set(given["pages"]) == {code for code, _name in site.LANGUAGES}

    def test_the_page_for_no_signal_is_in_each_language_and_names_nobody(self, client):
        member = MemberFactory()
        sign_in(client, member.username, PASSWORD)
        page = client.get("/offline/?in=de").content.decode()

        assert "Kein Empfang" in page
        assert member.username not in page
        assert "No signal" in client.get("/offline/?in=en-gb").content.decode()
