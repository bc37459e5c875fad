"""Pages of an account: allauth's flows, and a member's own two pages."""

from __future__ import annotations

from typing import Any

from allauth.account import views as theirs
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db import IntegrityError, transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from club.accounts.forms import Settings
from club.accounts.lockout import locked_out, told_to_wait
from club.models import Member
from setups.services.posted import posted_by


class SignIn(theirs.LoginView):
    def form_invalid(self, form: Any) -> HttpResponse:
        locked = locked_out(form)
        answer = self.render_to_response(self.get_context_data(form=form, locked=locked))
        return told_to_wait(answer, locked)


class SignUp(theirs.SignupView):
    def form_valid(self, form: Any) -> HttpResponse:
        try:
            with transaction.atomic():
                return super().form_valid(form)
        except IntegrityError:  # somebody else has taken the name since it was looked up
            form.add_error("username", _("Another member has just taken that name: choose a different one."))
            return self.form_invalid(form)


class ConfirmPassword(theirs.ReauthenticateView):
    def form_valid(self, form: Any) -> HttpResponse:
        answer = super().form_valid(form)
        self.request.session.cycle_key()  # what was known of the session until now may do no more
        return answer


@method_decorator(never_cache, name="dispatch")
class SignOut(theirs.LogoutView):
    """Signs out on a POST; a GET asks, so that no link can sign anybody out."""

    http_method_names = ["get", "head", "post"]

    def get(self, *args: Any, **given: Any) -> HttpResponse:
        return self.render_to_response(self.get_context_data())


@login_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def account(request: HttpRequest) -> HttpResponse:
    """What a member sets about themselves, and the ways to their password and address."""
    member = get_object_or_404(Member, pk=request.user.pk)  # request.user is printed as it is stored
    form = Settings(request.POST or None, instance=member)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, _("Others now see you as {member}.").format(member=member))
        return redirect("account")
    return render(request, "club/account.html", {"form": form})


@require_safe
def member(request: HttpRequest, username: str) -> HttpResponse:
    """What everybody may know of a member."""
    found = get_object_or_404(Member, username=username, is_active=True)
    return render(request, "club/member.html", {"member": found, "setups": posted_by(found)})
