"""Writes the library, or what is asked for of it, into files that ``import_library`` reads again."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from setups.exports.sources import rows_of
from setups.exports.writing import Format, written
from setups.imports.kinds import KINDS, LOAD_ORDER


class Command(BaseCommand):
    help = (
        "Write the library into a folder, a file a kind, as CSV or JSON Lines. import_library loads the "
        "folder again and gives the same library. Photos, drafts, garages and members' addresses are not "
        "in it."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--what",
            nargs="+",
            choices=LOAD_ORDER,
            metavar="KIND",
            help=f"All without it: {', '.join(LOAD_ORDER)}.",
        )
        parser.add_argument("--format", choices=[one.value for one in Format], default=Format.CSV.value)
        parser.add_argument(
            "--out", type=Path, required=True, help="The folder; it is made if it is not there."
        )

    def handle(self, *args: Any, **options: Any) -> None:
        folder: Path = options["out"]
        how = Format(options["format"])
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with transaction.atomic():
                for key in options["what"] or LOAD_ORDER:
                    self._write(folder / f"{key}.{how.value}", key, how)
        except OSError as error:
            raise CommandError(f"{error.filename or folder} cannot be written: {error.strerror}.") from error

    def _write(self, path: Path, key: str, how: Format) -> None:
        number = 0

        def counted() -> Any:
            nonlocal number
            for row in rows_of(KINDS[key]):
                number += 1
                yield row

        with path.open("w", encoding="utf-8", newline="") as file:
            file.writelines(written(KINDS[key], counted(), how))
        self.stdout.write(f"{path}: {number:,}")
