"""``manage.py restore FILE``: a backup into a new database."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from allauth.mfa.models import Authenticator
from django.core.management.base import BaseCommand, CommandError, CommandParser

from club.accounts.second_factor import readable
from club.backup import BackupError, restore


class Command(BaseCommand):
    help = "Put a backup into a new database that `migrate` has made the tables of: all of it, or nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="what `backup` wrote")

    def handle(self, *args: Any, file: Path, **options: Any) -> None:
        try:
            kept = restore(file, say=self.stdout.write)
        except BackupError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            self.style.SUCCESS(f"{sum(kept.values())} rows are restored, and the same as before.")
        )
        if unreadable := sum(not readable(one) for one in Authenticator.objects.all()):
            self.stdout.write(
                self.style.WARNING(
                    f"{unreadable} second factors and recovery codes were sealed with another SECRET_KEY: "
                    "until it is in SECRET_KEY or SECRET_KEY_FALLBACKS, their members cannot sign in."
                )
            )
