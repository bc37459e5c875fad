"""The demo club as files, loaded into an empty library, gives the same library and the same files again."""

from __future__ import annotations

from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.core.management import CommandError, call_command
from django.db import transaction
from django.db.models import F

from setups.demo.members import EMAIL_DOMAIN
from setups.imports.kinds import LOAD_ORDER
from setups.models import Body, BodyDimension, Maker, PartDimension, Revision, Setup

pytestmark = pytest.mark.django_db


def _export(folder: Path, how: str) -> dict[str, bytes]:
    call_command("export_library", format=how, out=folder, stdout=StringIO())
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def _load(*paths: Path, commit: bool = True) -> tuple[str, str]:
    out, err = StringIO(), StringIO()
    call_command("import_library", *map(str, paths), commit=commit, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


def _standing() -> dict[str, Any]:
    """What the files do not hold and loading works out: fits, standings, what members settled."""
    figures = ("quantity", "value", "tolerance", "uncertainty", "basis", "source")
    return {
        "setups": list(
            Setup.objects.exclude(state="draft")
            .order_by("pk")
            .values(
                "pk", "state", "verdict", "confirmations", "front_width", "wheelbase", "words", "posted_at"
            )
        ),
        "revisions": list(
            Revision.objects.order_by("setup", "number").values("number", "verdict", "findings")
        ),
        "bodies": list(
            BodyDimension.objects.order_by("body__slug", "quantity").values("body__slug", *figures)
        ),
        "parts": list(
            PartDimension.objects.order_by("part__slug", "quantity").values("part__slug", *figures)
        ),
        "started": list(
            Setup.objects.exclude(started_from=None)
            .order_by("pk")
            .values("pk", of=F("started_from__setup"), number=F("started_from__number"))
        ),
    }


class _Emptied(Exception):
    """Takes back what was loaded."""


@pytest.fixture(scope="module")
def demo(
    tmp_path_factory: pytest.TempPathFactory, django_db_setup: None, django_db_blocker: Any
) -> Iterator[tuple[Path, dict[str, dict[str, bytes]], dict[str, Any]]]:
    """The demo club with some of its setups in files of both formats; the database is empty again."""
    folder = tmp_path_factory.mktemp("library")
    with django_db_blocker.unblock():
        try:
            with transaction.atomic():
                call_command("demo", setups=30, stdout=StringIO())
                files = {how: _export(folder / how, how) for how in ("csv", "jsonl")}
                standing = _standing()
                raise _Emptied
        except _Emptied:
            yield folder, files, standing


@pytest.mark.parametrize("how", ["csv", "jsonl"])
def test_the_demo_club_comes_back_byte_for_byte(demo: Any, tmp_path: Path, how: str) -> None:
    folder, files, standing = demo
    assert set(files[how]) == {f"{key}.{how}" for key in LOAD_ORDER}
    assert all(len(content.splitlines()) > 1 for content in files[how].values())
    out, err = _load(folder / how)
    assert err == ""
    assert out.endswith("Loaded.\n")
    again = _export(tmp_path / "again", how)
    assert {name for name in again if again[name] != files[how][name]} == set()
    assert _standing() == standing
    told, _ = _load(folder / how, commit=False)
    counts = [line.split(": ", 1)[1] for line in told.splitlines() if ": " in line]
    assert all(count.startswith("0 new, 0 changed, ") and count.endswith(" 0 wrong") for count in counts)


def test_a_dry_run_on_the_command_line_changes_nothing(demo: Any) -> None:
    folder, _, _ = demo
    out, _ = _load(*(folder / "jsonl" / f"{name}.jsonl" for name in ("bodies", "makers")), commit=False)
    assert "bodies.jsonl: 60 new" in out
    assert out.index("makers.jsonl") < out.index("bodies.jsonl")
    assert "Nothing was changed. Run it with --commit to load this." in out
    assert not Maker.objects.exists()


def test_one_wrong_row_keeps_a_whole_library_out_and_says_file_line_and_column(
    demo: Any, tmp_path: Path
) -> None:
    _, files, _ = demo
    for name, content in files["csv"].items():
        (tmp_path / name).write_bytes(content)
    path = tmp_path / "bodies.csv"
    head, first, *rest = path.read_text("utf-8-sig").splitlines(keepends=True)
    path.write_text(head + first.replace(",28,", ",280,", 1) + "".join(rest), "utf-8")
    err = StringIO()
    with pytest.raises(CommandError, match="Nothing was loaded"):
        call_command("import_library", str(tmp_path), commit=True, stdout=StringIO(), stderr=err)
    assert "bodies.csv, line 2, scale: " in err.getvalue()
    assert not Body.objects.exists()
    assert not Maker.objects.exists()


def test_members_come_back_without_address_or_password(demo: Any) -> None:
    folder, files, _ = demo
    assert not any(EMAIL_DOMAIN.encode() in content for content in files["jsonl"].values())
    _load(folder / "jsonl" / "members.jsonl")
    member = get_user_model().objects.earliest("pk")
    assert (member.email, member.has_usable_password(), member.role) == ("", False, "member")


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("shells.csv", "does not say by its name"),
        ("empty", "There is no file to load"),
        ("bodies.csv", "empty"),
    ],
)
def test_what_cannot_be_loaded_from_the_command_line_says_why(tmp_path: Path, name: str, said: str) -> None:
    path = tmp_path / name
    if path.suffix:
        path.write_text("")
    else:
        path.mkdir()
    err = StringIO()
    with pytest.raises(CommandError) as refused:
        call_command("import_library", str(path), commit=True, stdout=StringIO(), stderr=err)
    assert said in f"{refused.value} {err.getvalue()}"
