"""Every page of the demo, looked at by axe-core in both colour schemes, at a desk and on a phone.

Rules: WCAG 2.0, 2.1 and 2.2, levels A and AA, as far as a program can tell (axe-core's own tags). What a
scheme of colours can change is its contrast, so the second scheme is asked for that alone.
"""

from __future__ import annotations

from itertools import groupby

import pytest

from club.models import Member
from tests.every_page import load_demo, pages, unlisted


def test_every_address_is_known_as_a_page_or_as_none():
    assert unlisted() == set()


@pytest.mark.django_db(transaction=True)
def test_every_page_can_be_used_by_everybody_in_both_colour_schemes(desktop):
    load_demo()
    wrong = []
    looked_at = sorted(pages(), key=lambda page: page.who)
    for who, theirs in groupby(looked_at, key=lambda page: page.who):
        if who:
            desktop.as_member(Member.objects.get(username=who))
        for place, page in enumerate(theirs):
            desktop.like_a_phone(place % 2 == 1).in_the_light()
            desktop.open(page.path, sound=False)
            try:
                desktop.assert_sound(quiet=page.name not in ("not found", "refused"))
                desktop.like_a_phone(place % 2 == 0).in_the_dark().assert_not_wider()
                desktop.assert_contrast()
            except AssertionError as error:
                wrong.append(f"{page.path} as {who or 'a visitor'}: {error}")
    assert len(looked_at) > 70
    assert wrong == []
