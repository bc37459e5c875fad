"""Every reader of what people and programs write, what it refuses it with, and what it is written in."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from zipfile import ZipFile

from django import forms
from django.db import transaction
from django.http import QueryDict
from django.test import RequestFactory
from rest_framework.exceptions import APIException
from rest_framework.request import Request

from club import backup, logs, replicas
from club.accounts.passwords import NotOurWords
from club.models import Event, Token
from club.racing.events import entry_list
from club.racing.events.inspecting import Refused
from club.racing.views_events.inspect import given_of
from fitcalc import tuning, typed
from fitcalc.dimensions import Unit
from setups import filters, forms_tools, words
from setups.api import etag, idempotency
from setups.api.parsing import Json
from setups.imports import cells, jsonlines, reading
from setups.imports.kinds import KINDS
from setups.imports.plan import plan_of
from setups.models import Body
from setups.services import laps, side_by_side
from setups.services.comparing import NoSuchCar
from setups.services.search import Search
from setups.services.search_setups import SetupSearch
from setups.views import paging, post
from tests.setups.asking import program

POINT, COMMA = cells.Style(), cells.Style(decimal_comma=True)
BODIES = KINDS["bodies"]
LENGTH = BODIES.dimensions[0]

FIGURES = (
    *("98", "2,5", "−1.0", "98 ± 0.1 mm", "1'234.5", "1 234,5", "3 in", ".5", "+-3", "1.234", "=A1"),
    *("#REF!", "1e400", "NaN", "٣", "9" * 5000),
)
TIMES = (
    *("2026-05-31", "2026-05-31 14:05", "2026-05-31T14:05:00Z", "2026-W22-7"),
    *("0001-01-01T00:00+14:00", "9999-12-31T23:59-14:00"),
)
CSV = (
    "name,maker\nPlover,Reed\n",
    "sep=;\n",
    'sep="\n',
    'a"b',
    "name;maker\n",
    "\t",
    "|",
    '{"name": 1}',
    "[",
)
JSON = (
    '{"a": {"b": 1e400}}',
    "[" * 40,
    '{"a":1,"a":2}',
    "NaN",
    "1" * 5000,
    '"\\ud800"',
    "[]",
    "null",
    '{"a":[]}',
)
QUERIES = (
    *("q=a&sort=name&", "body=x&", "wheelbase=98&", "front=55-56&", "page=2&", "car=s1&car=r1.1&", "over=9&"),
    *(
        "platform=a&front_wheel=1&",
        "pinion_teeth=9,5&",
        "pitch=64 pitch&",
        "%00&",
        "%ff&",
        "a=&=b&",
        "front_left=1e9&",
    ),
)
HEADERS = ('"abc"', "*", 'W/"a", "b"', "Bearer setups_x", "text/html;q=2", "\x7f", "é", "a" * 300, ", ,")


@dataclass(frozen=True)
class Parser:
    """A reader of text, and what it raises for what it does not take.

    ``seeds`` are what it takes, or nearly: what is tried is made of these too. ``slow``: it asks the database
    or draws a page, and is tried less.
    """

    read: Callable[[str], Any]
    refuses: tuple[type[Exception], ...] = ()
    seeds: tuple[str, ...] = ()
    slow: bool = False


def _query(text: str) -> QueryDict:
    return QueryDict(text.encode("utf-8", "replace"))


def _form(**fields: str) -> QueryDict:
    found = QueryDict(mutable=True)
    found.update(fields)
    return found


def _wsgi(text: str) -> str:
    """``text`` as a server hands over a header or a query string: bytes read as Latin-1, on one line."""
    return text.encode("utf-8", "replace").decode("latin-1").replace("\r", "").replace("\n", "")


def _asked(header: str, text: str) -> Request:
    request = RequestFactory().post("/api/v1/setups/")
    request.META[header] = _wsgi(text)
    return Request(request)


def _answered(answer: Any) -> None:
    assert answer.status_code < 500, answer.status_code


def _page(path: str) -> Parser:
    """A page with any query string."""

    def read(text: str) -> None:
        at = path.replace("{body}", Body.objects.values_list("slug", flat=True)[0])
        _answered(program().get(at, QUERY_STRING=_wsgi(text)))

    return Parser(read, (), QUERIES, slow=True)


def _parameter(path: str, name: str) -> Parser:
    """A parameter of the REST interface."""

    def read(text: str) -> None:
        answer = program().get(f"/api/v1/{path}/", {name: text.encode("utf-8", "replace")})
        assert answer.status_code in (200, 400), answer.status_code

    return Parser(read, (), ("cD0x", "W10=", "bz0xMDAw", "W1sicGsiXSwwLFsiMSJdLDFd", "1", "true"), slow=True)


def _backup(text: str) -> None:
    """A backup that is no zip, and one whose manifest is no manifest."""
    with TemporaryDirectory() as folder:
        plain, packed = Path(folder, "a"), Path(folder, "b")
        plain.write_bytes(b"PK\x03\x04" + text.encode("utf-8", "surrogatepass"))
        with ZipFile(packed, "w") as archive:
            archive.writestr("manifest.json", text.encode("utf-8", "surrogatepass"))
        for path in (plain, packed):
            try:
                with transaction.atomic():
                    backup.restore(path)
            except backup.BackupError:
                continue
            raise AssertionError("It was restored")


def _plan_of(key: str) -> Parser:
    kind = KINDS[key]
    headings = ",".join(column.key for column in kind.template)
    row = ",".join(kind.example.get(column.key, "") for column in kind.template)
    return Parser(
        lambda text: plan_of(kind, f"{headings}\n{row}\n{text}"), (), (*FIGURES, *TIMES, ",", "\n"), True
    )


PARSERS: dict[str, Parser] = {
    # Cells
    "a number": Parser(lambda t: cells.number(t, POINT, Unit.MM), (cells.CellError,), FIGURES),
    "a number with a comma": Parser(lambda t: cells.number(t, COMMA, Unit.GRAM), (cells.CellError,), FIGURES),
    "a tolerance": Parser(lambda t: cells.tolerance(t, POINT, Unit.MM), (cells.CellError,), FIGURES),
    "a price": Parser(lambda t: cells.money(t, POINT, "€"), (cells.CellError,), (*FIGURES, "EUR 3", "$1")),
    "a count": Parser(lambda t: cells.whole(t, POINT), (cells.CellError,), FIGURES),
    "a unit": Parser(lambda t: cells.conversion(t, Unit.MM), (cells.CellError,), ("mm", "inch", '"')),
    "a scale": Parser(cells.scale, (cells.CellError,), ("1:28", "1/28", "01:28:00")),
    "yes or no": Parser(cells.yes_or_no, (cells.CellError,), ("yes", "✗")),
    "a choice": Parser(lambda t: cells.choice(t, {"a_b": "A b"}), (cells.CellError,), ("a_b", "A-bs")),
    "a day": Parser(cells.day, (cells.CellError,), TIMES),
    "a moment": Parser(cells.moment, (cells.CellError,), TIMES),
    "a line": Parser(cells.line_of, (cells.CellError,)),
    "a text": Parser(cells.exactly, (cells.CellError,)),
    "several names": Parser(cells.several, (), ("a|b;c\nd",)),
    "a decimal comma": Parser(cells.has_decimal_comma, (), FIGURES),
    "a heading": Parser(BODIES.named, (), ("wheelbase (mm)", "[[((", "tol.", "+/-")),
    "a heading's unit": Parser(
        lambda t: BODIES.named(t) and BODIES.foreign_unit(LENGTH, t), (), ("wheelbase (cm)", "((")
    ),
    # Files
    "a file": Parser(
        lambda t: reading.decoded(t.encode("utf-8", "surrogatepass")), (reading.Unreadable,), CSV
    ),
    "a file of old": Parser(
        lambda t: reading.decoded(t.encode("cp1252", "replace")), (reading.Unreadable,), CSV
    ),
    "a file in UTF-16": Parser(
        lambda t: reading.decoded(t.encode("utf-16-le", "surrogatepass")), (reading.Unreadable,), CSV
    ),
    "a paste": Parser(reading.as_text, (reading.Unreadable,), CSV),
    "rows": Parser(
        lambda t: reading.gridded(t, lambda heading: BODIES.named(heading) is not None),
        (reading.Unreadable,),
        CSV,
    ),
    "a line of JSON": Parser(jsonlines.object_of, (), JSON),
    **{f"a plan of {key}": _plan_of(key) for key in KINDS},
    "an entry list": Parser(
        lambda t: entry_list.plan_of(Event.objects.get(), f"number,driver,setup\n7,Ada,1\n{t}"),
        (),
        (*FIGURES, ",", "\n"),
        slow=True,
    ),
    "a backup": Parser(_backup, (), (*JSON, '{"format": 1, "migrations": [], "tables": 3}'), slow=True),
    # What is typed into a form
    "a lap": Parser(laps.read, (ValueError,), ("9.871", "1:02,345")),
    "a length": Parser(lambda t: typed.plain(t, Unit.MM), (), FIGURES),
    "a length in inches": Parser(lambda t: typed.plain(t, Unit.MM, True), (), FIGURES),
    "a length, told apart": Parser(lambda t: typed.unambiguous(t, Unit.MM, True), (), FIGURES),
    "settings": Parser(
        lambda t: tuning.read({"caster": t, "motor": t, t: "1"}), (tuning.TuningError,), FIGURES
    ),
    "a figure of a tool": Parser(
        forms_tools.FigureField("x {unit}", 0, 99, Unit.MM, pitch=True).to_python,
        (forms.ValidationError,),
        (*FIGURES, "64 pitch", "0p"),
    ),
    "a slug": Parser(forms_tools.is_slug),
    "a password": Parser(NotOurWords().validate, (forms.ValidationError,), ("setup", "library1")),
    "an inspector's record": Parser(
        lambda t: given_of(
            {"key": "0" * 32, "clause": "1", "run": "1"}
            | dict.fromkeys(("taken_at", "reading", "doubt", "seen"), t)
        ),
        (Refused,),
        (*TIMES, *FIGURES),
    ),
    "an inspector's key": Parser(
        lambda t: given_of({"key": t, "clause": t, "run": t}), (Refused,), ("0" * 32, "1", "٣", "-1")
    ),
    "what a step held": Parser(lambda t: post._typing(_form(was=t, version=t, name=t)), (), JSON),
    # What stands in an address
    "a span": Parser(lambda t: filters.Span.read(t, Decimal("0.1")), (), ("98", "95-99", "59.4")),
    "an offset": Parser(filters.offset_of, (), ("-1.5",)),
    "words to search": Parser(filters.search_text),
    "words of a text": Parser(words.folded, (), ("Coupé 1:28",)),
    "a page number": Parser(lambda t: paging.whole_number(t, 1, 9, 1), (), ("7", "٣")),
    "a search of bodies": Parser(lambda t: Search(_query(t)), (), QUERIES, slow=True),
    "a search of setups": Parser(lambda t: SetupSearch(_query(t)), (), QUERIES, slow=True),
    "cars to compare": Parser(
        lambda t: side_by_side.named_by([t]).cars(None), (NoSuchCar,), ("s1", "r1.1"), True
    ),
    **{
        f"the address of {path}": _page(path)
        for path in (
            *(
                "/",
                "/setups/",
                "/parts/",
                "/platforms/",
                "/compare/",
                "/gearing/",
                "/balance/",
                "/setups/new/",
            ),
            *("/bodies/{body}/", "/bodies/{body}/check/", "/bodies/{body}/setups/", "/exports/setups.csv"),
        )
    },
    # What programs send
    "JSON": Parser(
        lambda t: Json().parse(io.BytesIO(t.encode("utf-8", "surrogatepass"))), (APIException,), JSON
    ),
    "an ETag": Parser(
        lambda t: etag.match(_asked("HTTP_IF_MATCH", t), '"x"', "it"), (APIException,), HEADERS
    ),
    "a key": Parser(lambda t: idempotency._key(_asked("HTTP_IDEMPOTENCY_KEY", t)), (APIException,), HEADERS),
    "a token": Parser(lambda t: Token.objects.of_secret(_wsgi(t)), (), HEADERS, slow=True),
    "a request's id": Parser(lambda t: logs._SANE.fullmatch(t), (), HEADERS),
    "a mark of the log": Parser(lambda t: replicas._LSN.fullmatch(t), (), ("0/1", "A/")),
    **{
        f"the header {name}": Parser(
            lambda t, name=name: _answered(program().get("/api/v1/bodies/", headers={name: _wsgi(t)})),
            (),
            HEADERS,
            slow=True,
        )
        for name in ("Authorization", "Accept", "If-None-Match", "X-Request-ID", "Cookie", "Accept-Language")
    },
    **{
        f"{name} of {path}": _parameter(path, name)
        for path, name in (("setups", "cursor"), ("bodies", "cursor"), ("bodies", "fields"), ("setups", "q"))
    },
}

READ_IN: dict[str, str] = {
    "club/accounts/passwords.py": "a password",
    "club/backup.py": "a backup",
    "club/logs.py": "a request's id",
    "club/racing/views_events/inspect.py": "an inspector's record",
    "club/replicas.py": "a mark of the log",
    "fitcalc/typed.py": "a length",
    "setups/api/etag.py": "an ETag",
    "setups/api/idempotency.py": "a key",
    "setups/api/paging.py": "cursor of setups",
    "setups/api/parsing.py": "JSON",
    "setups/filters.py": "a span",
    "setups/forms_tools.py": "a figure of a tool",
    "setups/imports/cells.py": "a number",
    "setups/imports/columns.py": "a heading",
    "setups/imports/jsonlines.py": "a line of JSON",
    "setups/imports/reading.py": "rows",
    "setups/services/laps.py": "a lap",
    "setups/services/side_by_side.py": "cars to compare",
    "setups/views/post.py": "what a step held",
}
"""Each file that takes text apart, and a reader of it in the table."""

NOT_FROM_OUTSIDE = {
    "club/limits.py": "reads a setting",
    "setups/api/throttles.py": "reads a setting",
    "setups/services/telling.py": "compares a reason, no longer than its column, with sentences",
    "setups/views/measure.py": "reads what the library wrote itself",
    "setups/services/measuring.py": "reads what the library wrote itself",
    "setups/services/once.py": "compares a field with 32 letters",
    "club/caching.py": "reads what the site put into its own cache",
    "setups/api/rendering.py": "reads what it has just written",
    "setups/marks.py": "reads names of triggers that it gave",
    "setups/services/photo_sweep.py": "reads names of files that the library gave",
    "setups/views/keeping.py": "reads pages that the library drew",
}
"""Files that take apart what nobody outside writes."""
