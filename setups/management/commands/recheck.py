"""Compute posted setups anew by the library's figures of today, and keep where they stand."""

from __future__ import annotations

from argparse import ArgumentParser
from collections import Counter
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from setups.models import Body, Part, Setup
from setups.services import ruling, verifying

BATCH = 200


class Command(BaseCommand):
    help = (
        "Compute posted setups anew by the library's figures of today: all of them, or those that hang on "
        "a body or a part. Worth a run each night, and after a spreadsheet was loaded."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        about = parser.add_mutually_exclusive_group()
        about.add_argument("--body", metavar="SLUG", help="only the setups of this body")
        about.add_argument("--part", metavar="SLUG", help="only the setups with this part")
        parser.add_argument(
            "--batch", type=int, default=BATCH, help="so many are told of at a time (%(default)s)"
        )

    def handle(self, *args: Any, body: str | None, part: str | None, batch: int, **options: Any) -> None:
        if batch < 1:
            raise CommandError("A batch has at least one setup: give --batch a number above zero.")
        setups = self._setups(body, part)
        keys = list(setups.order_by("pk").values_list("pk", flat=True))
        turned: Counter[str] = Counter()
        for first in range(0, len(keys), batch):
            some = Setup.objects.filter(pk__in=keys[first : first + batch])
            for setup, verdict, turn in verifying.recheck(some, most=batch).changed:
                turned["verdict"] += verdict != setup.verdict
                turned["state"] += turn.changed
                self.stdout.write(f"{setup.pk} {setup}: {_said(verdict, setup.verdict, turn)}")
            if options["verbosity"] > 1:
                self.stdout.write(f"{min(first + batch, len(keys))} of {len(keys)} computed")
        self.stdout.write(
            f"Setups computed: {len(keys)}. Verdict changed: {turned['verdict']}. "
            f"State changed: {turned['state']}."
        )

    def _setups(self, body: str | None, part: str | None) -> Any:
        if body is None and part is None:
            return Setup.objects.filter(current__isnull=False).exclude(state=Setup.State.WITHDRAWN)
        kind, slug = (Body, body) if body is not None else (Part, part)
        found = kind._default_manager.filter(slug=slug).first()
        if found is None:
            raise CommandError(f"The library holds no {kind.__name__.lower()} with the address “{slug}”.")
        return verifying.touched_by(found)


def _said(verdict: str, now: str, turn: ruling.Turn) -> str:
    said = []
    if verdict != now:
        said.append(f"{verdict} -> {now}")
    if turn.changed:
        said.append(f"{turn.before} -> {turn.after}")
    return ", ".join(said)
