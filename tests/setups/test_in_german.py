"""The setups' pages as a German reader has them; what is kept in the database stays English."""

from __future__ import annotations

from decimal import Decimal
from html import unescape

import pytest
from django.utils.translation import override

from fitcalc.said import Said
from setups.imports.kinds import KINDS
from setups.imports.plan import plan_of
from setups.imports.words import together
from setups.models import BodyDimension, Decision
from setups.services import telling, verifying
from setups.translated import tell
from tests.factories import BodyFactory, MakerFactory, MemberFactory, SetupFactory, reading_for

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


def read(client, address: str) -> str:
    return client.get(address, HTTP_ACCEPT_LANGUAGE="de").content.decode()


def test_a_setups_page_speaks_german_and_draws_with_points(client):
    setup = SetupFactory()

    page = read(client, setup.get_absolute_url())

    assert "nicht bestätigt" in page
    assert "Wie es gebaut ist" in page
    assert "What was measured" not in page
    drawn = page[page.index('<svg class="drawing') :]
    assert "," not in drawn[drawn.index('viewBox="') : drawn.index('" font-size')]


@pytest.mark.parametrize(
    ("reason", "german"),
    [
        (
            "It counts as verified no longer: its measurements are too few.",
            "Es gilt nicht mehr als bestätigt: Es sind zu wenige Messungen.",
        ),
        (
            "By the library’s figures of today the fit is “does not fit”, before it was “fits”.",
            "Nach den heutigen Werten der Bibliothek ist das Urteil „passt nicht“, vorher war es „passt“.",
        ),
        (
            "Ada measured the front width as 63.5 mm, which contradicts what is computed.",
            "Ada hat gemessen: Breite vorn 63,5 mm. Das widerspricht dem Berechneten.",
        ),
    ],
)
def test_what_the_rules_noted_in_english_is_told_in_german(reason, german):
    line = Decision(action=Decision.Action.VERDICT, reason=reason)

    with override("de"):
        assert telling.retold(line) == german
    with override("en-gb"):
        assert telling.retold(line) == reason


def test_what_a_member_wrote_is_not_translated():
    line = Decision(action=Decision.Action.WITHDRAWN, reason="verified", member=MemberFactory.build(pk=7))

    with override("de"):
        assert telling.retold(line) == "verified"


def test_a_reading_that_a_german_adds_leaves_an_english_record():
    setup = SetupFactory()

    with override("de"):
        verifying.add(reading_for(setup, "wheelbase", 50))
        told = [telling.retold(line) for line in setup.decisions.all()]

    kept = [line.reason for line in setup.decisions.all()]
    assert any("measured the wheelbase as 50 mm, which contradicts" in reason for reason in kept)
    assert any("hat gemessen: Radstand 50 mm" in reason for reason in told)


def test_what_is_wrong_with_a_file_is_told_in_german_and_the_words_of_the_file_stay():
    part = "name,maker,kind,axle,offset,teeth,platforms\nReed 8,Reed,wheel,left,half,12,Nowhere\n"
    with override("de"):
        [row] = plan_of(KINDS["parts"], part).rows
        told = {problem.column: tell(problem.message) for problem in row.problems}
        kept = {problem.column: str(problem.message) for problem in row.problems}

    assert told["axle"].startswith("„left“ ist keines von diesen: front, rear")
    assert told["offset"] == "„half“ ist keine Zahl: Schreib nur Ziffern, zum Beispiel 98.5."
    assert kept["offset"] == "“half” is not a number: write figures only, such as 98.5."


def test_a_part_of_the_wrong_kind_is_named_within_the_sentence():
    part = "name,maker,kind,teeth,platforms\nReed 8,Reed,wheel,12,Nowhere\n"
    with override("de"):
        [row] = plan_of(KINDS["parts"], part).rows
        [teeth, platform] = sorted(
            (tell(one.message) for one in row.problems), key=lambda text: "Nowhere" in text
        )
        kept = [str(one.message) for one in row.problems]

    assert teeth == (
        "Zähne gibt es bei dieser Art von Teil (Rad) nicht: Lass die Zelle leer. "
        "Das Maß gehört zu: Ritzel, Hauptzahnrad."
    )
    assert platform.startswith("Es gibt keine Plattform „Nowhere“")
    assert "A wheel has no teeth: leave the cell empty. It belongs to: pinion, spur." in kept


def test_a_german_sees_a_file_refused_in_german(client):
    page = client.post(
        "/imports/",
        {"kind": "bodies", "text": "name,maker,scale,colour\nHeron,Reed,28,red\n,Reed,x,\n", "act": "check"},
        HTTP_ACCEPT_LANGUAGE="de",
    ).content.decode()

    assert "Spalten, die nicht gelesen werden: „colour“." in page
    assert "„x“ ist kein Maßstab" in page
    assert "is not a scale" not in page


def dry_run(client, kind: str, text: str) -> str:
    """The page of a dry run as a German has it, without the form below it."""
    data = {"kind": kind, "text": text, "act": "check"}
    page = client.post("/imports/", data, HTTP_ACCEPT_LANGUAGE="de").content.decode()
    return unescape(page[: page.index("Was geprüft wurde")])


def test_a_dry_run_tells_what_changes_in_german(client):
    body = BodyFactory(name="Plover", maker=MakerFactory(name="Reed"), price=Decimal("24.50"))
    BodyDimension.objects.filter(body=body, quantity="wheelbase").update(source="Blatt 7")

    page = dry_run(
        client, "bodies", "name,maker,scale,wheelbase,price,takes_mid_motor\nplover,Reed,28,93.25,26,yes\n"
    )

    assert "<dt>Preis</dt><dd><del>24,5</del>" in page
    assert "<del>92 ± 0,1 mm (Herstellerangabe, Blatt 7)</del>" in page
    assert "<ins>93,25 mm (Herstellerangabe" in page
    assert "<dt>Nimmt Mittelmotor</dt><dd><del>nein</del>" in page
    assert "<ins>ja</ins>" in page


def test_a_name_that_is_a_word_of_the_library_stays_in_a_dry_run(client):
    page = dry_run(client, "bodies", "name,maker,scale\nWheel,Reed,28\n")

    assert "<strong>Wheel</strong>" in page
    assert "Name</span> Wheel" in page


def test_what_a_choice_is_called_is_told_not_what_the_table_keeps(client):
    page = dry_run(client, "parts", "name,maker,kind,layout\nHeron,Reed,motor mount,mid motor\n")

    assert "Art</span> Motorhalter" in page
    assert "motor_mount" not in page


def test_a_column_is_named_as_in_the_file_and_as_the_reader_calls_it(client):
    wrong = "name,maker,kind,offset,platforms\nReed 8,Reed,wheel,half,\n"

    assert "offset (Felgenversatz): „half“ ist keine Zahl" in dry_run(client, "parts", wrong)
    english = client.post("/imports/", {"kind": "parts", "text": wrong, "act": "check"}).content.decode()
    assert "offset: “half”" in english
    assert "Spalte „Maßstab“: Diese Spalte gibt es nicht." in dry_run(client, "bodies", "name,maker\nA,B\n")


def test_several_messages_for_one_field_are_all_told_in_german():
    both = together(["weigh all four wheels", Said("It must be at least {low:g}.", low=2.5)])

    assert str(both) == "weigh all four wheels It must be at least 2.5."
    both = together(
        [Said("A price cannot be negative."), Said("Give a tolerance or an uncertainty, not both.")]
    )
    with override("de"):
        assert tell(both).startswith("Ein Preis kann nicht negativ sein. ")
        assert "both" not in tell(both)


def test_a_reader_of_inches_sees_what_a_file_in_mm_would_change_in_inches_but_not_an_offset(client):
    client.cookies["units"] = "inch"
    wheel = "name,maker,kind,offset,rim_width\nReed 8,Reed,wheel,-0.5,8.5\n"
    page = dry_run(client, "parts", wheel)

    assert "0,3346 in (" in page
    assert "−0,5 mm (" in page


def test_every_column_is_called_something_in_german():
    with override("de"):
        english = {
            str(column.label)
            for kind in KINDS.values()
            for column in kind.columns
            if tell(column.label) == str(column.label)
        }

    assert english <= {"Name", "Motor", "Slug", "Position", "Setup", "Material"}


def test_what_every_column_means_and_takes_is_told_in_german():
    columns = [column for kind in KINDS.values() if not kind.whole for column in kind.columns]
    texts = {text for column in columns for text in (column.meaning, column.takes)}
    with override("de"):
        english = {str(text) for text in texts if tell(text) == str(text)}

    assert english == set()
