"""The setups' pages as a German reader has them; what is kept in the database stays English."""

from __future__ import annotations

import pytest
from django.utils.translation import override

from setups.imports.kinds import KINDS
from setups.imports.plan import plan_of
from setups.models import Decision
from setups.services import telling, verifying
from setups.translated import tell
from tests.factories import MemberFactory, SetupFactory, reading_for

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
