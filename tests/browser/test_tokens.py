"""A member makes a token on the phone, a program uses it, and it is revoked."""

from __future__ import annotations

import json
from urllib.error import HTTPError
from urllib.request import Request, urlopen

import pytest

from tests.factories import PASSWORD, MemberFactory

pytestmark = pytest.mark.django_db(transaction=True)


def status(address: str, secret: str) -> int:
    """What a program with the token is answered when it begins a draft."""
    headers = {"Authorization": f"Bearer {secret}", "Content-Type": "application/json"}
    sent = Request(address, json.dumps({"typed": {"name": "By program"}}).encode(), headers)
    try:
        with urlopen(sent, timeout=20) as answer:
            return answer.status
    except HTTPError as error:
        return error.code


def test_a_token_is_made_seen_once_used_and_revoked(phone, live_server):
    phone.as_member(MemberFactory(username="wren")).open("/account/")
    phone.leave_by(phone.link("Your tokens")).assert_sound()
    phone.fill(name="lap timer")
    phone.find("input[value=write]").click()
    phone.press("Make the token").fill(password=PASSWORD).press("Go on").assert_sound()
    secret = phone.find(".token-secret").text.replace("\n", "")
    address = f"{live_server.url}/api/v1/drafts/"
    assert status(address, secret) == 201
    phone.open("/account/tokens/").assert_sound()
    assert secret not in phone.text
    assert "Last used" in phone.text
    phone.press("Revoke lap timer").assert_sound()
    assert "works no more" in phone.text
    assert status(address, secret) == 401
