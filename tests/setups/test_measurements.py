"""Members measure a dimension; what they settle becomes the library's figure."""

from __future__ import annotations

import threading
from decimal import Decimal
from io import StringIO
from math import sqrt

import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from fitcalc.dimensions import Unit
from fitcalc.instruments import DESIGNATED, Instrument, instruments_for, least_doubt, standard_doubt
from fitcalc.quantities import Quantity
from setups.drawing.measured import NAMED_UP_TO, Reading, chart
from setups.models import Body, BodyDimension, Measurement, PartDimension, StatedFigure
from setups.models.dimension import Basis
from setups.services import measuring
from tests.factories import BodyFactory, MemberFactory, PartFactory
from tests.setups.pages import words

pytestmark = pytest.mark.django_db


def reading(subject, value, member=None, quantity="wheelbase", doubt="0.1", **more) -> Measurement:
    about = {"body": subject} if isinstance(subject, Body) else {"part": subject}
    return Measurement(
        **about,
        quantity=quantity,
        member=member or MemberFactory(),
        value=Decimal(value),
        uncertainty=Decimal(doubt),
        **{"instrument": Instrument.CALLIPER.value, **more},
    )


def figure(subject, quantity="wheelbase"):
    return subject.dimensions.filter(quantity=quantity).first()


def page(subject, quantity="wheelbase") -> str:
    name = "measure-body" if isinstance(subject, Body) else "measure-part"
    return reverse(name, args=[subject.slug, quantity])


def typed(**more) -> dict[str, str]:
    return {"value": "92.3", "instrument": "calliper", "uncertainty": "", "note": "", **more}


# What an instrument leaves


def test_a_display_that_rounds_leaves_its_step_over_root_twelve():
    """JCGM 100:2008, 4.3.7: a rectangular distribution of full width δ has u = δ / sqrt(12) = 0.29 δ."""
    assert least_doubt(Instrument.RULER) == pytest.approx(0.5 / sqrt(12))
    assert least_doubt(Instrument.CALLIPER) == pytest.approx(0.29 * 0.01, rel=0.01)


def test_an_ordinary_hand_adds_to_what_the_display_rounds():
    for one in Instrument:
        doubt = standard_doubt(one)
        assert doubt is None if one is Instrument.OTHER else doubt > least_doubt(one)


def test_every_unit_has_an_instrument_and_a_scale_shows_no_millimetres():
    assert all(instruments_for(unit) for unit in Unit)
    assert Instrument.SCALE not in instruments_for(Unit.MM)
    assert instruments_for(Unit.GRAM) == (Instrument.SCALE, Instrument.OTHER)


# Settling


def test_the_first_measurement_of_what_nobody_knew_becomes_the_figure():
    body = BodyFactory(figures={"wheelbase": None})
    outcome = measuring.add(reading(body, "92.4"))
    row = figure(body)
    assert (row.value, row.uncertainty, row.basis) == (Decimal("92.400"), Decimal("0.100"), Basis.MEASURED)
    assert row.source == "a member's measurement"
    assert outcome.before is None
    assert outcome.after == Quantity(92.4, 0.1, Unit.MM)


def test_the_makers_figure_stands_until_a_second_member_agrees_and_is_kept_beside():
    body = BodyFactory()
    maker = figure(body)
    assert not measuring.add(reading(body, "92.4")).changed
    row = figure(body)
    assert (row.value, row.basis) == (maker.value, Basis.MAKER)

    assert measuring.add(reading(body, "92.6")).changed
    row = figure(body)
    assert (row.value, row.basis, row.source) == (Decimal("92.500"), Basis.AGREED, "2 members' measurements")
    assert float(row.uncertainty) == pytest.approx(0.1 / sqrt(2), abs=0.0005)
    assert row.tolerance is None
    kept = StatedFigure.objects.get(body=body)
    assert (kept.value, kept.tolerance, kept.basis) == (maker.value, maker.tolerance, Basis.MAKER)


def test_one_member_who_measures_twice_does_not_outweigh_the_maker():
    body, member = BodyFactory(), MemberFactory()
    for value in ("92.4", "92.5"):
        assert not measuring.add(reading(body, value, member)).changed
    assert figure(body).basis == Basis.MAKER


def test_two_members_who_contradict_each_other_do_not_replace_the_makers_figure():
    body = BodyFactory()
    for value in ("92.4", "97"):
        assert not measuring.add(reading(body, value)).changed
    assert figure(body).value == 92


def test_a_dispute_about_what_nobody_stated_is_the_mean_with_its_doubt_enlarged():
    body = BodyFactory(figures={"wheelbase": None})
    measuring.add(reading(body, "92"))
    measuring.add(reading(body, "96"))
    row = figure(body)
    assert (row.value, row.basis) == (94, Basis.MEASURED)
    assert row.source == "2 members' measurements, disputed"
    assert row.uncertainty > 1


def test_an_outlier_does_not_move_the_figure():
    body = BodyFactory()
    for value in ("92.4", "92.5", "92.6"):
        measuring.add(reading(body, value))
    wrong = MemberFactory()
    outcome = measuring.add(reading(body, "98", wrong))
    assert outcome.settled.outliers == (wrong.pk,)
    assert figure(body).value == Decimal("92.5")
    assert figure(body).source == "4 members' measurements"


def test_what_is_withdrawn_counts_no_more_and_the_makers_figure_comes_back():
    body, ada = BodyFactory(), MemberFactory()
    mine = reading(body, "92.6", ada)
    measuring.add(reading(body, "92.4"))
    measuring.add(mine)
    outcome = measuring.withdraw(mine, ada)
    row = figure(body)
    assert outcome.changed
    assert (row.value, row.basis, row.uncertainty) == (92, Basis.MAKER, None)
    assert Measurement.objects.filter(withdrawn=True).count() == 1


def test_the_last_one_withdrawn_leaves_what_nobody_stated_unknown_again():
    body, ada = BodyFactory(figures={"wheelbase": None}), MemberFactory()
    mine = reading(body, "92.6", ada)
    measuring.add(mine)
    assert measuring.withdraw(mine, ada).after is None
    assert figure(body) is None


def test_only_the_member_who_measured_withdraws():
    body = BodyFactory()
    other = reading(body, "92.6")
    measuring.add(other)
    with pytest.raises(PermissionError):
        measuring.withdraw(other, MemberFactory())
    other.refresh_from_db()
    assert not other.withdrawn


def test_a_figure_loaded_later_is_what_is_stated_and_members_still_outweigh_it():
    body = BodyFactory()
    for value in ("92.4", "92.6"):
        measuring.add(reading(body, value))
    figure_now = figure(body)
    figure_now.value, figure_now.basis, figure_now.source = 91, Basis.MAKER, "second printing"
    figure_now.save()
    measuring.add(reading(body, "92.5"))
    assert figure(body).value == Decimal("92.5")
    assert StatedFigure.objects.get(body=body).source == "second printing"


def test_a_member_has_a_limit_of_readings_that_count(monkeypatch):
    monkeypatch.setattr(measuring, "MOST_READINGS", 2)
    body, ada = BodyFactory(), MemberFactory()
    for value in ("92.4", "92.5"):
        measuring.add(reading(body, value, ada))
    with pytest.raises(measuring.MeasuringError, match="withdraw one that was wrong"):
        measuring.add(reading(body, "92.6", ada))
    measuring.add(reading(body, "92.6"))
    assert Measurement.objects.count() == 3


def test_it_says_which_verdicts_of_the_best_configuration_changed(catalogue):
    body = catalogue.body
    measuring.add(reading(body, "110.4"))
    outcome = measuring.add(reading(body, "110.6"))
    (change,) = outcome.verdicts
    assert change.platform == catalogue.platform
    assert (change.before.value, change.after.value) == ("fits", "fails")


def test_a_figure_that_hardly_moves_changes_no_verdict(catalogue):
    measuring.add(reading(catalogue.body, "92.02"))
    outcome = measuring.add(reading(catalogue.body, "92.03"))
    assert outcome.changed
    assert outcome.verdicts == []


@pytest.mark.django_db(transaction=True)
def test_two_members_who_measure_at_the_same_time_both_count():
    body, members = BodyFactory(), MemberFactory.create_batch(2)
    failed: list[Exception] = []
    start = threading.Barrier(2)

    def measure(member, value):
        try:
            start.wait(timeout=10)
            measuring.add(reading(body, value, member))
        except Exception as error:
            failed.append(error)
        finally:
            connection.close()

    threads = [
        threading.Thread(target=measure, args=pair) for pair in zip(members, ("92.4", "92.6"), strict=True)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert failed == []
    assert figure(body).source == "2 members' measurements"
    assert figure(body).value == Decimal("92.5")


# What the database refuses


@pytest.mark.parametrize(
    "wrong",
    [
        {"value": 4000},
        {"value": -1},
        {"uncertainty": -1},
        {"uncertainty": 0},
        {"instrument": "thumb"},
        {"instrument": "other", "uncertainty": None},
        {"quantity": "offset"},
        {"body": None},
        {"part": "a part"},
    ],
    ids=str,
)
def test_the_database_refuses_what_no_form_would_let_through(wrong):
    row = reading(BodyFactory(), "92")
    if wrong.get("part"):
        wrong = {"part": PartFactory(plate=True)}
    for name, value in wrong.items():
        setattr(row, name, value)
    with pytest.raises(IntegrityError), transaction.atomic():
        row.save()


def test_what_the_maker_designates_is_not_measured(client):
    wheel = PartFactory(wheel=True)
    assert client.get(page(wheel, "offset")).status_code == 404
    assert client.get(page(wheel, "rim_width")).status_code == 200
    with pytest.raises(ValidationError, match="leave it as it is"):
        reading(wheel, "1", quantity=next(iter(DESIGNATED & {"offset"}))).clean()


# The page


def test_anybody_sees_the_readings_and_is_asked_to_sign_in_to_measure(client):
    body = BodyFactory()
    names = ("Ada", "Bo", "Cy", "Dot")
    for name, value in zip(names, ("92.4", "92.5", "92.6", "98"), strict=True):
        measuring.add(reading(body, value, MemberFactory(display_name=name)))
    said = words(client.get(page(body)))
    assert "Bodies · " in said
    assert "92.50 ± 0.06 mm, settled by 4 members’ measurements." in said
    assert "The maker’s figure 92" in said
    assert "Dot is an outlier: 5.50 ± 0.12 mm above what the others agree on" in said
    assert "Dot ✕ outlier 98.00 ± 0.10 mm calliper +23.82" in said
    assert "Sign in to measure" in said
    assert "Add it" not in said


def test_the_chart_says_in_words_who_is_outside(client):
    body = BodyFactory()
    for value in ("92.4", "92.5", "92.6"):
        measuring.add(reading(body, value))
    measuring.add(reading(body, "88", MemberFactory(display_name="Dot")))
    markup = client.get(page(body)).content.decode()
    assert ">Dot: outlier, below</text>" in markup
    assert "4 readings round 92.50" in markup
    assert "1 outside what the members agree on" in markup


def test_a_dispute_names_nobody(client):
    body = BodyFactory()
    for value in ("92.4", "98"):
        measuring.add(reading(body, value))
    said = words(client.get(page(body)))
    assert "Disputed: no majority of members agrees, so nobody is named" in said
    assert "The maker’s figure stands until two members agree" in said
    assert "is an outlier" not in said


def test_a_member_adds_a_measurement_and_reads_what_moved(client, catalogue):
    measuring.add(reading(catalogue.body, "110.4"))
    client.force_login(MemberFactory())
    said = words(client.post(page(catalogue.body), typed(value="110,6", uncertainty="0,1"), follow=True))
    assert "Your measurement is added. The library’s figure was 92.00 ± 0.06 mm and is now 110.50" in said
    assert (
        f"On the {catalogue.platform}, the best configuration was “fits” and is now “does not fit”." in said
    )


def test_a_part_is_measured_too_and_its_answers_follow(client):
    plate = PartFactory(plate=True)
    measuring.add(reading(plate, "18.2", quantity="chain_length"))
    client.force_login(MemberFactory())
    said = words(client.post(page(plate, "chain_length"), typed(value="18.2"), follow=True))
    assert "Every answer that uses this part is computed with the new figure" in said
    assert PartDimension.objects.get(part=plate).value == Decimal("18.2")


def test_an_outlier_is_told_to_measure_again(client):
    body = BodyFactory()
    for value in ("92.4", "92.5", "92.6"):
        measuring.add(reading(body, value))
    client.force_login(MemberFactory())
    said = words(client.post(page(body), typed(value="98"), follow=True))
    assert "It lies outside what the other members agree on" in said
    assert "The library’s figure stays as it was" in said


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"value": ""}, "Type what the instrument shows."),
        ({"value": "NaN"}, "Type a number, such as 92.35."),
        ({"value": "Infinity"}, "Type a number, such as 92.35."),
        ({"value": "1e999999"}, "Front width, arch to arch must lie between"),
        ({"value": "wide"}, "Type a number, such as 92.35."),
        ({"value": "5.51"}, "must lie between 25 and 320 mm; you gave 5.51. Check the unit and the decimal"),
        ({"value": "55.12345"}, "Type three decimals at the most."),
        ({"uncertainty": "0"}, "The doubt must be at least 0.003 mm: so much a calliper rounds away."),
        ({"uncertainty": "-1"}, "The doubt must be at least 0.003 mm"),
        ({"uncertainty": "NaN"}, "Type a number, such as 0.05, or leave it empty."),
        ({"uncertainty": "100000"}, "A doubt of 1000 or more says nothing"),
        ({"instrument": "scale"}, "Choose one of the instruments in the list."),
        ({"instrument": ""}, "required"),
        ({"instrument": "other"}, "Give a doubt: the library does not know what this instrument leaves."),
        ({"note": "x" * 201}, "at most 200 characters"),
    ],
)
def test_a_slip_is_explained_and_what_was_typed_stays(client, wrong, said):
    body = BodyFactory()
    client.force_login(MemberFactory())
    given = typed(value="55.4", note="jaws closed gently") | wrong
    answer = client.post(page(body, "front_arch_width"), given)
    text = words(answer)
    assert answer.status_code == 422
    assert "Nothing was saved yet" in text
    if wrong != {"value": "1e999999"}:
        assert said in text
    assert Measurement.objects.count() == 0
    if "note" not in wrong:
        assert 'value="jaws closed gently"' in answer.content.decode()


def test_a_limit_of_readings_is_told_on_the_form(client, monkeypatch):
    monkeypatch.setattr(measuring, "MOST_READINGS", 1)
    body, ada = BodyFactory(), MemberFactory()
    measuring.add(reading(body, "92.4", ada))
    client.force_login(ada)
    answer = client.post(page(body), typed())
    assert answer.status_code == 422
    assert "You have 1 readings of this dimension already" in words(answer)
    assert 'value="92.3"' in answer.content.decode()


def test_who_is_signed_out_meanwhile_loses_nothing_that_was_typed(client):
    body = BodyFactory()
    answer = client.post(page(body), typed(value="92.3", note="twice"))
    assert answer.status_code == 302
    assert answer.url.startswith("/account/sign-in/?next=")
    client.force_login(MemberFactory())
    again = client.get(page(body) + "?value=92.3&note=twice").content.decode()
    assert 'value="92.3"' in again
    assert 'value="twice"' in again
    assert Measurement.objects.count() == 0


def test_a_member_withdraws_their_own_on_the_page_and_nobody_elses(client):
    body, ada = BodyFactory(), MemberFactory()
    mine, other = reading(body, "92.6", ada), reading(body, "92.4")
    for one in (mine, other):
        measuring.add(one)
    client.force_login(ada)
    assert client.get(page(body)).content.decode().count("/withdraw/") == 1
    assert client.post(reverse("withdraw-measurement", args=[other.pk])).status_code == 403
    said = words(client.post(reverse("withdraw-measurement", args=[mine.pk]), follow=True))
    assert "Your measurement is withdrawn and counts no more" in said
    assert "1 withdrawn" in said
    said = words(client.post(reverse("withdraw-measurement", args=[mine.pk]), follow=True))
    assert "withdrawn already" in said
    assert client.get(reverse("withdraw-measurement", args=[mine.pk])).status_code == 405
    client.logout()
    assert client.post(reverse("withdraw-measurement", args=[other.pk])).status_code == 302
    other.refresh_from_db()
    assert not other.withdrawn


def test_there_is_no_page_for_what_is_no_dimension(client):
    body = BodyFactory()
    assert client.get(page(body, "colour")).status_code == 404
    assert client.get(page(body, "rim_width")).status_code == 404
    assert client.get("/bodies/none/measure/wheelbase/").status_code == 404


def test_markup_in_a_note_is_shown_as_typed(client):
    body = BodyFactory()
    measuring.add(reading(body, "92.4", note="<b>bold</b>"))
    assert "&lt;b&gt;bold&lt;/b&gt;" in client.get(page(body)).content.decode()


def test_body_and_part_pages_lead_to_what_can_be_measured(client):
    body = BodyFactory(figures={"mass": None})
    markup = client.get(body.get_absolute_url()).content.decode()
    assert all(page(body, key) in markup for key in ("wheelbase", "front_arch_width", "mass"))
    wheel = PartFactory(wheel=True)
    markup = client.get(wheel.get_absolute_url()).content.decode()
    assert page(wheel, "rim_width") in markup
    assert page(wheel, "offset") not in markup


def test_the_page_takes_as_many_queries_for_twenty_readings_as_for_two(
    client, django_assert_max_num_queries, django_assert_num_queries
):
    body = BodyFactory()
    for value in ("92.4", "92.6"):
        measuring.add(reading(body, value))
    with django_assert_max_num_queries(6) as few:
        client.get(page(body))
    for number in range(18):
        reading(body, f"92.{number:02}").save()
    with django_assert_num_queries(len(few)):
        client.get(page(body))


# The chart


def test_the_chart_puts_a_larger_value_further_right_and_keeps_every_whisker_inside():
    drawn = chart(
        [Reading("a", 92.0, 0.1), Reading("b", 93.0, 0.1)], Quantity(92.5, 0.1, Unit.MM), None, Unit.MM
    )
    starts = [float(row.mark.split()[0][1:]) for row in drawn.rows]
    assert starts[0] < drawn.band_x < starts[1]
    for row in drawn.rows:
        left, right = row.whisker.split("M")[1].split("H")
        assert 0 <= float(left.split()[0]) < float(right) <= 360
    assert 3 <= len(drawn.ticks) <= 7


def test_more_readings_than_have_room_are_drawn_without_names():
    many = [Reading(f"m{n}", 92 + n / 100, 0.1) for n in range(NAMED_UP_TO + 1)]
    drawn = chart(many, Quantity(92.2, 0.1, Unit.MM), None, Unit.MM)
    assert len(drawn.rows) == len(many)
    assert not any(row.name for row in drawn.rows)


# The demo


def demo(*arguments: str) -> str:
    out = StringIO()
    call_command("demo", *arguments, setups=0, stdout=out)
    return out.getvalue()


@pytest.mark.usefixtures("demo_loaded")
class TestTheDemo:
    def test_the_demos_rows_are_what_its_members_settle_and_some_are_wrong(self):
        agreements = set()
        rows = BodyDimension.objects.filter(basis=Basis.AGREED).select_related("body")
        readings = list(Measurement.objects.filter(body__isnull=False))
        for row in rows:
            own = [one for one in readings if (one.body_id, one.quantity) == (row.body_id, row.quantity)]
            now = measuring.settled(own, row.kind)
            assert measuring.settled_figures(now)["value"] == row.value
            agreements.add(now.agreement.value)
        assert agreements == {"agreed", "outliers"}
        assert StatedFigure.objects.exists()

    def test_a_reset_of_the_demo_refuses_to_take_a_real_members_measurement_along(self):
        measuring.add(reading(Body.objects.get(name="Siskin Saloon"), "92.4"))
        with pytest.raises(CommandError, match="measurement"):
            demo("--reset")
