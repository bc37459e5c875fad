"""``manage.py role USERNAME ROLE``: what a member may do."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from club.models import Member


class Command(BaseCommand):
    help = "Gives a member a role; without one, says which role they have."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username")
        parser.add_argument("role", nargs="?", choices=Member.Role.values)

    def handle(self, *args: Any, username: str, role: str | None, **options: Any) -> None:
        try:
            member = Member.objects.get(username__iexact=username)
        except Member.DoesNotExist:
            raise CommandError(f"No member is called {username}. Check the username on their page.") from None
        if role is None:
            self.stdout.write(f"{member.username} is a {member.get_role_display()}.")
        elif member.role == role:
            self.stdout.write(f"{member.username} is a {member.get_role_display()} already.")
        else:
            before = member.get_role_display()
            member.role = role
            member.save(update_fields=["role"])
            self.stdout.write(f"{member.username} was a {before} and is now a {member.get_role_display()}.")
