"""A setup's page, its revisions, and the page to measure its car."""

from __future__ import annotations

import pytest
from django.urls import reverse

from tests.factories import SetupFactory

pytestmark = pytest.mark.django_db


def test_page(client):
    setup = SetupFactory()
    for address in (
        setup.get_absolute_url(),
        setup.current.get_absolute_url(),
        reverse("measure-car", args=[setup.pk, "wheelbase"]),
    ):
        answer = client.get(address)
        assert answer.status_code == 200
