"""Tokens with which a member's programs call the REST interface.

A token is shown once, when it is made; what is kept is its digest. It is 256 random bits, so that a plain
SHA-256 is enough: there is nothing to guess, and looking it up costs one index.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from hashlib import sha256
from secrets import token_urlsafe
from typing import Self

from django.db import models
from django.db.models import Q
from django.dispatch import Signal
from django.utils import timezone
from django.utils.translation import gettext_lazy, pgettext

from .member import Member

PREFIX = "setups_"
"""What every token begins with, so that a leaked one is known for what it is."""
HINT = 4
"""So many letters after the prefix are kept, to tell one token from another."""
NOTED_EVERY = timedelta(minutes=1)
"""When a token was last used is written down at most so often."""
MOST_TOKENS = 20
"""A member may have so many that work."""

revoked = Signal()
"""Sent with ``instance`` when a token has just stopped working because somebody revoked it."""


class Scope(models.TextChoices):
    """What a token lets its program do. Every token may read."""

    READ = "read", gettext_lazy("read what you may read, your drafts and garage too")
    WRITE = "write", gettext_lazy("post and change what is yours")
    STEWARD = "steward", gettext_lazy("settle disputes, withdraw setups and put them back")


SCOPES = ("read", "read write", "read steward", "read write steward")
"""The sets of scopes that a token may have, each written as RFC 6749, 3.3 has it."""


def digest_of(secret: str) -> str:
    """What is kept of a token."""
    return sha256(secret.encode()).hexdigest()


class TokenQuerySet(models.QuerySet["Token"]):
    def live(self) -> Self:
        """Those that work: neither revoked nor past their day; whether the member is active apart."""
        return self.filter(revoked_at__isnull=True, expires_at__gt=timezone.now())

    def of_secret(self, secret: str) -> Token | None:
        """The token that works and is ``secret``, with its active member; one query."""
        found = self.live().filter(digest=digest_of(secret), member__is_active=True)
        return found.select_related("member").first()


class Token(models.Model):
    """One token of a member's; ``scopes`` are words with spaces, ``hint`` how the token itself begins."""

    member = models.ForeignKey(Member, on_delete=models.CASCADE, related_name="tokens")
    name = models.CharField(max_length=60)
    scopes = models.CharField(max_length=20, choices=[(one, one) for one in SCOPES])
    digest = models.CharField(max_length=64, unique=True)
    hint = models.CharField(max_length=20)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = TokenQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["member", "name"],
                condition=Q(revoked_at__isnull=True),
                name="token_name_once_a_member",
            ),
            models.CheckConstraint(condition=Q(scopes__in=SCOPES), name="token_scopes_known"),
            models.CheckConstraint(condition=~Q(name=""), name="token_has_name"),
        ]

    def __str__(self) -> str:
        return self.name

    @classmethod
    def make(cls, member: Member, name: str, scopes: str, expires_at: datetime) -> tuple[Self, str]:
        """A new token and its secret, which is not kept. Raises IntegrityError for a name that is taken."""
        secret = PREFIX + token_urlsafe(32)
        made = cls.objects.create(
            member=member,
            name=name,
            scopes=scopes,
            digest=digest_of(secret),
            hint=secret[: len(PREFIX) + HINT],
            expires_at=expires_at,
        )
        return made, secret

    @property
    def words(self) -> list[str]:
        """Its scopes, one by one."""
        return self.scopes.split()

    @property
    def is_live(self) -> bool:
        """True while it works."""
        return self.revoked_at is None and self.expires_at > timezone.now()

    @property
    def words_told(self) -> list[str]:
        """Its scopes in the reader's language."""
        told = {
            Scope.READ.value: pgettext("a program may", "read"),
            Scope.WRITE.value: pgettext("a program may", "write"),
            Scope.STEWARD.value: pgettext("a program may", "steward"),
        }
        return [told[word] for word in self.words]

    def allows(self, scope: str) -> bool:
        """True if the token lets its program do what ``scope`` names."""
        return scope in self.words

    def note_use(self) -> None:
        """Write down that it was used now, unless that was done a moment ago; at most one query."""
        now = timezone.now()
        if self.last_used_at is None or abs(now - self.last_used_at) > NOTED_EVERY:
            Token.objects.filter(pk=self.pk).update(last_used_at=now)

    def revoke(self) -> None:
        """Let it work no more; the first time stands."""
        first = Token.objects.filter(pk=self.pk, revoked_at__isnull=True).update(revoked_at=timezone.now())
        self.refresh_from_db(fields=["revoked_at"])
        if first:
            revoked.send(Token, instance=self)
