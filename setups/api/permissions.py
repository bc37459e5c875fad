"""Who may do what: a member, and how far the token in the request goes.

What authenticates hands over ``request.auth``: a token with ``allows(scope)``, or nothing for a session,
which may do all that its member may. The scopes are ``read``, ``write`` and ``steward``.
"""

from __future__ import annotations

from typing import Any, ClassVar

from rest_framework.exceptions import NotAuthenticated
from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request

from .problems import Problem

READ, WRITE, STEWARD = "read", "write", "steward"


def need(request: Request, scope: str) -> None:
    """Raises NotAuthenticated without a member, a Problem where the request's token has not ``scope``."""
    if not request.user.is_authenticated:
        raise NotAuthenticated()
    if not allows(request, scope):
        raise Problem(
            "insufficient-scope",
            f"The token in this request may not {_DOES[scope]}: make one with the scope {scope} at "
            "/account/tokens/.",
            headers={"WWW-Authenticate": f'Bearer error="insufficient_scope", scope="{scope}"'},
        )


def allows(request: Request, scope: str) -> bool:
    """True if the request's token has ``scope``, or it comes by a session."""
    return request.auth is None or request.auth.allows(scope)


_DOES = {READ: "read", WRITE: "write", STEWARD: "do what stewards do"}


class Members(BasePermission):
    """Anybody reads; a member with the view's ``scope`` (``write``) does the rest.

    A view that is ``private`` is read by members only.
    """

    def has_permission(self, request: Request, view: Any) -> bool:
        if request.method not in SAFE_METHODS:
            need(request, getattr(view, "scope", WRITE))
        elif getattr(view, "private", False):
            need(request, READ)
        return True


class Asking(BasePermission):
    """A member with ``read`` may post: what is posted is a question, and nothing is stored."""

    scope: ClassVar[str] = READ

    def has_permission(self, request: Request, view: Any) -> bool:
        need(request, self.scope)
        return True
