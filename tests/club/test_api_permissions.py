"""Who may do what through the API: every operation of the interface tried by everybody that there is."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import uuid4

import pytest
from django.db import transaction
from django.test import Client

from club.models import Chassis, OwnedBody, OwnedPart, RulebookEdition
from setups.api import examples
from setups.models import Dispute, Measurement, Setup
from setups.services import posting, verifying
from tests.club.race_days import race_day
from tests.factories import (
    BodyFactory,
    ClauseFactory,
    ConfigurationFactory,
    EditionFactory,
    MemberFactory,
    SetupFactory,
    published,
    reading_for,
)
from tests.setups.asking import Caller, content, program, said_by

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

ROLES = ("nobody", "member", "author", "steward", "librarian", "director", "reads", "writes", "steward's")
"""Nobody; five signed in with a browser, of whom one is the author of all that is tried; the author's tokens
to read and to write; a steward's token without the scope of one."""

# A dash: not tried, for what everybody gets they get too.
ALL = "200 200 - - - - 200 - -"
NONE = "404 404 404 404 404 404 404 404 404"
MADE = "401 201 - - 201 - 403 201 -"
OWN = "401 404 200 404 404 404 200 200 404"
OWN_PUT = "401 404 200 404 404 404 403 200 404"
OWN_GONE = "401 404 204 404 404 404 403 204 404"
LISTED = "401 200 - - - - 200 - -"
DIRECTS = "401 403 - 403 - 200 - 403 -"
DIRECTS_MADE = "401 403 - 403 - 201 - 403 -"
DIRECTS_GONE = "401 403 - 403 - 204 - 403 -"
DRAFT = "404 404 - 404 - 200 - 404 -"
A_CLASS, AN_EVENT = "/api/v1/race-classes/{race_class}/", "/api/v1/events/{event}/"
AN_EDITION, A_DRAFT = A_CLASS + "editions/{edition}/", A_CLASS + "editions/{draft_edition}/"
AN_ENTRY = AN_EVENT + "entries/{entry}/"

TABLE = {
    # What everybody reads
    **{
        ("get", f"/api/v1/{name}/{rest}"): ALL
        for name, rest in (
            *(("bodies", ""), ("bodies", "{slug}/"), ("parts", ""), ("parts", "{slug}/")),
            *(("platforms", ""), ("platforms", "{slug}/"), ("makers", ""), ("makers", "{slug}/")),
            *(("configurations", ""), ("configurations", "{id}/"), ("setups", ""), ("setups", "{id}/")),
            *(("measurements", ""), ("measurements", "{id}/"), ("disputes", ""), ("disputes", "{id}/")),
            *(("setups/{setup}", rest) for rest in ("standing/", "record/", "photos/", "revisions/")),
            *(("setups/{setup}/revisions/{number}", rest) for rest in ("", "changes/")),
        )
    },
    # What anybody has computed, and what a member has
    ("post", "/api/v1/fit/"): ALL,
    ("post", "/api/v1/solve/"): ALL,
    ("post", "/api/v1/compare/"): ALL,
    ("post", "/api/v1/kit-plan/"): LISTED,
    # Setups
    ("post", "/api/v1/setups/"): MADE,
    ("post", "/api/v1/setups/{setup}/revisions/"): "401 403 201 403 403 403 403 201 403",
    ("post", "/api/v1/setups/{setup}/withdraw/"): "401 403 200 200 403 403 403 200 403",
    ("post", "/api/v1/setups/{withdrawn}/restore/"): "401 403 200 200 403 403 403 200 403",
    ("get", "/api/v1/setups/{unposted}/"): NONE,
    ("get", "/api/v1/setups/{unposted}/standing/"): NONE,
    # Drafts and their photos
    ("get", "/api/v1/drafts/"): LISTED,
    ("post", "/api/v1/drafts/"): MADE,
    ("get", "/api/v1/setups/{unposted}/draft/"): OWN,
    ("put", "/api/v1/setups/{unposted}/draft/"): OWN_PUT,
    ("delete", "/api/v1/setups/{unposted}/draft/"): OWN_GONE,
    ("get", "/api/v1/setups/{unposted}/photos/{photo}/"): "404 404 200 404 404 404 200 200 404",
    ("delete", "/api/v1/setups/{unposted}/photos/{photo}/"): OWN_GONE,
    # The content is no picture: who may send one is told that.
    ("post", "/api/v1/setups/{unposted}/photos/"): "401 404 415 404 404 404 403 415 404",
    # Measuring
    ("post", "/api/v1/measurements/"): MADE,
    ("post", "/api/v1/measurements/{id}/withdraw/"): "401 200 403 403 403 403 403 403 403",
    ("post", "/api/v1/disputes/{id}/settle/"): "401 403 403 200 403 403 403 403 403",
    # The garage
    ("get", "/api/v1/garage/parts/"): LISTED,
    ("post", "/api/v1/garage/parts/"): MADE,
    ("get", "/api/v1/garage/parts/{owned}/"): OWN,
    ("put", "/api/v1/garage/parts/{owned}/"): OWN_PUT,
    ("delete", "/api/v1/garage/parts/{owned}/"): OWN_GONE,
    ("get", "/api/v1/garage/bodies/"): LISTED,
    ("post", "/api/v1/garage/bodies/"): MADE,
    ("get", "/api/v1/garage/bodies/{owned_body}/"): OWN,
    ("delete", "/api/v1/garage/bodies/{owned_body}/"): OWN_GONE,
    ("get", "/api/v1/garage/chassis/"): LISTED,
    ("post", "/api/v1/garage/chassis/"): MADE,
    ("get", "/api/v1/garage/chassis/{chassis}/"): OWN,
    ("put", "/api/v1/garage/chassis/{chassis}/"): OWN_PUT,
    ("delete", "/api/v1/garage/chassis/{chassis}/"): OWN_GONE,
    # Rulebooks, and whether a car is legal under them
    ("get", "/api/v1/race-classes/"): ALL,
    ("get", A_CLASS): ALL,
    ("post", "/api/v1/race-classes/"): DIRECTS_MADE,
    ("get", A_CLASS + "editions/"): ALL,
    ("post", A_CLASS + "editions/"): DIRECTS_MADE,
    **{("get", AN_EDITION + rest): ALL for rest in ("", "changes/", "clauses/", "clauses/{clause}/")},
    **{("get", A_DRAFT + rest): DRAFT for rest in ("", "changes/", "clauses/", "clauses/{draft_clause}/")},
    ("put", A_DRAFT): DIRECTS,
    ("delete", A_DRAFT): DIRECTS_GONE,
    ("post", A_DRAFT + "publish/"): DIRECTS,
    ("post", A_DRAFT + "clauses/"): DIRECTS_MADE,
    ("put", A_DRAFT + "clauses/{draft_clause}/"): DIRECTS,
    ("delete", A_DRAFT + "clauses/{draft_clause}/"): DIRECTS_GONE,
    ("post", A_DRAFT + "clauses/{draft_clause}/move/"): DIRECTS,
    ("post", "/api/v1/legality/"): ALL,
    ("get", "/api/v1/setups/{setup}/legality/"): ALL,
    # Race days: the car is the author's
    **{("get", f"/api/v1/{rest}"): LISTED for rest in ("events/", "events/{event}/")},
    **{("get", AN_EVENT + rest): LISTED for rest in ("entries/", "check/")},
    **{("get", AN_ENTRY + rest): LISTED for rest in ("", "log/", "check/")},
    ("get", AN_ENTRY + "record/"): "401 403 200 403 403 200 200 200 403",
    **{
        ("get", AN_EVENT + rest): DIRECTS
        for rest in ("inspections/", "inspections/{inspection}/", "record/", "record.csv")
    },
    ("post", "/api/v1/events/"): DIRECTS_MADE,
    ("put", AN_EVENT): DIRECTS,
    ("post", AN_EVENT + "entries/"): DIRECTS_MADE,
    ("post", AN_EVENT + "entry-list/"): DIRECTS,
    ("put", AN_ENTRY): DIRECTS,
    ("post", AN_ENTRY + "check-in/"): DIRECTS,
    ("post", AN_ENTRY + "withdraw/"): DIRECTS,
    ("post", AN_EVENT + "inspections/"): DIRECTS_MADE,
}
"""Method and address, and the status that each of ``ROLES`` is answered with."""


@dataclass
class Browser:
    """A member who is signed in, calling as their browser does."""

    client: Client

    def __call__(self, method: str, path: str, sent: Any = None, **headers: str) -> Any:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        text = "" if sent is None else json.dumps(sent)
        return self.client.generic(method, path, text, "application/json", headers=named)


def browser(member: Any) -> Browser:
    client = program()
    client.force_login(member)
    return Browser(client)


class World:
    """One of everything, the author's where somebody owns it; ``member`` measured a setup of theirs wrong."""

    def __init__(self) -> None:
        author, member = MemberFactory(username="author"), MemberFactory(username="member")
        self.setup = SetupFactory(author=author)
        verifying.add(reading_for(self.setup, "front_width", 58, member=member))
        self.configuration = ConfigurationFactory(platform=self.setup.platform)
        self.withdrawn = SetupFactory(author=author)
        posting.withdraw(self.withdrawn, author, "The chassis was bent.")
        self.unposted = posting.begin(author, {"name": "Maybe"}).setup
        self.photo = self.unposted.photos.create(image="setups/aa/a.webp", width=4, height=3)
        part = self.configuration.slots.get(slot="front_wheel").part
        self.part = OwnedPart.objects.create(member=author, part=part, count=2)
        self.body = OwnedBody.objects.create(member=author, body=self.setup.body)
        position = self.setup.current.position
        self.chassis = Chassis.objects.create(member=author, name="Sunday car", position=position)
        steward = MemberFactory(username="steward", steward=True)
        self.callers = {
            "nobody": Browser(program()),
            "member": browser(member),
            "author": browser(author),
            "steward": browser(steward),
            "librarian": browser(MemberFactory(librarian=True)),
            "director": browser(MemberFactory(race_director=True)),
            "reads": Caller(author, "read"),
            "writes": Caller(author, "read write"),
            "steward's": Caller(steward, "read write"),
        }
        self.other = content()
        self.day = race_day()
        self.entry = self.day.enter_setup(7, self.setup, member=author)
        self.inspection = self.day.find(self.entry, "2.1", "54.9")
        self.later = self.draft(date(2031, 2, 1))
        published(self.later)
        self.draft_edition = self.draft(date(2041, 1, 1))

    def draft(self, valid_from: date) -> RulebookEdition:
        """An edition of the class that is raced, with one clause."""
        edition = EditionFactory(race_class=self.day.race_class, valid_from=valid_from)
        ClauseFactory(edition=edition, number="1", seen=True)
        return edition

    def address(self, pattern: str) -> str:
        slugs = {"bodies": self.setup.body, "parts": self.part.part, "makers": self.setup.body.maker}
        named = pattern.split("/")[3]
        numbers = {
            "setups": self.setup.pk,
            "configurations": self.configuration.pk,
            "measurements": Measurement.objects.get().pk,
            "disputes": Dispute.objects.get().pk,
        }
        return pattern.format(
            slug=slugs.get(named, self.setup.platform).slug,
            id=numbers.get(named),
            number=1,
            setup=self.setup.pk,
            withdrawn=self.withdrawn.pk,
            unposted=self.unposted.pk,
            photo=self.photo.pk,
            owned=self.part.pk,
            owned_body=self.body.pk,
            chassis=self.chassis.pk,
            race_class=self.day.race_class.slug,
            edition=self.later.pk,
            clause=self.later.clauses.get().pk,
            draft_edition=self.draft_edition.pk,
            draft_clause=self.draft_edition.clauses.get().pk,
            event=self.day.event.slug,
            entry=self.entry.pk,
            inspection=self.inspection.pk,
        )

    def sent(self, method: str, pattern: str) -> Any:
        """What is good to send there."""
        if method in ("get", "delete"):
            return None
        body, part = self.setup.body.slug, self.part.part.slug
        built = {
            "name": "Another car",
            "platform": self.setup.platform.slug,
            "position": "middle",
            "parts": {"front_wheel": part},
        }
        reading = {
            "of": {"setup": self.setup.pk},
            "quantity": "wheelbase",
            "value": 92,
            "instrument": "calliper",
        }
        by_end = {
            "fit": examples.FIT[0].value,
            "solve": examples.SOLVE[0].value,
            "compare": examples.COMPARE[0].value,
            "kit-plan": {"bodies": [body]},
            "setups": self.other,
            "revisions": said_by(self.setup) | {"notes": "Another."},
            "withdraw": {"reason": "Bent."},
            "restore": {"reason": "Straight again."},
            "drafts": {"typed": {"name": "New"}},
            "draft": {"typed": {"name": "Newer"}},
            "measurements": reading,
            "settle": {"outcome": "set_aside", "reason": "Measured over the tyres."},
            "bodies": {"body": BodyFactory().slug},
            "photos": {},
            "legality": {"car": {"setup": self.setup.pk}},
            "chassis": built,
        }
        if "/garage/parts/" in pattern:
            return {"count": 3, "offer": "lend"} if method == "put" else {"part": part, "count": 1}
        if "/garage/chassis/" in pattern:
            return built
        if "/race-classes/" in pattern or "/events/" in pattern:
            return self.sent_by_directors(method, pattern)
        return by_end[pattern.rstrip("/").rsplit("/", 1)[1]]

    def sent_by_directors(self, method: str, pattern: str) -> Any:
        """Likewise, about rulebooks and race days."""
        clause = {"number": "9", "wording": "Sits low.", "kind": "required"}
        edition = {"name": "Another", "valid_from": "2042-01-01"}
        raced = [{"race_class": self.day.race_class.slug}]
        event = {"name": "A round", "date": "2031-06-01", "classes": raced}
        entry = {"race_number": 12, "driver": "Bo", "why": "A late change."}
        if method == "put":
            of = {A_DRAFT: edition, AN_EVENT: event, AN_ENTRY: entry}
            return of.get(pattern, clause)
        found = {"key": str(uuid4()), "entry": self.entry.pk, "stage": "after", "seen": True}
        of_end = {
            "race-classes": {"name": "Another class"},
            "editions": edition,
            "publish": None,
            "clauses": clause,
            "move": {"up": True},
            "events": event,
            "entries": {"driver": "Bo"},
            "entry-list": {"text": "number,driver\n31,Cy\n", "load": True},
            "check-in": {},
            "withdraw": {"why": "A broken arm."},
            "inspections": found | {"clause": self.later.clauses.get().pk},
        }
        return of_end[pattern.rstrip("/").rsplit("/", 1)[1]]


def attempts(world: World) -> Iterator[tuple[str, str, int, int]]:
    """What was tried, by whom, the status that is right and the one that came; nothing of it stays."""
    for (method, pattern), row in TABLE.items():
        address, sent = world.address(pattern), world.sent(method, pattern)
        headers = {} if method == "get" else {"If_Match": "*"}
        for role, right in zip(ROLES, row.split(), strict=True):
            if right == "-":
                continue
            with transaction.atomic():
                answer = world.callers[role](method.upper(), address, sent, **headers)
                transaction.set_rollback(True)
            yield f"{method} {pattern}", role, int(right), answer.status_code


def test_everybody_may_do_what_is_theirs_and_nothing_else(settings, tmp_path):
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"DEFAULT_THROTTLE_RATES": {}}
    settings.MEDIA_ROOT = tmp_path
    world = World()
    before = Setup.objects.count(), OwnedPart.objects.count(), Dispute.objects.get().outcome
    wrong = [tried for tried in attempts(world) if tried[2] != tried[3]]
    assert wrong == []
    assert before == (Setup.objects.count(), OwnedPart.objects.count(), Dispute.objects.get().outcome)


def test_no_operation_is_left_untried():
    paths = program().get("/api/schema/openapi.json").json()["paths"]
    tags = {"Library", "Setups", "Measuring", "Garage", "Racing", "Race days"}

    def bare(pattern: str) -> str:
        return "/".join("{}" if step.startswith("{") else step for step in pattern.split("/"))

    there = {
        (method, bare(path))
        for path, methods in paths.items()
        for method, described in methods.items()
        if tags & set(described["tags"])
    }
    tried = {(method, bare(path)) for method, path in TABLE}
    assert there <= tried
