"""A request that is sent twice with one Idempotency-Key is done once; at once: ``tests/faults``."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from setups.api import idempotency
from setups.models import KeptAnswer, Setup
from tests.factories import MemberFactory
from tests.setups.asking import Caller, content, refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def caller(author):
    return Caller(author)


def test_the_same_request_with_a_key_is_done_once_and_answered_alike(caller):
    sent = content()
    first = caller.post("setups/", sent, Idempotency_Key='"a-key"')
    again = caller.post("setups/", sent, Idempotency_Key='"a-key"')
    assert (first.status_code, first.content) == (201, again.content)
    assert (again.status_code, again["Location"], again["ETag"]) == (201, first["Location"], first["ETag"])
    assert again["Content-Type"] == first["Content-Type"]
    assert Setup.objects.count() == 1


def test_a_key_is_of_one_request_and_of_one_member(caller):
    caller.post("drafts/", {"typed": {"name": "One"}}, Idempotency_Key="k")
    other = caller.post("drafts/", {"typed": {"name": "Two"}}, Idempotency_Key="k")
    refused(other, 422, "key-used")
    refused(caller.post("setups/", content(), Idempotency_Key="k"), 422, "key-used")
    assert Setup.objects.count() == 1
    theirs = Caller(MemberFactory()).post("drafts/", {"typed": {"name": "Two"}}, Idempotency_Key="k")
    assert theirs.status_code == 201


def test_a_refused_request_may_be_mended_and_sent_with_its_key(caller):
    refused(caller.post("setups/", content(body="heron"), Idempotency_Key="k"), 400, "invalid-content")
    assert not KeptAnswer.objects.exists()
    assert caller.post("setups/", content(), Idempotency_Key="k").status_code == 201


def test_an_answer_is_kept_for_a_day_and_then_cleaned_away(caller):
    caller.post("drafts/", {}, Idempotency_Key="old")
    caller.post("drafts/", {}, Idempotency_Key="older")
    KeptAnswer.objects.update(kept_at=timezone.now() - timedelta(hours=24))
    assert caller.post("drafts/", {}, Idempotency_Key="old").status_code == 201
    assert Setup.objects.count() == 3
    assert [kept.key for kept in KeptAnswer.objects.all()] == ["old"]
    assert idempotency.clean() == 0


@pytest.mark.parametrize("key", ["", "x" * 256, '"', "ä", "a\tb"])
def test_a_key_that_is_none_is_refused(caller, key):
    problem = caller.post("drafts/", {}, Idempotency_Key=key)
    assert "printable" in refused(problem, 400, "bad-request")["detail"]
