"""How long a sign-in lasts, and what is known of each.

It ends so many days after it began, whatever is done meanwhile (SESSION_DAYS): Django counts a session's
age from its last change, and a date in its place ends every sign-in for certain, as NIST SP 800-63B, 4.1.3
asks at its first level of assurance (30 days at most). It ends before that once nobody has used it for
SESSION_IDLE_HOURS. What changes an account asks for the password again in any case
(ACCOUNT_REAUTHENTICATION_TIMEOUT).

When a session was last seen stands in its row of allauth's usersessions app, which is read with the session
by one query and written every few minutes (``NOTED_EVERY``), so that no request writes to the session itself.
A session without such a row (from before there were any) ends on its day only.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from allauth.usersessions.models import UserSession
from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends import db
from django.db.models import OuterRef, Subquery
from django.http import HttpRequest
from django.utils import timezone

NOTED_EVERY = timedelta(minutes=5)
"""When a session was last seen is written down at most so often."""


class SessionStore(db.SessionStore):
    """Django's sessions in the database, which end when they are idle and take their row with them."""

    seen: datetime | None = None
    """When the session was last noted as used; None if nothing is kept of it."""

    def load(self) -> dict[str, Any]:
        last = UserSession.objects.filter(session_key=OuterRef("session_key")).values("last_seen_at")[:1]
        living = self.model.objects.filter(session_key=self.session_key, expire_date__gt=timezone.now())
        found = living.annotate(seen=Subquery(last)).first()
        if found is None:
            self._session_key = None
            return {}
        data: dict[str, Any] = self.decode(found.session_data)
        self.seen = found.seen
        if self.seen is not None and (since := idle_since()) and self.seen < since:
            from club.security_log import note  # which reads models of ours

            note("signed-out-idle", int(data.get(SESSION_KEY, 0)) or None)
            self.delete(self.session_key)
            self._session_key, self.seen = None, None
            return {}
        return data

    def cycle_key(self) -> None:
        """Another key for the same session, and for what is kept of it."""
        data, before = self._session, self.session_key
        self.create()
        self._session_cache = data
        if before:
            UserSession.objects.filter(session_key=before).update(session_key=self.session_key)
            self.delete(before)

    def delete(self, session_key: str | None = None) -> None:
        key = session_key or self.session_key
        super().delete(session_key)
        if key:
            UserSession.objects.filter(session_key=key).delete()

    @classmethod
    def clear_expired(cls) -> None:
        """Also those that are idle, and what is kept of sessions that have ended; for ``clearsessions``."""
        super().clear_expired()
        sessions = cls.get_model_class().objects
        if since := idle_since():
            idle = UserSession.objects.filter(last_seen_at__lt=since)
            sessions.filter(session_key__in=idle.values("session_key")).delete()
        UserSession.objects.exclude(session_key__in=sessions.values("session_key")).delete()


def idle_since() -> datetime | None:
    """Who was last seen before this is signed out; None where nobody is for being idle."""
    hours = settings.SESSION_IDLE_HOURS
    return timezone.now() - timedelta(hours=hours) if hours else None


def begin(request: HttpRequest) -> None:
    """Let the session that has just been signed in end on its day."""
    request.session.set_expiry(timezone.now() + timedelta(seconds=settings.SESSION_COOKIE_AGE))
