"""The library as files: text that comes back letter by letter, who may fetch it, and how often."""

from __future__ import annotations

import csv
import io
import json
from decimal import Decimal
from typing import Any

import pytest
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from setups.exports.sources import rows_of
from setups.exports.writing import Format, printable, written
from setups.imports import cells
from setups.imports.kinds import KINDS
from setups.imports.plan import plan_of
from setups.imports.reading import as_text
from setups.models import Body, Setup
from setups.views.exports import Exporting
from tests.factories import (
    BodyFactory,
    MakerFactory,
    MemberFactory,
    PartFactory,
    PlatformFactory,
    SetupFactory,
)

NASTY = [
    "=1+2",
    "+44 1234",
    "-",
    "-x",
    "@here",
    "\tx",
    "'=1",
    "''=1",
    "'78 Coupe",
    "'t",
    "n/a",
    "None",
    " x ",
    "a  b",
    "a\nb",
    "\n",
    "'",
    "'n/a",
    '"quoted", and',
    "a;b|c",
    "Ω ± ’",
]


@pytest.mark.parametrize("lines", [False, True])
@pytest.mark.parametrize("text", NASTY)
def test_marked_text_comes_back_letter_by_letter(text: str, lines: bool) -> None:
    cell = cells.marked(text, lines)
    assert cell[0] not in "=+-@\t\r"
    assert cells.unmarked(cell, lines)[0] == text


@given(st.text(alphabet=st.sampled_from("'=+-@\t\n a1n/?")), st.booleans())
def test_any_text_comes_back_from_its_cell(text: str, lines: bool) -> None:
    cell = cells.marked(text, lines)
    back, exact = cells.unmarked(cell, lines)
    assert back == text
    assert exact == (cell != text)


def test_an_apostrophe_that_is_no_mark_stays() -> None:
    assert cells.unmarked("'78 Coupe") == ("'78 Coupe", False)
    assert cells.unmarked("'-1.5") == ("-1.5", True)


def _text(what: str, how: Format) -> str:
    return "".join(written(KINDS[what], rows_of(KINDS[what]), how))


@pytest.mark.django_db
@pytest.mark.parametrize("how", list(Format))
def test_no_text_is_lost_or_computed_on_the_way(how: Format) -> None:
    maker = MakerFactory(name="Fen & Furrow")
    for number, text in enumerate(NASTY):
        BodyFactory(
            name=text,
            slug=f"b{number}",
            maker=maker,
            description=text,
            full_size_car=text,
            part_number=text[:40],
        )
    before = list(Body.objects.order_by("pk").values())
    text = _text("bodies", how)
    if how is Format.CSV:
        for row in csv.reader(io.StringIO(text)):
            for cell in row:
                assert cell[:1] not in tuple("=+-@\t\r") or cell[1:].replace(".", "").isdigit()
    Body.objects.all().delete()
    from setups.imports.load import load

    plan = plan_of(KINDS["bodies"], as_text(text))
    plan, loaded = load(KINDS["bodies"], as_text(text), plan.fingerprint)
    assert loaded is not None, [row.problems for row in plan.wrong]
    after = list(Body.objects.order_by("pk").values())
    assert [row | {"id": 0} for row in after] == [row | {"id": 0} for row in before]


def test_line_ends_are_one_character_and_what_cannot_be_printed_is_left_out() -> None:
    assert printable("a\r\nb\rc\x07d\te") == "a\nb\ncd\te"


@pytest.mark.django_db
def test_a_figure_keeps_its_decimals_doubt_basis_and_source() -> None:
    part = PartFactory(spur=True, slug="spur", maker=MakerFactory(name="Fen"))
    part.dimensions.filter(quantity="module").update(
        value=Decimal("0.125"),
        tolerance=None,
        uncertainty=Decimal("0.003"),
        basis="agreed",
        source="3 members’ measurements",
    )
    row = json.loads(_text("parts", Format.JSONL))
    assert (row["module"], row["module_uncertainty"], row["module_basis"]) == (0.125, 0.003, "agreed")
    assert row["teeth"] == 44
    assert "module_tolerance" not in row
    assert plan_of(KINDS["parts"], _text("parts", Format.JSONL)).unchanged


# Pages


@pytest.fixture
def signed_in(client: Client, db: None) -> Client:
    cache.clear()
    client.force_login(MemberFactory(username="ode"))
    return client


@pytest.mark.django_db
def test_a_visitor_sees_what_there_is_and_signs_in_to_fetch_it(client: Client) -> None:
    page = client.get("/exports/")
    assert "sign in" in page.content.decode()
    assert client.get("/exports/bodies.csv")["Location"].startswith(
        "/account/sign-in/?next=/exports/bodies.csv"
    )


@pytest.mark.parametrize("how", list(Format))
def test_a_member_fetches_every_kind(signed_in: Client, how: Format) -> None:
    SetupFactory()
    page = signed_in.get("/exports/").content.decode()
    for kind in KINDS.values():
        address = f"/exports/{kind.key}.{how.value}"
        response = signed_in.get(address)
        if kind.whole:
            assert response.status_code == 404
            continue
        assert f'href="{address}"' in page
        assert response["Content-Type"] == how.content_type
        assert response["Content-Disposition"] == f'attachment; filename="{kind.key}.{how.value}"'
        body = response.getvalue().decode()
        assert "@example.org" not in body
        assert not plan_of(kind, as_text(body)).problems if body.count("\n") > 1 and not kind.own else True
    assert signed_in.get("/exports/bodies.xls").status_code == 404
    assert signed_in.get("/exports/secrets.csv").status_code == 404


def test_drafts_are_nobodys_business_and_own_setups_can_be_fetched_alone(signed_in: Client) -> None:
    SetupFactory(name="of another")
    mine = SetupFactory(name="of mine")
    Setup.objects.filter(pk=mine.pk).update(author=signed_in.session["_auth_user_id"])
    Setup.objects.create(author=mine.author, name="secret draft")
    every = signed_in.get("/exports/setups.jsonl").getvalue().decode()
    assert [json.loads(line)["name"] for line in every.splitlines()] == ["of another", "of mine"]
    response = signed_in.get("/exports/setups.jsonl?mine=1")
    assert response["Content-Disposition"] == 'attachment; filename="my-setups.jsonl"'


def test_who_fetches_too_often_is_told_when_to_come_again(signed_in: Client, monkeypatch: Any) -> None:
    monkeypatch.setattr(Exporting, "rate", "2/hour")
    for _ in range(2):
        assert signed_in.get("/exports/makers.csv").status_code == 200
    refused = signed_in.get("/exports/makers.csv")
    assert refused.status_code == 429
    assert 0 < int(refused["Retry-After"]) <= 3601
    assert "Try again in 60 minutes" in refused.content.decode()
    assert signed_in.get("/exports/").status_code == 200


@pytest.mark.django_db
def test_a_batch_is_read_in_as_many_queries_whatever_its_size() -> None:
    maker, platform = MakerFactory(), PlatformFactory()
    SetupFactory()
    counts = {}
    for size in (1, 2):
        for number in range(20):
            BodyFactory(name=f"Shell {size}-{number}", maker=maker)
            PartFactory(name=f"Part {size}-{number}", maker=maker, fits=platform)
        for what in KINDS:
            with CaptureQueriesContext(connection) as queries:
                _text(what, Format.JSONL)
            counts.setdefault(what, []).append(len(queries))
    assert {what: found for what, found in counts.items() if found[0] != found[1] or found[1] > 5} == {}
