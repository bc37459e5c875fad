"""The forms of an account: allauth's, in the site's words."""

from __future__ import annotations

from typing import Any

from allauth.account import forms as theirs
from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.http import HttpRequest, HttpResponse
from django.utils.text import format_lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.accounts import sessions
from club.models import Member

USERNAME_LENGTH = 30
USERNAME_VALIDATORS = [
    RegexValidator(
        rf"^[A-Za-z0-9][A-Za-z0-9._-]{{1,{USERNAME_LENGTH - 1}}}\Z",
        format_lazy(
            gettext_lazy(
                "Use 2 to {username_length} letters from a to z, digits, dots, hyphens or "
                "underscores, and begin with a letter or a digit."
            ),
            username_length=USERNAME_LENGTH,
        ),
    )
]

NEW_PASSWORD = gettext_lazy(
    "At least 8 characters. Three or four words in a row are easy to remember and hard to guess."
)
WORDS = {
    "login": (gettext_lazy("Username"), "", gettext_lazy("Type your username.")),
    "username": (
        gettext_lazy("Username"),
        gettext_lazy(
            "Others see it, and you sign in with it: letters from a to z, digits, dots, hyphens, underscores."
        ),
        gettext_lazy("Choose a username."),
    ),
    "email": (
        gettext_lazy("E-mail"),
        gettext_lazy("For a new password when you need one. No other member sees it."),
        gettext_lazy("Type an address."),
    ),
    "password": (gettext_lazy("Password"), "", gettext_lazy("Type your password.")),
    "oldpassword": (gettext_lazy("Present password"), "", gettext_lazy("Type your present password.")),
    "password1": (gettext_lazy("New password"), NEW_PASSWORD, gettext_lazy("Choose a password.")),
    "password2": (
        gettext_lazy("New password again"),
        "",
        gettext_lazy("Type the new password a second time."),
    ),
}
"""Label, hint and what is said of an empty field, by the field's name."""


class Worded:
    """Puts the site's words on the fields."""

    labels: dict[str, str] = {}

    def __init__(self, *args: Any, **given: Any) -> None:
        super().__init__(*args, **given)
        for name, field in self.fields.items():  # type: ignore[attr-defined]
            label, field.help_text, field.error_messages["required"] = WORDS[name]
            field.label = self.labels.get(name, label)
            field.widget.attrs.pop("placeholder", None)
            if name in ("login", "username"):
                field.widget.attrs |= {"autocapitalize": "none", "spellcheck": "false"}


class SignIn(Worded, theirs.LoginForm):
    def login(self, request: HttpRequest, redirect_url: str | None = None) -> HttpResponse:
        answer = super().login(request, redirect_url)
        sessions.begin(request)  # which the line above has made one that begins anew with each change
        return answer


class SignUp(Worded, theirs.SignupForm):
    labels = {"password1": gettext_lazy("Password")}

    def __init__(self, *args: Any, **given: Any) -> None:
        super().__init__(*args, **given)
        self.fields["username"].widget.attrs["maxlength"] = USERNAME_LENGTH


class ChangeEmail(Worded, theirs.AddEmailForm):
    labels = {"email": gettext_lazy("New address")}


class ChangePassword(Worded, theirs.ChangePasswordForm):
    pass


class SetPassword(Worded, theirs.SetPasswordForm):
    pass


class ForgottenPassword(Worded, theirs.ResetPasswordForm):
    def __init__(self, *args: Any, **given: Any) -> None:
        super().__init__(*args, **given)
        self.fields["email"].help_text = ""


class NewPassword(Worded, theirs.ResetPasswordKeyForm):
    pass


class ConfirmPassword(Worded, theirs.ReauthenticateForm):
    pass


class Settings(forms.ModelForm):
    """What a member sets about themselves besides password and address."""

    class Meta:
        model = Member
        fields = ["display_name"]
        labels = {"display_name": gettext_lazy("Display name")}
        help_texts = {
            "display_name": gettext_lazy(
                "Others read it beside what you post. Left empty, it is your username."
            )
        }
        widgets = {"display_name": forms.TextInput(attrs={"autocomplete": "nickname"})}

    def clean_display_name(self) -> str:
        name = " ".join(self.cleaned_data["display_name"].split())
        if not name.isprintable():
            raise ValidationError(
                _("That name has characters that cannot be seen: type it again without them.")
            )
        return name
