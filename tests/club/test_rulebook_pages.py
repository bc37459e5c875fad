"""A race director writes a rulebook on its pages, without code and without scripts; members read it."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from club.models import Member, RaceClass, RulebookEdition
from club.racing import demo
from club.racing.editions import start, today
from tests.factories import (
    BodyFactory,
    ClauseFactory,
    EditionFactory,
    MemberFactory,
    PartFactory,
    RaceClassFactory,
    published,
)
from tests.setups.pages import words

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

LIMIT = {
    "kind": "limit",
    "number": "2.1",
    "wording": "The front is at most 56 mm wide.",
    "quantity": "front_width",
    "low": "",
    "high": "56",
    "rule": "guarded_acceptance",
    "factor": "0.5",
    "do": "save",
}
LIST = {
    "kind": "list",
    "number": "3.1",
    "wording": "Listed wheels only.",
    "allows": "yes",
    "thing": "wheel",
    "find": "",
    "do": "save",
}


@pytest.fixture
def director(client) -> Member:
    one = MemberFactory(race_director=True)
    client.force_login(one)
    return one


@pytest.fixture
def draft(db) -> RulebookEdition:
    return EditionFactory(race_class=RaceClassFactory(name="Hall Saloons"), name="Winter")


def holding_today(*clauses) -> RulebookEdition:
    edition = EditionFactory(valid_from=today() - timedelta(days=3))
    for given in clauses or ({},):
        ClauseFactory(edition=edition, **given)
    return published(edition)


def pages_of(edition) -> list[str]:
    address = edition.get_absolute_url()
    return [
        "/classes/new/",
        f"{edition.race_class.get_absolute_url()}editions/new/",
        f"{address}change/",
        f"{address}publish/",
        f"{address}clauses/new/?kind=list",
        f"{address}clauses/{edition.clauses.get().pk}/",
    ]


# From an empty class to a published edition


def test_a_director_writes_a_class_from_nothing_to_its_first_edition(client, director):
    answer = client.post("/classes/new/", {"name": "Hall Saloons", "description": "Small saloons."})
    assert answer["Location"] == "/classes/hall-saloons/editions/new/"
    begins = today() + timedelta(days=30)
    answer = client.post(answer["Location"], {"name": "Winter", "valid_from": begins.isoformat(), "note": ""})
    edition = RulebookEdition.objects.get()
    address = edition.get_absolute_url()
    assert answer["Location"] == address
    assert "No clause yet" in words(client.get(address))
    answer = client.post(f"{address}clauses/new/", LIMIT)
    clause = edition.clauses.get()
    assert answer["Location"] == f"{address}#clause-{clause.pk}"
    assert "never changes" in words(client.get(f"{address}publish/"))
    client.post(f"{address}publish/")
    edition.refresh_from_db()
    assert edition.published_by == director
    said = words(client.get("/classes/hall-saloons/"))
    assert "No rulebook holds today" in said
    assert f"holds from {begins:%-d %B %Y}" in said


def test_a_limit_is_kept_as_it_was_typed(client, director, draft):
    client.post(f"{draft.get_absolute_url()}clauses/new/", LIMIT)
    said = words(client.get(draft.get_absolute_url()))
    assert "2.1 The front is at most 56 mm wide." in said
    assert "Front width: at most 56 mm. Near the limit it fails unless it is clearly inside." in said
    assert "guard band of 0.5 × the expanded doubt" in said
    clause = draft.clauses.get()
    page = client.get(f"{draft.get_absolute_url()}clauses/{clause.pk}/").content.decode()
    assert 'value="56"' in page
    assert 'value="0.5"' in page
    answer = client.post(f"{draft.get_absolute_url()}clauses/{clause.pk}/", LIMIT | {"low": "50", "high": ""})
    assert answer.status_code == 302
    assert "at least 50 mm" in words(client.get(draft.get_absolute_url()))


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"number": ""}, "Give the clause a number"),
        ({"wording": " "}, "Write the sentence that members read."),
        ({"quantity": ""}, "Choose what is limited."),
        ({"high": ""}, "A limit needs a least value, a greatest value or both"),
        ({"high": "wide"}, "Type a number, such as 74 or 8.4."),
        ({"high": "NaN"}, "Type a number, such as 74 or 8.4."),
        ({"high": "560"}, "Front width lies between 25 and 320 mm: check the unit"),
        ({"low": "60"}, "The least value is above the greatest"),
        ({"rule": "coin"}, "Choose one of the three."),
        ({"factor": "-1"}, "Zero is no guard band"),
        ({"factor": "9"}, "5 is the most."),
    ],
)
def test_a_mistake_is_named_and_what_was_typed_is_kept(client, director, draft, typed, says):
    answer = client.post(f"{draft.get_absolute_url()}clauses/new/", LIMIT | typed)
    assert answer.status_code == 200
    assert says in words(answer)
    if typed.get("wording") is None:
        assert LIMIT["wording"] in answer.content.decode()
    assert not draft.clauses.exists()


def test_a_number_that_is_taken_is_named_in_its_field(client, director, draft):
    ClauseFactory(edition=draft, number="2.1")
    answer = client.post(f"{draft.get_absolute_url()}clauses/new/", LIMIT)
    assert "Number 2.1 is taken in this edition" in words(answer)
    assert draft.clauses.count() == 1


def test_a_preview_shows_the_clause_and_stores_nothing(client, director, draft):
    answer = client.post(f"{draft.get_absolute_url()}clauses/new/", LIMIT | {"do": "preview"})
    assert "As members will read it 2.1 The front is at most 56 mm wide." in words(answer)
    assert not draft.clauses.exists()


def test_what_is_listed_is_searched_for_ticked_and_saved(client, director, draft):
    small, large = PartFactory(wheel=True, name="Small wheel"), PartFactory(wheel=True, name="Large wheel")
    PartFactory(tyre=True, name="Small tyre")
    address = f"{draft.get_absolute_url()}clauses/new/"
    found = client.post(address, LIST | {"find": "small", "do": "find"})
    page = found.content.decode()
    assert f'name="item" value="{small.pk}"' in page
    assert "Small tyre" not in page
    assert "Listed wheels only." in page
    again = client.post(address, LIST | {"find": "large", "do": "find", "item": [small.pk]}).content.decode()
    assert f'name="item" value="{small.pk}" checked' in again
    assert f'name="item" value="{large.pk}"' in again
    client.post(address, LIST | {"item": [small.pk, large.pk, "x", "9" * 30]})
    assert {item.part for item in draft.clauses.get().items.all()} == {small, large}
    assert "Wheels: only these. Large wheel Small wheel" in words(client.get(draft.get_absolute_url()))


def test_bodies_are_listed_as_parts_are(client, director, draft):
    body = BodyFactory(name="Grey Saloon")
    address = f"{draft.get_absolute_url()}clauses/new/"
    found = client.post(address, LIST | {"thing": "body", "find": "grey", "do": "find"})
    assert "Grey Saloon" in words(found)
    client.post(address, LIST | {"thing": "body", "allows": "no", "item": [body.pk]})
    clause = draft.clauses.get()
    assert (clause.items.get().body, clause.allows) == (body, False)


def test_searching_without_a_kind_says_to_choose_one(client, director, draft):
    answer = client.post(
        f"{draft.get_absolute_url()}clauses/new/", LIST | {"thing": "", "find": "x", "do": "find"}
    )
    assert "Choose the kind first, then search." in words(answer)


def test_a_required_thing_may_be_what_an_inspector_sees(client, director, draft):
    given = {"kind": "required", "number": "5", "wording": "A bumper.", "thing": "", "find": "", "do": "save"}
    client.post(f"{draft.get_absolute_url()}clauses/new/", given)
    assert "An inspector looks at it." in words(client.get(draft.get_absolute_url()))


def test_clauses_are_moved_and_taken_out(client, director, draft):
    first, last = (
        ClauseFactory(edition=draft, place=1, number="1"),
        ClauseFactory(edition=draft, place=2, number="2"),
    )
    address = f"{draft.get_absolute_url()}clauses/{last.pk}/"
    client.post(f"{address}move/", {"to": "up"})
    assert [clause.number for clause in draft.clauses.all()] == ["2", "1"]
    client.post(f"{address}remove/")
    assert list(draft.clauses.all()) == [first]
    client.post(f"{draft.get_absolute_url()}discard/")
    assert not RulebookEdition.objects.exists()


def test_the_next_edition_begins_as_a_copy(client, director):
    edition = holding_today()
    address = f"{edition.race_class.get_absolute_url()}editions/new/"
    assert f"Copy {edition.name}" in words(client.get(f"{address}?copy={edition.pk}"))
    begins = (today() + timedelta(days=90)).isoformat()
    client.post(address, {"name": "next", "valid_from": begins, "note": "", "copy": edition.pk})
    copy = RulebookEdition.objects.get(name="next")
    assert copy.clauses.get().wording == edition.clauses.get().wording
    clash = client.post(address, {"name": "again", "valid_from": begins, "note": "", "copy": ""})
    assert "so that it is clear which one holds" in words(clash)


def test_an_edition_that_would_change_the_past_is_not_published(client, director):
    late = EditionFactory(valid_from=today() - timedelta(days=1))
    ClauseFactory(edition=late)
    assert "Set a date from today on" in words(client.get(f"{late.get_absolute_url()}publish/"))
    said = words(client.post(f"{late.get_absolute_url()}publish/", follow=True))
    assert "change what held then" in said
    late.refresh_from_db()
    assert not late.is_published


def test_nothing_of_a_published_edition_can_be_changed_by_its_address(client, director):
    edition = holding_today()
    clause = edition.clauses.get()
    address = edition.get_absolute_url()
    for page in (
        f"{address}change/",
        f"{address}publish/",
        f"{address}clauses/{clause.pk}/",
        f"{address}clauses/new/",
    ):
        assert "never changes" in words(client.get(page, follow=True))
    for page in ("discard/", f"clauses/{clause.pk}/remove/", f"clauses/{clause.pk}/move/"):
        assert "never changes" in words(client.post(f"{address}{page}", {"to": "up"}, follow=True))
    client.post(f"{address}clauses/{clause.pk}/", LIMIT)
    assert edition.clauses.get().number == clause.number


# Who may


def test_only_race_directors_write(client, draft):
    ClauseFactory(edition=draft)
    for page in pages_of(draft):
        assert client.get(page)["Location"].startswith("/account/sign-in/")
    for who in ({}, {"librarian": True}, {"steward": True}):
        client.force_login(MemberFactory(**who))
        for page in pages_of(draft):
            answer = client.get(page)
            assert answer.status_code == 403
            assert "Only race directors write rulebooks" in words(answer)
        clause = f"{draft.get_absolute_url()}clauses/{draft.clauses.get().pk}/"
        for page in (f"{draft.get_absolute_url()}discard/", f"{clause}remove/", f"{clause}move/"):
            assert client.post(page).status_code == 403
    client.force_login(MemberFactory(race_director=True))
    for page in pages_of(draft):
        assert client.get(page).status_code == 200


def test_a_draft_is_not_there_for_others(client, draft):
    ClauseFactory(edition=draft, wording="Secret so far.")
    client.force_login(MemberFactory())
    assert client.get(draft.get_absolute_url()).status_code == 404
    for page in (draft.race_class.get_absolute_url(), f"{draft.race_class.get_absolute_url()}compare/"):
        assert draft.name not in client.get(page).content.decode()


# Reading


def test_a_class_shows_the_rules_that_hold_today(client):
    edition = holding_today({"wording": "Narrow cars only."})
    start(edition.race_class, "later", today() + timedelta(days=4), after=edition)
    said = words(client.get(edition.race_class.get_absolute_url()))
    assert "Narrow cars only." in said
    assert "officials decide" in said
    assert "later" not in said
    assert edition.name in words(client.get("/classes/"))


def test_a_comparison_shows_both_wordings_and_what_is_new(client):
    old = EditionFactory(valid_from=date(2024, 1, 1))
    for number, wording in (("1", "At most 56 mm."), ("2", "A bumper."), ("3", "A number.")):
        ClauseFactory(edition=old, number=number, wording=wording)
    new = start(old.race_class, "new", date(2025, 1, 1), after=old)
    new.clauses.filter(number="1").update(wording="At most 55 mm.", high=55)
    new.clauses.filter(number="2").delete()
    ClauseFactory(edition=new, number="4", wording="A lamp.")
    for edition in (old, new):
        published(edition)
    said = words(client.get(f"{old.race_class.get_absolute_url()}compare/"))
    assert "3 clauses differ, 1 the same" in said
    for piece in (
        "At most 56 mm.",
        "At most 55 mm.",
        "wording, limits",
        "taken out",
        "A bumper.",
        "new A lamp.",
    ):
        assert piece in said
    assert "A number." not in said
    back = words(client.get(f"{old.race_class.get_absolute_url()}compare/?before={new.pk}&after={old.pk}"))
    assert "taken out A lamp." in back


def test_lists_of_classes_and_clauses_take_a_constant_number_of_queries(client, django_assert_num_queries):
    edition = holding_today({}, {"wheels": True, "items": [PartFactory(wheel=True)]})
    for page, number in (
        ("/classes/", 2),
        (edition.get_absolute_url(), 6),
        (edition.race_class.get_absolute_url(), 5),
    ):
        with django_assert_num_queries(number):
            client.get(page)
    many = [PartFactory(wheel=True) for _ in range(5)]
    more = EditionFactory(race_class=edition.race_class, valid_from=today())
    for number in range(6):
        ClauseFactory(edition=more, number=str(number), wheels=True, items=many)
    published(more)
    holding_today()
    for page, number in (
        ("/classes/", 2),
        (more.get_absolute_url(), 6),
        (more.race_class.get_absolute_url(), 5),
    ):
        with django_assert_num_queries(number):
            client.get(page)


@pytest.mark.parametrize(
    "odd", ["none/", "none/check/", "none/compare/", "none/editions/1/", "new-here/editions/999/"]
)
def test_what_is_not_there_is_not_found(client, odd):
    assert client.get(f"/classes/{odd}").status_code == 404


def test_odd_choices_of_a_comparison_fall_back_to_the_latest(client):
    edition = holding_today()
    page = f"{edition.race_class.get_absolute_url()}compare/?before=x&after={'9' * 40}"
    assert "Nothing to compare" in words(client.get(page))


# The demo's classes


def test_the_demo_brings_three_classes_with_two_editions_each_and_takes_them_out_again():
    MemberFactory(username=demo.DIRECTOR, race_director=True)
    for name, scale in (("Grey Saloon", 28), ("Blue Van", 28), ("Green Prototype", 24)):
        BodyFactory(name=name, scale=scale)
    said: list[str] = []
    for _ in range(2):
        demo.move_in(members=Member.objects.all(), say=said.append)
    assert said[-1] == "Race classes: 3, with 6 editions"
    assert RaceClass.objects.count() == 3
    assert [one.editions.published().count() for one in RaceClass.objects.all()] == [2, 2, 2]
    named = {
        str(item.thing)
        for one in RulebookEdition.objects.all()
        for c in one.clauses.all()
        for item in c.items.all()
    }
    assert named == {"Grey Saloon", "Blue Van", "Green Prototype"}
    demo.clear_out(members=Member.objects.all())
    assert not RaceClass.objects.exists()
    assert not RulebookEdition.objects.exists()
