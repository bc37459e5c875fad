"""Who calls the REST interface: a member by a token of theirs, in the header Authorization."""

from __future__ import annotations

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from club.models import Member, Token

REALM = 'Bearer realm="library"'


class ByToken(BaseAuthentication):
    """``Authorization: Bearer <token>`` (RFC 6750). ``request.auth`` is the ``Token``."""

    def authenticate(self, request: Request) -> tuple[Member, Token] | None:
        scheme, _, secret = get_authorization_header(request).decode("latin-1").strip().partition(" ")
        if not scheme:
            return None
        if scheme.lower() != "bearer":
            raise AuthenticationFailed(
                "The header Authorization takes a token only: send “Bearer” and a token of yours from "
                "/account/tokens/."
            )
        token = Token.objects.of_secret(secret.strip())
        if token is None:
            raise AuthenticationFailed(
                "This token does not work: it is misspelt, revoked or past its day. Make a new one at "
                "/account/tokens/."
            )
        token.note_use()
        return token.member, token

    def authenticate_header(self, request: Request) -> str:
        return REALM


class ByTokenSchema(OpenApiAuthenticationExtension):
    target_class = ByToken
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A token from /account/tokens/, with the scopes read, write or steward.",
        }
