"""Signing in and out, and whether the site is well."""

from __future__ import annotations

import logging

from django.contrib.auth import logout
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.db import Error, connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

log = logging.getLogger(__name__)


class SignInForm(AuthenticationForm):
    error_messages = {
        "invalid_login": "No member has that name with that password. Capital letters count in both: type "
        "them again.",
        "inactive": "This account is closed: ask a librarian of the club.",
    }


sign_in = LoginView.as_view(
    template_name="club/sign_in.html", authentication_form=SignInForm, redirect_authenticated_user=True
)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def sign_out(request: HttpRequest) -> HttpResponse:
    """Sign out on a POST; a GET asks, so that no link can sign anybody out."""
    if request.method == "POST":
        logout(request)
        return redirect("find")
    return render(request, "club/sign_out.html")


@never_cache
@require_safe
def health(request: HttpRequest) -> JsonResponse:
    """200 if the database answers, else 503; for load balancers and container health checks."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
    except Error:
        log.exception("The database does not answer")
        return JsonResponse(
            {
                "status": "failing",
                "database": "unreachable",
                "detail": "The database does not answer: check that it runs and that DATABASE_URL names it.",
            },
            status=503,
        )
    return JsonResponse({"status": "ok", "database": "ok"})
