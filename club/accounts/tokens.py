"""The page of a member's tokens: make one, see it once, see when each was used, revoke."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from allauth.account.decorators import reauthentication_required
from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db import IntegrityError, transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from club.models import Member, Scope, Token
from club.models.token import MOST_TOKENS

LIVES = {
    7: gettext_lazy("a week"),
    30: gettext_lazy("30 days"),
    90: gettext_lazy("90 days"),
    365: gettext_lazy("a year"),
}
"""For how many days a token may work."""
SHOWN_DEAD = 20
"""So many that work no more are listed."""


class TokenForm(forms.Form):
    """A new token of ``member``'s: its name, what it may do besides reading, and how long it works."""

    name = forms.CharField(
        label=gettext_lazy("What it is for"),
        max_length=60,
        help_text=gettext_lazy("So that you know later which to revoke."),
        error_messages={
            "required": gettext_lazy("Give it a name, such as “lap timer in the hall”."),
            "max_length": gettext_lazy("A name has up to 60 characters."),
        },
    )
    scopes = forms.MultipleChoiceField(
        label=gettext_lazy("What it may do"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "invalid_choice": gettext_lazy("That is not a thing that your tokens can do: choose again.")
        },
    )
    days = forms.TypedChoiceField(
        label=gettext_lazy("How long it works"),
        coerce=int,
        choices=list(LIVES.items()),
        initial=90,
        error_messages={
            "required": gettext_lazy("Choose how long it works."),
            "invalid_choice": gettext_lazy("Choose one of the times in the list."),
        },
    )

    def __init__(self, *args: Any, member: Member, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.member = member
        offered = [Scope.WRITE, *([Scope.STEWARD] if member.settles_disputes else [])]
        self.fields["scopes"].choices = [(one.value, capfirst(one.label)) for one in offered]
        self.fields["scopes"].help_text = _(
            "Every token may read what you may read, your garage and drafts too."
        )

    def clean_name(self) -> str:
        name: str = self.cleaned_data["name"]
        if self.member.tokens.filter(name=name, revoked_at__isnull=True).exists():
            raise forms.ValidationError(
                _("You have a token of this name: revoke that, or choose another name.")
            )
        return name

    def clean(self) -> dict[str, Any]:
        if self.member.tokens.live().count() >= MOST_TOKENS:
            raise forms.ValidationError(
                _("You have {most_tokens} tokens: revoke one that you do not use.").format(
                    most_tokens=MOST_TOKENS
                )
            )
        return super().clean() or self.cleaned_data

    def make(self) -> tuple[Token, str] | None:
        """The token and its secret; ``None`` if the name was taken meanwhile, which the form then says."""
        given = self.cleaned_data
        scopes = " ".join([Scope.READ, *(one for one in Scope.values if one in given["scopes"])])
        expires = timezone.now() + timedelta(days=given["days"])
        try:
            with transaction.atomic():
                return Token.make(self.member, given["name"], scopes, expires)
        except IntegrityError:
            self.add_error("name", _("You have just made a token of this name: choose another name."))
            return None


@login_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@reauthentication_required(allow_get=True)
def tokens(request: HttpRequest) -> HttpResponse:
    """One's tokens. A new one is shown in the answer to the form, and never again."""
    form = TokenForm(request.POST if request.method == "POST" else None, member=request.user)
    made = form.make() if request.method == "POST" and form.is_valid() else None
    mine = list(request.user.tokens.all())
    context = {
        "form": TokenForm(member=request.user) if made else form,
        "made": made and made[0],
        "secret": made and made[1],
        "live": [one for one in mine if one.is_live],
        "dead": [one for one in mine if not one.is_live][:SHOWN_DEAD],
    }
    status = 422 if request.method == "POST" and made is None else 200
    return render(request, "account/tokens.html", context, status=status)


@login_required
@never_cache
@require_POST
def revoke(request: HttpRequest, pk: int) -> HttpResponse:
    """A token works no more, from this moment."""
    token = get_object_or_404(Token, pk=pk, member=request.user)
    token.revoke()
    messages.success(
        request,
        _("“{token}” works no more. Programs that use it are refused from now on.").format(token=token),
    )
    return redirect("tokens")
