"""A forgotten password is replaced by a link in the mail."""

from __future__ import annotations

import re

import pytest
from django.core import mail
from django.test import Client

from tests.club.visiting import (
    ACCOUNT,
    FORGOTTEN,
    NEW,
    ask_for_a_link,
    follow,
    sign_in,
    sign_up,
    signed_in,
)
from tests.factories import MemberFactory

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


def test_the_link_in_the_mail_sets_a_new_password_once(client):
    member = MemberFactory(username="ada", email="ada@example.org")
    address = ask_for_a_link(client, "ada@example.org")
    assert "ada" in mail.outbox[0].body
    page = follow(client, address)
    assert (
        address.rsplit("-", 1)[1].strip("/") not in page.request["PATH_INFO"]
    )  # it cannot leak by a referrer
    done = client.post(page.request["PATH_INFO"], {"password1": NEW, "password2": NEW}, follow=True)
    assert "The new password is set" in done.content.decode()
    assert not signed_in(client)
    member.refresh_from_db()
    assert member.check_password(NEW)

    for again in (client, Client()):
        assert "That link does not work any more" in follow(again, address).content.decode()
    assert sign_in(client, "ada").status_code == 200
    assert sign_in(client, "ada", NEW).status_code == 302


def test_a_link_that_was_tampered_with_does_not_work(client):
    MemberFactory(email="ada@example.org")
    address = ask_for_a_link(client, "ada@example.org")
    for other in (
        address[:-2] + "x/",
        re.sub(r"new/\w+-", "new/zzz-", address),
        "/account/password/new/1-a/",
    ):
        assert "That link does not work any more" in follow(client, other).content.decode()


def test_a_weak_new_password_is_refused_and_the_link_still_works(client):
    MemberFactory(email="ada@example.org")
    page = follow(client, ask_for_a_link(client, "ada@example.org"))
    here = page.request["PATH_INFO"]
    assert (
        "too common" in client.post(here, {"password1": "password", "password2": "password"}).content.decode()
    )
    assert "same password" in client.post(here, {"password1": NEW, "password2": "other"}).content.decode()
    assert client.post(here, {"password1": NEW, "password2": NEW}).status_code == 302


def test_a_new_password_signs_the_member_out_everywhere_else(client):
    member = MemberFactory(email="ada@example.org")
    elsewhere = Client()
    sign_in(elsewhere, member.username)
    assert elsewhere.get(ACCOUNT).status_code == 200
    page = follow(client, ask_for_a_link(client, "ada@example.org"))
    client.post(page.request["PATH_INFO"], {"password1": NEW, "password2": NEW})
    assert elsewhere.get(ACCOUNT).status_code == 302


def test_a_mail_server_that_fails_is_told_and_breaks_nothing(client, settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "127.0.0.1", 1, 1
    MemberFactory(email="known@example.org")
    for address in ("known@example.org", "new@example.org"):
        page = client.post(FORGOTTEN, {"email": address}, follow=True).content.decode()
        assert "could not send its e-mail" in page
    assert sign_up(client).status_code == 302
    assert signed_in(client)
