"""What the tests of accounts do as a visitor does it: real requests."""

from __future__ import annotations

import re

from django.core import mail
from django.test import Client

from tests.factories import PASSWORD

ACCOUNT = "/account/"
IN, OUT, UP = "/account/sign-in/", "/account/sign-out/", "/account/sign-up/"
FORGOTTEN, CHANGE = "/account/password/forgotten/", "/account/password/"
E_MAIL = "/account/e-mail/"
NEW = "four quiet laps indoors"
HERE, ELSEWHERE = "192.0.2.1", "198.51.100.7"  # RFC 5737: addresses for documentation


def signed_in(client: Client) -> bool:
    return "_auth_user_id" in client.session


def sign_in(client: Client, name: str, password: str = PASSWORD, at: str = HERE, **more: str):
    return client.post(IN, {"login": name, "password": password, **more}, REMOTE_ADDR=at)


def sign_up(client: Client, **given: str):
    fields = {"username": "wren", "email": "wren@example.org", "password1": NEW}
    return client.post(UP, fields | given)


def link(message: mail.EmailMessage) -> str:
    """The path of the link in ``message``."""
    return re.search(r"https?://[^/]+(/account/\S+)", message.body)[1]


def ask_for_a_link(client: Client, address: str) -> str:
    client.post(FORGOTTEN, {"email": address})
    return link(mail.outbox[-1])


def follow(client: Client, address: str):
    """The page that a person lands on who opens ``address`` from their mail."""
    return client.get(address, follow=True)


def shape(answer) -> str:
    """A page without what differs from one request to the next."""
    return re.sub(r'name="csrfmiddlewaretoken" value="[^"]+"', "", answer.content.decode())
