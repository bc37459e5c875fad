"""``manage.py demo``: an invented club to look round in."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import IntegrityError, connection, transaction

from setups.demo import RANDOM_SEED, club_of
from setups.demo.hooks import moved_in, moving_in
from setups.demo.many import PATTERN, grow
from setups.demo.members import PASSPHRASE
from setups.demo.setups import SETUPS
from setups.demo.store import (
    DemoError,
    count_rows,
    counted,
    load,
    load_measurements,
    load_members,
    load_setups,
    own_rows,
    remove,
)
from setups.models import Platform

_BAR = 40
"""So wide is the bar that shows how far a large library is."""


class Command(BaseCommand):
    help = (
        "Loads an invented club: four platforms, some 300 parts, 60 bodies, 40 members and 400 setups. "
        "Running it again changes nothing."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--reset", action="store_true", help="Take the demo's own rows out first, then load them afresh."
        )
        parser.add_argument(
            "--random-seed",
            type=int,
            default=RANDOM_SEED,
            metavar="N",
            help="Draws other figures under the same names (default: %(default)s).",
        )
        parser.add_argument(
            "--with-accounts",
            action="store_true",
            help="Also where DEBUG is off: give four members the passphrase that the documentation prints.",
        )

        parser.add_argument(
            "--setups",
            type=int,
            default=SETUPS,
            metavar="N",
            help="So many setups over two seasons, drafts among them (default: %(default)s). Beyond "
            f"{PATTERN} they are copied within the database under new members' names.",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if Platform._meta.db_table not in connection.introspection.table_names():
            raise CommandError("The database has no tables yet. Run manage.py migrate first.")
        club = club_of(options["random_seed"])
        with_accounts = settings.DEBUG or options["with_accounts"]
        try:
            with transaction.atomic():
                there = counted(club)
                if any(found for found, _ in there.values()) and not options["reset"]:
                    self._say_it_is_there(there)
                    return
                if options["reset"]:
                    remove(club, self._say)
                load(club, self._say)
                accounts = load_members(with_accounts, self._say)
                load_measurements(club, options["random_seed"], self._say)
                members = own_rows(club)[get_user_model()]
                answers = [one for _, one in moving_in.send(None, members=members, say=self._say) if one]
                number = min(options["setups"], PATTERN)
                load_setups(club, options["random_seed"], number, self._say, *answers[:1])
                moved_in.send(sender=None, members=members, say=self._say)
                count_rows()
            if options["setups"] > PATTERN:
                draw = self._draw if self.stdout.isatty() else None
                grow(options["setups"], options["random_seed"], self._say, draw)
        except DemoError as error:
            raise CommandError(str(error)) from error
        except IntegrityError as error:
            raise CommandError(
                f"The database refused a row ({error}). Nothing was changed. If somebody else was loading "
                "parts or the demo at the same time, run it again."
            ) from error
        self._say(self.style.SUCCESS("The demo is loaded."))
        if accounts:
            self._say(f"Sign in as {', '.join(accounts)}; the passphrase of each is: {PASSPHRASE}")
        elif not with_accounts:
            self._say("DEBUG is off, so nobody can sign in as a demo member; --with-accounts lets them.")

    def _say(self, line: str) -> None:
        self.stdout.write(line)

    def _draw(self, there: int, number: int) -> None:
        """How far it is, as a bar in one line of a terminal."""
        done = _BAR * there // number
        bar = f"\rSetups [{'#' * done}{'.' * (_BAR - done)}] {there:,} of {number:,}"
        self.stdout.write(bar, ending="\n" if there >= number else "")
        self.stdout.flush()

    def _say_it_is_there(self, there: dict[str, tuple[int, int]]) -> None:
        short = [f"{found} of {wanted} {name}" for name, (found, wanted) in there.items() if found < wanted]
        if short:
            there_now = ", ".join(short)
            self._say(f"Only {there_now} are there. Nothing was changed; --reset loads the demo afresh.")
        else:
            self._say("The demo is there already. Nothing was changed; --reset loads it afresh.")
