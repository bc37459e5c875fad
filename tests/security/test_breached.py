"""BREACHED_PASSWORDS: what a list of breached passwords holds is refused, looked up on disk."""

from __future__ import annotations

import io
from hashlib import sha1
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from club.accounts.passwords import NotBreached, breached_passwords_can_be_read, holds
from tests.club.visiting import NEW, sign_up, signed_in

STOLEN = [f"lapwings over sand {number}" for number in range(50)]


def hash_of(password: str) -> str:
    return sha1(password.encode(), usedforsecurity=False).hexdigest().upper()


@pytest.fixture
def listed(tmp_path: Path, settings) -> Path:
    """A list as they are published: sorted, with how often each was seen, lines ended as on Windows."""
    file = tmp_path / "breached.txt"
    lines = (f"{one}:{len(one)}\r\n" for one in sorted(map(hash_of, STOLEN)))
    file.write_bytes("".join(lines).encode())
    settings.BREACHED_PASSWORDS = str(file)
    return file


def test_what_is_in_the_list_is_refused_and_nothing_else(listed):
    for password in STOLEN:
        with pytest.raises(ValidationError, match="stolen from some other site"):
            NotBreached().validate(password)
    for password in (NEW, STOLEN[0].upper(), STOLEN[0] + " ", "水たまりの上の速い車"):
        NotBreached().validate(password)
    assert breached_passwords_can_be_read() == []


@pytest.mark.django_db
def test_nobody_signs_up_with_one_and_the_page_says_why(client, listed):
    answer = sign_up(client, password1=STOLEN[7])
    assert "stolen from some other site" in answer.content.decode()
    assert not signed_in(client)
    sign_up(client)
    assert signed_in(client)


def test_without_a_list_nothing_is_looked_up(settings):
    settings.BREACHED_PASSWORDS = ""
    NotBreached().validate(STOLEN[0])
    assert breached_passwords_can_be_read() == []


HASHES = st.lists(st.text("0123456789ABCDEF", min_size=40, max_size=40), max_size=60, unique=True)


ENDS = st.sampled_from(["\n", "\r\n", "\n\n", "\r\n \r\n"])
"""Of a line, and of the file: with and without blank lines."""


@given(HASHES, HASHES, ENDS, st.sampled_from(["", ":1", ":123456"]), ENDS | st.just(""))
def test_it_is_found_if_and_only_if_it_is_there(there, not_there, ends, seen, last):
    text = ends.join(one + seen for one in sorted(there)) + last
    file = io.BytesIO(text.encode())
    for one in [*there, *not_there]:
        assert holds(file, one.encode()) is (one in there)


def test_of_a_large_list_few_lines_are_read(tmp_path):
    read = 0

    class Counted(io.FileIO):
        def readline(self, size: int | None = -1, /) -> bytes:
            nonlocal read
            read += 1
            return super().readline(size)

    file = tmp_path / "large.txt"
    file.write_text("".join(f"{number:040X}\n" for number in range(0, 200_000, 2)))
    with Counted(str(file)) as large:
        assert holds(large, f"{123_456:040X}".encode())
        assert not holds(large, f"{123_457:040X}".encode())
    assert read < 120


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "cannot be read"),
        ("", "no such list"),
        ("password1\n" * 9, "no such list"),
        ("A" * 100_000, "no such list"),
    ],
)
def test_a_file_that_is_no_such_list_is_told_by_manage_py_check(tmp_path, settings, content, said):
    file = tmp_path / "list.txt"
    if content is not None:
        file.write_text(content)
    settings.BREACHED_PASSWORDS = str(file)
    found = breached_passwords_can_be_read()
    assert len(found) == 1
    assert said in found[0].msg


def test_of_a_file_that_is_one_long_line_little_is_read_at_once():
    longest = 0

    class Measured(io.BytesIO):
        def readline(self, size: int | None = -1, /) -> bytes:
            nonlocal longest
            line = super().readline(size)
            longest = max(longest, len(line))
            return line

    assert not holds(Measured(b"A" * 1_000_000), b"B" * 40)
    assert longest <= 1000


def test_a_list_that_is_not_sorted_is_told(listed):
    listed.write_bytes(b"".join(listed.read_bytes().splitlines(keepends=True)[::-1]))
    assert "ascending order" in breached_passwords_can_be_read()[0].hint
