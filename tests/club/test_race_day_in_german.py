"""A race day in another language: told to who reads, the same for programs and on record."""

import json
import re
from html import unescape

import pytest
from django.conf import settings
from django.urls import reverse

from club.racing.events import entries
from tests.club.race_days import race_day

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


@pytest.fixture
def day():
    return race_day()


@pytest.fixture
def german(client, day):
    client.force_login(day.director)
    client.cookies[settings.LANGUAGE_COOKIE_NAME] = "de"
    return client


def test_the_inspector_s_script_finds_its_words_in_german_and_its_figures_with_a_point(german, day):
    entry = day.enter_setup()
    page = german.get(reverse("inspect", args=[day.event.slug, entry.pk])).content.decode()
    words = json.loads(unescape(re.search(r'data-texts="([^"]*)"', page)[1]))
    assert words["allSent"] == "Alles ist gesendet."
    assert words["waiting"][0].startswith("{n} Eintrag ")
    assert words["waiting"][1].startswith("{n} Einträge ")
    assert "höchstens 55,1" in page
    figures = re.findall(r'data-(?:from|to|side|u)="([^"]+)"', page)
    assert len(figures) > 8
    for figure in figures:
        float(figure)
    assert [json.loads(unescape(zones)) for zones in re.findall(r'data-zones="([^"]+)"', page)]


def test_an_entry_s_log_is_told_in_german_and_kept_in_english(german, day):
    entry = day.enter()
    entries.check_in(entry, day.director)
    entries.withdraw(entry, day.director, "Motor kaputt")
    page = german.get(entry.get_absolute_url()).content.decode()
    for told in ("Genannt", "Eingecheckt", "Zurückgezogen: Motor kaputt", "Startnummer: "):
        assert told in page, told
    assert list(entry.log.values_list("why", flat=True)) == [
        "Entered",
        "Checked in",
        "Withdrawn: Motor kaputt",
    ]
    record = german.get(reverse("event-record-json", args=[day.event.slug])).json()
    assert record["entries"][0]["log"][0]["changes"][0][0] == "race number"


def test_a_refusal_is_told_in_german_on_the_page(german, day):
    day.enter(7)
    typed = {"number": "7", "race_class": day.race_class.name, "driver": "Grace"}
    answer = german.post(reverse("new-entry", args=[day.event.slug]), typed)
    assert answer.status_code == 422
    assert "Die Nummer 7 hat schon Ada" in answer.content.decode()
