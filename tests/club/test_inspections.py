"""Inspections: stored once, averaged, corrected by new records, and found again years later."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from math import hypot, sqrt
from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from scipy.stats import norm

from club.models import Inspection
from club.racing.events.cards import cards_for
from club.racing.events.events import rulebook_for
from club.racing.events.guard_bar import guard_bar, zones
from club.racing.events.inspecting import Given, Refused, record
from club.racing.events.qr import QUIET, code_of
from club.racing.events.record import of_entry
from club.racing.events.standing import standing_of
from club.racing.events.tools import read, tools_for
from fitcalc.dimensions import Unit
from fitcalc.instruments import Instrument, least_doubt, standard_doubt
from fitcalc.legality import CLASS_QUANTITIES, Car, ClassVerdict, DecisionRule, Limit, judge
from fitcalc.quantities import Quantity, QuantityError
from fitcalc.readings import average
from tests.club.race_days import race_day
from tests.factories import ClauseFactory, EditionFactory, MemberFactory, SetupFactory, published

U = standard_doubt(Instrument.CALLIPER)


@pytest.fixture
def day(db):
    return race_day()


@pytest.fixture
def car(day):
    return day.enter_setup(7)


@pytest.fixture
def inspector(client, day):
    client.force_login(day.director)
    return client


def words(answer) -> str:
    return answer.content.decode()


def given(day, number: str = "2.1", reading: str = "54.9", **more) -> Given:
    said = {
        "key": uuid4(),
        "clause": day.clause(number).pk,
        "stage": "before",
        "run": 1,
        "reading": Decimal(reading),
        "instrument": "calliper",
    }
    return Given(**said | more)


# Averages


def test_one_reading_has_the_doubt_of_its_instrument():
    assert average([55.0], Instrument.CALLIPER, Unit.MM).u == pytest.approx(U)


def test_the_hand_averages_out_and_the_step_does_not():
    """JCGM 100:2008, 4.2.3: the variance of a mean is s²/n; what is common to all readings stays."""
    step = least_doubt(Instrument.CALLIPER)
    mean = average([55.00, 55.02, 54.98, 55.00], Instrument.CALLIPER, Unit.MM)
    assert mean.value == pytest.approx(55.0)
    assert mean.u == pytest.approx(hypot(step, sqrt(U**2 - step**2) / 2))


def test_readings_that_lie_far_apart_widen_the_doubt():
    mean = average([54.0, 56.0], Instrument.CALLIPER, Unit.MM)
    assert mean.u == pytest.approx(1.0, rel=1e-3)


def test_a_doubt_that_the_inspector_gave_stays_whole():
    assert average([55.0, 55.0], Instrument.OTHER, Unit.MM, 0.2).u == pytest.approx(0.2)


def test_what_is_counted_has_no_doubt():
    assert average([4.0], Instrument.OTHER, Unit.NONE).u == 0.0


@pytest.mark.parametrize("readings", [[], [float("nan")], [float("inf"), 1.0]])
def test_no_average_is_made_of_what_is_no_number(readings):
    with pytest.raises(QuantityError):
        average(readings, Instrument.CALLIPER, Unit.MM)


# Stored, and judged


@pytest.mark.parametrize(
    ("number", "reading", "verdict", "passes"),
    [
        ("2.1", "54.90", "complies", True),
        ("2.1", "55.05", "too_close", False),
        ("2.1", "55.15", "does_not_comply", False),
        ("2.2", "55.05", "complies", True),
        ("2.2", "55.15", "too_close", True),
        ("2.2", "55.25", "does_not_comply", False),
    ],
)
def test_near_the_limit_each_clause_decides_by_its_own_rule(day, car, number, reading, verdict, passes):
    """Guarded acceptance and guarded rejection of JCGM 106:2012, 8.3.2 and 8.3.3; U = 2 u = 0.10 mm."""
    found = day.find(car, number, reading)
    assert (found.verdict, found.passes) == (verdict, passes)
    assert found.probability == pytest.approx(norm.cdf((55.1 - float(reading)) / float(found.u)), abs=1e-6)


def test_what_is_seen_is_stored_as_yes_or_no(day, car):
    assert day.find(car, "5.1", seen=True).passes
    assert not day.find(car, "5.1", seen=False, wrong=True, reason="Looked at the wrong car").passes


def test_a_reading_taken_again_is_averaged_with_those_before(day, car):
    day.find(car, "2.1", "55.02")
    again = day.find(car, "2.1", "54.98")
    assert again.readings == ["55.02", "54.98"]
    assert again.value == Decimal("55")
    assert float(again.u) < U


def test_a_reading_with_another_instrument_or_at_another_stage_begins_anew(day, car):
    day.find(car, "2.1", "55.02")
    assert day.find(car, "2.1", "54.5", instrument="ruler").readings == ["54.5"]
    assert day.find(car, "2.1", "54.98", stage="after").readings == ["54.98"]
    assert day.find(car, "2.1", "54.97", run=2).readings == ["54.97"]


def test_a_correction_is_a_new_record_that_names_the_old_one(day, car):
    slip = day.find(car, "2.1", "65.02")
    right = day.find(car, "2.1", "55.02", wrong=True, reason="Read ten too far")
    assert (right.corrects, right.readings) == (slip, ["55.02"])
    assert Inspection.objects.count() == 2
    assert standing_of(car).rows[0].ruling.value.value == pytest.approx(55.02)


@pytest.mark.parametrize(("reason", "said"), [("", "Say what was wrong"), ("So", "no record before")])
def test_a_correction_needs_a_reason_and_something_to_correct(day, car, reason, said):
    if not reason:
        day.find(car, "2.1", "65.02")
    with pytest.raises(Refused, match=said):
        day.find(car, "2.1", "55.02", wrong=True, reason=reason)


def test_the_same_key_is_stored_once(day, car):
    one = given(day)
    first, second = record(car, one, day.director), record(car, one, day.director)
    assert (first.known, second.known) == (False, True)
    assert [row.pk for row in first.inspections] == [row.pk for row in second.inspections]
    assert Inspection.objects.count() == 1


def test_the_same_key_for_another_car_is_refused(day, car):
    one = given(day)
    record(car, one, day.director)
    with pytest.raises(Refused, match="another car"):
        record(day.enter_setup(8), one, day.director)


def test_one_reading_answers_every_clause_on_its_quantity(db):
    day = race_day(
        {"number": "1", "quantity": "mass", "low": Decimal("160"), "high": None},
        {"number": "2", "quantity": "mass", "high": Decimal("180"), "rule": "guarded_acceptance"},
    )
    car = day.enter_setup()
    one = given(day, "1", "179.9", instrument="scale")
    kept = record(car, one, day.director).inspections
    assert [(row.clause.number, row.verdict) for row in kept] == [("1", "complies"), ("2", "too_close")]
    assert record(car, one, day.director).known
    assert Inspection.objects.count() == 2


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"reading": None}, "Type the reading"),
        ({"reading": Decimal("5490")}, "Check the unit"),
        ({"instrument": ""}, "Choose what it was measured with"),
        ({"instrument": "scale"}, "does not show mm"),
        ({"instrument": "other"}, "Give a doubt"),
        ({"doubt": Decimal("0.0001")}, "at least"),
        ({"doubt": Decimal("99999")}, "is a slip"),
        ({"stage": "later"}, "before or after which run"),
        ({"run": 0}, "before or after which run"),
        ({"clause": 10**9}, "not of this car's class"),
    ],
)
def test_what_cannot_be_a_reading_is_refused_with_what_to_do(day, car, change, said):
    with pytest.raises(Refused, match=said):
        record(car, replace(given(day), **change), day.director)
    assert not Inspection.objects.exists()


def test_a_clause_of_another_class_is_no_clause_of_this_car(day, car):
    other = race_day()
    with pytest.raises(Refused, match="not of this car's class"):
        record(car, replace(given(day), clause=other.clause("2.1").pk), day.director)
    inspection = day.find(car, "2.1", "54.9")
    inspection.pk, inspection.key, inspection.clause = None, uuid4(), other.clause("2.1")
    with pytest.raises(IntegrityError, match="inspection_clause_of_another_class"), transaction.atomic():
        inspection.save(force_insert=True)


def test_a_clause_of_an_edition_that_holds_no_more_takes_nothing_but_a_correction(day, car):
    """A page left open while the director pins another edition sends clauses of the one before."""
    first = day.find(car, "2.1", "54.2")
    newer = EditionFactory(race_class=day.race_class, valid_from=day.event.date + timedelta(days=9))
    ClauseFactory(edition=newer, number="2.1", quantity="front_width", high=Decimal("55.4"))
    published(newer, day.director)
    day.event.raced.update(pinned=newer)
    with pytest.raises(Refused, match="not of the edition that holds for this car"):
        day.find(car, "2.1", "54.9")
    assert Inspection.objects.count() == 1
    right = day.find(car, "2.1", "54.9", wrong=True, reason="A digit turned about.")
    assert right.corrects == first
    assert record(car, given(day, clause=newer.clauses.get().pk), day.director).inspections[0].passes


def test_a_phone_whose_clock_is_ahead_does_not_write_into_the_future(day, car):
    found = record(car, given(day, taken_at=timezone.now() + timedelta(days=1)), day.director)
    assert found.inspections[0].taken_at <= timezone.now()


def test_only_race_directors_inspect(day, car):
    with pytest.raises(PermissionError):
        record(car, given(day), MemberFactory(steward=True))


# The record


@pytest.mark.parametrize("act", ["change", "delete"])
def test_an_inspection_never_changes_and_never_goes(day, car, act):
    day.find(car, "2.1", "54.9")
    rows = Inspection.objects.all()
    with pytest.raises(IntegrityError, match="inspection_never_changes"), transaction.atomic():
        rows.update(passes=False) if act == "change" else rows.delete()
    assert rows.get().passes


def test_the_verdict_is_found_again_from_the_record_alone(day, car):
    """Years later the library's figures are others; what was stored and the edition are as they were."""
    for number, reading in (("2.1", "55.05"), ("2.2", "55.15")):
        day.find(car, number, reading)
    day.find(car, "3.1", "159.9", instrument="scale")
    day.find(car, "5.1", seen=False)
    car.revision.slots.get(slot="front_wheel").part.dimensions.filter(quantity="offset").update(value=3)
    lines = of_entry(car)
    assert [line.inspection.verdict for line in lines] == [
        "too_close",
        "too_close",
        "does_not_comply",
        "does_not_comply",
    ]
    assert all(line.agrees for line in lines)
    assert lines[0].ruling.computed.value == pytest.approx(55.0)


def test_a_record_that_did_not_come_from_its_numbers_is_shown(day, car, inspector):
    """Whoever writes round the library, into the tables: the record page says so."""
    stored(day, car, value=Decimal("56"), readings=["56"], probability=1.0)
    (line,) = of_entry(car)
    assert not line.agrees
    page = words(inspector.get(reverse("entry-record", args=[day.event.slug, car.pk])))
    assert "1 of 1 verdicts come out otherwise today" in page
    assert "not the same" in page


def test_the_protest_page_tells_who_when_with_what_and_under_which_edition(day, car, inspector):
    day.find(car, "2.1", "65.02", note="Tyres new")
    day.find(car, "2.1", "55.02", wrong=True, reason="Read ten too far")
    page = words(inspector.get(reverse("entry-record", args=[day.event.slug, car.pk])))
    for said in (
        str(day.director),
        "calliper",
        day.edition.name,
        "Tyres new",
        "Read ten too far",
        "a later record under this clause stands instead",
        "All 2 verdicts come out today as on the day",
    ):
        assert said in page, said


def test_measured_and_computed_that_contradict_each_other_are_said_to(day, car, inspector):
    found = day.find(car, "2.1", "53.0")
    assert found.computed == Decimal("55")
    page = words(inspector.get(car.get_absolute_url()))
    assert "contradict each other" in page
    assert standing_of(car).rows[0].ruling.disagrees


def test_the_latest_stage_counts_though_its_record_came_first(day, car):
    day.find(car, "2.1", "55.3", stage="after", run=1)
    day.find(car, "2.1", "54.9", stage="before", run=1)
    assert standing_of(car).rows[0].ruling.verdict is ClassVerdict.DOES_NOT_COMPLY


def test_the_record_leaves_as_csv_and_json_with_all_of_it(day, car, inspector):
    day.find(car, "2.1", "55.05", note="=2+2")
    day.find(car, "5.1", seen=True)
    text = inspector.get(reverse("event-record-csv", args=[day.event.slug])).content.decode("utf-8-sig")
    first, second = csv.DictReader(io.StringIO(text))
    assert (first["value"], first["verdict"], first["verdict_again"]) == ("55.0500", "too_close", "too_close")
    assert first["note"] == "'=2+2"
    assert second["seen"] == "yes"
    data = json.loads(inspector.get(reverse("event-record-json", args=[day.event.slug])).content)
    assert [row["clause"] for row in data["inspections"]] == ["2.1", "5.1"]
    assert data["entries"][0]["log"][0]["why"] == "Entered"


def test_the_record_asks_as_many_queries_for_many_inspections_as_for_few(day, inspector):
    def count() -> int:
        with CaptureQueriesContext(connection) as queries:
            inspector.get(reverse("event-record", args=[day.event.slug]))
        return len(queries)

    setup = SetupFactory()
    for number in (1, 2):
        day.find(day.enter_setup(number, setup), "2.1", "54.9")
    few = count()
    for number in range(3, 9):
        day.find(day.enter_setup(number, setup), "2.1", "54.9")
    assert count() == few


def stored(day, car, **change) -> Inspection:
    """A record written round the library, straight into the table."""
    said = {
        "entry": car,
        "clause": day.clause("2.1"),
        "stage": "before",
        "run": 1,
        "value": Decimal("55"),
        "u": Decimal("0.05"),
        "readings": ["55"],
        "instrument": "calliper",
        "doubt": Decimal("0.05"),
        "verdict": "complies",
        "passes": True,
        "by": day.director,
        "taken_at": timezone.now(),
    }
    one = Inspection(**said | change)
    one.save(force_insert=True)
    return one


@pytest.mark.parametrize(
    ("constraint", "change"),
    [
        ("inspection_measured_or_seen", {"seen": True}),
        ("inspection_measured_or_seen", {"value": None}),
        ("inspection_measured_or_seen", {"u": Decimal("-0.1")}),
        ("inspection_measured_or_seen", {"doubt": None}),
        ("inspection_run_counted", {"run": 0}),
        ("inspection_run_counted", {"run": 100}),
        ("inspection_words_known", {"stage": "during"}),
        ("inspection_words_known", {"verdict": "not_checked"}),
        ("inspection_corrected_with_reason", {"reason": "So"}),
    ],
)
def test_what_an_inspection_can_never_be(day, car, constraint, change):
    stored(day, car)
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        stored(day, car, **change)


def test_a_correction_is_of_the_same_car_clause_and_stage(day, car):
    first = stored(day, car)
    other = day.enter_setup(8)
    for change in (
        {"entry": other},
        {"clause": day.clause("2.2")},
        {"stage": "after"},
        {"run": 2},
    ):
        with pytest.raises(IntegrityError, match="correction_of_another_car"), transaction.atomic():
            stored(day, car, corrects=first, reason="So", **change)
    stored(day, car, corrects=first, reason="So")
    with pytest.raises(IntegrityError), transaction.atomic():
        stored(day, car, corrects=first, reason="Twice")


# The phone's page, as a plain form


def test_each_field_that_is_filled_in_is_stored_and_a_wrong_one_loses_nothing(day, car, inspector):
    page = reverse("inspect", args=[day.event.slug, car.pk])
    width, mass, seen = (day.clause(number).pk for number in ("2.1", "3.1", "5.1"))
    form = {
        "stage": "after",
        "run": "2",
        f"reading_{width}": "54,9",
        f"key_{width}": str(uuid4()),
        f"reading_{mass}": "a lot",
        f"key_{mass}": (key := str(uuid4())),
        f"seen_{seen}": "yes",
        f"key_{seen}": str(uuid4()),
    }
    answer = inspector.post(page, form)
    assert answer.status_code == 422
    assert set(Inspection.objects.values_list("clause__number", "stage", "run")) == {
        ("2.1", "after", 2),
        ("5.1", "after", 2),
    }
    assert "is not a number" in words(answer)
    assert 'value="a lot"' in words(answer)
    assert key in words(answer)


def test_a_form_that_is_sent_twice_is_stored_once(day, car, inspector):
    page = reverse("inspect", args=[day.event.slug, car.pk])
    pk = day.clause("2.1").pk
    form = {"stage": "before", "run": "1", f"reading_{pk}": "54.9", f"key_{pk}": str(uuid4())}
    for _ in range(2):
        assert inspector.post(page, form).status_code == 302
    assert Inspection.objects.count() == 1


def test_the_script_s_record_is_answered_with_the_card_and_known_the_second_time(day, car, inspector):
    where = reverse("send-record", args=[day.event.slug, car.pk])
    record_ = {
        "key": str(uuid4()),
        "clause": day.clause("2.1").pk,
        "stage": "before",
        "run": "1",
        "reading": "55.05",
        "instrument": "calliper",
        "taken_at": "2031-05-10T09:30:00Z",
    }
    first, second = inspector.post(where, record_).json(), inspector.post(where, record_).json()
    assert (first["state"], second["state"]) == ("stored", "known")
    assert "it fails, since it is not clearly inside" in first["html"]
    refused = inspector.post(where, record_ | {"key": str(uuid4()), "reading": "5505"})
    assert refused.status_code == 422
    assert "Check the unit" in refused.json()["message"]
    assert Inspection.objects.count() == 1


@pytest.mark.parametrize(
    "spoilt", [{"key": "x"}, {"clause": "x"}, {"run": "9" * 30}, {"taken_at": "x"}, {"doubt": "?"}]
)
def test_a_spoilt_record_is_never_an_error_of_the_server(day, car, inspector, spoilt):
    where = reverse("send-record", args=[day.event.slug, car.pk])
    said = {"key": str(uuid4()), "clause": day.clause("2.1").pk, "stage": "before", "run": "1"}
    said |= {"reading": "54.9", "instrument": "calliper"} | spoilt
    assert inspector.post(where, said).status_code in (200, 422)


def test_an_instrument_is_chosen_once_and_its_doubt_is_used(day, car, inspector):
    page = reverse("inspect", args=[day.event.slug, car.pk])
    inspector.post(page, {"stage": "before", "run": "1", "tool_mm": "ruler", "doubt_mm": "0.5"})
    assert "ruler" in words(inspector.get(page))
    pk = day.clause("2.1").pk
    inspector.post(page, {"stage": "before", "run": "1", f"reading_{pk}": "55", f"key_{pk}": str(uuid4())})
    found = Inspection.objects.get()
    assert (found.instrument, found.doubt) == ("ruler", Decimal("0.5"))


def test_a_doubt_that_no_instrument_has_is_said_and_kept_in_its_field(day, car, inspector):
    page = reverse("inspect", args=[day.event.slug, car.pk])
    answer = inspector.post(page, {"stage": "before", "run": "1", "tool_mm": "ruler", "doubt_mm": "tiny"})
    assert answer.status_code == 422
    assert 'value="tiny"' in words(answer)
    assert "Type the doubt of one reading as a number" in words(answer)


def test_before_a_rulebook_holds_there_is_nothing_to_inspect_against(day, inspector):
    day.event.date = day.edition.valid_from - timedelta(days=1)
    day.event.save()
    page = inspector.get(reverse("inspect", args=[day.event.slug, day.enter(7).pk]))
    assert "Nothing to inspect against" in words(page)


# Sheets and pictures


def test_a_sheet_has_a_box_for_every_clause_and_a_code_to_the_car_s_page(day, car, inspector):
    answer = inspector.get(reverse("entry-sheet", args=[day.event.slug, car.pk]))
    page = words(answer)
    assert page.count('class="paper-box"') == 2 * 4
    assert code_of(f"http://testserver{car.get_absolute_url()}").path in page
    assert "clearly inside: to 55.00 mm" in page.replace("  ", " ")


def test_the_code_reads_as_the_address():
    """The modules are segno's own, one for one; the quiet zone is white."""
    import segno

    address = "https://club.example/events/spring-round-2031/entries/7/"
    code = code_of(address)
    matrix = [list(row) for row in segno.make(address, error="q", micro=False).matrix]
    dark = set()
    for run in code.path.split("M")[1:]:
        start, length = run.split("h")[0], int(run.split("h")[1].split("v")[0])
        x, y = map(int, start.split())
        dark |= {(x + i, y) for i in range(length)}
    assert dark == {
        (x + QUIET, y + QUIET) for y, row in enumerate(matrix) for x, module in enumerate(row) if module
    }
    assert code.size == len(matrix) + 2 * QUIET


RULES = (
    [
        Limit(id=1, quantity="front_width", high=74.0, rule=rule, factor=factor)
        for rule in DecisionRule
        for factor in (0.0, 0.5, 1.0)
    ]
    + [Limit(id=2, quantity="front_width", low=70.0, high=74.0, rule=rule) for rule in DecisionRule]
    + [Limit(id=3, quantity="front_width", low=70.0, high=70.1, rule=rule) for rule in DecisionRule]
)


@pytest.mark.parametrize(
    "limit", RULES, ids=lambda one: f"{one.rule.value} {one.low} {one.high} {one.factor}"
)
def test_what_the_page_foretells_is_what_the_calculation_judges(limit):
    """The zones that the phone reads are those of ``judge``, on every boundary and on either side of it."""
    told = zones(limit, U)
    ends = [zone["to"] for zone in told if zone["to"] is not None]
    tried = [end + shift for end in ends for shift in (-1e-4, 0.0, 1e-4)] + [60.0, 72.0, 80.0]
    for value in tried:
        zone = next(one for one in told if one["to"] is None or value <= one["to"] + 1e-9)
        on = zone["to"] is not None and abs(value - zone["to"]) <= 1e-9
        ruling = judge(limit, Car(measured={"front_width": Quantity(value, U)}))
        assert zone["at" if on else "in"] == [ruling.verdict.value, ruling.passes], value


def test_the_picture_shows_limit_guard_band_and_value_in_their_places():
    limit = Limit(id=1, quantity="front_width", high=74.0, rule=DecisionRule.GUARDED_ACCEPTANCE)
    bar = guard_bar(limit, 0.05, Quantity(73.95, 0.05), ClassVerdict.TOO_CLOSE)
    (guard,) = bar.guards
    assert guard[1] == pytest.approx(bar.edges[0].x)
    assert guard[0] < bar.value < guard[1]
    assert bar.whiskers[0] < bar.value < bar.whiskers[1]
    assert "Asked: at most 74" in bar.description
    assert "guard band 0.10" in bar.description


def test_a_card_stands_for_a_quantity_and_shows_what_is_on_record_at_its_stage(day, car):
    day.find(car, "2.1", "54.9")
    book = rulebook_for(car)
    tools = tools_for([CLASS_QUANTITIES[row.quantity] for row in book.rows if row.quantity], {})
    before = cards_for(car, book, tools, "before", 1)
    after = cards_for(car, book, tools, "after", 1)
    assert [card.clause.number for card in before] == ["2.1", "2.2", "3.1", "5.1"]
    assert before[0].last.value == Decimal("54.9")
    assert after[0].last is None
    assert [one.value for one in after[0].others] == [Decimal("54.9")]


def test_tools_that_cannot_be_are_told_and_the_rest_taken():
    tools = tools_for([CLASS_QUANTITIES["front_width"], CLASS_QUANTITIES["battery_voltage"]], {})
    assert tools[Unit.VOLT].u is None
    told = read(tools, {"doubt_volt": "0,02", "doubt_mm": "-1", "tool_mm": "no such thing"})
    assert told[Unit.VOLT].u == pytest.approx(0.02)
    assert told[Unit.MM].wrong
    assert told[Unit.MM].instrument is Instrument.CALLIPER


def test_an_overall_width_is_held_against_both_axles(db):
    """Nothing computes an overall width by itself: it is that of the wider axle."""
    day = race_day({"number": "1", "quantity": "width", "high": Decimal("60")})
    car = day.enter_setup()
    found = day.find(car, "1", "57")
    assert found.computed == Decimal("55")
    (card,) = cards_for(car, rulebook_for(car), {}, "before", 1)
    assert card.disagrees
    assert card.computed.value == pytest.approx(55.0)
