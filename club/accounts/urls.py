"""Addresses under /account/. The names that begin with ``account_`` are those that allauth looks up."""

from allauth.account import views as theirs
from django.urls import path, re_path

from club.accounts import tokens, views

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
