"""Files that are made to cost time or memory, or that are no spreadsheets at all: each is answered on its
page with what to do, within seconds and without much memory; and how many a visitor may send."""

from __future__ import annotations

import gzip
import io
import resource
import tarfile
import zipfile
from html import unescape
from time import process_time
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from setups.models import Body
from tests.factories import MemberFactory

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

SECONDS, MEGABYTES = 6, 300
"""Of the processor, and of memory beyond what was taken before; for the 2 MB that a page takes at most."""
MOST = 2_000_000
HEAD = "name,maker,scale,wheelbase\n"
ROW = "Plover,Reed Bodies,28,92\n"


def packed(kind: str) -> bytes:
    """A bomb: 20 MB of rows in some kilobytes, as an archive that is named like a spreadsheet."""
    rows, out = (HEAD + ROW * 900_000).encode(), io.BytesIO()
    if kind == "gzip":
        return gzip.compress(rows)
    if kind == "zip":
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("bodies.csv", rows)
    else:
        with tarfile.open(fileobj=out, mode="w") as archive:
            info = tarfile.TarInfo("bodies.csv")
            info.size = 300_000
            archive.addfile(info, io.BytesIO(rows))
    return out.getvalue()


def csv_of(cell: str) -> bytes:
    return f"{HEAD}Plover,Reed Bodies,28,{cell}\n".encode()


FILES: dict[str, tuple[Any, str]] = {
    "a million columns": (
        lambda: ("name,maker,scale" + ",x" * (MOST // 2 - 50) + "\n" + ROW).encode(),
        "columns, and",
    ),
    "a million cells in a row": (lambda: (HEAD + ROW.strip() + "," * (MOST - 100)).encode(), "columns, and"),
    "a cell without an end": (lambda: (HEAD + 'Plover,"' + "x" * (MOST - 200)).encode(), "quotation mark"),
    "a long cell": (lambda: csv_of("x" * 130_000), "it is too long for one"),
    "100 000 digits": (lambda: csv_of("9" * 100_000), "it is too long for one"),
    "1e400": (lambda: csv_of("1e400"), "unit"),
    "points": (lambda: csv_of("1" + "." * 130_000 + "a1"), "it is too long for one"),
    "brackets in the headings": (
        lambda: ("name,maker,scale," + "(" * 130_000 + "\n" + ROW).encode(),
        "Columns that are not read",
    ),
    "half a million rows": (lambda: (HEAD + "a,b\n" * 300_000).encode(), "more than 5,000 rows"),
    "a NUL": (lambda: csv_of("9\0" + "2" * 500).replace(b"name", b"n" * 400 + b"name"), "not a text file"),
    "UTF-16 without a mark": (lambda: (HEAD + ROW).encode("utf-16-le"), "Plover"),
    "two encodings": (lambda: (HEAD + "Bläss,").encode() + "Übel,28,92\n".encode("cp1252"), "Windows-1252"),
    "half a pair of letters": (lambda: csv_of("9").replace(b"Plover", b"\xed\xa0\x80"), "Windows-1252"),
    "deep JSON": (
        lambda: ('{"name": ' + '{"a": ' * 50_000 + "1" + "}" * 50_001).encode(),
        "more than 100,000 characters",
    ),
    "JSON too deep": (
        lambda: ('{"name": ' + '{"a": ' * 5_000 + "1" + "}" * 5_001).encode(),
        "nested too deeply",
    ),
    "a JSON list of lists": (lambda: b"[" * MOST, "one JSON list"),
    "JSON with 1e400": (lambda: b'{"name": "Plover", "wheelbase": 1e400}', "too long a number"),
    "JSON with 100 000 digits": (
        lambda: b'{"name": "Plover", "wheelbase": ' + b"9" * 99_000 + b"}",
        "too long a number",
    ),
    "a key twice": (lambda: b'{"name": "a", "name": "b"}', "stands twice"),
    "100 000 keys": (lambda: b"".join(b'{"k%d": 1}\n' % number for number in range(4900)), "different keys"),
    "a zip": (lambda: packed("zip"), "a workbook, not a CSV file"),
    "a gzip": (lambda: packed("gzip"), "CSV"),
    "a tar": (lambda: packed("tar"), "text file"),
    "nothing": (lambda: b" \n\n", "is empty"),
}


@pytest.mark.parametrize("name", FILES)
def test_a_file_that_is_made_to_hurt_is_answered(client, settings, name):
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"DEFAULT_THROTTLE_RATES": {}}
    make, said = FILES[name]
    file = SimpleUploadedFile("bodies.csv", make(), "text/csv")
    assert file.size < settings.DATA_UPLOAD_MAX_MEMORY_SIZE
    peak, began = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, process_time()
    answer = client.post("/imports/", {"kind": "bodies", "file": file})
    seconds = process_time() - began
    more = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - peak) // 1024
    assert answer.status_code in (200, 422)
    page = unescape(answer.content.decode())
    assert said in page
    assert len(page) < 2 * MOST + 100_000
    assert seconds < SECONDS
    assert more < MEGABYTES
    assert not Body.objects.exists()


def test_a_visitor_may_have_six_files_a_minute_checked_and_keeps_the_text(client):
    sent = {"kind": "bodies", "text": HEAD + ROW}
    for _ in range(6):
        assert client.post("/imports/", sent).status_code == 200
    answer = client.post("/imports/", sent)
    assert answer.status_code == 429
    assert 0 < int(answer["Retry-After"]) <= 60
    page = answer.content.decode()
    assert "Plover,Reed Bodies,28,92" in page
    assert "sign in" in page
    client.force_login(MemberFactory())
    assert client.post("/imports/", sent).status_code == 200
