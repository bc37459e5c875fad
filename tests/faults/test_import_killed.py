"""A command that imports is killed half done, on SQLite; ``test_database_stopped`` has the other database."""

from __future__ import annotations

import signal
import subprocess
import sys
from io import StringIO
from textwrap import dedent

import pytest
from django.core.management import call_command
from django.db import connection

from setups.models import Body, BodyDimension, Maker
from tests.factories import BodyFactory
from tests.outside import ROOT, environment

pytestmark = [
    pytest.mark.one_database,
    pytest.mark.skipif(connection.vendor != "sqlite", reason="hands SQLite's file to another process"),
]

IMPORT = dedent(
    """
    import sys, time
    from django.core.management import call_command
    from django.db import connection

    def stop(execute, sql, params, many, context):
        if sql.startswith('INSERT INTO "setups_bodydimension"'):
            print("half done", flush=True)
            time.sleep(60)
        return execute(sql, params, many, context)

    with connection.execute_wrapper(stop):
        call_command("import_library", {path!r}, commit=True, stdout=sys.stderr)
    """
)


@pytest.mark.django_db(transaction=True)
def test_an_import_that_is_killed_half_done_has_loaded_nothing_and_is_simply_run_again(tmp_path):
    BodyFactory(name="Plover")
    before = Body.objects.count(), BodyDimension.objects.count(), Maker.objects.count()
    file = tmp_path / "bodies.csv"
    rows = "".join(f"Shell no. {n},Reed,28,{90 + n / 10}\n" for n in range(40))
    file.write_text(f"name,maker,scale,wheelbase\n{rows}")

    database = environment(DATABASE_URL=f"sqlite:///{connection.settings_dict['NAME']}")
    command = [sys.executable, "manage.py", "shell", "-v0", "-c", IMPORT.format(path=str(file))]
    importing = subprocess.Popen(command, cwd=ROOT, env=database, stdout=subprocess.PIPE, text=True)
    try:
        assert importing.stdout.readline() == "half done\n"
    finally:
        importing.kill()
    assert importing.wait(20) == -signal.SIGKILL
    importing.stdout.close()

    assert (Body.objects.count(), BodyDimension.objects.count(), Maker.objects.count()) == before
    for told in ("40 new, 0 changed", "0 new, 0 changed, 40 as on record"):
        said = StringIO()
        call_command("import_library", str(file), commit=True, stdout=said)
        assert told in said.getvalue()
        assert Body.objects.count() == before[0] + 40
        assert BodyDimension.objects.count() == before[1] + 40
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA integrity_check")
        assert cursor.fetchone() == ("ok",)
