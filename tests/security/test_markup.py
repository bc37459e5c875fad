"""Whatever stands in the library's texts is text on its pages: every text of every table is made into markup,
a formula and a template at once, and then each page that can be reached is read as a browser would."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter, deque
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any
from urllib.parse import quote, urljoin, urlsplit

import pytest
from django.apps import apps
from django.core import mail
from django.db import IntegrityError, models, transaction
from django.test import Client
from django.urls import Resolver404, get_resolver, resolve

from club.models import Member
from club.racing import guards
from club.racing.events import guards as race_days
from setups import guards as library
from tests.club.test_api_permissions import World
from tests.setups.asking import program

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

EVIL = "='\"></script></title></textarea><hoopoe onload=x>{{9973*99991}}{% x %}{a}%(a)s\u202e\\u003c"
"""A formula, markup that breaks out of every place, a template, two formats, and text that runs backwards."""
SHORT = "='\"><hoopoe x>"
LEFT = {
    # Names by which things are found, and what nobody types
    *("username", "password", "slug", "email", "digest", "hint", "session_key", "image", "key", "asked"),
    *("content", "headers", "session_data", "words", "app_label", "model", "codename", "file_digest"),
}
UNTOUCHED = {"EntryChange.changes", "Inspection.readings", "Inspection.reason", "Revision.findings"}
"""Columns of lists that the site writes from other columns, and of what nothing here was corrected for."""
NOT_REACHED = {
    # Their words are the site's own
    *("account_confirm_email", "account_email_verification_sent", "account_inactive", "sign-up"),
    *("account_reset_password_done", "account_reset_password_from_key", "account_set_password"),
    *("account_reset_password_from_key_done", "account_reauthenticate", "worker", "security-txt"),
    *("mfa_authenticate", "mfa_deactivate_totp", "mfa_view_recovery_codes", "recovery-codes-file"),
    *("health", "live", "ready", "well-known-change-password"),
    # Shown once, to who has just loaded something
    "import-loaded",
    # Second names of addresses that are reached or posted to
    *("account_login", "account_logout", "account_signup"),
    # JSON for the site's own script: addresses and no texts
    *("event-pages", "garage-pages"),
    # Pictures
    *("photo", "photo-small"),
    # What is posted there leads to a page that is reached
    *("caption-photo", "check-in", "choose-reader", "discard-draft", "discard-edition", "move-clause"),
    *("remove-body", "remove-chassis", "remove-clause", "remove-part", "remove-photo", "restore-setup"),
    *("end-other-sign-ins", "end-sign-in", "new-recovery-codes"),
    *("revoke-token", "send-record", "setup-photos", "sign-out", "withdraw-entry", "withdraw-measurement"),
    "withdraw-setup",
}
"""Addresses that no link leads to, and why they need not be read."""
MOST_OF_ONE = 8
"""So many addresses of one page are read."""


def texts(model: type[models.Model]) -> Iterator[models.Field]:
    """The columns of free text, and of texts in JSON."""
    for field in model._meta.concrete_fields:
        text = isinstance(field, (models.CharField, models.TextField, models.JSONField))
        if text and not field.choices and not field.is_relation and field.name not in LEFT:
            yield field


def spoil(field: models.Field, row: models.Model, number: int) -> bool:
    """Make the text into ``EVIL``, or into less of it in a short column; False if nothing is taken."""
    value = getattr(row, field.attname)
    most = field.max_length or 10_000
    tries: list[Any] = [f"{number}{EVIL}", f"{EVIL}{number}", EVIL, SHORT, f"{number}<hoopoe>"]
    if isinstance(field, models.JSONField):
        if not isinstance(value, dict):
            return False
        tries = [{key: EVIL if isinstance(one, str) else one for key, one in value.items()}]
    elif not value and not field.blank:
        return False
    for one in tries:
        if isinstance(one, str) and len(one) > most:
            continue
        try:
            with transaction.atomic():
                type(row)._base_manager.filter(pk=row.pk).update(**{field.attname: one})
            return True
        except IntegrityError:
            continue
    return False


def spoil_everything() -> Counter[str]:
    """Column -> in how many rows its text is markup now."""
    done: Counter[str] = Counter()
    for guard in (library, guards, race_days):
        guard.remove("default")
    for app in ("club", "setups"):
        for model in apps.get_app_config(app).get_models():
            for field in texts(model):
                for number, row in enumerate(model._base_manager.all()):
                    done[f"{model.__name__}.{field.name}"] += spoil(field, row, number)
    return done


class Read(HTMLParser):
    """What a browser would find in a page: its elements, and where it leads."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.alive: list[str] = []
        self.links: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if "hoopoe" in tag or any("hoopoe" in name or name.startswith("on") for name in given):
            self.alive.append(self.get_starttag_text() or tag)
        for name in ("href", "src", "action", "hx-get", "hx-post", "formaction", "xlink:href"):
            if given.get(name, "").strip().lower().startswith(("javascript:", "data:text", "vbscript:")):
                self.alive.append(self.get_starttag_text() or tag)
        inline = tag == "script" and not given.get("src", "").startswith("/")
        if inline and given.get("type") != "application/json":
            self.alive.append(self.get_starttag_text() or tag)
        if "style" in given:
            self.alive.append(self.get_starttag_text() or tag)
        wants = given.get("method", "get").lower() == "get"
        self.links += [given[name] for name in ("href", "src", "hx-get") if name in given]
        self.links += [given["action"]] if "action" in given and wants else []

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def held(path: str, answer: Any) -> list[str]:
    """Where the page leads to; it must hold no markup but its own."""
    assert answer.status_code < 500, (path, answer.status_code)
    kind = answer.get("Content-Type", "").partition(";")[0]
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    if kind == "text/csv":
        rows = csv.reader(io.StringIO(body.decode("utf-8-sig")))
        formulas = [cell for row in rows for cell in row if cell[:1] in "=@\t\r" and cell]
        assert not formulas, (path, formulas[:3])
    if kind != "text/html":
        return []
    read = Read()
    read.feed(body.decode())
    assert not read.alive, (path, read.alive[:3])
    assert "997210243" not in "".join(read.text), path
    return read.links


def crawled(client: Client, starts: list[str]) -> Counter[str]:
    """Every page that can be reached from ``starts``, by name, some of each."""
    seen: Counter[str] = Counter()
    waiting, met = deque(starts), set(starts)
    while waiting:
        path = waiting.popleft()
        try:
            name = resolve(urlsplit(path).path).url_name or ""
        except Resolver404:
            name = "nowhere"
        if seen[name] >= MOST_OF_ONE or name.startswith("api-"):
            continue
        seen[name] += 1
        for link in held(path, client.get(path)):
            there = urljoin(f"http://testserver{path}", link).partition("#")[0]
            if there.startswith("http://testserver/") and not there.startswith("http://testserver/static/"):
                at = there.removeprefix("http://testserver")
                if at not in met:
                    met.add(at)
                    waiting.append(at)
    return seen


def names(resolver: Any) -> Iterator[str]:
    """Every named address of the site but the interface's."""
    for pattern in resolver.url_patterns:
        if hasattr(pattern, "url_patterns"):
            yield from names(pattern)
        elif pattern.name and not pattern.name.startswith("api-"):
            yield pattern.name


@pytest.fixture
def world(settings: Any, tmp_path: Any) -> World:
    settings.MEDIA_ROOT = tmp_path
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"DEFAULT_THROTTLE_RATES": {}}
    return World()


def test_no_text_of_the_library_comes_alive_on_a_page(world):
    done = spoil_everything()
    assert {column for column, rows in done.items() if not rows} == UNTOUCHED
    Member.objects.filter(username="author").update(is_superuser=True)
    client = Client()
    client.force_login(Member.objects.get(username="author"))
    seen = crawled(client, ["/", "/account/", f"/setups/{world.unposted.pk}/edit/"])
    assert set(names(get_resolver())) - set(seen) == NOT_REACHED


def test_nothing_that_is_sent_comes_alive_on_the_page_that_answers(world):
    client, evil = program(), quote(EVIL)
    client.force_login(world.day.director)
    body, event = world.setup.body.get_absolute_url(), world.day.event.get_absolute_url()
    for path in (
        *(
            f"{at}?q={evil}&sort={evil}&page={evil}"
            for at in ("/", "/setups/", "/parts/", "/platforms/", "/events/")
        ),
        *(f"/setups/?{facet}={evil}" for facet in ("body", "circuit", "author", "front", "class")),
        *(f"/compare/?car={evil}&car=s{world.setup.pk}&body={evil}&over={evil}", f"/compare/?car={evil}"),
        *(f"{body}check/?platform={evil}&position={evil}&front_wheel={evil}", f"{body}?platform={evil}"),
        *(
            f"/gearing/?pitch={evil}&pinion_teeth={evil}&motor={evil}",
            f"/balance/?front_left={evil}&set={evil}",
        ),
        *(f"/imports/?kind={evil}", f"/exports/?what={evil}", f"/account/sign-in/?next={evil}", f"/{evil}/"),
        *(f"/bodies/{evil}/", f"/members/{evil}/", f"/setups/new/?body={evil}&platform={evil}&from={evil}"),
    ):
        held(path, client.get(path))
    row = ",".join([f'"{EVIL.replace(chr(34), chr(34) * 2)}"'] * 3)
    for kind in ("bodies", "parts", "setups", "measurements"):
        for text in (f"name,maker,{row}\n{row},{row}\n", json.dumps({EVIL: EVIL, "name": EVIL}), EVIL):
            held("/imports/", client.post("/imports/", {"kind": kind, "text": text}))
    listed = f"number,driver,class,member,setup,{row}\n1,{row},{row}\n"
    held(event, client.post(f"{event}entries/load/", {"text": listed, "act": "check"}))
    held("/account/sign-in/", program().post("/account/sign-in/", {"login": EVIL, "password": EVIL}))
    held("/account/sign-up/", program().post("/account/sign-up/", {"username": EVIL, "email": EVIL}))


def test_a_mail_is_plain_text_and_names_nobody_who_might_have_chosen_the_name(client, world):
    Member.objects.filter(username="author").update(display_name=EVIL, email="author@example.com")
    client.post("/account/password/forgotten/", {"email": "author@example.com"})
    (sent,) = mail.outbox
    assert not sent.alternatives
    assert sent.content_subtype == "plain"
    assert "hoopoe" not in sent.subject
