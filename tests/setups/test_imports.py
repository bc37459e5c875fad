"""A member's spreadsheet: the dry run row by row, and the loading of all of it or nothing."""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext

from club.models import Member
from setups import guards
from setups.imports.kinds import KINDS
from setups.imports.load import load
from setups.imports.plan import Outcome, Plan, plan_of
from setups.imports.reading import decoded
from setups.models import Body, BodyPart, Maker, Part
from tests.factories import BodyFactory, MakerFactory, MemberFactory, PartFactory, PlatformFactory

pytestmark = pytest.mark.django_db
DATA = Path(__file__).parent / "data"
BODIES, PARTS = KINDS["bodies"], KINDS["parts"]


def _bodies(*rows: str, headings: str = "name,maker,scale,wheelbase") -> str:
    return "\n".join([headings, *rows]) + "\n"


def _plan(text: str, kind: str = "bodies") -> Plan:
    return plan_of(KINDS[kind], text)


def _problems(plan: Plan) -> dict[int, str]:
    return {row.line: "; ".join(problem.message for problem in row.problems) for row in plan.wrong}


def _load(text: str, kind: str = "bodies") -> Plan:
    plan, loaded = load(KINDS[kind], text, _plan(text, kind).fingerprint)
    assert loaded is not None, (plan.problems, _problems(plan))
    return plan


def _post(client: Client, text: str = "", **fields: object) -> HttpResponse:
    return client.post("/imports/", {"kind": "bodies", "text": text, "act": "check", **fields})


@pytest.fixture
def librarian(client: Client) -> Member:
    member = MemberFactory(librarian=True)
    client.force_login(member)
    return member


# Bodies


def test_a_new_body_is_loaded_with_its_maker_its_address_and_its_dimensions() -> None:
    _load(
        _bodies(
            "Plover Coupé,Reed Shells,1:28,98.4,0.2,61 ± 0.3,yes,,60.5,+0.5",
            headings="name,maker,scale,wheelbase,wheelbase_tolerance,front_arch_width,takes_rear_motor,"
            "takes_mid_motor,designated_front_width,designated_front_offset",
        )
    )
    body = Body.objects.get()
    assert (body.slug, body.maker.name, body.maker.slug) == (
        "reed-shells-plover-coupe",
        "Reed Shells",
        "reed-shells",
    )
    assert (body.scale, body.takes_rear_motor, body.takes_mid_motor) == (28, True, None)
    assert (body.designated_front_width, body.designated_front_offset) == (Decimal("60.5"), Decimal("0.5"))
    assert set(body.dimensions.values_list("quantity", "value", "tolerance", "uncertainty", "basis")) == {
        ("wheelbase", Decimal("98.4"), Decimal("0.2"), None, "maker"),
        ("front_arch_width", Decimal("61"), Decimal("0.3"), None, "maker"),
    }


def test_the_same_file_again_changes_nothing() -> None:
    text = _bodies("Plover,Reed,28,98.4", "Heron,Reed,24,112 ± 0.2")
    _load(text)
    plan = _plan(text)
    assert [row.outcome for row in plan.rows] == [Outcome.UNCHANGED, Outcome.UNCHANGED]
    assert not plan.loadable


def test_a_change_says_what_goes_from_what_to_what() -> None:
    body = BodyFactory(name="Plover", maker=MakerFactory(name="Reed"), price=Decimal("24.00"))
    text = _bodies("plover,REED,1:28,93,26", headings="name,maker,scale,wheelbase,price")
    row = _plan(text).changed[0]
    assert [(change.what, change.before, change.after) for change in row.changes] == [
        ("Price", "24", "26"),
        ("Wheelbase", "92 ± 0.1 mm (maker's figure)", "93 mm (maker's figure)"),
    ]
    _load(text)
    body.refresh_from_db()
    assert (body.name, body.price) == ("Plover", Decimal("26"))
    wheelbase = body.dimensions.get(quantity="wheelbase")
    assert (wheelbase.value, wheelbase.tolerance) == (Decimal("93"), None)
    assert body.dimensions.count() == 9


def test_an_empty_cell_a_dash_and_not_available_change_nothing() -> None:
    BodyFactory(name="Plover", maker=MakerFactory(name="Reed"), full_size_car="Ambersett Plover")
    text = _bodies("Plover,Reed,28,,-,n/a", headings="name,maker,scale,wheelbase,price,full_size_car")
    assert _plan(text).unchanged


def test_a_figure_that_changes_takes_doubt_basis_and_source_from_the_file() -> None:
    body = BodyFactory(name="Plover", maker=MakerFactory(name="Reed"))
    body.dimensions.filter(quantity="wheelbase").update(
        tolerance=None, uncertainty=Decimal("0.03"), basis="agreed", source="three members"
    )
    text = _bodies(
        "Plover,Reed,28,92.5,0.1,measured by a member,Ode",
        headings="name,maker,scale,wheelbase,wheelbase_uncertainty,basis,wheelbase_source",
    )
    assert _plan(text).changed[0].notes == [
        "Wheelbase: this replaces a figure agreed from several measurements."
    ]
    _load(text)
    row = body.dimensions.get(quantity="wheelbase")
    assert (row.value, row.tolerance, row.uncertainty, row.basis, row.source) == (
        Decimal("92.5"),
        None,
        Decimal("0.1"),
        "measured",
        "Ode",
    )


def test_a_tolerance_alone_changes_the_doubt_of_what_is_on_record() -> None:
    BodyFactory(name="Plover", maker=MakerFactory(name="Reed"))
    text = _bodies("Plover,Reed,28,±0.3", headings="name,maker,scale,wheelbase_tolerance")
    assert [(c.before, c.after) for c in _plan(text).changed[0].changes] == [
        ("92 ± 0.1 mm (maker's figure)", "92 ± 0.3 mm (maker's figure)")
    ]


def test_a_body_is_found_by_slug_then_number_then_name() -> None:
    reed = MakerFactory(name="Reed")
    BodyFactory(name="Plover", slug="plover", maker=reed, part_number="R-1")
    BodyFactory(name="Heron", slug="heron", maker=reed, part_number="R-2")
    by_slug = _bodies("Plover long,Reed,28,plover", headings="name,maker,scale,slug")
    assert [(c.what, c.before, c.after) for c in _plan(by_slug).changed[0].changes] == [
        ("Name", "Plover", "Plover long")
    ]
    by_number = _bodies("Heron long,Reed,28,R-2", headings="name,maker,scale,part_number")
    assert [(c.what, c.before, c.after) for c in _plan(by_number).changed[0].changes] == [
        ("Name", "Heron", "Heron long")
    ]
    assert _plan(_bodies("heron,reed,28,", headings="name,maker,scale,price")).unchanged


def test_one_name_in_two_scales_is_two_bodies() -> None:
    BodyFactory(name="Plover", maker=MakerFactory(name="Reed"), scale=28, slug="reed-plover")
    _load(_bodies("Plover,Reed,24,112"))
    assert set(Body.objects.values_list("slug", "scale")) == {("reed-plover", 28), ("reed-plover-24", 24)}


def test_contradicting_slug_and_number_are_an_error() -> None:
    reed = MakerFactory(name="Reed")
    BodyFactory(name="Plover", slug="plover", maker=reed)
    BodyFactory(name="Heron", slug="heron", maker=reed, part_number="R-2")
    text = _bodies("Plover,Reed,28,plover,R-2", headings="name,maker,scale,slug,part_number")
    assert "It is the number of “Heron” (heron)" in _problems(_plan(text))[2]


def test_a_maker_may_change_but_not_onto_a_number_that_is_taken() -> None:
    fen = MakerFactory(name="Fen")
    BodyFactory(name="Plover", slug="plover", maker=MakerFactory(name="Reed"), part_number="1")
    BodyFactory(name="Heron", slug="heron", maker=fen, part_number="1")
    text = _bodies("Plover,Fen,28,plover", headings="name,maker,scale,slug")
    assert "1 is the number of “Heron” (heron)" in _problems(_plan(text))[2]
    Body.objects.filter(slug="heron").update(part_number="2")
    assert [(c.what, c.before, c.after) for c in _plan(text).changed[0].changes] == [("Maker", "Reed", "Fen")]


def test_an_address_that_is_not_its_own_is_an_error() -> None:
    BodyFactory(name="Plover", slug="plover", maker=MakerFactory(name="Reed"))
    text = _bodies("Plover,Reed,28,other", headings="name,maker,scale,slug")
    assert _problems(_plan(text)) == {2: "It is on record as “plover”: leave the slug out or write that."}


def test_several_of_one_name_ask_for_the_slug() -> None:
    reed = MakerFactory(name="Reed")
    BodyFactory(name="Plover", slug="plover-a", maker=reed)
    BodyFactory(name="Plover", slug="plover-b", maker=reed)
    assert (
        "add a column slug with one of plover-a, plover-b"
        in _problems(_plan(_bodies("Plover,Reed,28,92")))[2]
    )


def test_a_new_maker_that_is_nearly_an_old_one_is_asked_about() -> None:
    MakerFactory(name="Fen & Furrow")
    plan = _plan(_bodies("Plover,Fen & Furow,28,92", "Heron,Oast,28,92"))
    assert plan.new[0].notes == ["“Fen & Furow” would be a new maker: did you mean “Fen & Furrow”?"]
    assert plan.new[1].notes == []
    assert plan.new_makers == ["Fen & Furow", "Oast"]


def test_one_new_maker_in_two_spellings_of_case_is_one() -> None:
    plan = _load(_bodies("Plover,Oast,28,92", "Heron,OAST,28,92"))
    assert plan.new_makers == ["Oast"]
    assert Maker.objects.count() == 1


def test_a_row_that_says_the_same_twice_is_left_out_and_other_figures_are_an_error() -> None:
    plan = _plan(_bodies("Plover,Reed,28,92", "Plover,Reed,28,92.0", "Plover,Reed,28,93"))
    assert plan.rows[1].notes == ["It says the same as line 2 and is left out."]
    assert _problems(plan) == {4: "Line 2 is the same body with other figures: keep one of them."}


def test_two_rows_with_one_number_or_one_slug_are_one_body_twice() -> None:
    numbers = _bodies("Plover,Reed,28,R-1", "Heron,Reed,24,R-1", headings="name,maker,scale,part_number")
    assert "Line 2 is the same body" in _problems(_plan(numbers))[3]
    slugs = _bodies("Plover,Reed,28,one", "Heron,Fen,24,one", headings="name,maker,scale,slug")
    assert "Line 2 is the same body" in _problems(_plan(slugs))[3]


@pytest.mark.parametrize(
    ("headings", "row", "said"),
    [
        ("wheelbase", "965", "Wheelbase must lie between 40 and 420 mm; you gave 965"),
        ("wheelbase", "-98", "Wheelbase must lie between 40 and 420 mm"),
        ("wheelbase,wheelbase_tolerance", ",0.2", "It is empty, but its tolerance or source is not"),
        ("wheelbase,wheelbase_tolerance", "98 ± 0.1,0.2", "It is not the tolerance that stands behind the ±"),
        (
            "wheelbase,wheelbase_tolerance,wheelbase_uncertainty",
            "98,0.1,0.1",
            "a tolerance or an uncertainty",
        ),
        ("wheelbase_tolerance,wheelbase", "99999,98", "no more than"),
        ("designated_front_offset", "40", "It must be between -20 and 30 mm"),
        ("designated_front_width", "0", "It must be at least"),
        ("designated_front_width", "60.125", "no more than 2 decimal places"),
        ("price", "-1", "A price cannot be negative"),
        ("slug", "not a slug", "slug"),
        ("material", "wood", "none of these: polycarbonate, moulded"),
        ("part_number", "N" * 41, "at most 40 characters (it has 41)"),
    ],
)
def test_what_a_body_cannot_be_names_line_column_and_what_to_do(headings: str, row: str, said: str) -> None:
    plan = _plan(_bodies(f"Plover,Reed,28,{row}", headings=f"name,maker,scale,{headings}"))
    assert said in _problems(plan)[2]
    assert plan.wrong[0].problems[0].column in headings.split(",")


def test_a_name_that_is_too_long_and_a_scale_that_is_none() -> None:
    plan = _plan(
        _bodies(f"{'P' * 121},Reed,28,92", f"Heron,{'R' * 81},28,92", "Gannet,Reed,100,92", ",Reed,28,92")
    )
    problems = _problems(plan)
    assert "at most 120 characters" in problems[2]
    assert "may have 80" in problems[3]
    assert "less than or equal to 64" in problems[4]
    assert "It is empty, and every body needs it" in problems[5]


def test_a_spreadsheets_noise_behind_the_last_decimal_is_no_error() -> None:
    _load(
        _bodies("Plover,Reed,28,98.1000000000001,24.8999999999", headings="name,maker,scale,wheelbase,price")
    )
    assert Body.objects.get().price == Decimal("24.90")


@pytest.mark.parametrize(
    ("headings", "said"),
    [
        ("name,scale,wheelbase", "There is no such column. Add “maker”"),
        ("name,maker,scale,Wheelbase,wheelbase (mm)", "It names the same as “Wheelbase”"),
        ("name,maker,scale,Wheelbase (cm)", "The library takes mm: convert the column."),
    ],
)
def test_headings_that_cannot_be_are_an_error_of_the_file(headings: str, said: str) -> None:
    plan = _plan(_bodies("a,b,28,98,98", headings=headings))
    assert said in plan.problems[0].message
    assert not plan.loadable


def test_columns_that_are_not_read_are_named_with_what_may_have_been_meant() -> None:
    plan = _plan(_bodies("Plover,Reed,28,A3,92", headings="name,maker,scale,Shelf,wheelbse"))
    assert plan.notices == ["Columns that are not read: “Shelf”, “wheelbse” (did you mean wheelbase?)."]


def test_thousands_of_strange_columns_are_counted_not_listed() -> None:
    strange = ",".join(f"c{n}" for n in range(3000))
    plan = _plan(_bodies("Plover,Reed,28" + ",x" * 3000, headings=f"name,maker,scale,{strange}"))
    assert "and 2,992 more" in plan.notices[0]
    assert plan.loadable


# Parts


@pytest.fixture
def toller() -> None:
    PlatformFactory(name="Toller One", slug="toller-one", offset_min=-1, offset_max=3, offset_step="0.5")
    PlatformFactory(name="Toller Two", slug="toller-two", offset_min=-1, offset_max=3, offset_step="1")


def _parts(row: str, headings: str = "kind,name,maker,platforms,offset,rim_width") -> Plan:
    return _plan(f"{headings}\n{row}\n", "parts")


def test_a_new_part_is_loaded_with_its_platforms_and_dimensions(toller: None) -> None:
    _load(
        "kind,name,maker,platforms,offset,rim_width,pack\n"
        "wheels,Toller wheel,Fen,toller-one|Toller Two,1,8.5,2\n",
        "parts",
    )
    part = Part.objects.get()
    assert (part.slug, part.kind, part.pack_size) == ("fen-toller-wheel", "wheel", 2)
    assert set(part.platforms.values_list("slug", flat=True)) == {"toller-one", "toller-two"}
    assert part.dimensions.get(quantity="rim_width").value == Decimal("8.5")


def test_an_offset_off_a_platforms_grid_names_the_grid(toller: None) -> None:
    problems = _problems(_parts("wheel,Toller wheel,Fen,Toller One|Toller Two,0.5,8.5"))
    assert problems[2].startswith(
        "Toller Two takes offsets from −1 to +3 in steps of 1 mm, and +0.5 is none of them"
    )
    assert not _problems(_parts("wheel,Toller wheel,Fen,Toller One,0.5,8.5"))


def test_an_offset_on_record_is_held_against_the_grid_of_a_new_platform(toller: None) -> None:
    PartFactory(wheel=True, name="Toller wheel", maker=MakerFactory(name="Fen"), figures={"offset": "0.5"})
    assert "Toller Two takes offsets" in _problems(_parts("wheel,Toller wheel,Fen,Toller Two,,8.5"))[2]


@pytest.mark.parametrize(
    ("headings", "row", "said"),
    [
        (
            "kind,name,maker,platforms",
            "plate,P,Fen,Toller On",
            "There is no platform “Toller On”: did you mean “Toller One”?",
        ),
        ("kind,name,maker,hub_width", "plate,P,Fen,43", "A plate has no hub width: leave the cell empty."),
        ("kind,name,maker,layout", "plate,P,Fen,rear", "Only a motor mount has a layout"),
        ("kind,name,maker,layout", "motor mount,P,Fen,", "A motor mount needs its layout"),
        ("kind,name,maker,made_for", "plate,P,Fen,Plover", "Only a body mount is made for a body"),
        ("kind,name,maker,made_for", "front body mount,P,Fen,Plover", "There is no body “Plover”"),
        ("kind,name,maker,pack_size", "plate,P,Fen,0", "It must be between 1 and 10,000"),
        ("kind,name,maker", "spoiler,P,Fen", "none of these: front suspension"),
    ],
)
def test_what_a_part_cannot_be_says_what_to_do(toller: None, headings: str, row: str, said: str) -> None:
    assert said in _problems(_parts(row, headings))[2]


def test_a_part_does_not_change_its_kind(toller: None) -> None:
    PartFactory(plate=True, name="P", maker=MakerFactory(name="Fen"), part_number="F-1")
    problems = _problems(_parts("wheel,P,Fen,F-1", "kind,name,maker,part_number"))
    assert problems[2] == "“P” is a plate on record, and a part stays of its kind."


def test_a_part_without_a_figure_that_it_needs_is_loaded_and_said_so(toller: None) -> None:
    plan = _parts("wheel,W,Fen,Toller One,0.5,")
    assert plan.new[0].notes == ["It is left out of every answer until known: rim width."]


def test_a_body_mount_is_made_for_its_body_and_nothing_is_taken_away() -> None:
    plover, heron = BodyFactory(name="Plover"), BodyFactory(name="Heron", slug="heron")
    mount = PartFactory(front_body_mount=True, name="M", maker=MakerFactory(name="Fen"))
    BodyPart.objects.create(part=mount, body=plover, rule="made_for")
    _load("kind,name,maker,made_for\nfront body mount,M,Fen,heron|PLOVER\n", "parts")
    assert set(mount.body_rules.values_list("body", "rule")) == {
        (plover.pk, "made_for"),
        (heron.pk, "made_for"),
    }


# Files that members sent


def test_a_members_file_of_bodies_is_read_as_it_is() -> None:
    text, encoding = decoded((DATA / "members-bodies.csv").read_bytes())
    plan = _plan(text)
    assert encoding == "Windows-1252"
    assert [(row.line, row.name, row.outcome.value) for row in plan.rows] == [
        (4, "Plover Coupé", "new"),
        (5, "Plover Estate", "wrong"),
        (6, "Turnip Truck", "new"),
        (8, "Dunnock Van", "wrong"),
        (9, "Dunnock Van (spare)", "wrong"),
        (10, "Heron Spider", "wrong"),
        (11, "Heron Spider long tail", "wrong"),
        (13, "Gannet", "wrong"),
        (14, "Plover Coupé", "wrong"),
        (15, '=HYPERLINK("http://example.org";"Wren")', "new"),
        (16, "Sparrow Wedge", "wrong"),
    ]
    problems = _problems(plan)
    assert "“ja” is neither" in problems[5]
    assert "write 96.5" in problems[8]
    assert "you gave 965" in problems[9]
    assert "“=38+2” is a formula" in problems[10]
    assert "“118.250” can mean 118250 or 118,250" in problems[11]
    assert "It is empty" in problems[13]
    assert "Line 4 is the same body" in problems[14]
    assert "put a cell with a separator in it between quotation marks" in problems[16]
    assert "What stands above the headings on line 3 was not read." in plan.notices


def test_the_good_rows_of_a_members_file_load_once_the_bad_ones_are_taken_out() -> None:
    text, _ = decoded((DATA / "members-bodies.csv").read_bytes())
    wrong = {row.line for row in _plan(text).wrong}
    kept = "".join(
        line for number, line in enumerate(text.splitlines(keepends=True), start=1) if number not in wrong
    )
    _load(kept)
    coupe = Body.objects.get(name="Plover Coupé")
    assert coupe.price == Decimal("24.90")
    assert coupe.dimensions.get(quantity="front_arch_width").tolerance == Decimal("0.2")
    truck = Body.objects.get(name="Turnip Truck")
    assert (truck.takes_rear_motor, truck.takes_mid_motor) == (None, True)
    assert truck.description == "bought second-hand,\ntwo mounts missing; ask Ode"
    assert Body.objects.filter(name__startswith="=HYPERLINK").exists()


def test_a_members_file_of_parts_is_read_as_it_is(toller: None) -> None:
    MakerFactory(name="Fen & Furrow")
    BodyFactory(name="Plover Coupe")
    text, encoding = decoded((DATA / "members-parts.csv").read_bytes())
    plan = _plan(text, "parts")
    assert encoding == "UTF-8"
    assert {row.line for row in plan.new} == {2, 4, 5, 7, 11}
    problems = _problems(plan)
    assert "+0.7 is none of them" in problems[3]
    assert "needs its layout" in problems[6]
    assert "did you mean “Toller One”?" in problems[8]
    assert "A plate has no hub width" in problems[9]
    assert "“1,234” can mean 1234 or 1.234" in problems[10]
    assert "“spoiler” is none of these" in problems[12]
    assert "between 1 and 10,000" in problems[13]


# Pages


def test_the_page_documents_every_column_and_gives_templates(client: Client) -> None:
    page = client.get("/imports/").content.decode()
    for kind in (BODIES, PARTS):
        for column in (*kind.fields, *kind.dimensions):
            assert f">{column.key}<" in page
    assert '/imports/bodies.csv"' in page


@pytest.mark.parametrize("kind", ["bodies", "parts"])
def test_a_template_is_a_file_that_loads_as_it_is(client: Client, kind: str) -> None:
    response = client.get(f"/imports/{kind}.csv")
    assert response["Content-Type"] == "text/csv; charset=utf-8"
    text, encoding = decoded(response.content)
    assert encoding == "UTF-8"
    headings = next(csv.reader(io.StringIO(text)))
    assert headings == [column.key for column in KINDS[kind].template]
    assert _plan(text, kind).loadable
    _load(text, kind)


def test_there_is_no_template_for_anything_else(client: Client) -> None:
    assert client.get("/imports/cars.csv").status_code == 404


def test_anybody_may_check_and_nothing_is_changed(client: Client) -> None:
    response = _post(client, _bodies("Plover,Reed,28,92"))
    page = response.content.decode()
    assert "Nothing to correct" in page
    assert "Sign in to load it" in page
    assert not Body.objects.exists()
    assert not Maker.objects.exists()


def test_a_member_who_does_not_keep_the_library_cannot_load(client: Client) -> None:
    client.force_login(MemberFactory())
    text = _bodies("Plover,Reed,28,92")
    checked = _post(client, text)
    assert ">Load 1</button>" not in checked.content.decode()
    forced = _post(client, text, act="load", seen=checked.context["plan"].fingerprint)
    shown = forced.content.decode()
    assert "Nothing was loaded: only members who keep the library load that into it." in shown
    assert text in shown.replace("\r\n", "\n")
    assert not Body.objects.exists()


def test_a_file_is_checked_then_loaded_and_what_was_loaded_is_linked(
    client: Client, librarian: Member
) -> None:
    file = SimpleUploadedFile(
        "shells.csv", _bodies("Plover,Reed,28,92", "Heron,Oast,24,112").encode("utf-16")
    )
    checked = client.post("/imports/", {"kind": "bodies", "act": "check", "file": file, "text": ""})
    page = checked.content.decode()
    assert "The file was read as UTF-16" in page
    assert "New makers: Reed, Oast." in page
    assert ">Load 2</button>" in page
    response = _post(
        client,
        checked.context["text"].replace("\n", "\r\n"),
        act="load",
        seen=checked.context["plan"].fingerprint,
    )
    assert (response.status_code, response["Location"]) == (302, "/imports/loaded/")
    result = client.get("/imports/loaded/").content.decode()
    assert "2 new and 0 changed bodies" in result
    for body in Body.objects.all():
        assert f'href="{body.get_absolute_url()}"' in result


def test_loading_twice_adds_nothing_and_says_so(client: Client, librarian: Member) -> None:
    text = _bodies("Plover,Reed,28,92")
    seen = _post(client, text).context["plan"].fingerprint
    _post(client, text, act="load", seen=seen)
    again = _post(client, text, act="load", seen=seen)
    assert "Nothing to load" in again.content.decode()
    assert Body.objects.count() == 1


def test_a_library_that_changed_since_the_check_is_shown_before_anything_is_loaded(
    client: Client, librarian: Member
) -> None:
    text = _bodies("Plover,Reed,28,92")
    seen = _post(client, text).context["plan"].fingerprint
    BodyFactory(name="Plover", maker=MakerFactory(name="Reed"), figures={"wheelbase": "91"})
    response = _post(client, text, act="load", seen=seen)
    page = response.content.decode()
    assert "changed since you checked it, and nothing was loaded" in page
    assert "91 ± 0.1 mm" in page
    assert Body.objects.get().dimensions.get(quantity="wheelbase").value == Decimal(91)
    _post(client, text, act="load", seen=response.context["plan"].fingerprint)
    assert Body.objects.get().dimensions.get(quantity="wheelbase").value == Decimal(92)


def test_text_that_was_edited_after_the_check_is_checked_again(client: Client, librarian: Member) -> None:
    seen = _post(client, _bodies("Plover,Reed,28,92")).context["plan"].fingerprint
    response = _post(client, _bodies("Plover,Reed,28,93"), act="load", seen=seen)
    assert "nothing was loaded" in response.content.decode()
    assert not Body.objects.exists()


def test_one_wrong_row_keeps_all_rows_out(client: Client, librarian: Member) -> None:
    text = _bodies("Plover,Reed,28,92", "Heron,Reed,28,9")
    checked = _post(client, text)
    assert "1 row to correct" in checked.content.decode()
    assert 'value="load"' not in checked.content.decode()
    _post(client, text, act="load", seen=checked.context["plan"].fingerprint)
    assert not Body.objects.exists()


def test_what_only_the_database_refuses_leaves_nothing_behind(
    client: Client, librarian: Member
) -> None:
    guard = guards.Guard(
        "no_heron", "setups_bodydimension", "no_herons_here", "SELECT 1 WHERE NEW.value = 93"
    )
    guards.install("default", (guard,))
    text = _bodies("Plover,Reed,28,92", "Heron,Oast,28,93")
    seen = _post(client, text).context["plan"].fingerprint
    page = _post(client, text, act="load", seen=seen).content.decode()
    assert "The database refuses it, and nothing was loaded: no_herons_here" in page
    assert not Body.objects.exists()
    assert not Maker.objects.exists()


def test_pasted_text_and_choices_are_redrawn_when_it_cannot_be_read(client: Client) -> None:
    response = client.post("/imports/", {"kind": "parts", "text": "   ", "act": "check"})
    assert response.status_code == 422
    assert "There is nothing in it" in response.content.decode()
    odd = client.post("/imports/", {"kind": "parts", "text": '<b>"Plover', "act": "check"})
    page = odd.content.decode()
    assert "No headings were found" in page
    assert "&lt;b&gt;&quot;Plover" in page
    assert '<input type="radio" name="kind" value="parts" checked>' in page


def test_text_is_kept_while_its_owner_signs_in(client: Client) -> None:
    member = MemberFactory(librarian=True)
    text = _bodies("Plover,Reed,28,92")
    response = _post(client, text, act="sign-in")
    assert response["Location"].startswith("/account/sign-in/?next=%2Fimports%2F")
    assert text not in client.get("/imports/").content.decode()
    client.force_login(member)
    assert text in client.get("/imports/?kind=bodies").content.decode()
    assert text not in client.get("/imports/").content.decode()


def test_a_file_over_the_limit_is_refused_in_words(client: Client) -> None:
    file = SimpleUploadedFile("shells.csv", b"name,maker,scale\n" + b"x" * 3_000_000)
    response = client.post("/imports/", {"kind": "bodies", "act": "check", "file": file})
    assert response.status_code == 413
    assert "Split the file" in response.content.decode()


@pytest.mark.parametrize(
    "data", [b"PK\x03\x04workbook", b"\x00\x01\x02\x03", b"\xff" * 100, b'name,maker\n"open', b"\xef\xbb\xbf"]
)
def test_no_file_makes_the_site_fail(client: Client, data: bytes) -> None:
    response = client.post(
        "/imports/", {"kind": "bodies", "act": "check", "file": SimpleUploadedFile("x.csv", data)}
    )
    assert response.status_code in (200, 400, 422)
    assert "The site made a mistake" not in response.content.decode()


def test_long_lists_are_cut_until_every_row_is_asked_for(client: Client) -> None:
    text = _bodies(*(f"Shell {n},Reed,28,92" for n in range(120)))
    page = _post(client, text).content.decode()
    assert "100 of 120 are listed." in page
    assert "List every row" in page
    assert "Shell 119" in _post(client, text, all="1").content.decode().split("What was checked")[0]


def test_the_number_of_queries_does_not_grow_with_the_file() -> None:
    reed = MakerFactory(name="Reed")
    for number in range(40):
        BodyFactory(name=f"Shell {number}", maker=reed)
    few = _bodies(*(f"Shell {n},Reed,28,93" for n in range(2)))
    many = _bodies(*(f"Shell {n},Reed,28,93" for n in range(40)), *(f"New {n},Reed,24,93" for n in range(40)))
    with CaptureQueriesContext(connection) as of_few:
        _plan(few)
    with CaptureQueriesContext(connection) as of_many:
        _plan(many)
    assert len(of_many) == len(of_few) <= 5
    with CaptureQueriesContext(connection) as loading:
        _load(many)
    assert len(loading) <= 30
