"""What is kept in the database so that only this site can read it: the keys of second factors.

Fernet (AES-128 in CBC with HMAC-SHA-256, encrypt then authenticate) of the library cryptography, with a key
derived from SECRET_KEY by HKDF (RFC 5869, SHA-256) for this purpose only. A copy of the database alone, or of
a backup, is no second factor. What an earlier SECRET_KEY sealed can be read while it is in
SECRET_KEY_FALLBACKS, and by nobody afterwards.
"""

from __future__ import annotations

from base64 import urlsafe_b64encode

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings

PURPOSE = b"club.accounts.sealed: second factors"


class Unreadable(ValueError):
    """Sealed with a SECRET_KEY that the site has no more, or not sealed by it at all."""


def _fernet() -> MultiFernet:
    secrets = [settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS]
    derived = (HKDF(SHA256(), 32, salt=None, info=PURPOSE).derive(one.encode()) for one in secrets)
    return MultiFernet([Fernet(urlsafe_b64encode(key)) for key in derived])


def seal(text: str) -> str:
    """``text`` so that only this site reads it."""
    return _fernet().encrypt(text.encode()).decode()


def unseal(sealed: str) -> str:
    """What was sealed. Raises Unreadable."""
    try:
        return _fernet().decrypt(sealed.encode()).decode()
    except InvalidToken as error:
        raise Unreadable("sealed with a key that the site does not have") from error


def seal_anew(sealed: str) -> str:
    """The same text, sealed with today's SECRET_KEY. Raises Unreadable."""
    return seal(unseal(sealed))
