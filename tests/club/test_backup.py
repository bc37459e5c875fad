"""A backup holds the whole library, and restoring it gives the same one on either database."""

from __future__ import annotations

import json
from io import StringIO
from zipfile import ZipFile

import pytest
import time_machine
from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.core.management import CommandError, call_command
from django.test import Client

from club import backup
from club.models import Member
from setups.models import Measurement, PartDimension, Revision, Setup
from setups.services import verifying
from tests.club.test_second_factor import KEY, code_of, type_code, with_factor
from tests.club.visiting import sign_in, signed_in
from tests.factories import MemberFactory, SetupFactory, reading_for

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def saved(tmp_path):
    """A backup of a small library, and its rows."""
    setup = SetupFactory(notes="Grip “up” – 2 °C", tuning={"caster": 4.0, "motor": "mild"})
    for _ in range(2):
        verifying.add(reading_for(setup, "wheelbase", "92.015", member=MemberFactory()))
    path = tmp_path / "club.zip"
    call_command("backup", path, verbosity=0)
    return path, contents()


def contents():
    return {model._meta.label: list(backup.lines_of(model)) for model in backup.tables()}


def emptied():
    call_command("flush", interactive=False, verbosity=0)
    assert not any(lines for lines in contents().values())


def test_what_is_restored_is_what_was_there_row_by_row(saved):
    path, before = saved
    emptied()

    call_command("restore", path, verbosity=0)

    assert contents() == before
    setup = Setup.objects.get()
    assert setup.current == Revision.objects.get()
    assert setup.author.check_password("a quiet lap of the hall")
    assert Measurement.objects.count() == 2


def test_the_next_member_after_a_restore_has_a_number_of_their_own(saved):
    path, _ = saved
    emptied()
    call_command("restore", path, verbosity=0)

    assert (
        MemberFactory(username="somebody-new").pk
        > Member.objects.exclude(username="somebody-new").latest("pk").pk
    )


def test_a_library_that_is_not_empty_is_left_alone(saved):
    path, before = saved
    with pytest.raises(CommandError, match="not empty"):
        call_command("restore", path, verbosity=0)
    assert contents() == before


def test_a_damaged_backup_leaves_nothing_behind(saved, tmp_path):
    path, _ = saved
    damaged = tmp_path / "damaged.zip"
    with ZipFile(path) as old, ZipFile(damaged, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            if name == f"rows/{PartDimension._meta.label}.jsonl":
                first, rest = data.split(b"\n", 1)
                row = json.loads(first)
                row["fields"]["value"] = "11.000"
                data = json.dumps(row).encode() + b"\n" + rest
            new.writestr(name, data)
    emptied()

    with pytest.raises(CommandError, match="nothing was kept"):
        call_command("restore", damaged, verbosity=0)
    assert not any(lines for lines in contents().values())


@pytest.mark.parametrize("wrong", [b"", b"PK\x03\x04 cut short", b"not a backup at all" * 99])
def test_a_file_that_is_no_backup_is_refused_with_a_word_on_what_to_do(tmp_path, wrong):
    path = tmp_path / "other.zip"
    path.write_bytes(wrong)
    with pytest.raises(CommandError, match="Take another"):
        call_command("restore", path, verbosity=0)


def test_a_backup_of_other_tables_is_refused(saved, tmp_path):
    path, _ = saved
    older = tmp_path / "older.zip"
    with ZipFile(path) as old, ZipFile(older, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            if name == "manifest.json":
                manifest = json.loads(data)
                manifest["migrations"].remove("setups.0004_setups")
                data = json.dumps(manifest)
            new.writestr(name, data)
    emptied()
    with pytest.raises(CommandError, match=r"setups\.0004_setups"):
        call_command("restore", older, verbosity=0)


def test_a_backup_never_writes_over_a_file(saved):
    path, _ = saved
    with pytest.raises(CommandError, match="there already"):
        call_command("backup", path, verbosity=0)


def test_a_second_factor_comes_back_sealed_and_asks_for_the_same_codes(client, tmp_path):
    ada = with_factor()
    sign_in(client, "ada")
    used = code_of()
    type_code(client, used)
    assert UserSession.objects.count() == 1
    path = tmp_path / "club.zip"
    call_command("backup", path, verbosity=0)
    with ZipFile(path) as archive:
        held = {name: archive.read(name).decode() for name in archive.namelist()}
    assert "rows/mfa.Authenticator.jsonl" in held
    assert not any(name.startswith(("rows/usersessions", "rows/sessions")) for name in held)
    assert KEY not in "".join(held.values())

    emptied()
    call_command("restore", path, verbosity=0)
    other = Client()
    sign_in(other, "ada")
    type_code(other, used)
    assert not signed_in(other), "a code that was used before the backup is used after it"
    step = Authenticator.objects.get(user=ada).data["step"]
    with time_machine.travel((step + 1) * 30 + 5, tick=False):
        sign_in(other, "ada")
        type_code(other, code_of())
    assert signed_in(other)


def test_a_restore_under_another_key_says_whose_second_factor_cannot_be_read(tmp_path, settings):
    with_factor()
    path, said = tmp_path / "club.zip", StringIO()
    call_command("backup", path, verbosity=0)
    emptied()
    settings.SECRET_KEY = "another key " * 5
    call_command("restore", path, stdout=said)
    assert "1 second factors and recovery codes were sealed with another SECRET_KEY" in said.getvalue()


def test_every_table_is_kept_or_left_out_on_purpose():
    from django.apps import apps

    kept = {model._meta.label for model in backup.tables()}
    other = {model._meta.label for model in apps.get_models(include_auto_created=True)} - kept
    assert other <= backup.LEFT_OUT | {
        "club.Member_groups",
        "club.Member_user_permissions",
        "auth.Group_permissions",
    }
