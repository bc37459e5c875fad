"""``manage.py demo``: an invented club in which every feature has something to show."""

from __future__ import annotations

import os
import subprocess
import sys
from collections import Counter
from io import StringIO

import pytest
from django.apps import apps
from django.conf import settings as django_settings
from django.contrib.auth import authenticate
from django.contrib.auth.models import Group
from django.core.management import CommandError, call_command
from django.utils import timezone

from club.models import Member
from fitcalc.chain import chain_of, conflicts
from fitcalc.dimensions import PartKind
from fitcalc.fit import evaluate
from fitcalc.parts import Axle
from setups.demo import club_of
from setups.demo.members import EMAIL_DOMAIN, MEMBERS, PASSPHRASE
from setups.demo.names import TITLES, Twist
from setups.demo.sets import stations
from setups.demo.store import own_rows
from setups.models import (
    Body,
    BodyDimension,
    BodyPart,
    Configuration,
    KeptAnswer,
    KnownWheelbase,
    Maker,
    Mark,
    Part,
    PartPair,
    Platform,
    Tally,
    TallyChange,
)
from setups.services.fitting import answer
from setups.translate import configuration_of, known_wheelbase_of, part_of, platform_of, position_of
from tests.factories import BodyFactory, ConfigurationFactory, MemberFactory, PartFactory, PlatformFactory

pytestmark = pytest.mark.one_database

OPEN_ACCOUNTS = {"librarian", "director", "steward", "member"}


def run(*arguments: str, setups: int = 0) -> str:
    """What the command prints."""
    out = StringIO()
    call_command("demo", *arguments, setups=setups, stdout=out)
    return out.getvalue()


def content() -> dict[str, list[str]]:
    """Every row of the demo by what it says: no keys, no passwords, no times of loading."""
    unsaid = {"id", "password", "added", "date_joined", "last_login", "created", "saved_at", "build", "typed"}
    named = {
        "position": "position__name",
        "configuration": "configuration__name",
        "member": "member__username",
        "author": "author__username",
        "settled_by": "settled_by__username",
        "setup": "setup__name",
        "current": "current__number",
        "started_from": "started_from__name",
        "revision": "revision__name",
        "measurement": "measurement__value",
        "race_class": "race_class__name",
    }
    rows = {}
    for model, own in own_rows(club_of()).items():
        fields = [
            named.get(field.name, f"{field.name}__slug") if field.is_relation else field.name
            for field in model._meta.concrete_fields
            if field.name not in unsaid
        ]
        rows[model._meta.label] = sorted(repr(row) for row in own.values_list(*fields))
    return rows


def keys() -> dict[str, list[int]]:
    return {
        model._meta.label: sorted(own.values_list("pk", flat=True))
        for model, own in own_rows(club_of()).items()
    }


def one_that_nobody_runs() -> Body:
    """A body in no garage, race or rulebook, so that it can be deleted."""
    return Body.objects.filter(owners=None, entries=None, clause_items=None).order_by("name")[0]


# What is loaded


@pytest.mark.usefixtures("demo_loaded")
@pytest.mark.django_db
class TestLoaded:
    """Each test starts from the demo as it was loaded, once for all of them."""

    def test_it_loads_four_platforms_in_three_scales_with_parts_bodies_and_members(self):
        assert Platform.objects.count() == 4
        assert set(Platform.objects.values_list("scale", flat=True)) == {28, 24, 12}
        assert Body.objects.count() == 60
        assert set(Body.objects.values_list("scale", flat=True)) == {28, 24, 12}
        assert 270 <= Part.objects.count() <= 320
        assert Configuration.objects.count() == 12
        assert Member.objects.count() == 40

    def test_every_kind_of_part_is_sold_for_every_scale(self):
        for scale in (28, 24, 12):
            sold = set(Part.objects.filter(platforms__scale=scale).values_list("kind", flat=True))
            assert sold == {kind.value for kind in PartKind}, scale

    def test_wheels_come_in_packs_of_two_and_of_four(self):
        assert set(Part.objects.of_kind(PartKind.WHEEL).values_list("pack_size", flat=True)) == {2, 4}

    def test_each_platform_has_its_own_wheel_for_every_offset_of_its_grid_at_both_axles(self):
        for platform in Platform.objects.select_related("maker"):
            grid = set(platform_of(platform).offsets.values())
            for axle in Axle:
                own = platform.parts.filter(kind=PartKind.WHEEL, axle=axle, maker=platform.maker)
                offsets = [float(wheel.dimensions.get(quantity="offset").value) for wheel in own]
                assert len(offsets) == len(set(offsets))
                assert set(offsets) == grid

    def test_every_plate_goes_only_with_mounts_of_its_platform_and_layout(self):
        for plate in Part.objects.of_kind(PartKind.PLATE):
            partners = [pair.other for pair in plate.pairs.filter(rule=PartPair.Rule.ONLY_WITH)]
            assert partners
            assert len({mount.layout for mount in partners}) == 1
            platform = plate.platforms.get()
            assert all(platform in mount.platforms.all() for mount in partners)

    def test_each_body_has_a_front_mount_of_its_own_but_the_one_that_the_library_lacks(self):
        made_for = BodyPart.objects.filter(rule=BodyPart.Rule.MADE_FOR)
        mounts = made_for.values_list("part", flat=True)
        assert len(set(mounts)) == len(mounts)
        without = Body.objects.exclude(pk__in=made_for.values("body"))
        assert [body.name for body in without] == ["Lowtide Wedge"]

    def test_some_floors_have_no_room_for_a_mount(self):
        fouled = BodyPart.objects.filter(rule=BodyPart.Rule.FOULS)
        assert fouled.count() >= 6
        assert all(row.part.kind == PartKind.MOTOR_MOUNT and row.reason for row in fouled)

    def test_every_row_passes_the_validation_that_a_form_would_do(self):
        for own in own_rows(club_of()).values():
            for row in own:
                row.clean_fields()
                row.clean()

    def test_motors_and_mounts_warn_of_what_spins_and_shells_of_what_cuts(self):
        for part in Part.objects.filter(kind__in=[PartKind.MOTOR, PartKind.MOTOR_MOUNT]):
            assert "Keep fingers, hair and sleeves clear" in part.description, part
        for body in Body.objects.all():
            assert "eye protection" in body.description, body

    def test_just_one_published_wheelbase_contradicts_its_chain(self):
        wrong = []
        known = KnownWheelbase.objects.select_related("platform", "motor_mount", "plate", "position")
        for row in known:
            links = part_of(row.motor_mount), part_of(row.plate), position_of(row.position)
            chain = chain_of(platform_of(row.platform), *links)
            agreement = conflicts(chain, known_wheelbase_of(row))
            if not agreement.agrees:
                wrong.append((row.platform.name, row.source, round(agreement.difference.value, 1)))
        assert wrong == [("Thrale Corncrake", "leaflet, first printing", -1.4)]
        assert {row.platform_id for row in known} == set(Platform.objects.values_list("pk", flat=True))

    def test_the_sets_sold_with_a_body_fit_it(self):
        sold_with_a_body = Configuration.objects.exclude(body=None)
        assert sold_with_a_body.count() == 4
        bodies = {match.name: match for match in Body.objects.prefetch_related("dimensions", "part_rules")}
        for row in sold_with_a_body:
            solved = answer(bodies[row.body.name], [row.platform], limit=1)
            report = evaluate(configuration_of(row), solved.platforms[0].best.report.body)
            assert not report.failing, row.name

    def test_running_it_again_changes_nothing_and_says_so(self):
        before, rows = content(), keys()
        assert run() == "The demo is there already. Nothing was changed; --reset loads it afresh.\n"
        assert (content(), keys()) == (before, rows)

    def test_running_it_again_with_another_seed_changes_nothing_either(self):
        before = content()
        assert "Nothing was changed" in run("--random-seed", "5")
        assert content() == before

    def test_it_says_what_is_missing_when_a_part_of_the_demo_was_deleted(self):
        one_that_nobody_runs().delete()
        assert "Only 59 of 60 bodies are there. Nothing was changed; --reset" in run()

    def test_a_reset_brings_back_what_was_changed_or_deleted(self):
        before = content()
        one_that_nobody_runs().delete()
        BodyDimension.objects.filter(quantity="wheelbase").update(value=99)
        run("--reset")
        assert content() == before

    def test_another_seed_gives_other_figures_under_the_same_names(self):
        first, slugs = content(), set(Body.objects.values_list("slug", flat=True))
        run("--reset", "--random-seed", "5")
        assert set(Body.objects.values_list("slug", flat=True)) == slugs
        assert content()["setups.BodyDimension"] != first["setups.BodyDimension"]
        run("--reset")
        assert content() == first

    def test_a_reset_leaves_everybody_elses_rows_alone(self):
        mine = ConfigurationFactory()
        body = BodyFactory()
        part_of_demo_maker = PartFactory(maker=Maker.objects.get(name="Brackwind Tyres"), tyre=True)
        member = MemberFactory()
        run("--reset")
        for row in (mine, body, part_of_demo_maker, member):
            row.refresh_from_db()
        assert mine.slots.count() == 8
        assert body.dimensions.count() == 9
        assert part_of_demo_maker.dimensions.exists()

    @pytest.mark.parametrize(
        "hanging", ["configuration on its platform", "part for its platform", "pair with its part"]
    )
    def test_a_reset_refuses_when_somebody_elses_row_would_go_with_the_demo(self, hanging):
        platform = Platform.objects.get(name="Quillmoor Dunlin")
        match hanging:
            case "configuration on its platform":
                row = ConfigurationFactory(
                    name="Sunday car", platform=platform, position=platform.positions.first(), parts={}
                )
            case "part for its platform":
                row = PartFactory(wheel=True, fits=platform).fitments.get()
            case _:
                row = PartPair.objects.create(
                    part=PartFactory(plate=True),
                    other=platform.parts.of_kind(PartKind.MOTOR_MOUNT)[0],
                    rule=PartPair.Rule.ONLY_WITH,
                )
        before = keys()
        with pytest.raises(
            CommandError, match=r"not the demo's hang on it.*Nothing was changed\. Delete them or move"
        ):
            run("--reset")
        assert keys() == before
        row.refresh_from_db()

    def test_a_refused_reset_tells_how_many_rows_hang_on_the_demo_and_works_once_they_are_gone(self):
        mount = Part.objects.of_kind(PartKind.MOTOR_MOUNT)[0]
        mine = [
            PartPair.objects.create(part=PartFactory(plate=True), other=mount, rule=PartPair.Rule.ONLY_WITH)
            for _ in range(3)
        ]
        with pytest.raises(CommandError, match=f"3 rows that are not the demo's hang on it: .*“{mine[0]}”"):
            run("--reset")

        PartPair.objects.filter(pk__in=[one.pk for one in mine]).delete()
        before = content()
        run("--reset")
        assert content() == before

    def test_a_reset_takes_out_drivers_with_what_is_kept_for_them_and_leaves_other_drivers(self):
        theirs = MemberFactory(username="driver-9001", email=f"driver-9001@{EMAIL_DOMAIN}")
        theirs.groups.add(Group.objects.create(name="Guests"))
        KeptAnswer.objects.create(member=theirs, key="k", asked="a", kept_at=timezone.now())
        mine = MemberFactory(username="driver-7", email="driver-7@example.org")

        run("--reset")

        assert set(Member.objects.filter(username__startswith="driver-")) == {mine}
        assert not KeptAnswer.objects.exists()

    def test_members_write_from_a_domain_that_cannot_exist_and_have_no_powers_of_the_site(self):
        assert all(member.email.endswith(".invalid") for member in Member.objects.all())
        assert not Member.objects.filter(is_superuser=True).exists()
        assert not Member.objects.filter(is_staff=True).exists()
        assert Counter(member.role for member in MEMBERS).keys() == set(Member.Role.values)


def test_no_figure_is_one_that_the_trade_uses():
    """Common practice, no source: fronts of 48 and 53 mm, 86 to 106 mm by 4, offsets of −1 to +3 by 0.5."""
    for platform in club_of().platforms:
        assert not {front.across for front in platform.fronts} & {48.0, 53.0}
        assert not {chain for *_, chain in stations(platform)} & {86.0, 90.0, 94.0, 98.0, 102.0, 106.0}
        assert platform.offsets != (-1.0, 3.0, 0.5)


# Once, again, afresh


@pytest.mark.django_db
def test_a_reset_of_an_empty_library_loads_it():
    run("--reset")
    assert Body.objects.count() == 60


def test_the_plan_is_the_same_in_every_process():
    """Hashing of strings differs from one Python process to the next; the demo must not hang on it."""
    script = (
        "import django, hashlib; django.setup(); from setups.demo import club_of; "
        "print(hashlib.sha256(repr(club_of()).encode()).hexdigest())"
    )
    digests = {
        subprocess.run(
            [sys.executable, "-c", script],
            env={
                **os.environ,
                "PYTHONHASHSEED": seed,
                "DJANGO_SETTINGS_MODULE": "club.settings",
                "DEBUG": "true",
            },
            cwd=django_settings.BASE_DIR,
            capture_output=True,
            text=True,
            check=True,
            timeout=120,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(digests) == 1


# Beside rows that are not the demo's


@pytest.mark.django_db
@pytest.mark.parametrize("taken", ["platform", "part", "body"])
def test_it_refuses_when_a_name_that_it_needs_is_taken(taken):
    if taken == "platform":
        PlatformFactory(name="Quillmoor Dunlin", slug="ours")
    elif taken == "part":
        PartFactory(slug="dunlin-front-suspension-narrow")
    else:
        BodyFactory(slug="stormcock-coupe-1-28")
    with pytest.raises(CommandError, match=rf"names that the demo needs: {taken} .* Nothing was changed"):
        run()
    assert not Member.objects.exists()
    assert Platform.objects.count() == (taken == "platform")


@pytest.mark.django_db
def test_a_real_member_keeps_a_user_name_that_the_demo_uses(settings):
    settings.DEBUG = True
    real = MemberFactory(username="librarian", display_name="The real one")
    said = run()
    assert "left alone, as taken: librarian" in said
    assert "Sign in as director, steward, member;" in said
    run("--reset")
    real.refresh_from_db()
    assert real.display_name == "The real one"
    assert authenticate(username="librarian", password=PASSPHRASE) is None


def test_before_the_tables_are_there_it_says_what_to_do(tmp_path):
    done = subprocess.run(
        [sys.executable, "manage.py", "demo"],
        env={**os.environ, "DATABASE_URL": f"sqlite:///{tmp_path}/empty.sqlite3", "DEBUG": "true"},
        cwd=django_settings.BASE_DIR,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 1
    assert done.stderr.strip() == "CommandError: The database has no tables yet. Run manage.py migrate first."


# Accounts


@pytest.mark.django_db
def test_the_printed_accounts_sign_in_one_a_role(settings):
    settings.DEBUG = True
    assert run().endswith(
        f"Sign in as librarian, director, steward, member; the passphrase of each is: {PASSPHRASE}\n"
    )
    opened = {member.username: member.role for member in Member.objects.all() if member.has_usable_password()}
    assert set(opened) == OPEN_ACCOUNTS
    assert set(opened.values()) == set(Member.Role.values)
    for username in OPEN_ACCOUNTS:
        assert authenticate(username=username, password=PASSPHRASE) is not None


@pytest.mark.django_db
def test_with_debug_off_nobody_gets_a_known_password(settings):
    settings.DEBUG = False
    said = run()
    assert PASSPHRASE not in said
    assert "--with-accounts" in said
    assert Member.objects.count() == 40
    assert not any(member.has_usable_password() for member in Member.objects.all())


@pytest.mark.django_db
def test_with_debug_off_accounts_have_to_be_asked_for(settings):
    settings.DEBUG = False
    assert PASSPHRASE in run("--with-accounts")
    assert {m.username for m in Member.objects.all() if m.has_usable_password()} == OPEN_ACCOUNTS


def test_every_twist_is_on_the_shelf():
    assert {title.twist for title in TITLES} == set(Twist)


def test_all_models_of_the_library_are_in_the_demo():
    """A table that the demo forgets would show an empty page."""
    tables = {*apps.get_app_config("setups").get_models(), Member}
    assert set(own_rows(club_of())) == tables - {
        Mark,
        Tally,
        TallyChange,
    }  # the site's own, whosever rows moved them
