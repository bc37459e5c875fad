"""Take away photo files that no row of the library names."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.template.defaultfilters import filesizeformat

from setups.services.photo_sweep import Looked, Orphan, orphans, storage


class Command(BaseCommand):
    help = (
        "Look for photo files that no photo of the library names, and that are older than a day: a process "
        "that is killed while it keeps a photo leaves them. Says what it found; --commit takes it away."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--commit", action="store_true", help="take the files away")

    def handle(self, *args: Any, commit: bool, **options: Any) -> None:
        store, looked = storage(), Looked()
        number = size = stuck = 0
        try:
            for one in orphans(store, looked):
                if options["verbosity"] > 1:
                    self.stdout.write(f"{one.name} ({one.size:,} bytes)")
                if commit and not self._taken_away(store, one):
                    stuck += 1
                    continue
                number += 1
                size += one.size
        except OSError as error:
            done = f"{number:,} files were taken away before that." if commit else "Nothing was changed."
            raise CommandError(
                f"The place where photos are kept does not answer ({error}). {done}"
            ) from error
        told = f"{number:,} of {looked.files:,} files, {size:,} bytes ({filesizeformat(size)})"
        if commit:
            self.stdout.write(f"Taken away: {told}.")
        else:
            self.stdout.write(f"No photo names {told}. Nothing was changed; --commit takes them away.")
        if looked.others:
            self.stdout.write(f"Left alone: {looked.others:,} that are none of the library's by their names.")
        if stuck:
            raise CommandError(f"{stuck:,} files could not be taken away: see the messages above.")

    def _taken_away(self, store: Any, one: Orphan) -> bool:
        try:
            store.delete(one.name)
        except OSError as error:
            self.stderr.write(f"{one.name}: {error}")
            return False
        return True
