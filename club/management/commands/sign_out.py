"""``manage.py sign_out USERNAME``, or ``--everybody``: ends sign-ins at once, on every device."""

from __future__ import annotations

from typing import Any

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from club.models import Member
from club.security_log import note


class Command(BaseCommand):
    help = "Ends the sign-ins of one member, or of everybody; with --tokens their programs' tokens as well."

    def add_arguments(self, parser: CommandParser) -> None:
        who = parser.add_mutually_exclusive_group(required=True)
        who.add_argument("username", nargs="?")
        who.add_argument("--everybody", action="store_true")
        parser.add_argument("--tokens", action="store_true", help="revoke tokens too")

    def handle(
        self, *args: Any, username: str | None, everybody: bool, tokens: bool, **options: Any
    ) -> None:
        members = Member.objects.all()
        if not everybody:
            members = members.filter(username__iexact=username)
            if not members:
                raise CommandError(
                    f"No member is called {username}. Check the username on their page."
                )
        keys = {str(key) for key in members.values_list("pk", flat=True)}
        ended = 0
        for session in Session.objects.filter(expire_date__gt=timezone.now()).iterator():
            if session.get_decoded().get(SESSION_KEY) in keys:
                session.delete()
                ended += 1
        said = f"{ended} sign-in{'s' * (ended != 1)} ended."
        if tokens:
            revoked = 0
            for member in members.prefetch_related("tokens"):
                for token in member.tokens.all():
                    if token.is_live:
                        token.revoke()
                        revoked += 1
            said += f" {revoked} token{'s' * (revoked != 1)} revoked."
        note("signed-out-by-command", None if everybody else members[0].pk, ended=ended)
        self.stdout.write(said)
