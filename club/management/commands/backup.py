"""``manage.py backup FILE``: the whole library in one file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from club.backup import BackupError, take


class Command(BaseCommand):
    help = "Write the whole library, photos too, into one file that either database can be restored from."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="a file that is not there yet, such as monday.zip")

    def handle(self, *args: Any, file: Path, **options: Any) -> None:
        try:
            kept = take(file, say=self.stdout.write)
        except BackupError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(self.style.SUCCESS(f"{sum(kept.values())} rows are in {file}."))
