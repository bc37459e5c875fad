"""``manage.py second_factor USERNAME``: whether a member has one, and to take a lost one off."""

from __future__ import annotations

from typing import Any

from allauth.mfa.models import Authenticator
from django.core.management.base import BaseCommand, CommandError, CommandParser

from club.accounts import second_factor
from club.accounts.second_factor import TOTP, codes_left, readable
from club.models import Member


class Command(BaseCommand):
    help = (
        "Says whether a member has a second factor; with --take-off takes it off who lost their phone and "
        "their recovery codes. Be sure that it is they who ask. --seal-anew seals all with the key of today."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        what = parser.add_mutually_exclusive_group(required=True)
        what.add_argument("username", nargs="?")
        what.add_argument("--seal-anew", action="store_true", help="after SECRET_KEY was changed")
        parser.add_argument("--take-off", action="store_true")

    def handle(
        self, *args: Any, username: str | None, seal_anew: bool, take_off: bool, **options: Any
    ) -> None:
        if seal_anew:
            self._seal_anew()
            return
        try:
            member = Member.objects.get(username__iexact=username)
        except Member.DoesNotExist:
            raise CommandError(
                f"No member is called {username}. Check the username on their page."
            ) from None
        self.stdout.write(_taken_off(member) if take_off else _told(member))

    def _seal_anew(self) -> None:
        done, unreadable = second_factor.seal_anew()
        self.stdout.write(f"{done} rows are sealed with today's SECRET_KEY.")
        if unreadable:
            raise CommandError(
                f"{unreadable} cannot be read: put the SECRET_KEY that they were sealed with into "
                "SECRET_KEY_FALLBACKS and run this again, or take them off their members."
            )


def _taken_off(member: Member) -> str:
    if not second_factor.take_off(member):
        return f"{member.username} has no second factor."
    return (
        f"The second factor of {member.username} is off: the password alone signs in. "
        f"If the phone is in other hands, end what is signed in: manage.py sign_out {member.username}"
    )


def _told(member: Member) -> str:
    app = Authenticator.objects.filter(user=member, type=TOTP).first()
    if app is None:
        return f"{member.username} has no second factor."
    used = f"last used {app.last_used_at:%Y-%m-%d}" if app.last_used_at else "never used"
    sound = "" if readable(app) else " It was sealed with another SECRET_KEY, and no code can be checked."
    left = codes_left(member)
    return (
        f"{member.username} has a second factor since {app.created_at:%Y-%m-%d}, {used}; "
        f"{left} recovery codes are left.{sound}"
    )
