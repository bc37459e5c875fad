"""What is kept of a setup's page is what it would be made anew, after any change and for any reader."""

from __future__ import annotations

from dataclasses import replace

import pytest
from django.conf import settings
from django.core.cache import caches
from django.urls import reverse

from club.models import Member, RaceClass
from club.reader import UNITS_COOKIE
from setups.models import (
    Body,
    BodyDimension,
    BodyPart,
    Decision,
    Dispute,
    Measurement,
    MountingPosition,
    Part,
    PartDimension,
    PartPair,
    Photo,
    Platform,
    Setup,
)
from setups.services import posting, verifying
from setups.services.cars import content_of
from setups.views import compare as compare_view
from setups.views import setup as setup_view
from tests.factories import MemberFactory, SetupFactory, reading_for
from tests.setups.pages import part, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def posted():
    """A setup that two members measured, with a class, a photo, settings and two revisions."""
    setup = SetupFactory(name="Winter", tuning={"rear_spring": "soft"}, circuit="Mill hall")
    content = content_of(setup.current)
    photo = Photo.objects.create(setup=setup, image="setups/aa/car.webp", caption="Side", width=4, height=3)
    race_class = RaceClass.objects.create(name="Club stock", slug="club-stock")
    posting.post(replace(content, photos=[photo], race_class_id=race_class.pk), setup.author, setup)
    setup.refresh_from_db()
    for name in ("Ada", "Ben"):
        member = MemberFactory(display_name=name)
        for quantity, value in {"front_width": 55, "rear_width": 55, "wheelbase": 92}.items():
            verifying.add(reading_for(setup, quantity, value, member=member))
    setup.refresh_from_db()
    return setup


def main_of(client, address):
    answer = client.get(address)
    assert answer.status_code == 200
    return part(answer, '<main id="main"', "</main>")


def agree(client, address):
    """The page as it is kept, which is what it is made anew."""
    kept = main_of(client, address)
    caches["pages"].clear()
    assert kept == main_of(client, address)
    return kept


def changes(setup):
    """Every kind of change that has to show on the page of a setup."""
    body, platform, position = setup.body_id, setup.platform_id, setup.current.position_id
    wheel, mount = (setup.current.slots.get(slot=slot).part_id for slot in ("front_wheel", "motor_mount"))
    ada = Measurement.objects.filter(member__display_name="Ada")
    of_body = BodyDimension.objects.filter(body=body)
    of_wheel = PartDimension.objects.filter(part=wheel)
    return {
        "a body's name": lambda: Body.objects.filter(pk=body).update(name="Stilt Coupé"),
        "a body's address": lambda: Body.objects.filter(pk=body).update(slug="stilt-coupe"),
        "a body's figure": lambda: of_body.filter(quantity="front_arch_width").update(value="57.5"),
        "a body's doubt": lambda: of_body.update(uncertainty="0.4"),
        "a figure that goes": lambda: of_body.filter(quantity="wheelbase").delete(),
        "what fouls the body": lambda: BodyPart.objects.create(body_id=body, part_id=mount, rule="fouls"),
        "a platform's name": lambda: Platform.objects.filter(pk=platform).update(name="Dunlin Two"),
        "a platform's bounds": lambda: Platform.objects.filter(pk=platform).update(arch_clearance="4"),
        "a position": lambda: MountingPosition.objects.filter(pk=position).update(name="Last hole"),
        "a part's name": lambda: Part.objects.filter(pk=wheel).update(name="Wheel of another name"),
        "a part's figure": lambda: of_wheel.filter(quantity="rim_width").update(value="8.8"),
        "a pair": lambda: PartPair.objects.create(part_id=wheel, other_id=mount, rule="never"),
        "the author's name": lambda: Member.objects.filter(pk=setup.author_id).update(display_name="Zoe"),
        "a member's name": lambda: Member.objects.filter(display_name="Ben").update(display_name="Bert"),
        "a class": lambda: RaceClass.objects.update(name="Club modified"),
        "a caption": lambda: Photo.objects.update(caption="From the other side"),
        "a reading": lambda: Measurement.objects.create(
            revision=setup.current,
            member=MemberFactory(),
            quantity="front_width",
            value=55,
            instrument="other",
            uncertainty="0.1",
        ),
        "a reading's value": lambda: ada.filter(quantity="wheelbase").update(value="92.3"),
        "a note": lambda: ada.update(note="on four wheels"),
        "a reading withdrawn": lambda: ada.filter(quantity="front_width").update(withdrawn=True),
        "a reading set aside": lambda: ada.filter(quantity="rear_width").update(set_aside=True),
        "a dispute": lambda: Dispute.objects.create(
            setup=setup, build=setup.current.build, measurement=ada.first()
        ),
        "a state": lambda: Setup.objects.filter(pk=setup.pk).update(state="disputed"),
        "a dispute upheld": lambda: Dispute.objects.update(
            outcome="upheld", reason="Too wide.", settled_by=setup.author_id, settled_at=setup.posted_at
        ),
        "a line of the record": lambda: Decision.objects.create(
            setup=setup, revision=setup.current, action="verdict", reason="By hand."
        ),
        "a revision": lambda: posting.post(
            replace(content_of(Setup.objects.get(pk=setup.pk).current), notes="More grip"),
            setup.author,
            setup,
        ),
        "a setup withdrawn": lambda: posting.withdraw(
            Setup.objects.get(pk=setup.pk), setup.author, "Sold the car."
        ),
    }


def test_no_page_of_a_setup_outlives_a_change(client, posted):
    address = reverse("setup", args=[posted.pk])
    before = agree(client, address)
    for what, change in changes(posted).items():
        change()
        now = agree(client, address)
        assert now != before, what
        before = now


def test_no_comparison_outlives_a_change(client, posted):
    address = f"{reverse('compare')}?car=s{posted.pk}&car=r{posted.pk}.1&car=s{SetupFactory().pk}"
    before, shown = agree(client, address), set()
    for what, change in changes(posted).items():
        change()
        now = agree(client, address)
        if now != before:
            shown.add(what)
        before = now
    assert {"a body's name", "a part's figure", "a class", "the author's name", "a revision"} <= shown


@pytest.mark.parametrize("view", [setup_view, compare_view])
def test_what_is_kept_is_made_of_nothing_that_is_not_in_its_key(
    client, posted, view, monkeypatch, django_assert_num_queries
):
    """What was read is the key; a row that was read only while the page is made would not be in it."""
    asked, kept = [], view.kept

    def made_without_asking(what, of, made):
        with django_assert_num_queries(0):
            asked.append(what)
            return kept(what, of, made)

    monkeypatch.setattr(view, "kept", made_without_asking)
    addresses = {
        setup_view: reverse("setup", args=[posted.pk]),
        compare_view: f"{reverse('compare')}?car=s{posted.pk}&car=s{SetupFactory().pk}",
    }
    reading = Measurement.objects.filter(revision__setup=posted).first()
    Dispute.objects.create(setup=posted, build=posted.current.build, measurement=reading)
    Setup.objects.filter(pk=posted.pk).update(state="disputed")
    assert client.get(addresses[view]).status_code == 200
    assert len(asked) == 1


def test_each_reader_has_the_page_in_their_language_and_unit(client, posted):
    address = reverse("setup", args=[posted.pk])
    pages = []
    for language, unit in (("en-gb", "mm"), ("de", "mm"), ("en-gb", "inch"), ("de", "inch")):
        client.cookies[settings.LANGUAGE_COOKIE_NAME] = language
        client.cookies[UNITS_COOKIE] = unit
        pages.append(agree(client, address))
    assert len(set(pages)) == 4


def test_nobody_is_shown_what_another_may_do(client, posted):
    address = reverse("setup", args=[posted.pk])
    visitor = main_of(client, address)
    shown = {}
    for member in (posted.author, Member.objects.get(display_name="Ada"), MemberFactory(display_name="Eve")):
        client.force_login(member)
        shown[str(member)] = main_of(client, address)
    client.logout()
    assert main_of(client, address) == visitor
    author = str(posted.author)
    with_forms = [name for name, page in {"": visitor, **shown}.items() if "csrfmiddlewaretoken" in page]
    assert with_forms == [author, "Ada"]
    assert "Revise it" in words(shown[author])
    assert "Withdraw my 55" in words(shown["Ada"])
    assert "Start one of my own from it" in words(shown["Eve"])
    assert "Start one of my own from it" not in words(visitor)


def test_a_page_takes_as_many_queries_kept_as_made_anew(client, posted, django_assert_num_queries):
    other = SetupFactory()
    for address, queries in (
        (reverse("setup", args=[posted.pk]), 10),
        (f"{reverse('compare')}?car=s{posted.pk}&car=s{other.pk}", 7),
    ):
        for _ in range(2):
            with django_assert_num_queries(queries):
                client.get(address)


def test_what_is_kept_is_small(client, posted):
    main = main_of(client, reverse("setup", args=[posted.pk]))
    (packed,) = caches["pages"]._cache.values()
    assert len(packed) < len(main) / 3
