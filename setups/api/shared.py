"""What views have in common that everybody reads and members change."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.http import HttpResponse
from django.urls import reverse
from django.utils.cache import patch_cache_control, patch_vary_headers
from drf_spectacular.utils import OpenApiParameter
from rest_framework.permissions import SAFE_METHODS, AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import ValidationError
from rest_framework.views import APIView

from setups import models
from setups.services.cars import NotBuildable
from setups.services.measuring import MeasuringError
from setups.services.posting import Conflict, PostingError
from setups.services.verifying import VerifyingError
from setups.services.writing import locked_first

from .etag import etag_of
from .permissions import WRITE, Members
from .problems import Problem, shown
from .views import Reading

SETUPS, MEASURING = "Setups", "Measuring"
IF_MATCH = OpenApiParameter(
    "If-Match",
    str,
    OpenApiParameter.HEADER,
    required=True,
    description="ETag of what is changed, as it was read: 428 without it, 412 if it was changed since.",
)
KEY = OpenApiParameter(
    "Idempotency-Key",
    str,
    OpenApiParameter.HEADER,
    description="A key of your own for what is to be done: the same request with it, within 24 hours, is "
    "not done again but gets the same answer; another one with it is refused (422).",
)


class Shared(Reading):
    """Anybody reads the same; who changes something is a member, by a token or a session with CSRF.

    A ``private`` view is its member's own: only they read it, and no shared cache keeps it. Of one that
    ``varies`` anybody reads something, and some see more.
    """

    private = False
    varies = False
    scope = WRITE

    @property
    def for_members(self) -> bool:
        """True if only members may do what is asked; of no request, if any may need one."""
        return self.private or self.request is None or self.request.method not in SAFE_METHODS

    def get_authenticators(self) -> list[Any]:
        if self.for_members or self.varies:
            return APIView.get_authenticators(self)
        return super().get_authenticators()

    def get_permissions(self) -> list[Any]:
        return [Members()] if self.for_members else [AllowAny()]

    def finalize_response(self, request: Request, response: HttpResponse, *args: Any, **kwargs: Any) -> Any:
        answer = super().finalize_response(request, response, *args, **kwargs)
        if self.private or self.varies:
            if answer.status_code < 400:
                del answer["Cache-Control"]
                patch_cache_control(answer, private=True, no_cache=True)
            patch_vary_headers(answer, ["Authorization", "Cookie"])
        elif request.method not in SAFE_METHODS:
            patch_cache_control(answer, no_store=True)
        return answer


@contextmanager
def refusing() -> Iterator[None]:
    """What the services raise, as problems; around the transaction, so that nothing is changed."""
    try:
        yield
    except PermissionError as error:
        raise Problem("forbidden", str(error)) from error
    except Conflict as error:
        raise Problem(
            "precondition-failed",
            "The draft was saved again since you read it. Nothing was changed now: read it again, and send "
            "the change with the new ETag if it is still right.",
        ) from error
    except NotBuildable as error:
        raise ValidationError({"parts": [str(error)]}) from error
    except (PostingError, MeasuringError, VerifyingError) as error:
        raise Problem("conflict", str(error)) from error


def made(content: Any, address: str) -> Response:
    """201: ``content`` is now at ``address``."""
    return Response(content, 201, headers={"Location": address, "ETag": etag_of(content)})


def changed(content: Any, address: str) -> Response:
    """200: ``content`` is what is at ``address`` now."""
    return Response(content, headers={"Content-Location": address, "ETag": etag_of(content)})


def setup_or_refused(number: int, lock: bool = False) -> models.Setup:
    """The posted setup of this number, with its newest revision. Raises a Problem for none, and for a draft.

    ``lock``: within a transaction, nobody else changes it until that ends.
    """
    rows = models.Setup.objects.exclude(state=models.Setup.State.DRAFT).select_related("current", "author")
    rows = rows.filter(pk=min(number, 2**63 - 1))
    found = (locked_first(rows) if lock else rows).first()
    if found is None:
        raise nobody("setup", number, reverse("api-setup-list"))
    return found


def nobody(name: str, key: Any, places: str) -> Problem:
    """There is no such thing; ``places`` is the address of those that there are."""
    return Problem("not-found", f"No {name} is called {shown(key, 20)} here: {places} lists those that are.")
