"""How long a sign-in lasts: so many days from the moment of signing in, whatever is done meanwhile.

Django counts a session's age from its last change. A date in its place ends every sign-in for certain, which
is what NIST SP 800-63B, 4.1.3 asks for at its first level of assurance (30 days at most, no limit for being
idle). What changes an account asks for the password again in any case (ACCOUNT_REAUTHENTICATION_TIMEOUT).
"""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone


def begin(request: HttpRequest) -> None:
    """Let the session that has just been signed in end on its day."""
    request.session.set_expiry(timezone.now() + timedelta(seconds=settings.SESSION_COOKIE_AGE))
