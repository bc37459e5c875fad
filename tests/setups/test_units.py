"""Figures as the reader has them: the decimal sign of the language, lengths in mm or in inches."""

from __future__ import annotations

import json
from decimal import Decimal
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import translation

from club.models import Inspection
from fitcalc.dimensions import Unit
from fitcalc.findings import Finding, Rule, Verdict
from fitcalc.quantities import Quantity, exact
from fitcalc.said import Figure, Length, Said
from setups import drawing
from setups.models import Draft, Measurement
from setups.printing import plus_minus
from setups.services import posting
from setups.templatetags import figures
from setups.translated import tell
from setups.units import Lengths, lengths_in
from tests.club.race_days import race_day
from tests.factories import BodyFactory, MemberFactory
from tests.setups.drawn_cars import drawn_car
from tests.setups.pages import words

pytestmark = pytest.mark.one_database

T = "\u202f"
M = "\u2212"


def in_german_inches(what, *given):
    with translation.override("de"), lengths_in(Lengths.INCH):
        return what(*given)


class TestFigures:
    @pytest.mark.parametrize(
        ("quantity", "english", "german", "inches"),
        [
            (Quantity(58.2, 0.15), "58.20_±_0.15_mm", "58,20_±_0,15_mm", "2.291_±_0.006_in"),
            # A doubt of a few ten-thousandths would be printed as none at all.
            (Quantity(58.2, 0.011), "58.20_±_0.01_mm", "58,20_±_0,01_mm", "2.2913_±_0.0004_in"),
            (exact(-25.4), f"{M}25.4_mm", f"{M}25,4_mm", f"{M}1.000_in"),
            (Quantity(142.5, 0.6, Unit.GRAM), "142.5_±_0.6_g", "142,5_±_0,6_g", "142.5_±_0.6_g"),
            (Quantity(18.62, 0.7, Unit.DEGREE), "18.6_±_0.7°", "18,6_±_0,7°", "18.6_±_0.7°"),
        ],
    )
    def test_a_quantity(self, quantity, english, german, inches):
        assert plus_minus(quantity).replace(T, "_") == english
        with translation.override("de"):
            assert plus_minus(quantity).replace(T, "_") == german
        with lengths_in(Lengths.INCH):
            assert plus_minus(quantity).replace(T, "_") == inches

    def test_filters_follow(self):
        assert in_german_inches(figures.mm, 58.2) == f"2,291{T}in"
        assert in_german_inches(figures.apart, -2.54) == f"{M}0,100{T}in"
        assert in_german_inches(figures.grams, 142.5) == f"142,5{T}g"
        assert in_german_inches(figures.money, 1204.5) == f"1.204,50{T}€"
        assert in_german_inches(figures.signed, -0.5) == f"{M}0,5", "an offset is a name, not a reading"
        assert in_german_inches(figures.unit, Unit.MM) == "in"
        assert in_german_inches(figures.verdict_word, Verdict.FAILS) == "passt nicht"

    def test_a_drawing_says_inches_and_is_drawn_in_the_same_place(self):
        plain = drawing.plan(drawn_car(), drawing.DESK)
        told = in_german_inches(drawing.plan, drawn_car(), drawing.DESK)

        texts = {label.text for label in told.labels}
        assert any(text.startswith("Radstand ") and text.endswith(f"{T}in") for text in texts)
        assert not any("mm" in text for text in texts)
        assert plain.view_box.split()[3] == told.view_box.split()[3]

    def test_a_limit_is_drawn_where_it_is_in_mm(self):
        finding = Finding(Rule.FLUSH, None, Verdict.FITS, True, found=Quantity(0.4, 0.1), low=-1.0, high=1.0)
        plain, told = drawing.limit_bar(finding), in_german_inches(drawing.limit_bar, finding)

        assert (plain.value, plain.band, plain.whiskers) == (told.value, told.band, told.whiskers)
        assert [mark.text for mark in told.marks] == [f"{M}0,039{T}in", f"+0,039{T}in"]

    def test_what_the_calculation_says_is_told_with_its_figures(self):
        said = Said(
            "{label} must lie between {low:g} and {high}: check the unit.",
            label=Said("Droop, front"),
            low=Length(2.54),
            high=Figure(30, "mm"),
        )
        assert said == "Droop, front must lie between 2.54 and 30 mm: check the unit."
        assert tell(ValueError(said)) == said
        told = in_german_inches(tell, said)
        assert "0,100" in told
        assert "1,181 in" in told
        assert "Droop" not in told


def typing(client: Client, body, value: str, doubt: str = "", **more: str):
    page = reverse("measure-body", args=[body.slug, "wheelbase"])
    form = {"value": value, "instrument": "calliper", "uncertainty": doubt, "note": ""}
    return client.post(page, form | more)


@pytest.mark.django_db
class TestTyping:
    @pytest.fixture
    def client(self):
        client = Client()
        client.force_login(MemberFactory())
        client.cookies["units"] = "inch"
        return client

    def test_the_page_asks_in_inches_and_takes_them(self, client):
        body = BodyFactory()
        page = client.get(reverse("measure-body", args=[body.slug, "wheelbase"])).content.decode()
        assert "Wheelbase, in<" in page
        assert '<input type="hidden" name="units" value="inch">' in page

        assert typing(client, body, "3,622", "0.002", units="inch").status_code == 302

        row = Measurement.objects.get()
        assert (row.value, row.uncertainty) == (Decimal("91.999"), Decimal("0.051"))

    def test_a_unit_behind_the_number_counts_and_a_page_in_mm_stays_one(self, client):
        body = BodyFactory()
        for value, units in (("92.35 mm", "inch"), ("92.35", ""), ('3.6358"', "")):
            assert typing(client, body, value, units=units).status_code == 302
        assert [float(row.value) for row in Measurement.objects.order_by("pk")] == [92.35, 92.35, 92.349]

    def test_what_is_refused_is_told_in_inches_and_nothing_that_was_typed_is_lost(self, client):
        answer = typing(client, BodyFactory(), "92,35", units="inch")

        assert answer.status_code == 422
        assert "between 1.575 and 16.535 in" in words(answer)
        assert 'value="92,35"' in answer.content.decode()
        assert Measurement.objects.count() == 0

    def test_an_address_of_the_pit_tools_means_the_same_to_all(self, client):
        gears = "pinion_teeth=9&pinion_module=0.4&spur_teeth=44&spur_module=0.4"
        for address in (f"{gears}&diameter=22.5", f"{gears}&diameter=0.88583&units=inch"):
            here, elsewhere = client.get(f"/gearing/?{address}"), Client().get(f"/gearing/?{address}")
            assert "0.569 ± 0.001 in" in words(here)
            assert "14.46 ± 0.04 mm" in words(elsewhere)

    def test_a_draft_means_the_same_to_who_opens_it_in_another_unit(self, client):
        author = MemberFactory()
        client.force_login(author)
        draft = posting.begin(author, {"name": "Club night"})
        page = f"/setups/{draft.setup_id}/edit/?step=settings"
        typed = {"tuning_front_ride_height": "0.1", "tuning_rear_ride_height": "4,5 mm"}
        told = {"step": "settings", "go": "settings", "was": json.dumps({}), "version": draft.version}

        assert client.post(page, told | typed | {"units": "inch"}).status_code == 302

        kept = Draft.objects.get().typed
        assert [kept[name] for name in typed] == ["0.1 in", "4,5"]
        for units, shown in (("inch", ["0.1 in", "4,5 mm"]), ("mm", ["0.1 in", "4,5"])):
            client.cookies["units"] = units
            text = client.get(page).content.decode()
            assert all(f'value="{one}"' in text for one in shown), units

    def test_an_inspector_reads_inches_with_a_signal_and_without(self, client):
        day = race_day()
        car = day.enter_setup(7)
        client.force_login(day.director)
        clause = day.clause("2.1").pk
        page = reverse("inspect", args=[day.event.slug, car.pk])
        assert 'data-unit="in"' in client.get(page).content.decode()

        form = {"stage": "before", "run": "1", "units": "inch", f"key_{clause}": str(uuid4())}
        assert client.post(page, form | {f"reading_{clause}": "2.16"}).status_code == 302
        record = {"key": str(uuid4()), "clause": clause, "stage": "before", "run": "2"}
        record |= {"instrument": "calliper", "reading": "2.16 in"}
        sent = client.post(reverse("send-record", args=[day.event.slug, car.pk]), record)

        assert sent.json()["state"] == "stored"
        assert [float(one.value) for one in Inspection.objects.order_by("pk")] == [54.864, 54.864]
