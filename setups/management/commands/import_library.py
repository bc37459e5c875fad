"""Loads files into the library: all of them, or nothing."""

from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import IntegrityError, transaction

from setups.imports.kinds import KINDS, LOAD_ORDER
from setups.imports.load import refused
from setups.imports.plan import carry_out, plan_of
from setups.imports.planned import By, Plan, operator
from setups.imports.reading import Unreadable, decoded

ENDINGS = (".csv", ".jsonl")
MOST_TOLD = 50
"""So many rows to correct are told of one file."""


class Command(BaseCommand):
    help = (
        "Read CSV or JSON Lines files and say what loading them would do. With --commit they are loaded, all "
        "of them or nothing. What a file is about is its name: bodies.csv, measurements.jsonl."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "paths", nargs="+", type=Path, help="Files, or folders that export_library wrote."
        )
        parser.add_argument("--commit", action="store_true", help="Load them; without it nothing is changed.")

    def handle(self, *args: Any, **options: Any) -> None:
        files, by = _files(options["paths"]), operator()
        with transaction.atomic():
            # What a faulty file would have brought is missed by those after it: they are not looked at.
            wrong = next((at for at, path in enumerate(files) if not self._load(path, by)), None)
            if wrong is not None or not options["commit"]:
                transaction.set_rollback(True)
        if wrong is not None:
            left = len(files) - wrong - 1
            waiting = f" {left} more files wait for it." if left else ""
            raise CommandError(f"Nothing was loaded: correct what stands above and run it again.{waiting}")
        self.stdout.write(
            "Loaded." if options["commit"] else "Nothing was changed. Run it with --commit to load this."
        )

    def _load(self, path: Path, by: By) -> bool:
        """Plans the file and carries it out, for those after it to find; ``False`` if it is wrong."""
        try:
            text, _ = decoded(path.read_bytes(), limited=False)
        except (OSError, Unreadable) as error:
            self.stderr.write(f"{path}: {error}")
            return False
        plan = plan_of(KINDS[path.stem], text, lock=True, by=by)
        if plan.loadable:
            try:
                with transaction.atomic():
                    carry_out(plan, by)
            except IntegrityError as error:
                plan.problems.append(refused(error))
        self._tell(path, plan)
        return plan.faultless

    def _tell(self, path: Path, plan: Plan) -> None:
        self.stdout.write(
            f"{path}: {len(plan.new):,} new, {len(plan.changed):,} changed, {len(plan.unchanged):,} as on "
            f"record, {len(plan.wrong):,} wrong"
        )
        problems = [*plan.problems, *(one for row in plan.wrong for one in row.problems)]
        for one in problems[:MOST_TOLD]:
            where = f", line {one.line}" if one.line else ""
            column = f", {one.column}" if one.column else ""
            self.stderr.write(f"{path}{where}{column}: {one.message}")
        if len(problems) > MOST_TOLD:
            self.stderr.write(f"{path}: {len(problems) - MOST_TOLD:,} more to correct.")


def _files(paths: Iterable[Path]) -> list[Path]:
    """The files that are meant, in the order in which they can be loaded."""
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = [one for one in sorted(path.iterdir()) if one.suffix in ENDINGS and one.stem in KINDS]
            if not inside:
                raise CommandError(
                    f"There is no file to load in {path}: they are called bodies.csv and the like."
                )
            found += inside
        elif path.suffix in ENDINGS and path.stem in KINDS:
            found.append(path)
        else:
            raise CommandError(
                f"{path} does not say by its name what is in it: call it {' or '.join(LOAD_ORDER)}, and then "
                f"{' or '.join(ENDINGS)}."
            )
    stems = [path.stem for path in found]
    twice = next((path for path in found if stems.count(path.stem) > 1), None)
    if twice is not None:
        raise CommandError(f"{twice.stem} stand in two files: load one of them after the other.")
    return sorted(found, key=lambda path: LOAD_ORDER.index(path.stem))
