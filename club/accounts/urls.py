"""Addresses under /account/. The names with ``account_`` and ``mfa_`` are those that allauth looks up."""

from allauth.account import views as theirs
from django.urls import path, re_path

from club.accounts import second_factor_views as factor
from club.accounts import sign_ins, tokens, views

urlpatterns = [
    path("", views.account, name="account"),
    path("sign-in/", views.SignIn.as_view(), name="sign-in"),
    path("sign-in/", views.SignIn.as_view(), name="account_login"),
    path("sign-out/", views.SignOut.as_view(), name="sign-out"),
    path("sign-out/", views.SignOut.as_view(), name="account_logout"),
    path("sign-up/", views.SignUp.as_view(), name="sign-up"),
    path("sign-up/", views.SignUp.as_view(), name="account_signup"),
    path("closed/", theirs.account_inactive, name="account_inactive"),
    path("confirm/", views.ConfirmPassword.as_view(), name="account_reauthenticate"),
    # Second factor
    path("sign-in/code/", factor.TypeCode.as_view(), name="mfa_authenticate"),
    path("second-factor/", factor.second_factor, name="mfa_index"),
    path("second-factor/on/", factor.TurnOn.as_view(), name="mfa_activate_totp"),
    path("second-factor/off/", factor.TurnOff.as_view(), name="mfa_deactivate_totp"),
    path("second-factor/codes/", factor.codes, name="mfa_view_recovery_codes"),
    path("second-factor/codes/file/", factor.codes_as_text, name="recovery-codes-file"),
    path("second-factor/codes/new/", factor.new_codes, name="new-recovery-codes"),
    # Where one is signed in
    path("sign-ins/", sign_ins.sign_ins, name="sign-ins"),
    path("sign-ins/others/end/", sign_ins.end_others, name="end-other-sign-ins"),
    path("sign-ins/<int:pk>/end/", sign_ins.end, name="end-sign-in"),
    # Programs
    path("tokens/", tokens.tokens, name="tokens"),
    path("tokens/<int:pk>/revoke/", tokens.revoke, name="revoke-token"),
    # Password
    path("password/", theirs.password_change, name="account_change_password"),
    path("password/first/", theirs.password_set, name="account_set_password"),
    path("password/forgotten/", theirs.password_reset, name="account_reset_password"),
    path("password/forgotten/sent/", theirs.password_reset_done, name="account_reset_password_done"),
    path(
        "password/new/done/", theirs.password_reset_from_key_done, name="account_reset_password_from_key_done"
    ),
    re_path(
        r"^password/new/(?P<uidb36>[0-9A-Za-z]+)-(?P<key>.+)/$",
        theirs.password_reset_from_key,
        name="account_reset_password_from_key",
    ),
    # E-mail
    path("e-mail/", theirs.email, name="account_email"),
    path("e-mail/sent/", theirs.email_verification_sent, name="account_email_verification_sent"),
    re_path(r"^e-mail/confirm/(?P<key>[-:\w]+)/$", theirs.confirm_email, name="account_confirm_email"),
]
