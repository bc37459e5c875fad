"""The pages of the second factor: turn it on and off, its recovery codes, and the code when signing in."""

from __future__ import annotations

import time
from typing import Any

from allauth.account.decorators import reauthentication_required
from allauth.mfa.base import views as theirs
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal import flows
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp import views as theirs_of_apps
from django.contrib.auth.decorators import login_required
from django.db import IntegrityError, transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from club.accounts.adapter import SIGNS_IN_WITH
from club.accounts.demanded import demanded_of, has_second_factor
from club.accounts.lockout import locked_out, told_to_wait
from club.accounts.sealed import Unreadable
from club.accounts.second_factor import RECOVERY, TOTP, Code, FirstCode, codes_left

SHOWN = 10 * 60
"""Seconds for which new recovery codes can be read; nobody sees them after that."""


@login_required
@never_cache
@require_safe
def second_factor(request: HttpRequest) -> HttpResponse:
    """Whether one's second factor is on, since when, and how many recovery codes are left."""
    app = Authenticator.objects.filter(user=request.user, type=TOTP).first()
    context = {
        "app": app,
        "left": codes_left(request.user) if app else 0,
        "demanded": demanded_of(request.user),
    }
    return render(request, "account/second_factor.html", context)


@method_decorator(never_cache, name="dispatch")
class TurnOn(theirs_of_apps.ActivateTOTPView):
    """Shows the key, as a picture and as text, and takes the first code made with it."""

    template_name = "account/second_factor_on.html"

    def dispatch(self, request: HttpRequest, *args: Any, **given: Any) -> HttpResponseBase:
        # Sent twice: it is on, and the recovery codes are still to be seen.
        if request.user.is_authenticated and has_second_factor(request.user):
            return redirect("mfa_view_recovery_codes" if request.method == "POST" else "mfa_index")
        answer: HttpResponseBase = super().dispatch(request, *args, **given)
        return answer

    def get_form_class(self) -> type[FirstCode]:
        return FirstCode

    def get_context_data(self, **given: Any) -> dict[str, Any]:
        context: dict[str, Any] = super().get_context_data(**given)
        secret = context["form"].secret
        context["key"] = " ".join(secret[place : place + 4] for place in range(0, len(secret), 4))
        return context

    def form_valid(self, form: FirstCode) -> HttpResponse:
        try:
            with transaction.atomic():
                answer = super().form_valid(form)
                made = Authenticator.objects.get(user=self.request.user, type=TOTP)
                made.data["step"] = form.step
                made.save(update_fields=["data"])
        except IntegrityError:  # turned on in another window meanwhile, with another key
            return redirect("mfa_index")
        return answer

    def form_invalid(self, form: FirstCode) -> HttpResponse:
        return told_to_wait(super().form_invalid(form), locked_out(form))


@method_decorator(never_cache, name="dispatch")
class TurnOff(theirs_of_apps.DeactivateTOTPView):
    template_name = "account/second_factor_off.html"


class TypeCode(theirs.AuthenticateView):
    """The page after the password of a member who has a second factor."""

    template_name = "account/code.html"

    def _build_forms(self) -> Code:
        sent = self.request.POST if self.request.method == "POST" else None
        self.webauthn_form = None
        self.auth_form = Code(user=self.stage.login.user, data=sent)
        return self.auth_form

    def post(self, request: HttpRequest, *args: Any, **given: Any) -> HttpResponse:
        answer: HttpResponse
        if request.session.get(SIGNS_IN_WITH) == self.stage.login.user.get_session_auth_hash():
            answer = super().post(request, *args, **given)
        else:  # there is a new password: who knew the one before is not half in
            answer = self.stage.abort()
        return answer

    def get_context_data(self, **given: Any) -> dict[str, Any]:
        context: dict[str, Any] = super().get_context_data(**given)
        return context | {"locked": locked_out(self.auth_form)}

    def form_invalid(self, form: Code) -> HttpResponse:
        return told_to_wait(super().form_invalid(form), locked_out(form))


@login_required
@never_cache
@require_safe
@reauthentication_required(app="allauth.mfa")
def codes(request: HttpRequest) -> HttpResponse:
    """One's recovery codes, for a while after they were made; then only how many are left."""
    kept = _codes_of(request)
    kept.mark_as_viewed()
    context = {"codes": _shown(kept), "left": codes_left(request.user), "minutes": SHOWN // 60}
    return render(request, "account/recovery_codes.html", context)


@login_required
@never_cache
@require_safe
@reauthentication_required(app="allauth.mfa")
def codes_as_text(request: HttpRequest) -> HttpResponse:
    """The same as a file, as long as they can be read."""
    shown = _shown(_codes_of(request))
    if not shown:
        raise Http404(_("Those codes are not shown any more. Make new ones."))
    answer = render(request, "account/recovery_codes.txt", {"codes": shown}, "text/plain; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="recovery-codes.txt"'
    return answer


@login_required
@never_cache
@require_POST
@reauthentication_required(app="allauth.mfa")
def new_codes(request: HttpRequest) -> HttpResponse:
    """Other recovery codes in place of all that there were."""
    if not flows.can_generate_recovery_codes(request.user):
        raise Http404(_("Turn the second factor on first: recovery codes come with it."))
    flows.generate_recovery_codes(request)
    return redirect("mfa_view_recovery_codes")


def _codes_of(request: HttpRequest) -> RecoveryCodes:
    row = Authenticator.objects.filter(user=request.user, type=RECOVERY).first()
    if row is None:
        raise Http404(_("Turn the second factor on first: recovery codes come with it."))
    return row.wrap()


def _shown(kept: RecoveryCodes) -> list[str]:
    """The codes that are not used, while they can be read; none once the site has another key."""
    if time.time() - kept.instance.data.get("viewed_at", 0) > SHOWN:
        return []
    try:
        return list(kept.get_unused_codes())
    except Unreadable:
        return []
